// Side, light, size, and the start.

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
  $("review-light").textContent = dark ? "Light" : "Dark";
  fillCutters();
  fillSigns();
  for (const one of slide.results.values()) one.picture = null;
  fillBars();
  sheet = null;
  changed();
}

function resize() {
  const box = canvas.getBoundingClientRect();
  // who sees all goes on seeing all
  const all = !size.known || showsAll();
  size.width = Math.max(50, box.width);
  size.height = Math.max(50, box.height);
  size.ratio = Math.min(2, window.devicePixelRatio || 1);
  canvas.width = Math.round(size.width * size.ratio);
  canvas.height = Math.round(size.height * size.ratio);
  if (all && box.width > 0) {
    size.known = true;
    fit();
  }
  changed();
}

/** The view in numbers, for whoever drives the page. */
function publish() {
  canvas.dataset.view = [state.x, state.y, state.scale, up(), size.width, size.height].join(" ");
  canvas.dataset.busy = String(work !== null || playing || slide.todo.length > 0);
}

function start() {
  fillBlanks();
  fillPasses();
  fillPrograms();
  fillLayers();
  fillFindings();
  fillNets();
  document.querySelector(".time").hidden = programs.length === 0;
  $("review-find").addEventListener("input", find);
  $("review-wipe").addEventListener("input", (e) => {
    state.wipe = Number(e.target.value) / 100;
    changed();
  });
  const whole = (text) => (text === "" ? null : Number(text));
  $("review-blank").addEventListener("change", (e) => setStage(Number(e.target.value), null));
  $("review-pass").addEventListener("change", (e) => setStage(state.blank, whole(e.target.value)));
  $("review-program").addEventListener("change", (e) =>
    setStage(state.blank, state.pass, whole(e.target.value)));
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
  $("review-unpin").addEventListener("click", () => {
    state.pinned = null;
    showHere();
    changed(false);
  });
  $("review-print").addEventListener("click", () => window.print());
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
  startSlide();
  fillDifferences();
  const first = data.findings.find((one) => one.severity === "stop" && one.at);
  if (data.refused && first) goTo(first);
  startMill();
  startDepth();
}

start();
