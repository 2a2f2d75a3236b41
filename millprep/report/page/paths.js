// Programs, painted: what they cut at its true width, and their moves in the air.

/** What a program cuts, at its true width; what is still to be cut as thin lines. */
function* paintProgram(c, v, p) {
  const done = v.done.get(p.index) ?? p.n;
  yield* paintMoves(c, v, p, done, p.n, false);
  yield* paintMoves(c, v, p, 0, done, true);
}

function* paintMoves(c, v, p, first, end, cut, colour = cutterColour(p.cutterIndex)) {
  if (first >= end) return;
  const begin = (width) => {
    const wide = cut ? Math.max(1, width * v.scale) : 1;
    c.lineWidth = wide;
    c.lineCap = wide < 1.5 ? "butt" : "round";
    c.lineJoin = wide < 1.5 ? "bevel" : "round";
    c.beginPath();
  };
  const close = (width) => {
    c.strokeStyle = colour;
    c.globalAlpha = cut ? 1 : 0.5;
    c.stroke();
    c.globalAlpha = 1;
    if (cut && width * v.scale > 10) {
      c.strokeStyle = colours().page;
      c.lineWidth = 1;
      c.stroke();
    }
  };
  let width = 0;
  let count = 0;
  for (const chunk of p.chunks) {
    if (chunk.to <= first || chunk.from >= end || !boxesMeet(chunk.box, v.box)) continue;
    let px = NaN;
    let py = NaN;
    const to = Math.min(chunk.to, end);
    for (let i = Math.max(chunk.from, first); i < to; i++) {
      const w = p.width[i];
      if (w === 0) {
        px = NaN;
        continue;
      }
      const full = count > (width * v.scale > 4 ? BATCH / 4 : BATCH);
      if (count && (Math.abs(w - width) > 1e-3 || full)) {
        close(width);
        count = 0;
        px = NaN;
        if (full) yield;
      }
      if (!count) {
        width = w;
        begin(width);
      }
      const x0 = sx(v, p.X[i]);
      const y0 = sy(v, p.Y[i]);
      if (Number.isNaN(px)) {
        c.moveTo(x0, y0);
        px = x0;
        py = y0;
      }
      const arc = p.arcs.get(i);
      const x = sx(v, p.X[i + 1]);
      const y = sy(v, p.Y[i + 1]);
      if (arc && arc.radius * v.scale > SEEN) {
        if (px !== x0 || py !== y0) c.lineTo(x0, y0);
        bend(c, v, arc);
      } else if (x === x0 && y === y0) {
        c.lineTo(x + 0.01, y); // a plunge is a dot, and a line of no length would be none
      } else {
        const step = Math.abs(x - px) + Math.abs(y - py);
        const more = i + 1 < to && p.width[i + 1] > 0;
        if (step < SEEN && more) continue;
        c.lineTo(x, y);
      }
      px = x;
      py = y;
      count++;
    }
  }
  if (count) close(width);
  yield;
}

/** An arc into the path under way; large ones as chords, which a float holds better. */
function bend(c, v, arc) {
  const r = arc.radius * v.scale;
  if (r < 5000) {
    const from = v.up * arc.from;
    const sweep = v.up * arc.sweep;
    c.arc(sx(v, arc.x), sy(v, arc.y), r, from, from + sweep, sweep < 0);
    return;
  }
  const steps = Math.ceil(Math.abs(arc.sweep) / (2 * Math.acos(1 - 0.2 / r)));
  for (let k = 1; k <= steps; k++) {
    const angle = arc.from + (arc.sweep * k) / steps;
    c.lineTo(
      sx(v, arc.x + arc.radius * Math.cos(angle)),
      sy(v, arc.y + arc.radius * Math.sin(angle)),
    );
  }
}

function* paintAir(c, v, p) {
  c.strokeStyle = colours().quiet;
  c.lineWidth = 1;
  c.lineCap = "butt";
  c.setLineDash([4, 4]);
  for (const chunk of p.chunks) {
    if (!boxesMeet(chunk.box, v.box)) continue;
    c.beginPath();
    for (let i = chunk.from; i < chunk.to; i++) {
      if (p.width[i] > 0) continue;
      const x0 = sx(v, p.X[i]);
      const y0 = sy(v, p.Y[i]);
      const x = sx(v, p.X[i + 1]);
      const y = sy(v, p.Y[i + 1]);
      if (Math.abs(x - x0) + Math.abs(y - y0) < SEEN) continue;
      c.moveTo(x0, y0);
      c.lineTo(x, y);
    }
    c.stroke();
    yield;
  }
  c.setLineDash([]);
}
