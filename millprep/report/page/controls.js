// The cutter's clock and the two points that are measured.

// ------------------------------------------------------------------ time

const SPEEDS = [1, 10, 60, 600];
let playing = false;
let lastTick = 0;
let pathsForTime = false; // paths are shown because a time is

function setTime(seconds) {
  const all = total();
  // who follows the cutter wants to see what it cuts, and afterwards what is left
  if (seconds !== null && state.time === null && !state.layers.paths) {
    pathsForTime = true;
    setLayer("paths", true);
  } else if (seconds === null && pathsForTime) {
    pathsForTime = false;
    setLayer("paths", false);
  }
  if ((seconds === null) !== (state.time === null)) changed();
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
  $("review-play").textContent = playing ? "Pause" : "Play";
  $("review-play").disabled = all === 0;
  const now = clockWords(state.time ?? all);
  $("review-clock").textContent = `${now} of ${clockWords(all)}`;
  const at = state.time === null ? null : cutterAt(state.time);
  const told = at
    ? [
        at.program.file,
        `line ${at.program.line[at.move]}`,
        `X ${figure(at.mx, 4)}`,
        `Y ${figure(at.my, 4)}`,
        `Z ${figure(at.mz, 4)}`,
        feedWords(at.program, at.move),
      ]
    : [all ? "Finished board shown. Press Play or drag the slider to watch the cutter."
        : "No program selected."];
  $("review-cutter").replaceChildren(...told.map((text) => element("span", text)));
  slider.setAttribute("aria-valuetext", `${now}, ${told.join(", ")}`);
}

/** A bar as long as each program runs; a click goes to its beginning. */
function fillBars() {
  const bars = $("review-bars");
  bars.replaceChildren();
  let before = 0;
  for (const p of shown()) {
    const seconds = p.time[p.n];
    const begins = before;
    before += seconds;
    const bar = element("button");
    bar.type = "button";
    bar.id = `review-bar-${p.index}`;
    const words = `${p.file}: ${p.cutter.name}, ${clockWords(seconds)}`;
    bar.title = words;
    bar.setAttribute("aria-label", `Go to the beginning of ${words}`);
    bar.style.flexGrow = String(Math.max(seconds, 1));
    bar.style.background = cutterColour(p.cutterIndex);
    bar.addEventListener("click", () => {
      playing = false;
      setTime(begins + 1e-3);
    });
    bars.append(bar);
  }
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
  if (playing && (state.time === null || state.time >= total())) {
    setTime(0);
    playing = true;
  }
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
      ? `${figure(measured(), 3)} mm apart: X ${figure(b[0] - a[0], 3)}, Y ${figure(b[1] - a[1], 3)}`
      : a ? "Now the second point."
        : "Press Measure, then click two points, or type them. Clicks snap to the nearest hole, "
          + "corner or edge; hold Shift to place them freely.";
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
  const at = exact ? [x, y] : snapped(x, y).at;
  if (state.measure[0] && !state.measure[1]) state.measure[1] = at;
  else state.measure = [at, null];
  showMeasure();
  changed(false);
}

function setMeasuring(on) {
  state.measuring = on;
  $("review-measure").setAttribute("aria-pressed", String(on));
  canvas.classList.toggle("measuring", on);
  if (on) state.pinned = null;
  showHere();
  showDistance();
  changed(false);
}

/** Where a click would put the next point, by what it snaps to, and the line to it. */
function previewMeasure() {
  const at = state.pointer ?? (state.keys ? [state.x, state.y] : null);
  if (!at) return;
  const target = state.free ? { at, kind: "free" } : snapped(...at);
  const ink = colours();
  const [x, y] = toScreen(...target.at);
  const [first, second] = state.measure;
  for (const [colour, wide] of [[ink.page, 5], [ink.accent, 2]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.setLineDash([]);
    pen.beginPath();
    if (target.kind === "centre") {
      pen.arc(x, y, 7, 0, 2 * Math.PI);
    } else if (target.kind === "corner") {
      pen.rect(x - 6, y - 6, 12, 12);
    } else if (target.kind === "edge") {
      pen.moveTo(x - 6, y - 6);
      pen.lineTo(x + 6, y + 6);
      pen.moveTo(x - 6, y + 6);
      pen.lineTo(x + 6, y - 6);
    }
    pen.stroke();
    if (first && !second) {
      pen.setLineDash([6, 4]);
      pen.beginPath();
      pen.moveTo(...toScreen(...first));
      pen.lineTo(x, y);
      pen.stroke();
    }
  }
  pen.setLineDash([]);
  const words = target.kind === "free" ? "" : target.kind;
  const far = first && !second
    ? `${figure(Math.hypot(target.at[0] - first[0], target.at[1] - first[1]), 3)} mm ` : "";
  label(pen, far + words, x + 12, y - 10);
}
