// What is cut along a line: depths and widths from the moves of the programs. Pure functions.
// Depths are mm below Z0, downward positive.
const THROUGH = 1e-9; // mm; less is no cut
const HALVINGS = 40;

/** How deep a cutter with its tip at a depth cuts so far aside of its axis; 0 for not at all. */
function depthAside(cutter, depth, aside) {
  const half = (((cutter.angle || 0) / 2) * Math.PI) / 180;
  const flat = cutter.kind === "vee" ? cutter.tip / 2 : cutter.kind === "drill" ? 0 : cutter.diameter / 2;
  if (cutter.kind !== "vee" && aside > cutter.diameter / 2 + THROUGH) return 0;
  if (aside <= flat || half === 0) return Math.max(0, depth);
  return Math.max(0, depth - (aside - flat) / Math.tan(half));
}

/** How far aside of its axis a cutter with its tip at a depth cuts at all. */
function reachOf(cutter, depth) {
  const half = (((cutter.angle || 0) / 2) * Math.PI) / 180;
  return cutter.kind === "vee" ? cutter.tip / 2 + depth * Math.tan(half) : cutter.diameter / 2;
}

/** A program's moves that cut near the box [x0, y0, x1, y1]: {p, i, reach}. */
function movesNear(programs, box) {
  const near = [];
  for (const p of programs) {
    if (!p.spins) continue;
    for (const chunk of p.chunks) {
      const b = chunk.box;
      if (b[0] > box[2] || b[2] < box[0] || b[1] > box[3] || b[3] < box[1]) continue;
      for (let i = chunk.from; i < chunk.to; i++) {
        const deepest = -Math.min(p.mz[i], p.mz[i + 1]);
        if (deepest <= THROUGH) continue;
        const reach = reachOf(p.cutter, deepest);
        const arc = p.arcs.get(i);
        const [xs, ys] = arc
          ? [[arc.x - arc.radius, arc.x + arc.radius], [arc.y - arc.radius, arc.y + arc.radius]]
          : [[p.X[i], p.X[i + 1]], [p.Y[i], p.Y[i + 1]]];
        if (Math.min(...xs) - reach > box[2] || Math.max(...xs) + reach < box[0]) continue;
        if (Math.min(...ys) - reach > box[3] || Math.max(...ys) + reach < box[1]) continue;
        near.push({ p, i, reach });
      }
    }
  }
  return near;
}

/** The share of a move nearest to a place, and how far from it that is. */
function nearestOn(p, i, x, y) {
  const arc = p.arcs.get(i);
  if (arc) {
    const way = Math.sign(arc.sweep);
    const full = 2 * Math.PI;
    const turned = way * (Math.atan2(y - arc.y, x - arc.x) - arc.from);
    const gone = ((turned % full) + full) % full;
    if (gone <= Math.abs(arc.sweep)) {
      return [gone / Math.abs(arc.sweep), Math.abs(Math.hypot(x - arc.x, y - arc.y) - arc.radius)];
    }
    const first = Math.hypot(x - p.X[i], y - p.Y[i]);
    const last = Math.hypot(x - p.X[i + 1], y - p.Y[i + 1]);
    return first < last ? [0, first] : [1, last];
  }
  const [dx, dy] = [p.X[i + 1] - p.X[i], p.Y[i + 1] - p.Y[i]];
  const square = dx * dx + dy * dy;
  // up or down on the spot: the deeper end cuts
  if (square === 0) return [p.mz[i + 1] < p.mz[i] ? 1 : 0, Math.hypot(x - p.X[i], y - p.Y[i])];
  const share = Math.min(1, Math.max(0, ((x - p.X[i]) * dx + (y - p.Y[i]) * dy) / square));
  return [share, Math.hypot(x - p.X[i] - share * dx, y - p.Y[i] - share * dy)];
}

/** What the moves cut at a place: [depth, program that cuts deepest or null]. */
function depthAt(moves, x, y) {
  let deepest = 0;
  let by = null;
  for (const { p, i, reach } of moves) {
    const [share, aside] = nearestOn(p, i, x, y);
    if (aside > reach) continue;
    const tip = -(p.mz[i] + (p.mz[i + 1] - p.mz[i]) * share);
    const depth = depthAside(p.cutter, tip, aside);
    if (depth > deepest) [deepest, by] = [depth, p];
  }
  return [deepest, by];
}

/**
 * The cut along the line from `a` to `b`: `depths` at `count` + 1 places a step apart, and `cuts`,
 * each {from, to, foot, deepest, cutter}: where it begins and ends at the surface, its width at
 * the foot of the copper, how deep it is. Lengths count from `a`.
 */
function sectionOf(programs, a, b, copper, count = 1200) {
  const long = Math.hypot(b[0] - a[0], b[1] - a[1]);
  const at = (s) => [a[0] + ((b[0] - a[0]) * s) / long, a[1] + ((b[1] - a[1]) * s) / long];
  const box = [Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[0], b[0]), Math.max(a[1], b[1])];
  const moves = movesNear(programs, box);
  const deep = (s) => depthAt(moves, ...at(s));
  const depths = new Float64Array(count + 1);
  const by = [];
  for (let k = 0; k <= count; k++) [depths[k], by[k]] = deep((k * long) / count);
  const step = long / count;
  /** Where between two neighbouring places the depth passes a level. */
  const crossing = (k, level) => {
    let [low, high] = [k * step, (k + 1) * step];
    const rising = depths[k + 1] > level;
    for (let n = 0; n < HALVINGS; n++) {
      const middle = (low + high) / 2;
      if (deep(middle)[0] > level === rising) high = middle;
      else low = middle;
    }
    return (low + high) / 2;
  };
  /** Every stretch that is deeper than a level: [from, to, first place, last place]. */
  const deeper = (level) => {
    const found = [];
    for (let k = 0; k <= count; k++) {
      if (depths[k] <= level) continue;
      const first = k;
      while (k < count && depths[k + 1] > level) k++;
      found.push([
        first ? crossing(first - 1, level) : 0, k < count ? crossing(k, level) : long, first, k,
      ]);
    }
    return found;
  };
  const feet = deeper(copper);
  const cuts = deeper(THROUGH).map(([from, to, first, last]) => {
    let most = first;
    for (let k = first; k <= last; k++) if (depths[k] > depths[most]) most = k;
    const foot = feet
      .filter((one) => one[0] >= from - step && one[1] <= to + step)
      .reduce((sum, one) => sum + one[1] - one[0], 0);
    return { from, to, foot, deepest: depths[most], cutter: by[most].cutter };
  });
  return { long, depths, cuts };
}
