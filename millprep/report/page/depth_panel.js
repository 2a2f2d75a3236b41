// The panel below the drawing: a tilted view of what the drawing shows, and a section along the
// measured line.
const TICKS = [1, 2, 5];
const TIMES = [1, 2, 5, 10, 20, 50, 100];
const MOST_CUTS = 60;

/** A round step that divides a length into at most so many parts. */
function roundStep(long, most) {
  for (let ten = 1e-4; ; ten *= 10) {
    for (const tick of TICKS) if (long / (tick * ten) <= most) return tick * ten;
  }
}

function depthPanel({
  data, programs, state, blanks, parts, windows, canvas, $, element, figure, moved, inverse, boxOf,
  colours, changed, setMeasuring, option,
}) {
  const root = $("depth");
  const tools = element("div", undefined, "depth-tools");
  const pictures = { tilt: element("canvas"), section: element("canvas") };
  pictures.tilt.id = "depth-tilt";
  pictures.section.id = "depth-section";
  for (const one of Object.values(pictures)) one.setAttribute("role", "img");
  const words = element("p");
  words.id = "depth-words";
  words.setAttribute("aria-live", "polite");
  const list = element("ol");
  list.id = "depth-cuts";
  const buttons = {};
  let shown = "tilt";
  let drawn = "";
  let tilted; // undefined before the first look, null without WebGL
  const view = { tilt: 50, turn: 20 };

  const button = (id, text, act) => {
    const one = element("button", text);
    one.type = "button";
    one.id = id;
    one.addEventListener("click", act);
    tools.append(one);
    return one;
  };
  const show = (what) => {
    shown = what;
    drawn = "";
    for (const [name, one] of Object.entries(buttons)) one.setAttribute("aria-pressed", String(name === what));
    for (const [name, one] of Object.entries(pictures)) one.hidden = name !== what;
    for (const one of root.querySelectorAll("[data-for]")) one.hidden = one.dataset.for !== what;
    if (what === "section" && !state.measure[1]) setMeasuring(true);
  };
  buttons.tilt = button("depth-to-tilt", "Tilted view", () => show("tilt"));
  buttons.section = button("depth-to-section", "Section", () => show("section"));
  for (const [name, most, text] of [["tilt", 75, "Tilt"], ["turn", 180, "Turn"]]) {
    const label = element("label", `${text}, degrees `);
    label.dataset.for = "tilt";
    const range = element("input");
    Object.assign(range, { type: "range", id: `depth-by-${name}`, min: name === "tilt" ? 0 : -most, max: most, step: 1 });
    range.value = view[name];
    range.addEventListener("input", () => (view[name] = Number(range.value)));
    label.append(range);
    tools.append(label);
  }
  const factor = element("label", "Depths drawn larger ");
  const times = element("select");
  times.id = "depth-times";
  option(times, "", "to fit");
  for (const one of TIMES) option(times, one, `×${one}`);
  times.addEventListener("change", () => (drawn = ""));
  factor.append(times);
  tools.append(factor);
  button("depth-close", "Close", () => toggle(false));
  root.append(tools, pictures.tilt, pictures.section, words, list);

  pictures.tilt.addEventListener("pointermove", (event) => {
    if (!(event.buttons & 1)) return;
    view.turn = Math.max(-180, Math.min(180, view.turn + event.movementX / 2));
    view.tilt = Math.max(0, Math.min(75, view.tilt - event.movementY / 3));
    for (const name of ["tilt", "turn"]) $(`depth-by-${name}`).value = view[name];
  });

  const blankNow = () => blanks.find((one) => one.number === state.blank);
  const cutNow = () => programs.filter((p) => p.blank === state.blank && p.pass > 0);
  /** Clamps of the pass that is shown, or of the first, as boxes of the blank. */
  const clampsNow = () => {
    const stage = windows.find((w) => w.blank === state.blank && (state.pass === null || w.number === state.pass));
    if (!stage) return [];
    const back = inverse(stage.pose);
    return data.clamps
      .filter((one) => !one.passes || one.passes.includes(stage.number))
      .map(({ box: [x0, y0, x1, y1], height }) => ({
        box: boxOf([...moved(back, x0, y0), ...moved(back, x1, y1)]), height,
      }));
  };
  const fitted = (picture) => {
    const box = picture.getBoundingClientRect();
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    const [wide, high] = [Math.max(50, box.width), Math.max(50, box.height)];
    [picture.width, picture.height] = [Math.round(wide * ratio), Math.round(high * ratio)];
    return { wide, high, ratio };
  };

  /** Where to look, and how large, so that all is in view that the drawing shows of blank and clamps. */
  function lookAt(wide, high, angle, turn, blank, larger, clamps) {
    const boxes = [blank.area.box, ...clamps.map((one) => one.box)];
    const [x0, y0, x1, y1] = [0, 1, 2, 3].map((k) =>
      (k < 2 ? Math.min : Math.max)(...boxes.map((box) => box[k])));
    const far = [canvas.clientWidth / 2 / state.scale, canvas.clientHeight / 2 / state.scale];
    const low = [Math.max(x0, state.x - far[0]), Math.max(y0, state.y - far[1])];
    const top = [Math.min(x1, state.x + far[0]), Math.min(y1, state.y + far[1])];
    if (low[0] >= top[0] || low[1] >= top[1]) return state;
    const [long, deep] = [top[0] - low[0], top[1] - low[1]];
    const [cos, sin] = [Math.abs(Math.cos(turn)), Math.abs(Math.sin(turn))];
    const across = long * cos + deep * sin;
    const seen = clamps.filter(({ box }) =>
      box[0] < top[0] && box[2] > low[0] && box[1] < top[1] && box[3] > low[1]);
    const most = Math.max(blank.thickness * larger, ...seen.map((one) => one.height));
    const up = (long * sin + deep * cos) * Math.cos(angle) + 2 * most * Math.sin(angle);
    const scale = Math.min(state.scale, (0.96 * wide) / across, (0.96 * high) / up);
    return { x: (low[0] + top[0]) / 2, y: (low[1] + top[1]) / 2, scale };
  }

  function drawTilt() {
    const picture = pictures.tilt;
    const { wide, high } = fitted(picture);
    if (tilted === undefined) tilted = tiltedView(picture);
    const blank = blankNow();
    const larger = Number(times.value) || 1;
    const angle = (view.tilt * Math.PI) / 180;
    const turn = (view.turn * Math.PI) / 180;
    const ink = colours();
    const clamps = clampsNow();
    const { x, y, scale } = lookAt(wide, high, angle, turn, blank, larger, clamps);
    const half = [wide / 2 / scale, high / 2 / scale];
    if (tilted) {
      // what is seen of the surface, and what rays pass over below it
      const far = half[1] / Math.cos(angle) + blank.thickness * larger * Math.tan(angle);
      const r = Math.hypot(half[0], far);
      const box = [x - r, y - r, x + r, y + r];
      box[0] = Math.max(box[0], blank.area.box[0] - 1);
      box[1] = Math.max(box[1], blank.area.box[1] - 1);
      box[2] = Math.max(box[0] + 1, Math.min(box[2], blank.area.box[2] + 1));
      box[3] = Math.max(box[1] + 1, Math.min(box[3], blank.area.box[3] + 1));
      const range = blank.thickness * 1.05;
      tilted.paintDepths(movesNear(cutNow(), box), box, range);
      tilted.draw({
        box, blank: blank.area.box, centre: [x, y], half_: half, tilt: angle, turn, range,
        thickness: blank.thickness, copper: blank.copper, times: larger, ink: triple(ink.ink),
        page: triple(ink.page), copperColour: triple(ink.copper),
        laminateColour: triple(ink.laminate), clampColour: triple(ink.quiet),
      }, clamps);
    } else {
      plainTilt(picture, angle, turn, larger, clamps, { x, y, scale });
    }
    const depths = larger === 1 ? "Depths are true to scale" : `Depths are drawn ${larger} times larger`;
    words.textContent = `${depths}; clamps have their true height. The drawing above moves and zooms this view; `
      + `drag it to tilt and turn.${tilted ? "" : " This browser has no WebGL 2: grooves are drawn flat."}`;
    picture.setAttribute("aria-label", `Tilted view of blank ${blank.number}`);
  }

  /** Planes of laminate and copper one above the other, and clamps; for browsers without WebGL. */
  function plainTilt(picture, angle, turn, larger, clamps, { x, y, scale }) {
    const ink = colours();
    const blank = blankNow();
    const c = picture.getContext("2d");
    const k = (scale * picture.width) / picture.getBoundingClientRect().width;
    const level = (z) => {
      const [cos, sin] = [Math.cos(turn) * k, Math.sin(turn) * k];
      c.setTransform(cos, sin * Math.cos(angle), sin, -cos * Math.cos(angle),
        picture.width / 2 - cos * x - sin * y,
        picture.height / 2 - sin * Math.cos(angle) * x + cos * Math.cos(angle) * y
          - z * k * Math.sin(angle));
    };
    const fill = (areas, colour) => {
      c.fillStyle = colour;
      for (const area of areas) {
        c.beginPath();
        for (const ring of area.rings) {
          for (let n = 0; n < ring.length; n += 2) c[n ? "lineTo" : "moveTo"](ring[n], ring[n + 1]);
          c.closePath();
        }
        c.fill("evenodd");
      }
    };
    c.setTransform(1, 0, 0, 1, 0, 0);
    c.fillStyle = ink.page;
    c.fillRect(0, 0, picture.width, picture.height);
    const steps = 8;
    for (let n = steps; n >= 1; n--) {
      level(-blank.copper * larger - (blank.thickness - blank.copper) * larger * (n / steps));
      fill([blank.area], n === 1 ? ink.laminate : ink.quiet);
    }
    level(0);
    fill(parts.filter((one) => one.blank === state.blank).map((one) => one.area), ink.copper);
    for (const { box: [x0, y0, x1, y1], height } of clamps) {
      for (let n = 0; n <= steps; n++) {
        level((height * n) / steps);
        fill([{ rings: [[x0, y0, x1, y0, x1, y1, x0, y1]] }], n === steps ? ink.line : ink.quiet);
      }
    }
  }

  function drawSection() {
    const [a, b] = state.measure;
    list.replaceChildren();
    const picture = pictures.section;
    const { wide, high, ratio } = fitted(picture);
    const c = picture.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    const ink = colours();
    c.fillStyle = ink.page;
    c.fillRect(0, 0, wide, high);
    if (!a || !b || Math.hypot(a[0] - b[0], a[1] - b[1]) < 1e-3) {
      words.textContent = "Click two points on the drawing, or type them under Measure.";
      picture.setAttribute("aria-label", "No section yet");
      return;
    }
    const blank = blankNow();
    const cut = sectionOf(cutNow(), a, b, blank.copper, Math.min(4000, Math.round(wide * 2)));
    const larger = drawProfile(c, { wide, high }, cut, blank, Number(times.value), data.flatness, ink, figure);
    for (const one of cut.cuts.slice(0, MOST_CUTS)) {
      const foot = one.foot ? `, ${figure(one.foot, 3)} mm at the foot of the copper` : ", copper not cut through";
      list.append(element("li", `At ${figure(one.from, 3)} mm: ${figure(one.to - one.from, 3)} mm wide at `
        + `the surface${foot}, ${figure(one.deepest, 3)} mm deep, ${one.cutter.name}`));
    }
    const more = cut.cuts.length > MOST_CUTS ? ` The first ${MOST_CUTS} of ${cut.cuts.length} cuts are listed.` : "";
    words.textContent = `${figure(cut.long, 3)} mm from X ${figure(a[0], 3)} Y ${figure(a[1], 3)} to `
      + `X ${figure(b[0], 3)} Y ${figure(b[1], 3)}. ${larger === 1 ? "True to scale." : `Depths are drawn ${larger} times larger.`}`
      + ` Copper ${figure(blank.copper, 3)} mm on a board of ${figure(blank.thickness, 2)} mm.`
      + (data.flatness ? ` Dashes: the copper may lie ${figure(data.flatness, 3)} mm higher or lower.` : "")
      + (cut.cuts.length ? more : " Nothing is cut here.");
    picture.setAttribute("aria-label", `Section: ${words.textContent}`);
  }

  function frame() {
    if (root.hidden) return;
    const { x, y, scale, blank, pass, measure } = state;
    const box = root.getBoundingClientRect();
    const now = JSON.stringify([
      shown, times.value, box.width, box.height, canvas.clientWidth, canvas.clientHeight, blank, pass, colours().page,
      shown === "tilt" ? [x, y, scale, view.tilt, view.turn] : measure,
    ]);
    if (now !== drawn) {
      drawn = now;
      if (shown === "tilt") {
        list.replaceChildren();
        drawTilt();
      } else drawSection();
      root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
    }
    requestAnimationFrame(frame);
  }

  function toggle(on = root.hidden) {
    root.hidden = !on;
    $("depth-open").setAttribute("aria-expanded", String(on));
    canvas.parentElement.classList.toggle("split", on);
    drawn = "";
    if (on) requestAnimationFrame(frame);
    else $("depth-open").focus();
    changed(false);
  }
  show("tilt");
  return { toggle };
}
