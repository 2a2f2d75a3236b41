// Signs of what has a place of its own, the same on the drawing, in the legend and on the plan.

/** What each sign means, in the order of the legend. */
const SIGNS = {
  zero: "work zero, with the axes of the machine",
  touch: "Z touch point",
  locate: "locating hole",
  pin: "locating hole with its pin",
  slot: "slot: fixes the turn",
  key: "key: fits one way only",
  witness: "check cross: the tip must be over it",
  vernier: "vernier",
  join: "join of two passes",
  tab: "tab",
  clamp: "clamp, with its height above the copper",
  travel: "travel of the machine in a pass",
  restart: "restart point",
};

/** Which sign a registration hole has. */
const signOf = (hole) =>
  hole.role === "turn" ? "slot" : hole.role === "locate" && hole.pin ? "pin" : hole.role;

/** Which of the signs are in the drawing of this set. */
function signsHere() {
  const found = new Set(data.registration.map(signOf));
  if (windows.length) ["zero", "touch", "travel"].forEach((kind) => found.add(kind));
  if (windows.some((w) => w.verniers.length)) found.add("vernier");
  if (data.joins.length) found.add("join");
  if (tabs.length) found.add("tab");
  if (data.clamps.length) found.add("clamp");
  if (programs.length) found.add("restart");
  return Object.keys(SIGNS).filter((kind) => found.has(kind));
}

const cross4 = (c, x, y, r) => {
  c.moveTo(x - r, y);
  c.lineTo(x + r, y);
  c.moveTo(x, y - r);
  c.lineTo(x, y + r);
};

/** A sign of about 16 pixels at a place; `angle` turns a slot, a join or a vernier. */
function sign(c, kind, x, y, angle = 0) {
  const ink = colours();
  const draw = SIGN_SHAPES[kind];
  c.save();
  c.translate(x, y);
  c.rotate(angle);
  c.lineCap = "butt";
  c.setLineDash([]);
  // a rim of the page's colour, so that it is seen on copper too
  for (const [colour, more] of [[ink.page, 3], [null, 0]]) {
    c.beginPath();
    c.lineWidth = 2 + more;
    c.strokeStyle = colour ?? ink.ink;
    c.fillStyle = colour ?? ink.page;
    draw(c, ink, colour !== null);
  }
  c.restore();
}

const SIGN_SHAPES = {
  zero: (c) => {
    c.arc(0, 0, 6, 0, 2 * Math.PI);
    c.fill();
    cross4(c, 0, 0, 10);
    c.stroke();
  },
  touch: (c) => {
    c.moveTo(0, 0);
    c.lineTo(-6, -11);
    c.lineTo(6, -11);
    c.closePath();
    c.fill();
    c.stroke();
  },
  locate: (c) => {
    c.arc(0, 0, 6, 0, 2 * Math.PI);
    c.fill();
    c.stroke();
  },
  pin: (c, ink, rim) => {
    SIGN_SHAPES.locate(c);
    if (rim) return;
    c.beginPath();
    c.fillStyle = ink.ink;
    c.arc(0, 0, 3.5, 0, 2 * Math.PI);
    c.fill();
  },
  slot: (c) => {
    c.arc(4, 0, 5, -Math.PI / 2, Math.PI / 2);
    c.arc(-4, 0, 5, Math.PI / 2, 1.5 * Math.PI);
    c.closePath();
    c.fill();
    c.stroke();
  },
  key: (c, ink, rim) => {
    c.rect(-7, -7, 14, 14);
    c.fill();
    c.stroke();
    if (rim) return;
    c.beginPath();
    c.arc(0, 0, 4, 0, 2 * Math.PI);
    c.stroke();
  },
  witness: (c) => {
    c.moveTo(-6, -6);
    c.lineTo(6, 6);
    c.moveTo(-6, 6);
    c.lineTo(6, -6);
    c.stroke();
  },
  vernier: (c, ink, rim) => {
    if (!rim) c.strokeStyle = ink.accent;
    c.moveTo(-8, 0);
    c.lineTo(8, 0);
    for (const k of [-6, -2, 2, 6]) {
      c.moveTo(k, 0);
      c.lineTo(k, -5);
    }
    c.stroke();
  },
  join: (c, ink, rim) => {
    if (!rim) c.strokeStyle = ink.accent;
    c.moveTo(0, -8);
    c.lineTo(0, 8);
    c.moveTo(4, 0);
    c.arc(0, 0, 4, 0, 2 * Math.PI);
    c.stroke();
  },
  tab: (c, ink, rim) => {
    if (!rim) c.fillStyle = ink.page;
    c.lineWidth = rim ? 4 : 1.5;
    c.rect(-7, -4, 14, 8);
    c.fill();
    c.stroke();
  },
  clamp: (c, ink, rim) => {
    if (!rim) c.fillStyle = hatching(c, ink.ink, ink.page);
    c.lineWidth = rim ? 4 : 1.5;
    c.rect(-7, -6, 14, 12);
    c.fill();
    c.stroke();
  },
  travel: (c, ink, rim) => {
    if (!rim) c.strokeStyle = ink.accent;
    c.setLineDash([5, 3]);
    c.moveTo(-10, 0);
    c.lineTo(10, 0);
    c.stroke();
  },
  restart: (c, ink, rim) => {
    c.lineWidth = rim ? 4 : 1.5;
    c.rect(-4, -4, 8, 8);
    c.fill();
    c.stroke();
    if (rim) return;
    c.fillStyle = ink.ink;
    c.fillRect(-1, -1, 2, 2);
  },
};

/** The legend: each sign as it is drawn, and its words. */
function fillSigns() {
  const list = $("review-signs");
  list.replaceChildren();
  for (const kind of signsHere()) {
    const picture = element("canvas", undefined, "sign");
    picture.width = picture.height = 48;
    const c = picture.getContext("2d");
    c.scale(2, 2);
    sign(c, kind, 12, kind === "touch" ? 18 : 12);
    const row = element("li");
    row.append(picture, element("span", SIGNS[kind]));
    list.append(row);
  }
}

// ------------------------------------------------------------------ on the drawing

/** Where a pass has its work zero and touches Z, blank frame. */
const zeroOf = (stage) => moved(inverse(stage.pose), 0, 0);
const touchOf = (stage) => moved(inverse(stage.pose), ...stage.touch);

/** Work zero with both axes, and the place where Z is touched. */
function paintZero(c, v, stage, many) {
  const back = inverse(stage.pose);
  const [x, y] = [sx(v, zeroOf(stage)[0]), sy(v, zeroOf(stage)[1])];
  for (const [name, dx, dy] of [["X", 1, 0], ["Y", 0, 1]]) {
    const along = [back[0] * dx + back[1] * dy, v.up * (back[3] * dx + back[4] * dy)];
    arrow(c, x, y, ...along, name);
  }
  sign(c, "zero", x, y);
  const number = many ? ` ${stage.number}` : "";
  label(c, `zero${number}`, x + 10, y + 18);
  const [tx, ty] = [sx(v, touchOf(stage)[0]), sy(v, touchOf(stage)[1])];
  sign(c, "touch", tx, ty);
  label(c, `touch Z${number}`, tx + 9, ty - 2);
}

/** An arrow along an axis, with its name at the tip. */
function arrow(c, x, y, dx, dy, name) {
  const long = 42;
  const [tx, ty] = [x + dx * long, y + dy * long];
  for (const [colour, wide] of [[colours().page, 5], [colours().ink, 2]]) {
    c.strokeStyle = colour;
    c.lineWidth = wide;
    c.beginPath();
    c.moveTo(x, y);
    c.lineTo(tx, ty);
    for (const way of [1, -1]) {
      c.moveTo(tx, ty);
      c.lineTo(tx - 8 * dx + way * 4 * dy, ty - 8 * dy - way * 4 * dx);
    }
    c.stroke();
  }
  label(c, name, tx + 9 * dx + 5, ty + 9 * dy + 5, "center");
}

function paintRegistration(c, v, hole) {
  const [x, y] = [sx(v, hole.at[0]), sy(v, hole.at[1])];
  const ink = colours();
  // the hole at its size, and its sign where that is too small to be seen
  c.beginPath();
  holePath(c, v, hole.ends ? { at: hole.ends[0], end: hole.ends[1], diameter: hole.diameter } : hole);
  c.fillStyle = ink.hole;
  c.fill();
  c.strokeStyle = ink.ink;
  c.lineWidth = 1;
  c.stroke();
  const [x0, y0, x1, y1] = (hole.ends ?? [hole.at, hole.at])
    .flatMap((at) => [sx(v, at[0]), sy(v, at[1])]);
  sign(c, signOf(hole), x, y, Math.atan2(y1 - y0, x1 - x0));
  if (v.scale > 1) label(c, hole.id, x + Math.max(9, (hole.diameter / 2) * v.scale + 4), y - 7);
}
