// Holes, and the marks that stand still on the drawing.

/** A round hole or a slot into the path under way. */
function holePath(c, v, hole) {
  const [x, y] = [sx(v, hole.at[0]), sy(v, hole.at[1])];
  const r = (hole.diameter / 2) * v.scale;
  if (!hole.end) {
    c.moveTo(x + r, y);
    c.arc(x, y, r, 0, 2 * Math.PI);
    return;
  }
  const [ex, ey] = [sx(v, hole.end[0]), sy(v, hole.end[1])];
  const angle = Math.atan2(ey - y, ex - x);
  c.moveTo(x + r * Math.cos(angle + Math.PI / 2), y + r * Math.sin(angle + Math.PI / 2));
  c.arc(x, y, r, angle + Math.PI / 2, angle - Math.PI / 2);
  c.arc(ex, ey, r, angle - Math.PI / 2, angle + Math.PI / 2);
  c.closePath();
}

function* paintHoles(c, v, holes) {
  const ink = colours();
  c.strokeStyle = ink.ink;
  c.fillStyle = ink.hole;
  c.lineWidth = 1;
  for (let i = 0; i < holes.length; i += 200) {
    c.beginPath();
    for (const hole of holes.slice(i, i + 200)) holePath(c, v, hole);
    c.fill();
    if (v.scale > 2) c.stroke();
    yield;
  }
}

/** Words on the drawing, with a rim of the page's colour. */
function label(c, text, x, y, align = "left") {
  c.font = LABEL;
  c.textAlign = align;
  c.lineWidth = 3.5;
  c.lineJoin = "round";
  c.strokeStyle = colours().page;
  c.strokeText(text, x, y);
  c.fillStyle = colours().ink;
  c.fillText(text, x, y);
}

/** Every board's name outside a corner that no flag covers, where the board is wide enough. */
function paintNames(c, v) {
  c.font = LABEL;
  const onPage = (x, y) => [sx(v, x), sy(v, y)];
  const flags = state.layers.findings ? flagPlaces(onPage) : [];
  outlines.forEach(({ blank, area }, index) => {
    if (blank !== state.blank) return;
    const [x0, y0, x1, y1] = area.box;
    const [whole, copy] = [copyWords(index), `${data.copies[index].copy}`];
    const room = (x1 - x0) * v.scale;
    const words = [whole, copy].find((text) => c.measureText(text).width <= room);
    if (!words) return;
    const wide = c.measureText(words).width;
    const [[left, high], [right, low]] = [
      onPage(x0, v.up < 0 ? y1 : y0), onPage(x1, v.up < 0 ? y0 : y1),
    ];
    const places = [[left, high - 3], [right - wide, high - 3],
      [left, low + 14], [right - wide, low + 14]];
    const free = places.find(([x, y]) =>
      !flags.some((one) => boxesMeet(one.box, [x, y - 12, x + wide, y + 3])));
    label(c, words, ...(free ?? places[0]));
  });
}

/** Names of boards, windows, clamps, tabs, work zeros, registration holes, joins, verniers. */
function paintMarks(c, v, here) {
  const ink = colours();
  const on = state.layers;
  const stages = here(windows).filter((w) => state.pass === null || w.number === state.pass);
  if (on.tabs) {
    c.lineCap = "butt";
    for (const tab of here(tabs)) {
      for (const [colour, more] of [[ink.ink, 3], [ink.page, 0]]) {
        c.strokeStyle = colour;
        c.lineWidth = Math.max(3, tab.width * v.scale) + more;
        c.beginPath();
        trace(c, v, tab.xy, false);
        c.stroke();
      }
    }
  }
  if (on.clamps) for (const stage of stages) paintClamps(c, v, stage);
  if (on.windows) for (const stage of stages) paintWindow(c, v, stage);
  if (on.zero) for (const stage of stages) paintZero(c, v, stage, stages.length > 1);
  if (on.registration) for (const hole of here(data.registration)) paintRegistration(c, v, hole);
  if (on.joins) {
    const far = v.scale < 5;
    const long = far ? 5 : Math.min(14, v.scale * 0.8 + 4);
    for (const join of here(data.joins)) {
      const [x, y] = [sx(v, join.at[0]), sy(v, join.at[1])];
      const [dx, dy] = [join.across[0] * long, v.up * join.across[1] * long];
      for (const [colour, wide] of [[ink.page, far ? 4 : 5], [ink.accent, 2.5]]) {
        c.strokeStyle = colour;
        c.lineWidth = wide;
        c.lineCap = "butt";
        c.beginPath();
        c.moveTo(x - dx, y - dy);
        c.lineTo(x + dx, y + dy);
        if (!far) {
          c.moveTo(x + 4, y);
          c.arc(x, y, 4, 0, 2 * Math.PI);
        }
        c.stroke();
      }
      if (v.scale > 25 && join.tolerance !== null && join.predicted !== null) {
        const text = `${figure(join.predicted)} / ${figure(join.tolerance)}`;
        label(c, text, x + 10, y - 8);
      }
    }
  }
  if (on.verniers) for (const stage of stages) {
    for (const one of stage.verniers) {
      const half = one.reach * one.pitch * v.scale;
      const [x, y] = [sx(v, one.at[0]), sy(v, one.at[1])];
      const [dx, dy] = one.measures === "x" ? [half, 0] : [0, half];
      c.strokeStyle = ink.accent;
      c.lineWidth = 2;
      c.beginPath();
      c.moveTo(x - dx, y - dy);
      c.lineTo(x + dx, y + dy);
      c.stroke();
      if (v.scale > 4) label(c, one.id, x + 6, y - 6);
    }
  }
  // over all else, so that they can be read
  if (on.names) paintNames(c, v);
}

function paintWindow(c, v, stage) {
  c.strokeStyle = colours().accent;
  c.lineWidth = 1.5;
  c.setLineDash([10, 5]);
  c.beginPath();
  for (const ring of stage.area.rings) trace(c, v, ring);
  c.stroke();
  c.setLineDash([]);
  const box = stage.area.box;
  // the words of neighbouring windows stand one below the other
  const row = 14 + 16 * (stage.number - 1);
  label(c, `pass ${stage.number}`, sx(v, box[0]) + 6,
    sy(v, v.up < 0 ? box[3] : box[1]) + row);
}

function paintClamps(c, v, stage) {
  const ink = colours();
  const back = inverse(stage.pose);
  const many = windows.filter((w) => w.blank === stage.blank).length > 1;
  for (const clamp of data.clamps) {
    if (clamp.passes && !clamp.passes.includes(stage.number)) continue;
    const [x0, y0, x1, y1] = clamp.box;
    const corners = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]].flatMap((at) => moved(back, ...at));
    c.fillStyle = hatching(c, ink.ink, ink.page);
    c.strokeStyle = ink.ink;
    c.lineWidth = 1.5;
    c.globalAlpha = 0.85;
    c.beginPath();
    trace(c, v, corners);
    c.fill();
    c.globalAlpha = 1;
    c.stroke();
    const [x, y] = [0, 1].map((k) => (corners[k] + corners[k + 4]) / 2);
    // which pass a clamp is on in, where clamps of several passes are drawn
    const number = state.pass === null && many ? [`pass ${stage.number}`] : [];
    const high = clamp.height === null ? [] : [`${figure(clamp.height, clamp.height % 1 ? 1 : 0)} mm`];
    const wide = Math.min(Math.abs(x1 - x0), Math.abs(y1 - y0)) * v.scale;
    const words = wide > 30 ? [...number, ...high] : number.map(() => String(stage.number));
    words.forEach((text, k) =>
      label(c, text, sx(v, x), sy(v, y) + 4 + 14 * (k - (words.length - 1) / 2), "center"));
  }
}
