// Pointer, fingers, wheel and keys.

const fingers = new Map();
let pressed = null;
let travelled = 0;

function local(event) {
  const box = canvas.getBoundingClientRect();
  return [event.clientX - box.left, event.clientY - box.top];
}

canvas.addEventListener("pointerdown", (event) => {
  canvas.setPointerCapture(event.pointerId);
  fingers.set(event.pointerId, local(event));
  if (fingers.size === 1) {
    pressed = local(event);
    travelled = 0;
  }
});

canvas.addEventListener("pointermove", (event) => {
  const now = local(event);
  const before = fingers.get(event.pointerId);
  state.keys = false;
  state.free = event.shiftKey;
  if (!before) {
    point(now);
    return;
  }
  if (fingers.size === 2) {
    const [other] = [...fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
    const apart = (at) => Math.hypot(at[0] - other[0], at[1] - other[1]);
    const middle = (at) => [(at[0] + other[0]) / 2, (at[1] + other[1]) / 2];
    const [was, is] = [middle(before), middle(now)];
    panBy(is[0] - was[0], is[1] - was[1]);
    if (apart(before) > 1) zoomBy(apart(now) / apart(before), ...is);
    travelled = Infinity;
  } else if (pressed) {
    travelled += Math.hypot(now[0] - before[0], now[1] - before[1]);
    if (travelled > 4) panBy(now[0] - before[0], now[1] - before[1]);
  }
  fingers.set(event.pointerId, now);
});

function lift(event) {
  const was = fingers.has(event.pointerId);
  fingers.delete(event.pointerId);
  if (!was || fingers.size || event.type === "pointercancel") return;
  if (pressed && travelled <= 4) {
    const at = toPlace(...local(event));
    if (state.measuring) {
      state.pointer = at;
      takeMeasure(...at, event.shiftKey);
    } else {
      state.pinned = at;
      showHere();
      changed(false);
    }
  }
  pressed = null;
}
canvas.addEventListener("pointerup", lift);
canvas.addEventListener("pointercancel", lift);
canvas.addEventListener("pointerleave", () => {
  state.pointer = null;
  changed(false);
});

let pointing = false;
function point(at) {
  state.pointer = toPlace(...at);
  if (pointing) return;
  pointing = true;
  requestAnimationFrame(() => {
    pointing = false;
    if (!state.pinned) showHere();
    changed(false);
  });
}

canvas.addEventListener(
  "wheel",
  (event) => {
    event.preventDefault();
    zoomBy(Math.exp(-Math.max(-120, Math.min(120, event.deltaY)) * 0.0022), ...local(event));
  },
  { passive: false },
);

const KEYS = {
  ArrowLeft: () => panBy(60, 0),
  ArrowRight: () => panBy(-60, 0),
  ArrowUp: () => panBy(0, 60),
  ArrowDown: () => panBy(0, -60),
  "+": () => zoomBy(1.4),
  "=": () => zoomBy(1.4),
  "-": () => zoomBy(1 / 1.4),
  0: () => (fit(), changed(false)),
  " ": play,
  ",": () => step(-1),
  ".": () => step(1),
  v: () => setSide(!state.fromComponents),
  m: () => setMeasuring(!state.measuring),
  c: copyHere,
  f: () => stepFinding(1),
  F: () => stepFinding(-1),
  Enter: () => {
    if (state.measuring) takeMeasure(state.x, state.y, false);
    else state.pinned = [state.x, state.y];
  },
  Escape: () => {
    state.pinned = null;
    state.measure = [null, null];
    showMeasure();
  },
};

canvas.addEventListener("keydown", (event) => {
  const act = KEYS[event.key];
  if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  state.keys = true;
  state.pointer = null;
  if (event.key.startsWith("Arrow")) state.pinned = null;
  act();
  if (act !== copyHere) showHere();
  changed(false);
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || event.target === canvas) return;
  KEYS.Escape();
  showHere();
  changed(false);
});
canvas.addEventListener("blur", () => {
  state.keys = false;
  changed(false);
});
