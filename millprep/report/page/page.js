// The page's own parts: lists, buttons, keys, pointer.
const $ = (id) => document.getElementById(id);

function element(name, text, className) {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  if (className) made.className = className;
  return made;
}

function option(select, value, text) {
  const made = element("option", text);
  made.value = value;
  select.append(made);
}

// ------------------------------------------------------------------ what is shown

function fillBlanks() {
  for (const blank of blanks) option($("review-blank"), blank.number, say("blankNumber", { blank: blank.number }));
  $("review-blank").parentElement.hidden = blanks.length < 2;
}

function fillPasses() {
  const select = $("review-pass");
  select.replaceChildren();
  option(select, "", say("allPasses"));
  for (const stage of windows) {
    if (stage.blank === state.blank) option(select, stage.number, say("passNumber", { pass: stage.number }));
  }
  if (programs.some((p) => p.blank === state.blank && p.pass === BED)) option(select, BED, say("bed"));
  select.value = state.pass === null ? "" : String(state.pass);
}

function fillPrograms() {
  const select = $("review-program");
  select.replaceChildren();
  const was = state.program;
  state.program = null;
  option(select, "", say("allPrograms"));
  for (const p of shown()) option(select, p.index, p.file);
  state.program = was;
  select.value = was === null ? "" : String(was);
}

function setStage(blank, pass, program = null) {
  const bed = onBed();
  state.blank = blank;
  state.pass = pass;
  state.program = program;
  state.time = null;
  state.pinned = state.pointer = null;
  $("review-blank").value = String(blank);
  fillPasses();
  fillPrograms();
  if (bed !== onBed() || !boxesMeet(viewNow().box, wholeBox())) fit();
  sheet = null;
  changed();
  showTime();
  showHere();
}

function fillLayers() {
  for (const box of document.querySelectorAll("[data-layer]")) {
    state.layers[box.dataset.layer] = box.checked;
    box.addEventListener("change", () => {
      state.layers[box.dataset.layer] = box.checked;
      changed();
    });
  }
}

function fillCutters() {
  const list = $("review-cutters");
  list.replaceChildren();
  data.cutters.forEach((cutter, index) => {
    if (!programs.some((p) => p.cutterIndex === index)) return;
    const row = element("li");
    const swatch = element("span", undefined, "swatch");
    swatch.style.background = cutterColour(index);
    row.append(swatch, element("bdi", cutter.name), ` ${cutter.words}`);
    list.append(row);
  });
}

// ------------------------------------------------------------------ here

function showHere() {
  const at = state.pinned ?? state.pointer ?? (state.keys ? [state.x, state.y] : null);
  const box = $("review-here");
  box.replaceChildren();
  if (!at) {
    box.append(element("p", say("pointAt")));
    return;
  }
  for (const [title, rows] of facts(...at)) {
    box.append(element("h4", title));
    const list = element("dl");
    for (const [name, value] of rows) {
      const told = element("dd");
      told.append(element("bdi", value));
      list.append(element("dt", name), told);
    }
    box.append(list);
  }
}

// ------------------------------------------------------------------ findings

function fillFindings() {
  const list = $("review-findings");
  for (const one of data.findings) {
    const row = element("li");
    const holder = element(one.at ? "button" : "div", undefined, `finding ${one.severity}`);
    holder.append(
      element("span", `${one.name} ${say(one.severity)}`, "badge"),
      element("span", one.message),
    );
    if (one.where) holder.append(element("span", one.where, "where"));
    if (one.at) {
      holder.type = "button";
      holder.dataset.finding = one.name;
      holder.addEventListener("click", () => goTo(one));
    }
    row.append(holder);
    list.append(row);
  }
  $("review-findings-none").hidden = data.findings.length > 0;
}

function goTo(one) {
  if (one.blank !== state.blank || onBed()) setStage(one.blank, null);
  state.flagged = one.name;
  state.layers.findings = true;
  document.querySelector('[data-layer="findings"]').checked = true;
  for (const button of document.querySelectorAll("[data-finding]")) {
    button.setAttribute("aria-current", String(button.dataset.finding === one.name));
  }
  state.pinned = [...one.at];
  centreOn(...one.at, 12);
  showHere();
  if (canvas.getBoundingClientRect().bottom < 120) canvas.scrollIntoView({ block: "start" });
}

// ------------------------------------------------------------------ time

const SPEEDS = [1, 10, 60, 600];
let playing = false;
let lastTick = 0;

function setTime(seconds) {
  const all = total();
  state.time = seconds === null ? null : Math.min(Math.max(seconds, 0), all);
  if (state.time === null || state.time >= all) playing = false;
  changed(false);
  showTime();
}

function showTime() {
  const all = total();
  const slider = $("review-time");
  slider.max = String(Math.ceil(all * 10) / 10);
  slider.value = String(state.time ?? all);
  slider.disabled = all === 0;
  $("review-play").textContent = say(playing ? "pause" : "play");
  $("review-play").disabled = all === 0;
  $("review-clock").textContent = say("clock", { now: clockWords(state.time ?? all), all: clockWords(all) });
  const at = state.time === null ? null : cutterAt(state.time);
  const told = at
    ? [
        at.program.file,
        say("line", { line: at.program.line[at.move] }),
        `X ${figure(at.mx, 4)}`,
        `Y ${figure(at.my, 4)}`,
        `Z ${figure(at.mz, 4)}`,
        at.program.kind[at.move] === RAPID ? say("rapid") : `${figure(at.program.feed[at.move], 0)} mm/min`,
      ]
    : [say(all ? "allCut" : "nothingMoves")];
  $("review-cutter").replaceChildren(...told.map((text) => element("span", text)));
  slider.setAttribute("aria-valuetext", `${clockWords(state.time ?? all)}, ${told.join(", ")}`);
}

/** One frame of playing, at the head of every frame. */
function tick() {
  const now = performance.now();
  if (playing) {
    const speed = SPEEDS[Number($("review-speed").value)];
    setTime((state.time ?? 0) + ((now - lastTick) / 1000) * speed);
    changed(false);
  }
  lastTick = now;
}

function play() {
  if (total() === 0) return;
  playing = !playing;
  if (playing && (state.time === null || state.time >= total())) state.time = 0;
  lastTick = performance.now();
  changed(false);
  showTime();
}

function step(way) {
  playing = false;
  setTime(stepFrom(state.time ?? total(), way));
}

// ------------------------------------------------------------------ measuring

const FIELDS = ["review-x0", "review-y0", "review-x1", "review-y1"];

function showMeasure() {
  const [a, b] = state.measure;
  const values = [a?.[0], a?.[1], b?.[0], b?.[1]];
  FIELDS.forEach((id, i) => {
    $(id).value = values[i] === undefined ? "" : values[i].toFixed(3);
  });
  showDistance();
}

function showDistance() {
  const [a, b] = state.measure;
  $("review-distance").textContent =
    a && b
      ? say("distance", {
          mm: figure(measured(), 3), dx: figure(b[0] - a[0], 3), dy: figure(b[1] - a[1], 3),
        })
      : say(a ? "secondPoint" : "firstPoint");
}

/** A number as typed, with a point or a comma; null for anything else. */
function typed(id) {
  const text = $(id).value.trim().replace("−", "-").replace(",", ".");
  return /^-?\d+(\.\d+)?$/.test(text) ? Number(text) : null;
}

function readMeasure() {
  const [x0, y0, x1, y1] = FIELDS.map(typed);
  state.measure = [
    x0 === null || y0 === null ? null : [x0, y0],
    x1 === null || y1 === null ? null : [x1, y1],
  ];
  FIELDS.forEach((id) => {
    $(id).setAttribute("aria-invalid", String($(id).value.trim() !== "" && typed(id) === null));
  });
  showDistance();
  changed(false);
}

function takeMeasure(x, y, exact) {
  const at = exact ? [x, y] : snapped(x, y);
  if (state.measure[0] && !state.measure[1]) state.measure[1] = at;
  else state.measure = [at, null];
  showMeasure();
  changed(false);
}

function setMeasuring(on) {
  state.measuring = on;
  $("review-measure").setAttribute("aria-pressed", String(on));
  canvas.classList.toggle("measuring", on);
  showDistance();
}

// ------------------------------------------------------------------ pointer and keys

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
    // without a key the wheel scrolls the page on narrow screens, where the page is long
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
  showHere();
  changed(false);
});
canvas.addEventListener("blur", () => {
  state.keys = false;
  changed(false);
});

// ------------------------------------------------------------------ side, light, size

function setSide(fromComponents) {
  state.fromComponents = fromComponents;
  for (const radio of document.querySelectorAll('[name="review-side"]')) {
    radio.checked = (radio.value === "components") === fromComponents;
  }
  changed();
}

const dims = matchMedia("(prefers-color-scheme: dark)");
let chosen = null;

function setLight() {
  dark = chosen === null ? dims.matches : chosen;
  document.documentElement.dataset.light = dark ? "dark" : "light";
  $("review-light").textContent = say(dark ? "toLight" : "toDark");
  fillCutters();
  sheet = null;
  changed();
}

function resize() {
  const box = canvas.getBoundingClientRect();
  const first = !size.known;
  size.width = Math.max(50, box.width);
  size.height = Math.max(50, box.height);
  size.ratio = Math.min(2, window.devicePixelRatio || 1);
  canvas.width = Math.round(size.width * size.ratio);
  canvas.height = Math.round(size.height * size.ratio);
  if (first && box.width > 0) {
    size.known = true;
    fit();
  }
  changed();
}

/** The view in numbers, for whoever drives the page. */
function publish() {
  canvas.dataset.view = [state.x, state.y, state.scale, up(), size.width, size.height].join(" ");
}

function start() {
  fillBlanks();
  fillPasses();
  fillPrograms();
  fillLayers();
  fillFindings();
  const whole = (text) => (text === "" ? null : Number(text));
  $("review-blank").addEventListener("change", (e) => setStage(Number(e.target.value), null));
  $("review-pass").addEventListener("change", (e) => setStage(state.blank, whole(e.target.value)));
  $("review-program").addEventListener("change", (e) => setStage(state.blank, state.pass, whole(e.target.value)));
  for (const radio of document.querySelectorAll('[name="review-side"]')) {
    radio.addEventListener("change", () => setSide(radio.value === "components"));
  }
  $("review-fit").addEventListener("click", () => (fit(), changed(false)));
  $("review-in").addEventListener("click", () => zoomBy(1.4));
  $("review-out").addEventListener("click", () => zoomBy(1 / 1.4));
  $("review-time").addEventListener("input", (e) => {
    playing = false;
    setTime(Number(e.target.value));
  });
  $("review-play").addEventListener("click", play);
  $("review-back").addEventListener("click", () => step(-1));
  $("review-on").addEventListener("click", () => step(1));
  $("review-end").addEventListener("click", () => setTime(null));
  SPEEDS.forEach((speed, i) => option($("review-speed"), i, `×${speed}`));
  $("review-speed").value = "2";
  $("review-measure").addEventListener("click", () => setMeasuring(!state.measuring));
  $("review-forget").addEventListener("click", () => {
    state.measure = [null, null];
    showMeasure();
    changed(false);
  });
  FIELDS.forEach((id) => $(id).addEventListener("input", readMeasure));
  $("review-light").addEventListener("click", () => {
    chosen = !dark;
    setLight();
  });
  dims.addEventListener("change", setLight);
  new ResizeObserver(resize).observe(canvas);
  resize();
  setLight();
  showTime();
  showMeasure();
  showHere();
}

start();
