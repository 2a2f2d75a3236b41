// Drawing. What stands still is painted in slices on a sheet larger than the view, which is then
// shown, moved and stretched until the next one is done; what moves is drawn anew every time.
const MARGIN = 0.25; // of the view, on every side
const SLICE = 9; // ms of painting in a frame
const BATCH = 700; // lines of a path painted at once
const SEEN = 0.6; // pixels; steps below this are not drawn

let sheet = null; // {canvas, view} that is shown
let work = null; // {canvas, view, steps} in the making
let due = false;
const LABEL = "12px system-ui, sans-serif";

/** Something changed: the contents too, or only from where they are seen. */
function changed(contents = true) {
  if (contents) {
    work = null;
    if (sheet) sheet.stale = true;
  }
  if (!due) {
    due = true;
    requestAnimationFrame(frame);
  }
}

function frame() {
  due = false;
  if (typeof tick === "function") tick();
  order();
  if (work) {
    const until = performance.now() + SLICE;
    while (work && performance.now() < until) {
      if (work.steps.next().done) {
        sheet = { canvas: work.canvas, view: work.view, stale: false };
        work = null;
        canvas.dataset.painted = String(Number(canvas.dataset.painted || 0) + 1);
      }
    }
  }
  compose();
  if (work) changed(false);
}

/** Begin a sheet where there is none that will do. */
function order() {
  const fits = (one, part) =>
    one && one.view.scale === state.scale && one.view.up === up() && covers(one.view, part);
  if (fits(sheet, 0.4) && !sheet.stale) {
    return;
  }
  if (fits(work, 0)) return;
  const spare = document.createElement("canvas");
  const grown = 1 + 2 * MARGIN;
  const view = {
    x: state.x, y: state.y, scale: state.scale, up: up(),
    width: Math.ceil(size.width * grown), height: Math.ceil(size.height * grown),
    done: movesDone(),
  };
  const wide = view.width / 2 / view.scale;
  const high = view.height / 2 / view.scale;
  view.box = [view.x - wide, view.y - high, view.x + wide, view.y + high];
  spare.width = view.width * size.ratio;
  spare.height = view.height * size.ratio;
  const c = spare.getContext("2d", { alpha: false });
  c.scale(size.ratio, size.ratio);
  work = { canvas: spare, view, steps: paint(c, view) };
}

/** Whether a sheet holds all of the view and a part of its margin around it, if there is more. */
function covers(view, part) {
  const wide = (size.width / 2 / state.scale) * (1 + 2 * MARGIN * part);
  const high = (size.height / 2 / state.scale) * (1 + 2 * MARGIN * part);
  return (
    state.x - wide >= view.box[0] && state.x + wide <= view.box[2] &&
    state.y - high >= view.box[1] && state.y + high <= view.box[3]
  );
}

const sx = (v, x) => v.width / 2 + (x - v.x) * v.scale;
const sy = (v, y) => v.height / 2 + v.up * (y - v.y) * v.scale;

/** A ring or a line into the path under way; steps too small to see are left out. */
function trace(c, v, xy, closed = true) {
  let px = sx(v, xy[0]);
  let py = sy(v, xy[1]);
  c.moveTo(px, py);
  for (let i = 2; i < xy.length; i += 2) {
    const x = sx(v, xy[i]);
    const y = sy(v, xy[i + 1]);
    if (Math.abs(x - px) + Math.abs(y - py) < SEEN) continue;
    c.lineTo(x, y);
    px = x;
    py = y;
  }
  if (closed) c.closePath();
}

function* fill(c, v, list, colourOf) {
  let count = 0;
  for (const one of list) {
    if (!boxesMeet(one.area.box, v.box)) continue;
    c.beginPath();
    for (const ring of one.area.rings) {
      trace(c, v, ring);
      count += ring.length;
    }
    c.fillStyle = colourOf(one);
    c.fill("evenodd");
    if (count > 3000) {
      count = 0;
      yield;
    }
  }
}

function* outline(c, v, list) {
  for (const one of list) {
    if (!boxesMeet(one.area.box, v.box)) continue;
    c.beginPath();
    for (const ring of one.area.rings) trace(c, v, ring);
    c.stroke();
    yield;
  }
}

/** All that stands still, from the bottom up. */
function* paint(c, v) {
  const ink = colours();
  const on = state.layers;
  const here = (list) => list.filter((one) => one.blank === state.blank);
  c.fillStyle = ink.page;
  c.fillRect(0, 0, v.width, v.height);
  c.lineJoin = "round";
  c.font = LABEL;
  if (onBed()) {
    yield* paintBed(c, v);
  } else {
    yield* fill(c, v, here(blanks.map((b) => ({ ...b, blank: b.number }))), () => ink.laminate);
    const cut = on.asCut && parts.length > 0;
    if (on.design && !cut) yield* fill(c, v, here(pieces), () => ink.copper);
    if (cut) {
      const kind = (part) => ["copper", "piece", "short"][Math.min(2, part.carries.length)];
      yield* fill(c, v, here(parts), (part) => ink[kind(part)]);
    }
    if (on.design && cut) {
      c.strokeStyle = ink.ink;
      c.lineWidth = 1;
      yield* outline(c, v, here(pieces));
    }
    c.strokeStyle = ink.quiet;
    c.lineWidth = 1;
    yield* outline(c, v, here(outlines));
    c.strokeStyle = ink.ink;
    c.lineWidth = 1.5;
    yield* outline(c, v, here(blanks.map((b) => ({ ...b, blank: b.number }))));
  }
  if (on.paths) for (const p of shown()) yield* paintProgram(c, v, p);
  if (on.air) for (const p of shown()) yield* paintAir(c, v, p);
  if (!onBed()) {
    if (on.holes) yield* paintHoles(c, v, here(data.holes));
    paintMarks(c, v, here);
  }
}

function* paintBed(c, v) {
  const t = data.machine.travel;
  const ink = colours();
  c.fillStyle = ink.laminate;
  c.strokeStyle = ink.ink;
  c.lineWidth = 1.5;
  c.beginPath();
  trace(c, v, [t[0], t[1], t[2], t[1], t[2], t[3], t[0], t[3]]);
  c.fill();
  c.stroke();
  label(c, say("travel"), sx(v, t[0]) + 6, sy(v, v.up < 0 ? t[3] : t[1]) + 16);
  yield;
}

/** What a program cuts, at its true width; what is still to be cut as thin lines. */
function* paintProgram(c, v, p) {
  const done = v.done.get(p.index) ?? p.n;
  yield* paintMoves(c, v, p, done, p.n, false);
  yield* paintMoves(c, v, p, 0, done, true);
}

function* paintMoves(c, v, p, first, end, cut) {
  if (first >= end) return;
  const begin = (width) => {
    const wide = cut ? Math.max(1, width * v.scale) : 1;
    c.lineWidth = wide;
    c.lineCap = wide < 1.5 ? "butt" : "round";
    c.lineJoin = wide < 1.5 ? "bevel" : "round";
    c.beginPath();
  };
  const close = (width) => {
    c.strokeStyle = cutterColour(p.cutterIndex);
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
      if (count && (Math.abs(w - width) > 1e-3 || count > BATCH)) {
        close(width);
        const full = count > BATCH;
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

/** Windows, clamps, tabs, registration holes, joins, verniers. */
function paintMarks(c, v, here) {
  const ink = colours();
  const on = state.layers;
  const stages = here(windows).filter((w) => state.pass === null || w.number === state.pass);
  if (on.tabs) {
    c.lineCap = "butt";
    for (const tab of here(tabs)) {
      for (const [colour, more] of [[ink.ink, 3], [ink.flag, 0]]) {
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
  label(c, say("passWindow", { pass: stage.number }), sx(v, box[0]) + 6,
    sy(v, v.up < 0 ? box[3] : box[1]) + row);
  if (state.pass === null) return;
  const [x, y] = moved(inverse(stage.pose), ...stage.touch).map((k, i) => (i ? sy(v, k) : sx(v, k)));
  c.strokeStyle = colours().ink;
  c.lineWidth = 2;
  c.beginPath();
  c.moveTo(x - 8, y);
  c.lineTo(x + 8, y);
  c.moveTo(x, y - 8);
  c.lineTo(x, y + 8);
  c.stroke();
  label(c, say("touch"), x + 10, y - 6);
}

function paintClamps(c, v, stage) {
  const ink = colours();
  const back = inverse(stage.pose);
  for (const clamp of data.clamps) {
    if (clamp.passes && !clamp.passes.includes(stage.number)) continue;
    const [x0, y0, x1, y1] = clamp.box;
    const corners = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]].flatMap((at) => moved(back, ...at));
    c.fillStyle = ink.clamp;
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
    if (state.pass === null) label(c, String(stage.number), sx(v, x), sy(v, y) + 4, "center");
  }
}

function paintRegistration(c, v, hole) {
  const ink = colours();
  const [x, y] = [sx(v, hole.at[0]), sy(v, hole.at[1])];
  const r = Math.max(4, (hole.diameter / 2) * v.scale);
  c.lineWidth = 2;
  c.strokeStyle = ink.ink;
  c.fillStyle = ink.hole;
  c.beginPath();
  c.arc(x, y, r, 0, 2 * Math.PI);
  c.fill();
  c.stroke();
  c.lineWidth = 1;
  c.beginPath();
  c.moveTo(x - r - 4, y);
  c.lineTo(x + r + 4, y);
  c.moveTo(x, y - r - 4);
  c.lineTo(x, y + r + 4);
  c.stroke();
  if (v.scale > 1) label(c, hole.id, x + r + 5, y - 5);
}

/** The sheet as it lies under the view, then all that moves. */
function compose() {
  const ink = colours();
  pen.setTransform(size.ratio, 0, 0, size.ratio, 0, 0);
  pen.fillStyle = ink.page;
  pen.fillRect(0, 0, size.width, size.height);
  const shownSheet = sheet && sheet.view.up === up() ? sheet : work;
  if (shownSheet) {
    const v = shownSheet.view;
    const k = state.scale / v.scale;
    const [x, y] = toScreen(v.x, v.y);
    const w = v.width * k;
    const h = v.height * k;
    pen.imageSmoothingEnabled = k !== 1;
    const snap = k === 1 ? (n) => Math.round(n * size.ratio) / size.ratio : (n) => n;
    pen.drawImage(shownSheet.canvas, snap(x - w / 2), snap(y - h / 2), w, h);
    if (shownSheet === sheet) overlayCut(v);
  }
  overlay();
  publish();
}

const viewNow = () => ({
  x: state.x, y: state.y, scale: state.scale, up: up(), width: size.width, height: size.height,
  box: [
    state.x - size.width / 2 / state.scale, state.y - size.height / 2 / state.scale,
    state.x + size.width / 2 / state.scale, state.y + size.height / 2 / state.scale,
  ],
});

/** What was cut since the sheet was painted; a sheet that lags far behind is painted anew. */
function overlayCut(painted) {
  if (state.time === null || !state.layers.paths) return;
  const done = movesDone();
  let lag = 0;
  for (const p of shown()) {
    const was = painted.done.get(p.index) ?? p.n;
    const is = done.get(p.index);
    lag += Math.abs(is - was);
    if (is > was && is - was < 6000) for (const _ of paintMoves(pen, viewNow(), p, was, is, true));
  }
  if (lag > 300 && !work) sheet.stale = true;
  if (sheet.stale) changed(false);
}

function overlay() {
  const ink = colours();
  const v = viewNow();
  if (state.layers.findings && !onBed()) {
    for (const one of data.findings) {
      if (!one.at || one.blank !== state.blank) continue;
      flag(...toScreen(...one.at), one.name, one.name === state.flagged);
    }
  }
  highlight(v);
  for (const at of state.measure) if (at) cross(...toScreen(...at), ink.accent);
  if (state.measure[0] && state.measure[1]) {
    const [a, b] = state.measure.map((at) => toScreen(...at));
    pen.strokeStyle = ink.accent;
    pen.lineWidth = 2;
    pen.beginPath();
    pen.moveTo(...a);
    pen.lineTo(...b);
    pen.stroke();
    label(pen, `${figure(measured())} mm`, (a[0] + b[0]) / 2 + 8, (a[1] + b[1]) / 2 - 8);
  }
  if (state.time !== null) drawCutter();
  if (document.activeElement === canvas && state.keys) {
    cross(size.width / 2, size.height / 2, ink.quiet);
  }
  scaleBar();
  const side = onBed() ? "bedSide" : state.fromComponents ? "componentsSide" : "copperSide";
  label(pen, say(side), 10, size.height - 28);
}

function cross(x, y, colour) {
  pen.strokeStyle = colour;
  pen.lineWidth = 1.5;
  pen.beginPath();
  pen.moveTo(x - 9, y);
  pen.lineTo(x + 9, y);
  pen.moveTo(x, y - 9);
  pen.lineTo(x, y + 9);
  pen.stroke();
}

/** A flag whose foot stands on the place. */
function flag(x, y, name, chosen) {
  const ink = colours();
  const wide = 12 + 8 * name.length;
  pen.lineWidth = chosen ? 3 : 1.2;
  pen.strokeStyle = ink.flag_ink;
  pen.fillStyle = ink.flag;
  pen.beginPath();
  pen.moveTo(x, y);
  pen.lineTo(x, y - 30);
  pen.lineTo(x + wide, y - 30);
  pen.lineTo(x + wide, y - 12);
  pen.lineTo(x + 4, y - 12);
  pen.closePath();
  pen.fill();
  pen.stroke();
  pen.fillStyle = ink.flag_ink;
  pen.textAlign = "center";
  pen.font = "bold 12px system-ui, sans-serif";
  pen.fillText(name, x + wide / 2, y - 17);
  if (!chosen) return;
  pen.strokeStyle = ink.accent;
  pen.lineWidth = 2.5;
  pen.beginPath();
  pen.arc(x, y, 16, 0, 2 * Math.PI);
  pen.stroke();
}

function drawCutter() {
  const at = cutterAt(state.time);
  if (!at) return;
  const ink = colours();
  const p = at.program;
  const [x, y] = toScreen(at.x, at.y);
  const cutting = at.mz < 0 && p.spins;
  const width = cutting ? widthOf(p.cutter, -at.mz) : p.cutter.diameter || p.cutter.tip;
  const r = Math.max(2.5, (width / 2) * state.scale);
  pen.beginPath();
  pen.arc(x, y, r, 0, 2 * Math.PI);
  pen.fillStyle = cutting ? ink.flag : ink.page;
  pen.fill();
  pen.lineWidth = 1.5;
  pen.strokeStyle = ink.flag_ink;
  pen.stroke();
  for (const [colour, wide] of [[ink.page, 5], [ink.ink, 2]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.beginPath();
    pen.arc(x, y, Math.max(r + 5, 11), 0, 2 * Math.PI);
    pen.stroke();
  }
}

/** A bar of a round length. */
function scaleBar() {
  const ink = colours();
  const most = Math.min(160, size.width / 3) / state.scale;
  const ten = 10 ** Math.floor(Math.log10(most));
  const long = [5, 2, 1].map((k) => k * ten).find((k) => k <= most);
  const [x, y] = [12, size.height - 14];
  const wide = long * state.scale;
  pen.fillStyle = ink.page;
  pen.fillRect(x - 2, y - 2, wide + 4, 9);
  pen.fillStyle = ink.ink;
  pen.fillRect(x, y, wide / 2, 5);
  pen.strokeStyle = ink.ink;
  pen.lineWidth = 1;
  pen.strokeRect(x + 0.5, y + 0.5, wide - 1, 4);
  label(pen, `${figure(long, long < 0.1 ? 3 : long < 1 ? 1 : 0)} mm`, x + wide + 8, y + 7);
}
