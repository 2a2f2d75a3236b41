// At the mill: boxes that stay ticked, one page at a time in large type, readings as a file.

const STORE = `millprep ticks ${data.set}`;
const ticks = [...document.querySelectorAll(".plan .tick:not(.done)")];
const sections = [...document.querySelectorAll(".plan > section")];
let ticked = {}; // index of a box to when it was ticked
let at = 0; // the section that is shown at the mill

/** What a box belongs to, in words. */
function tickWords(tick) {
  const row = tick.closest("li, tr, p");
  const zeroed = tick.closest("td") && tick.closest("tr").cells[0] === tick.closest("td");
  const words = row.textContent.replace(/\s+/g, " ").trim().slice(0, 90);
  return zeroed && row.closest(".steps") ? `Z zeroed: ${words}` : words;
}

function recallTicks() {
  try {
    ticked = JSON.parse(localStorage.getItem(STORE) ?? "{}");
  } catch {
    ticked = {}; // no storage, or not ours
  }
}

function setTick(index, on) {
  if (on) ticked[index] = new Date().toISOString();
  else delete ticked[index];
  keepTicks();
}

/** For another blank that is cut with the same set. */
function clearTicks() {
  ticked = {};
  keepTicks();
}

function keepTicks() {
  try {
    localStorage.setItem(STORE, JSON.stringify(ticked));
  } catch {
    // without storage the boxes stay ticked until the page is closed
  }
  showTicks();
}

function showTicks() {
  ticks.forEach((tick, index) => {
    const on = index in ticked;
    tick.setAttribute("aria-checked", String(on));
    tick.textContent = on ? "✓" : "";
  });
  for (const table of document.querySelectorAll(".plan .steps")) {
    const rows = [...table.querySelectorAll("tbody tr")];
    const open = rows.find((row) => row.querySelector('.tick[aria-checked="false"]'));
    for (const row of rows) row.classList.toggle("now", row === open);
  }
}

function fillTicks() {
  recallTicks();
  ticks.forEach((tick, index) => {
    tick.setAttribute("role", "checkbox");
    tick.setAttribute("aria-label", tickWords(tick));
    tick.tabIndex = 0;
    const turn = () => setTick(index, !(index in ticked));
    tick.addEventListener("click", turn);
    tick.addEventListener("keydown", (event) => {
      if (event.key !== " " && event.key !== "Enter") return;
      event.preventDefault();
      turn();
    });
  });
  showTicks();
}

/** A file of text, kept where the browser keeps downloads. */
function saveText(name, text) {
  const link = element("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

/** A text as TOML has it. */
function tomlText(text) {
  return JSON.stringify(text).replace(/\u007f/g, "\\u007f");
}

/** Programs as `millprep ran --from` reads them; all other boxes are comments. */
function saveTicks() {
  const rows = Object.entries(ticked)
    .sort((a, b) => a[1].localeCompare(b[1]))
    .map(([index, when]) => {
      const { file, cutter } = ticks[index].dataset;
      if (!file) return `# ${when}  ${tickWords(ticks[index])}`;
      const names = `file = ${tomlText(file)}\ncutter = ${tomlText(cutter)}`;
      return `\n[[run]]\nset = ${tomlText(data.set)}\n${names}\nwhen = ${when}\n`;
    });
  const head = `# Ticked on the sheet of set ${data.set}. To mark its programs in the folder of the set:
# millprep ran SET --from ticked-${data.set}.toml\n`;
  saveText(`ticked-${data.set}.toml`, `${head}${rows.join("\n")}\n`);
}

/** Ticks the programs that a list of runs names: done.toml of the set, or what a page saved. */
function loadTicks(text) {
  for (const row of text.split("[[run]]").slice(1)) {
    const value = (key) => row.match(new RegExp(`^${key} = (.*)$`, "m"))?.[1];
    const [file, cutter] = ["file", "cutter"].map((key) => {
      try {
        return JSON.parse(value(key));
      } catch {
        return undefined; // no row of ours
      }
    });
    const index = ticks.findIndex(
      (tick) => tick.dataset.file === file && tick.dataset.cutter === cutter,
    );
    if (file && index >= 0) ticked[index] ??= value("when") ?? new Date().toISOString();
  }
  keepTicks();
}

// ------------------------------------------------------------------ one page at a time

function setMill(on) {
  document.documentElement.dataset.mode = on ? "mill" : "desk";
  $("mill-mode").setAttribute("aria-pressed", String(on));
  $("mill-bar").hidden = !on;
  showSection(at);
}

function showSection(index) {
  at = Math.min(Math.max(index, 0), sections.length - 1);
  sections.forEach((section, k) => section.classList.toggle("shown", k === at));
  $("mill-where").textContent = `${at + 1} of ${sections.length}`;
  $("mill-back").disabled = at === 0;
  $("mill-on").disabled = at === sections.length - 1;
  if (document.documentElement.dataset.mode === "mill") window.scrollTo(0, 0);
}

// ------------------------------------------------------------------ readings

/** The readings file with one reading put in: "v1", or "r1.left" for a part of a line. */
function withReading(text, key, value) {
  const [name, part] = key.split(".");
  const put = value.trim().replace("−", "-").replace(",", ".");
  return text
    .split("\n")
    .map((line) => {
      if (!line.startsWith(`${name} =`)) return line;
      if (!part) return `${name} = ${put}`;
      return line.replace(new RegExp(`\\b${part} = [^,}]*`), `${part} = ${put}`);
    })
    .join("\n");
}

function fillReadings() {
  for (const pre of document.querySelectorAll("[data-readings]")) {
    const cells = [...pre.closest("section").querySelectorAll("[data-reading]")];
    const empty = pre.textContent;
    const inputs = cells.map((cell) => {
      const input = element("input");
      input.type = "text";
      input.inputMode = "decimal";
      input.className = "screen";
      input.setAttribute("aria-label", `Reading ${cell.dataset.reading}`);
      cell.append(input);
      return input;
    });
    const refill = () => {
      pre.textContent = inputs.reduce(
        (text, input, k) =>
          input.value.trim() ? withReading(text, cells[k].dataset.reading, input.value) : text,
        empty,
      );
    };
    for (const input of inputs) input.addEventListener("input", refill);
    const button = element("button", "Save the readings", "screen");
    button.type = "button";
    button.addEventListener("click", () => saveText("readings.toml", pre.textContent));
    pre.after(button);
  }
}

function startMill() {
  fillTicks();
  fillReadings();
  $("mill-mode").addEventListener("click", () =>
    setMill(document.documentElement.dataset.mode !== "mill"));
  $("mill-back").addEventListener("click", () => showSection(at - 1));
  $("mill-on").addEventListener("click", () => showSection(at + 1));
  $("mill-save").addEventListener("click", saveTicks);
  $("mill-clear").addEventListener("click", clearTicks);
  $("mill-load").addEventListener("click", () => $("mill-file").click());
  $("mill-file").addEventListener("change", async (event) => {
    const file = event.target.files[0];
    if (file) loadTicks(await file.text());
    event.target.value = "";
  });
  showSection(0);
}
