// Narrowest gaps are measured on what is drawn: outlines of the as-cut copper, thinned by less
// than a hundredth of a millimetre. Segments lie in a grid of square cells.
const CELL = 1;
const grids = new Map();
const cellOf = (v) => Math.floor(v / CELL);
const keyOf = (i, j) => i * 100003 + j;

function gridOf(blank) {
  if (grids.has(blank)) return grids.get(blank);
  const grid = new Map();
  parts.forEach((part, index) => {
    if (part.blank !== blank) return;
    eachSegment(part.area, (x0, y0, x1, y1) => {
      const segment = [x0, y0, x1, y1, index];
      let last = null;
      for (const key of cellsAlong(x0, y0, x1, y1, 0)) {
        if (key === last) continue;
        last = key;
        if (!grid.has(key)) grid.set(key, []);
        grid.get(key).push(segment);
      }
    });
  });
  grids.set(blank, grid);
  return grid;
}

function eachSegment(area, take) {
  for (const ring of area.rings) {
    for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2) {
      take(ring[j], ring[j + 1], ring[i], ring[i + 1]);
    }
  }
}

/** Keys of all cells that the box around a short stretch meets, stretch by stretch. */
function* cellsAlong(x0, y0, x1, y1, by) {
  const steps = Math.max(1, Math.ceil(Math.max(Math.abs(x1 - x0), Math.abs(y1 - y0)) / CELL));
  for (let k = 0; k < steps; k++) {
    const [ax, bx] = [x0 + ((x1 - x0) * k) / steps, x0 + ((x1 - x0) * (k + 1)) / steps];
    const [ay, by_] = [y0 + ((y1 - y0) * k) / steps, y0 + ((y1 - y0) * (k + 1)) / steps];
    for (let i = cellOf(Math.min(ax, bx) - by); i <= cellOf(Math.max(ax, bx) + by); i++) {
      for (let j = cellOf(Math.min(ay, by_) - by); j <= cellOf(Math.max(ay, by_) + by); j++) {
        yield keyOf(i, j);
      }
    }
  }
}

/** The nearest copper to a part: any, and such as carries a piece; null beyond 40 mm. */
function gapsOf(part) {
  if (part.gaps) return part.gaps;
  const grid = gridOf(part.blank);
  const mine = parts.indexOf(part);
  let any = null;
  let other = null;
  for (const reach of [2, 40]) {
    eachSegment(part.area, (x0, y0, x1, y1) => {
      const by = other ? other.distance : reach;
      for (const key of cellsAlong(x0, y0, x1, y1, by)) {
        const cell = grid.get(key);
        if (!cell) continue;
        for (const [u0, v0, u1, v1, index] of cell) {
          if (index === mine) continue;
          const limit = other ? other.distance : reach;
          const near = closest([x0, y0, x1, y1], [u0, v0, u1, v1], limit);
          if (near) {
            const one = { ...near, index };
            if (!any || one.distance < any.distance) any = one;
            const carries = parts[index].carries.length > 0;
            if (carries && (!other || one.distance < other.distance)) other = one;
          }
        }
      }
    });
    if (other && other.distance <= reach) break;
  }
  part.gaps = { any, other };
  return part.gaps;
}

/** The nearest places of two segments, {distance, from, to}; null where their boxes are farther apart. */
function closest([x0, y0, x1, y1], [u0, v0, u1, v1], limit) {
  if (
    Math.min(u0, u1) > Math.max(x0, x1) + limit ||
    Math.max(u0, u1) < Math.min(x0, x1) - limit ||
    Math.min(v0, v1) > Math.max(y0, y1) + limit ||
    Math.max(v0, v1) < Math.min(y0, y1) - limit
  ) return null;
  let best = null;
  for (const [x, y, a, b, c, d] of [
    [x0, y0, u0, v0, u1, v1], [x1, y1, u0, v0, u1, v1],
    [u0, v0, x0, y0, x1, y1], [u1, v1, x0, y0, x1, y1],
  ]) {
    const near = toSegment(x, y, a, b, c, d);
    if (!best || near.distance < best.distance) {
      best = { distance: near.distance, from: [x, y], to: near.at };
    }
  }
  return best;
}

/** The nearest place of every other part within `reach` of a part: {distance, from, to, index}. */
function nearParts(part, reach) {
  const grid = gridOf(part.blank);
  const mine = parts.indexOf(part);
  const best = new Map();
  eachSegment(part.area, (...mySegment) => {
    for (const key of cellsAlong(...mySegment, reach)) {
      for (const [u0, v0, u1, v1, index] of grid.get(key) ?? []) {
        if (index === mine) continue;
        const limit = best.get(index)?.distance ?? reach;
        const near = closest(mySegment, [u0, v0, u1, v1], limit);
        if (near && near.distance < limit) best.set(index, { ...near, index });
      }
    }
  });
  return [...best.values()];
}
