// What is looked at, and from where.
const canvas = document.getElementById("review-canvas");
const pen = canvas.getContext("2d");
const BED = 0;

const state = {
  blank: blanks.length ? blanks[0].number : 0,
  pass: null, // a number, BED, or null for all passes
  program: null, // an index, or null for all of the pass
  fromComponents: false,
  layers: {},
  time: null, // seconds since the first program in view began; null: all is cut
  x: 0, y: 0, scale: 1, // middle of the view in mm, pixels for a mm
  pointer: null, // place under the pointer, mm
  pinned: null,
  measuring: false,
  measure: [null, null],
  free: false, // points are placed where the pointer is, not on what is near it
  flagged: null, // the finding that was gone to
  place: 0, // and which of its places
  net: null, // the net that was picked, with its neighbours
  gap: null, // and the gap to one of them
  lit: [], // pieces of copper that were found
  wipe: 0, // share of the blank, from its left, that shows copper as drawn instead of as cut
};

/** Programs in view, in the order they run. */
function shown() {
  return programs.filter(
    (p) =>
      p.blank === state.blank &&
      (state.pass === null ? p.pass !== BED : p.pass === state.pass) &&
      (state.program === null || p.index === state.program),
  );
}

const onBed = () => state.pass === BED;

/** The box of all that there is to see. */
function wholeBox() {
  if (onBed()) return data.machine.travel;
  const blank = blanks.find((b) => b.number === state.blank);
  if (!blank) return [0, 0, 100, 100];
  const box = [...blank.area.box];
  const take = (other) => {
    box[0] = Math.min(box[0], other[0]);
    box[1] = Math.min(box[1], other[1]);
    box[2] = Math.max(box[2], other[2]);
    box[3] = Math.max(box[3], other[3]);
  };
  const reached = windows.filter((w) => w.blank === state.blank);
  const point = ([x, y]) => take([x, y, x, y]);
  for (const hole of state.layers.registration ? data.registration : []) {
    if (hole.blank === state.blank) point(hole.at);
  }
  for (const stage of reached) {
    if (state.layers.zero) [zeroOf(stage), touchOf(stage)].forEach(point);
    if (state.layers.windows) take(stage.area.box);
    for (const clamp of state.layers.clamps ? data.clamps : []) {
      if (clamp.passes !== null && !clamp.passes.includes(stage.number)) continue;
      const [x0, y0, x1, y1] = clamp.box;
      const back = inverse(stage.pose);
      take(boxOf([...moved(back, x0, y0), ...moved(back, x1, y0), ...moved(back, x1, y1),
        ...moved(back, x0, y1)]));
    }
  }
  return box;
}

const size = { width: 300, height: 200, ratio: 1 };
const LEAST_SCALE = 0.2;
const MOST_SCALE = 4000;

/** The view that shows all. */
function whole() {
  const box = wholeBox();
  const wide = box[2] - box[0];
  const high = box[3] - box[1];
  const scale = Math.min((size.width - 32) / wide, (size.height - 64) / high);
  return {
    x: (box[0] + box[2]) / 2, y: (box[1] + box[3]) / 2, scale: Math.max(scale, LEAST_SCALE),
  };
}

const fit = () => Object.assign(state, whole());

const showsAll = () => Object.entries(whole()).every(([key, value]) => state[key] === value);

/** Pixels from mm and back; from the copper y grows upward, from the components downward. The
    bed has one face. */
const up = () => (state.fromComponents && !onBed() ? 1 : -1);
const toScreen = (x, y) => [
  size.width / 2 + (x - state.x) * state.scale,
  size.height / 2 + up() * (y - state.y) * state.scale,
];
const toPlace = (sx, sy) => [
  state.x + (sx - size.width / 2) / state.scale,
  state.y + (up() * (sy - size.height / 2)) / state.scale,
];

function panBy(dx, dy) {
  state.x -= dx / state.scale;
  state.y -= (up() * dy) / state.scale;
  const box = wholeBox();
  state.x = Math.min(Math.max(state.x, box[0]), box[2]);
  state.y = Math.min(Math.max(state.y, box[1]), box[3]);
  changed(false);
}

/** Zoom by a factor; the place at (sx, sy) stays where it is. */
function zoomBy(factor, sx = size.width / 2, sy = size.height / 2) {
  const [x, y] = toPlace(sx, sy);
  state.scale = Math.min(Math.max(state.scale * factor, LEAST_SCALE), MOST_SCALE);
  state.x = x - (sx - size.width / 2) / state.scale;
  state.y = y - (up() * (sy - size.height / 2)) / state.scale;
  changed(false);
}

/** Put a place in the middle, near enough to see it. */
function centreOn(x, y, scale = 0) {
  state.x = x;
  state.y = y;
  state.scale = Math.max(state.scale, scale);
  changed(false);
}

let dark = false;
const colours = () => data.colours[dark ? "dark" : "light"];
const cutterColour = (index) => colours().cutters[index % colours().cutters.length];
