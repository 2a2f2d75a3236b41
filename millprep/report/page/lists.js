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

/** A long list is one stop of the tab key; arrow keys go from row to row. */
function oneStop(list) {
  const rows = [...list.querySelectorAll("button")];
  rows.forEach((row, k) => {
    row.tabIndex = k ? -1 : 0;
    row.addEventListener("keydown", (event) => {
      const way = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      const next = way && rows[k + way];
      if (!next) return;
      event.preventDefault();
      row.tabIndex = -1;
      next.tabIndex = 0;
      next.focus();
    });
  });
}

// ------------------------------------------------------------------ what is shown

function fillBlanks() {
  for (const { number } of blanks) {
    option($("review-blank"), number, `Blank ${number}`);
  }
  $("review-blank").parentElement.hidden = blanks.length < 2;
}

function fillPasses() {
  const select = $("review-pass");
  select.replaceChildren();
  option(select, "", "All passes");
  for (const stage of windows) {
    if (stage.blank !== state.blank) continue;
    option(select, stage.number, `Pass ${stage.number}`);
  }
  const forBed = programs.some((p) => p.blank === state.blank && p.pass === BED);
  if (forBed) option(select, BED, "Spoilboard");
  select.value = state.pass === null ? "" : String(state.pass);
}

function fillPrograms() {
  const select = $("review-program");
  select.replaceChildren();
  const was = state.program;
  state.program = null;
  option(select, "", "All programs");
  const here = shown();
  for (const p of here) {
    // a file may hold the programs of several cutters
    const joined = here.some((q) => q !== p && q.file === p.file);
    option(select, p.index, joined ? `${p.file}: ${p.cutter.name}` : p.file);
  }
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
  if (state.net?.blank !== blank) {
    state.net = null;
    state.lit = [];
  }
  $("review-blank").value = String(blank);
  fillPasses();
  fillPrograms();
  if (bed !== onBed() || !boxesMeet(viewNow().box, wholeBox())) fit();
  sheet = null;
  changed();
  fillBars();
  showTime();
  showHere();
  if (nets.listed === blank) return;
  fillNets();
  fillSlide();
  fillDifferences();
}

/** Switch a layer as its box does. */
function setLayer(name, on) {
  state.layers[name] = on;
  document.querySelector(`[data-layer="${name}"]`).checked = on;
  changed();
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

/** On a narrow window the panel is far from the finger: what is pinned shows next to it. */
const narrow = matchMedia("(max-width: 56rem)");

function showHere() {
  const at = state.pinned ?? state.pointer ?? (state.keys ? [state.x, state.y] : null);
  const box = $("review-here");
  const pop = $("review-pop");
  pop.hidden = !(state.pinned && narrow.matches) || state.measuring;
  if (!at) {
    box.replaceChildren(element("p",
      "Point at the drawing for details. Click to pin them, Esc to unpin."));
    return;
  }
  fillFacts(box, at);
  if (pop.hidden) return;
  // the drawing's title is the one before
  fillFacts($("review-pinned"), at, "h3");
  placePop();
}

function fillFacts(box, at, heading = "h4") {
  box.replaceChildren();
  for (const [title, rows] of facts(...at)) {
    box.append(element(heading, title));
    const list = element("dl");
    for (const [name, value] of rows) {
      const told = element("dd");
      told.append(...valueOf(value));
      list.append(element("dt", name), told);
    }
    box.append(list);
  }
}

/** Next to the pinned place, on the side where there is more room. */
function placePop() {
  const pop = $("review-pop");
  if (pop.hidden) return;
  const [x, y] = toScreen(...state.pinned);
  const below = y < size.height / 2;
  const room = size.width - pop.offsetWidth - 8;
  pop.style.left = `${Math.max(8, Math.min(x + 12, room))}px`;
  pop.style.top = below ? `${Math.max(8, y + 14)}px` : "auto";
  pop.style.bottom = below ? "auto" : `${Math.max(8, size.height - y + 14)}px`;
}

// ------------------------------------------------------------------ findings

/** Every place that a finding means; the first is its flag's. */
const placesOf = (one) => (one.at ? [one.at, ...one.places] : []);

function fillFindings() {
  const list = $("review-findings");
  for (const one of data.findings) {
    const row = element("li");
    const holder = element(one.at ? "button" : "div", undefined, `finding ${one.severity}`);
    holder.append(
      element("span", `${one.name} ${SEVERITIES[one.severity]}`, "badge"),
      element("span", one.message),
    );
    if (one.where) holder.append(element("span", one.where, "where"));
    if (one.at) {
      holder.type = "button";
      holder.dataset.finding = one.name;
      holder.addEventListener("click", () => goTo(one));
    }
    row.append(holder);
    if (one.places.length) row.append(stepsOf(one));
    list.append(row);
  }
  for (const link of document.querySelectorAll("[data-show]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      goTo(data.findings.find((one) => one.name === link.dataset.show));
      canvas.scrollIntoView({ block: "start" });
      canvas.focus({ preventScroll: true });
    });
  }
  $("review-findings-none").hidden = data.findings.length > 0;
}

/** Buttons from place to place of a finding. */
function stepsOf(one) {
  const box = element("div", undefined, "steps");
  const all = placesOf(one).length;
  for (const [way, sign, words] of [[-1, "‹", "Place before"], [1, "›", "Next place"]]) {
    const button = element("button", sign);
    button.type = "button";
    button.title = `${words} of ${one.name}`;
    button.setAttribute("aria-label", button.title);
    button.addEventListener("click", () => {
      const here = state.flagged === one ? state.place : way > 0 ? -1 : 0;
      goTo(one, (here + way + all) % all);
    });
    box.append(button);
  }
  const words = element("span", count(all, "place"));
  words.dataset.placesOf = one.name;
  box.append(words);
  return box;
}

/** The way across the gaps that a finding condemns. */
function gapOf(one) {
  const [copy, net, other] = one.pair;
  const mine = nets.find((each) => each.copy === copy && each.net === net);
  return mine ? neighboursOf(mine).find((each) => each.name === other) ?? null : null;
}

/** From place to place over all findings that have one, in the order of the list. */
function stepFinding(way) {
  const steps = data.findings.flatMap((one) => placesOf(one).map((_, k) => [one, k]));
  if (!steps.length) return;
  const now = steps.findIndex(([one, k]) => one === state.flagged && k === state.place);
  const next = now < 0 && way < 0 ? steps.length - 1 : (now + way + steps.length) % steps.length;
  goTo(...steps[next]);
}

function goTo(one, k = 0) {
  if (one.blank !== state.blank || onBed()) setStage(one.blank, null);
  state.flagged = one;
  state.place = k;
  setLayer("findings", true);
  for (const button of document.querySelectorAll("[data-finding]")) {
    button.setAttribute("aria-current", String(button.dataset.finding === one.name));
  }
  for (const words of document.querySelectorAll("[data-places-of]")) {
    const mine = words.dataset.placesOf === one.name;
    const all = data.findings.find((other) => other.name === words.dataset.placesOf).places.length + 1;
    words.textContent = mine ? `place ${k + 1} of ${all}` : count(all, "place");
  }
  state.gap = one.pair ? gapOf(one) : null;
  const at = placesOf(one)[k];
  state.pinned = [...at];
  centreOn(...at, 12);
  showHere();
  if (canvas.getBoundingClientRect().bottom < 120) canvas.scrollIntoView({ block: "start" });
}
