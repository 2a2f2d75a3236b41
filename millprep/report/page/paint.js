// Drawing. What stands still is painted in slices on a sheet larger than the view, which is then
// shown, moved and stretched until the next one is done; what moves is drawn anew every time.
const MARGIN = 0.25; // of the view, on every side
const SLICE = 9; // ms of painting in a frame
const BATCH = 600; // lines of a path painted at once; wide ones cost more and are fewer
const SEEN = 0.6; // pixels; steps below this are not drawn

let sheet = null; // {canvas, view} that is shown
let work = null; // {canvas, c, view, steps} in the making
let idle = null; // a sheet's canvas that is shown no more, to paint on again
let due = false;
const LABEL = "12px system-ui, sans-serif";

/** Something changed: the contents too, or only from where they are seen. */
function changed(contents = true) {
  if (contents) {
    if (work) idle = work.canvas;
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
      const { done } = work.steps.next();
      // browsers put painting off to the end of the frame; asked for a pixel they do it now, and
      // the clock above counts it
      work.c.getImageData(0, 0, 1, 1);
      if (done) {
        idle = sheet ? sheet.canvas : idle;
        sheet = { canvas: work.canvas, view: work.view, stale: false };
        work = null;
        canvas.dataset.painted = String(Number(canvas.dataset.painted || 0) + 1);
      }
    }
  }
  slideOn();
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
  const spare = work ? work.canvas : (idle ?? document.createElement("canvas"));
  idle = null;
  const grown = 1 + 2 * MARGIN;
  const view = {
    x: state.x, y: state.y, scale: state.scale, up: up(),
    width: Math.ceil(size.width * grown), height: Math.ceil(size.height * grown),
    done: movesDone(),
  };
  const wide = view.width / 2 / view.scale;
  const high = view.height / 2 / view.scale;
  view.box = [view.x - wide, view.y - high, view.x + wide, view.y + high];
  const [w, h] = [view.width, view.height].map((v) => Math.round(v * size.ratio));
  const c = spare.getContext("2d", { alpha: false, willReadFrequently: true });
  // work that was dropped half done leaves pens as they were; a new size resets all, and so does this
  if (c.reset && spare.width === w && spare.height === h) c.reset();
  else [spare.width, spare.height] = [w, h];
  c.scale(size.ratio, size.ratio);
  work = { canvas: spare, c, view, steps: paint(c, view) };
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
    const cut = on.asCut && parts.length > 0 && state.time === null;
    if (on.design && !cut) yield* fill(c, v, here(pieces), () => ink.copper);
    if (cut) {
      const kinds = [hatching(c, ink.copper, ink.laminate), ink.copper, hatching(c, ink.ink, ink.short)];
      const wiped = wipedAt(v);
      if (wiped > 0) {
        clipTo(c, 0, wiped, v.height);
        yield* fill(c, v, here(pieces), () => ink.copper);
        c.restore();
      }
      clipTo(c, wiped, v.width, v.height);
      yield* fill(c, v, here(parts), (part) => kinds[Math.min(2, part.carries.length)]);
      c.restore();
      if (wiped > 0) {
        c.fillStyle = ink.accent;
        c.fillRect(wiped - 1, 0, 2, v.height);
      }
    }
    if (on.differences && cut) yield* paintDifferences(c, v);
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
    if (state.fromComponents) yield* paintLegends(c, v);
  }
  if (on.paths && state.pass !== null) yield* paintEarlier(c, v);
  if (on.paths) for (const p of shown()) yield* paintProgram(c, v, p);
  if (on.air) for (const p of shown()) yield* paintAir(c, v, p);
  if (!onBed()) {
    if (on.holes) yield* paintHoles(c, v, here(data.holes));
    if (on.restarts) yield* paintRestarts(c, v);
    paintMarks(c, v, here);
  }
}

let legends = null; // of every copy, made when they are first seen

/** What is engraved into the component side. */
function* paintLegends(c, v) {
  legends ??= data.copies.filter((copy) => copy.legend).map((copy) => (
    { blank: copy.blank, lines: areas(copy.legend, copy.pose).flatMap((one) => one.rings) }
  ));
  c.strokeStyle = colours().ink;
  c.lineWidth = 1.5;
  for (const one of legends) {
    if (one.blank !== state.blank) continue;
    c.beginPath();
    for (const xy of one.lines) trace(c, v, xy, false);
    c.stroke();
    yield;
  }
}

/** Slanted lines of a colour on a ground: floating copper, shorts, clamps. */
function hatching(c, colour, ground) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const t = tile.getContext("2d");
  t.fillStyle = ground;
  t.fillRect(0, 0, 8, 8);
  t.strokeStyle = colour;
  t.lineWidth = 1.5;
  // the corners too, so that lines meet where tiles do
  for (const x of [-8, 0, 8]) {
    t.moveTo(x - 1, 9);
    t.lineTo(x + 9, -1);
  }
  t.stroke();
  return c.createPattern(tile, "repeat");
}

/** What the passes before the chosen one have cut, in grey. */
function* paintEarlier(c, v) {
  for (const p of programs) {
    if (p.blank !== state.blank || p.pass === BED || p.pass >= state.pass) continue;
    yield* paintMoves(c, v, p, 0, p.n, true, colours().earlier_pass);
  }
}

/** Where copper as drawn ends and copper as cut begins, in pixels of a view. */
function wipedAt(v) {
  const [x0, , x1] = blanks.find((b) => b.number === state.blank).area.box;
  return state.wipe > 0 ? Math.max(0, sx(v, x0 + (x1 - x0) * state.wipe)) : 0;
}

function clipTo(c, from, to, high) {
  c.save();
  c.beginPath();
  c.rect(from, 0, Math.max(0, to - from), high);
  c.clip();
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
  label(c, "travel of the machine", sx(v, t[0]) + 6, sy(v, v.up < 0 ? t[3] : t[1]) + 16);
  yield;
}

/** The sheet as it lies under the view, then all that moves. */
function compose() {
  const ink = colours();
  // every frame begins with the same pen, or it would look a little like the one before
  pen.save();
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
  pen.restore();
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
