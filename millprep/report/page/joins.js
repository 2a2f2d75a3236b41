// Joins alive: one pass is slid and turned, and every join is worked out anew on squares of GRID mm
// from the grooves at the copper's foot. Copper bridges where one area holds copper of two parts.
//
// Whose an area is after the slide: what the moved groove did not sweep is whose it was. What the
// other grooves, carried along, did not sweep is whose it was before it moved.

const GRID = 0.01;
const NOBODY = -1;
const slide = { pass: null, x: 0, y: 0, turn: 0, results: new Map(), todo: [] };

const slidJoins = () =>
  data.joins.filter((j) => j.blank === state.blank && j.piece !== null && Math.max(...j.passes) === slide.pass);
const isSlid = () => slide.pass !== null && (slide.x !== 0 || slide.y !== 0 || slide.turn !== 0);

/** The middle of the holes that a pass is found by; it turns about it. */
function turnsAbout(pass) {
  const holes = data.registration.filter(
    (h) => h.blank === state.blank && h.usedIn === pass && (h.role === "locate" || h.role === "turn"));
  if (!holes.length) return [0, 0];
  return [0, 1].map((k) => holes.reduce((sum, h) => sum + h.at[k], 0) / holes.length);
}

/** Where the slide takes a place of the pass. */
function slid(x, y) {
  const [cx, cy] = turnsAbout(slide.pass);
  const [cos, sin] = [Math.cos((slide.turn * Math.PI) / 180), Math.sin((slide.turn * Math.PI) / 180)];
  return [
    cx + cos * (x - cx) - sin * (y - cy) + slide.x,
    cy + sin * (x - cx) + cos * (y - cy) + slide.y,
  ];
}

/** Segments [x0, y0, x1, y1, radius] of what passes cut at the copper's foot near a box. */
function footOf(box, wanted) {
  const copper = blanks.find((b) => b.number === state.blank).copper;
  const found = [];
  for (const p of programs) {
    if (p.blank !== state.blank || !p.stage || !p.spins || !wanted(p.stage.number)) continue;
    for (const chunk of p.chunks) {
      if (!boxesMeet(chunk.box, box)) continue;
      for (let i = chunk.from; i < chunk.to; i++) {
        const r = widthOf(p.cutter, -Math.min(p.mz[i], p.mz[i + 1]) - copper) / 2;
        if (r <= 0) continue;
        eachChord(p, i, (x0, y0, x1, y1) => {
          if (boxesMeet(boxOf([x0, y0, x1, y1], r), box)) found.push([x0, y0, x1, y1, r]);
        });
      }
    }
  }
  return found;
}

/** A move as chords that leave its arc by at most a micrometre. */
function eachChord(p, i, take) {
  const arc = p.arcs.get(i);
  if (!arc) {
    take(p.X[i], p.Y[i], p.X[i + 1], p.Y[i + 1]);
    return;
  }
  const step = 2 * Math.acos(Math.max(0, 1 - 1e-3 / arc.radius));
  const n = Math.max(1, Math.ceil(Math.abs(arc.sweep) / step));
  const at = (k) => {
    const angle = arc.from + (arc.sweep * k) / n;
    return [arc.x + arc.radius * Math.cos(angle), arc.y + arc.radius * Math.sin(angle)];
  };
  for (let k = 0; k < n; k++) take(...at(k), ...at(k + 1));
}

/** Squares whose middles lie in grooves grown by `more`: 1, the others 0. */
function raster(frame, segments, more = 0, move = (x, y) => [x, y]) {
  const { n, x0: left, y0: low } = frame;
  const mask = new Uint8Array(n * n);
  for (const [ax, ay, bx, by, radius] of segments) {
    const [x0, y0] = move(ax, ay);
    const [x1, y1] = move(bx, by);
    const r = radius + more;
    const cell = (v, from) => Math.floor((v - from) / GRID);
    const i0 = Math.max(0, cell(Math.min(x0, x1) - r, left));
    const i1 = Math.min(n - 1, cell(Math.max(x0, x1) + r, left));
    const j0 = Math.max(0, cell(Math.min(y0, y1) - r, low));
    const j1 = Math.min(n - 1, cell(Math.max(y0, y1) + r, low));
    const [dx, dy] = [x1 - x0, y1 - y0];
    const square = dx * dx + dy * dy;
    for (let j = j0; j <= j1; j++) {
      const y = low + (j + 0.5) * GRID;
      for (let i = i0; i <= i1; i++) {
        const x = left + (i + 0.5) * GRID;
        const t = square ? Math.min(1, Math.max(0, ((x - x0) * dx + (y - y0) * dy) / square)) : 0;
        const [ex, ey] = [x - x0 - t * dx, y - y0 - t * dy];
        if (ex * ex + ey * ey <= r * r) mask[j * n + i] = 1;
      }
    }
  }
  return mask;
}

/** Connected areas of the squares that no mask covers, corners counted: {of, count}, from 0. */
function areasOf(n, a, b) {
  const of = new Int32Array(n * n).fill(NOBODY);
  const stack = new Int32Array(n * n);
  let count = 0;
  for (let start = 0; start < n * n; start++) {
    if (a[start] || b[start] || of[start] !== NOBODY) continue;
    let top = 0;
    stack[top++] = start;
    of[start] = count;
    while (top) {
      const here = stack[--top];
      const i = here % n;
      const j = (here - i) / n;
      for (let v = Math.max(0, j - 1); v <= Math.min(n - 1, j + 1); v++) {
        for (let u = Math.max(0, i - 1); u <= Math.min(n - 1, i + 1); u++) {
          const next = v * n + u;
          if (a[next] || b[next] || of[next] !== NOBODY) continue;
          of[next] = count;
          stack[top++] = next;
        }
      }
    }
    count++;
  }
  return { of, count };
}

/** What surrounds a join with nothing slid: grooves, and whose copper each square is. */
function surroundings(join, reach) {
  const key = `${slide.pass} ${reach}`;
  if (join.around?.key === key) return join.around;
  const half = join.overrun + reach + 1;
  const n = Math.round((2 * half) / GRID);
  const [x0, y0] = [join.at[0] - half, join.at[1] - half];
  const frame = { n, x0, y0, half };
  const box = [x0 - reach, y0 - reach, x0 + 2 * half + reach, y0 + 2 * half + reach];
  const moving = footOf(box, (number) => number === slide.pass);
  const still = footOf(box, (number) => number !== slide.pass);
  const fixed = raster(frame, still);
  const { of, count } = areasOf(n, fixed, raster(frame, moving));
  const owner = new Int32Array(count).fill(NOBODY);
  const here = parts
    .map((part, index) => ({ part, index }))
    .filter(({ part }) => part.blank === state.blank && boxesMeet(part.area.box, box));
  for (let k = 0; k < n * n; k++) {
    const area = of[k];
    if (area < 0 || owner[area] !== NOBODY) continue;
    const [x, y] = [x0 + ((k % n) + 0.5) * GRID, y0 + (Math.floor(k / n) + 0.5) * GRID];
    const on = here.find(({ part }) => inside(part.area, x, y));
    // floating copper is all one: joined to other floating copper it harms nobody
    if (on) owner[area] = on.part.carries.length ? on.index + 1 : 0;
  }
  const whose = of.map((area) => (area < 0 ? NOBODY : owner[area]));
  join.around = { key, frame, moving, still, fixed, whose };
  return join.around;
}

/** One join under the slide: {bridges, gap, moved, image}; gap in mm, null where nothing is near. */
function workedOut(join) {
  const [mx, my] = slid(...join.at);
  const [dx, dy] = [mx - join.at[0], my - join.at[1]];
  const moved_ = Math.hypot(dx, dy);
  const around = surroundings(join, Math.max(0.5, Math.ceil(moved_ * 2) / 2));
  const { frame, moving, still, fixed, whose } = around;
  const { n } = frame;
  const groove = raster(frame, moving, 0, slid);
  const swept = raster(frame, moving, moved_);
  const carried = raster(frame, still, moved_, slid);
  const { of, count } = areasOf(n, fixed, groove);
  const [di, dj] = [Math.round(dx / GRID), Math.round(dy / GRID)];
  const owner = new Int32Array(count).fill(NOBODY);
  const bridged = new Uint8Array(count);
  const claim = (area, who) => {
    if (who === NOBODY) return;
    if (owner[area] === NOBODY) owner[area] = who;
    else if (owner[area] !== who) bridged[area] = 1;
  };
  for (let j = 0; j < n; j++) {
    for (let i = 0; i < n; i++) {
      const k = j * n + i;
      if (of[k] < 0) continue;
      if (!swept[k]) claim(of[k], whose[k]);
      const [u, v] = [i - di, j - dj];
      if (!carried[k] && u >= 0 && v >= 0 && u < n && v < n) claim(of[k], whose[v * n + u]);
    }
  }
  const bridges = bridged.includes(1);
  const gap = bridges ? 0 : gapLeft(frame, of, owner, join);
  return { join, bridges, gap, moved: moved_, frame, of, owner, bridged };
}

/** The least distance between copper of two parts near a join, mm; null where there is one part. */
function gapLeft({ n, x0, y0 }, of, owner, join) {
  const rims = new Map();
  const near = join.overrun + 0.6;
  for (let j = 1; j < n - 1; j++) {
    for (let i = 1; i < n - 1; i++) {
      const k = j * n + i;
      if (of[k] < 0 || owner[of[k]] === NOBODY) continue;
      if (of[k - 1] >= 0 && of[k + 1] >= 0 && of[k - n] >= 0 && of[k + n] >= 0) continue;
      const [x, y] = [x0 + (i + 0.5) * GRID - join.at[0], y0 + (j + 0.5) * GRID - join.at[1]];
      if (Math.abs(x) > near || Math.abs(y) > near) continue;
      const who = owner[of[k]];
      if (!rims.has(who)) rims.set(who, []);
      rims.get(who).push(x, y);
    }
  }
  let least = Infinity;
  const lists = [...rims.values()];
  lists.forEach((a, k) => {
    for (const b of lists.slice(k + 1)) {
      for (let i = 0; i < a.length; i += 2) {
        for (let j = 0; j < b.length; j += 2) {
          const [x, y] = [a[i] - b[j], a[i + 1] - b[j + 1]];
          const square = x * x + y * y;
          if (square < least) least = square;
        }
      }
    }
  });
  return least === Infinity ? null : Math.sqrt(least);
}
