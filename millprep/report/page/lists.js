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
  $("review-blank").value = String(blank);
  fillPasses();
  fillPrograms();
  if (bed !== onBed() || !boxesMeet(viewNow().box, wholeBox())) fit();
  sheet = null;
  changed();
  fillBars();
  showTime();
  showHere();
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

function showHere() {
  const at = state.pinned ?? state.pointer ?? (state.keys ? [state.x, state.y] : null);
  const box = $("review-here");
  box.replaceChildren();
  if (!at) {
    box.append(element("p",
      "Point at the drawing for details. Click to pin them, Esc to unpin."));
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

function goTo(one) {
  if (one.blank !== state.blank || onBed()) setStage(one.blank, null);
  state.flagged = one.name;
  setLayer("findings", true);
  for (const button of document.querySelectorAll("[data-finding]")) {
    button.setAttribute("aria-current", String(button.dataset.finding === one.name));
  }
  state.pinned = [...one.at];
  centreOn(...one.at, 12);
  showHere();
  if (canvas.getBoundingClientRect().bottom < 120) canvas.scrollIntoView({ block: "start" });
}
