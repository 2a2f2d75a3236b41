// The set as it is in the page, unfolded into arrays. Lengths are mm, times seconds.
const data = JSON.parse(document.getElementById("review-data").textContent);

const SEVERITIES = { stop: "stop", warn: "warning", note: "note" };
/** What a registration hole does in the pass that uses it. */
const PURPOSES = {
  locate: "locates the blank",
  turn: "fixes the turn",
  key: "key: fits one way only",
  witness: "check cross: the tip must be over it",
};

/** A number with so many decimals and a point, whatever the reader's country. */
function figure(value, digits = 2) {
  const text = value.toFixed(digits);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "−");
}

const LETTERS = new Uint8Array(128);
[..."ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"].forEach((letter, i) => {
  LETTERS[letter.charCodeAt(0)] = i;
});

/** Whole numbers from text: five bits a letter, lowest first, the sign in the lowest bit. */
function numbers(text) {
  const found = new Float64Array(text.length);
  let count = 0;
  let value = 0;
  let weight = 1;
  for (let i = 0; i < text.length; i++) {
    const letter = LETTERS[text.charCodeAt(i)];
    value += (letter & 31) * weight;
    if (letter & 32) {
      weight *= 32;
    } else {
      found[count++] = value % 2 ? -(value + 1) / 2 : value / 2;
      value = 0;
      weight = 1;
    }
  }
  return found.subarray(0, count);
}

/** Values told in runs, one after the other. */
function unrolled(text, length) {
  const pairs = numbers(text);
  const found = new Float64Array(length);
  let at = 0;
  for (let i = 0; i < pairs.length; i += 2) {
    found.fill(pairs[i], at, at + pairs[i + 1]);
    at += pairs[i + 1];
  }
  return found;
}

/** A pose [a, b, c, d, e, f] at work: x' = a·x + b·y + c, y' = d·x + e·y + f. */
const moved = (p, x, y) => [p[0] * x + p[1] * y + p[2], p[3] * x + p[4] * y + p[5]];

/** The pose that undoes a rigid motion. */
const inverse = (p) => [
  p[0], p[3], -(p[0] * p[2] + p[3] * p[5]),
  p[1], p[4], -(p[1] * p[2] + p[4] * p[5]),
];
const STILL = [1, 0, 0, 0, 1, 0];

/** Places of lines or rings, differences summed up, in mm and moved by a pose. */
function places(text, pose) {
  const steps = numbers(text);
  const found = new Float64Array(steps.length);
  let x = 0;
  let y = 0;
  for (let i = 0; i < steps.length; i += 2) {
    x += steps[i];
    y += steps[i + 1];
    const at = moved(pose, x * data.units.shape, y * data.units.shape);
    found[i] = at[0];
    found[i + 1] = at[1];
  }
  return found;
}

/** Areas: each {rings: [Float64Array x, y, …], box: [x0, y0, x1, y1]}. */
function areas(told, pose = STILL) {
  const counts = numbers(told.rings);
  const all = places(told.xy, pose);
  const found = [];
  let at = 0;
  for (let i = 0; i < counts.length; ) {
    const rings = [];
    const count = counts[i++];
    for (let k = 0; k < count; k++) {
      const size = 2 * counts[i++];
      rings.push(all.subarray(at, at + size));
      at += size;
    }
    found.push({ rings, box: boxOf(rings.length ? rings[0] : []) });
  }
  return found;
}

function boxOf(xy, grown = 0) {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (let i = 0; i < xy.length; i += 2) {
    if (xy[i] < box[0]) box[0] = xy[i];
    if (xy[i] > box[2]) box[2] = xy[i];
    if (xy[i + 1] < box[1]) box[1] = xy[i + 1];
    if (xy[i + 1] > box[3]) box[3] = xy[i + 1];
  }
  return [box[0] - grown, box[1] - grown, box[2] + grown, box[3] + grown];
}

const boxesMeet = (a, b) => a[0] <= b[2] && b[0] <= a[2] && a[1] <= b[3] && b[1] <= a[3];

/** Whether a place lies in an area, even-odd. */
function inside(area, x, y) {
  const box = area.box;
  if (x < box[0] || x > box[2] || y < box[1] || y > box[3]) return false;
  let odd = false;
  for (const ring of area.rings) {
    const n = ring.length;
    for (let i = 0, j = n - 2; i < n; j = i, i += 2) {
      const yi = ring[i + 1];
      const yj = ring[j + 1];
      if (yi > y !== yj > y && x < ((ring[j] - ring[i]) * (y - yi)) / (yj - yi) + ring[i]) {
        odd = !odd;
      }
    }
  }
  return odd;
}

/** The groove's width at the surface when the tip is `depth` below it. */
function widthOf(cutter, depth) {
  if (depth <= 0) return 0;
  const rise = 2 * depth * Math.tan(((cutter.angle || 0) * Math.PI) / 360);
  if (cutter.kind === "vee") return cutter.tip + rise;
  return cutter.kind === "drill" ? Math.min(cutter.diameter, rise) : cutter.diameter;
}

const RAPID = 0;
const ARC_CCW = 3;
const CHUNK = 128;

/**
 * A program unfolded: move i leads from place i to place i + 1.
 * X, Y in the frame it is drawn in, mx, my, mz as its file has them. `time[i]` is when move i
 * begins, waiting included. Arcs have centre, radius, start angle and signed sweep, drawn frame.
 */
function unfolded(told, index) {
  const n = told.moves;
  const unit = data.units.path;
  const stage = data.passes.find((p) => p.blank === told.blank && p.number === told.pass);
  const pose = stage ? inverse(stage.pose) : STILL;
  const cutter = data.cutters[told.cutter];
  const dx = numbers(told.x);
  const dy = numbers(told.y);
  const dz = unrolled(told.z, n);
  const kind = unrolled(told.kind, n);
  const feed = unrolled(told.feed, n);
  const line = unrolled(told.line, n);
  const centre = numbers(told.centre);
  const wait = new Float64Array(n);
  const waits = numbers(told.wait);
  for (let i = 0, at = 0; i < waits.length; i += 2) {
    at += waits[i];
    wait[at] = waits[i + 1] / 1000;
  }
  const mx = new Float64Array(n + 1);
  const my = new Float64Array(n + 1);
  const mz = new Float64Array(n + 1);
  const X = new Float64Array(n + 1);
  const Y = new Float64Array(n + 1);
  const time = new Float64Array(n + 1);
  const width = new Float32Array(n);
  const arcs = new Map();
  const turned = pose[0] * pose[4] - pose[1] * pose[3] < 0 ? -1 : 1;
  let [x, y, z] = told.start;
  let atCentre = 0;
  const put = (i) => {
    mx[i] = x * unit;
    my[i] = y * unit;
    mz[i] = z * unit;
    const at = moved(pose, mx[i], my[i]);
    X[i] = at[0];
    Y[i] = at[1];
  };
  put(0);
  for (let i = 0, lines = 0; i < n; i++) {
    lines += line[i];
    line[i] = lines;
    feed[i] /= 100;
    const x0 = x;
    const y0 = y;
    const z0 = z;
    x += dx[i];
    y += dy[i];
    z += dz[i];
    put(i + 1);
    let flat = Math.hypot(dx[i], dy[i]) * unit;
    if (kind[i] > 1) {
      const cx = x0 + centre[atCentre];
      const cy = y0 + centre[atCentre + 1];
      atCentre += 2;
      const way = kind[i] === ARC_CCW ? 1 : -1;
      const full = 2 * Math.PI;
      let sweep = way * (Math.atan2(y - cy, x - cx) - Math.atan2(y0 - cy, x0 - cx));
      sweep = ((sweep % full) + full) % full || full;
      const radius = Math.hypot(x0 - cx, y0 - cy) * unit;
      const c = moved(pose, cx * unit, cy * unit);
      arcs.set(i, {
        x: c[0], y: c[1], radius,
        from: Math.atan2(Y[i] - c[1], X[i] - c[0]),
        sweep: sweep * way * turned,
      });
      flat = radius * sweep;
    }
    const speed = kind[i] === RAPID || !feed[i] ? data.machine.rapid : feed[i];
    time[i + 1] = time[i] + wait[i] + (Math.hypot(flat, dz[i] * unit) / speed) * 60;
    const deepest = Math.max(0, -Math.min(z0, z) * unit);
    width[i] = told.spins ? widthOf(cutter, deepest) : 0;
  }
  // what acceleration and earlier runs add is spread over all moves, so that the sum is the plan's
  const longer = told.seconds && time[n] > 0 ? told.seconds / time[n] : 1;
  for (let i = 1; i <= n; i++) {
    time[i] *= longer;
    wait[i - 1] *= longer;
  }
  const program = {
    index, stage, cutter, n, kind, feed, line, wait, mx, my, mz, X, Y, time, width, arcs,
    file: told.file, blank: told.blank, pass: told.pass, spins: told.spins,
    cutterIndex: told.cutter,
  };
  program.chunks = chunked(program);
  return program;
}

/** Boxes of every `CHUNK` moves, grown by half the width of what they cut. */
function chunked(p) {
  const chunks = [];
  for (let from = 0; from < p.n; from += CHUNK) {
    const to = Math.min(p.n, from + CHUNK);
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    const take = (x, y, by) => {
      box[0] = Math.min(box[0], x - by);
      box[1] = Math.min(box[1], y - by);
      box[2] = Math.max(box[2], x + by);
      box[3] = Math.max(box[3], y + by);
    };
    for (let i = from; i < to; i++) {
      const by = p.width[i] / 2;
      take(p.X[i], p.Y[i], by);
      take(p.X[i + 1], p.Y[i + 1], by);
      const arc = p.arcs.get(i);
      if (arc) take(arc.x, arc.y, arc.radius + by);
    }
    chunks.push({ from, to, box });
  }
  return chunks;
}

const programs = data.programs.map(unfolded);
data.programs = null;

/** Design copper of every copy, blank frame: {copy, piece, id, net, pins, area}. */
const pieces = [];
const outlines = [];
data.copies.forEach((copy, index) => {
  const board = data.boards[copy.board];
  outlines.push({ copy: index, blank: copy.blank, area: areas(board.outline, copy.pose)[0] });
  areas(board.copper, copy.pose).forEach((area, i) => {
    pieces.push({
      copy: index, blank: copy.blank, piece: board.pieces[i], net: copy.nets[i], pins: copy.pins[i], area,
    });
  });
});

/** As-cut copper: {blank, area, carries: [[copy, piece], …]}. */
const parts = data.asCut.flatMap((one) =>
  areas(one.parts).map((area, i) => ({ blank: one.blank, area, carries: one.carries[i] })),
);
const windows = data.passes.map((p) => ({ ...p, area: areas(p.window)[0] }));
const tabs = data.tabs.map((tab) => ({ ...tab, xy: places(tab.xy, STILL) }));
const blanks = data.blanks.map((blank) => ({
  ...blank,
  area: blank.outline
    ? areas(blank.outline)[0]
    : {
        rings: [[0, 0, blank.size[0], 0, blank.size[0], blank.size[1], 0, blank.size[1]]],
        box: [0, 0, ...blank.size],
      },
}));

/** A copy's name in words. */
function copyWords(index) {
  const copy = data.copies[index];
  return `${data.boards[copy.board].name}, copy ${copy.copy}`;
}
