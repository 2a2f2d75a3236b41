// Where a program can be taken up again, and the commands of this set that fit a place.

const MOST_RESTARTS = 8; // at one place
const SAME_PLACE = 0.01; // mm; moves nearer to the start than this are the look at Z zero

/**
 * The cuts of a program as its file numbers them: [{number, first, last}], moves first … last - 1.
 * A cut begins with the first move that feeds after a rapid across.
 */
function cutsOf(p) {
  if (p.cuts) return p.cuts;
  const cuts = [];
  const looks = (from, to) => {
    for (let i = from; i <= to; i++) {
      if (Math.hypot(p.mx[i] - p.mx[0], p.my[i] - p.my[0]) >= SAME_PLACE) return false;
    }
    return true;
  };
  const close = (first, last) => {
    if (!looks(first, last)) cuts.push({ number: cuts.length + 1, first, last });
  };
  let first = null;
  let across = false;
  for (let i = 0; i < p.n; i++) {
    const far = p.mx[i] !== p.mx[i + 1] || p.my[i] !== p.my[i + 1];
    if (p.kind[i] === RAPID && far) {
      if (first !== null) close(first, i);
      [first, across] = [null, true];
    } else if (p.kind[i] !== RAPID && across) {
      [first, across] = [i, false];
    }
  }
  if (first !== null) close(first, p.n);
  p.cuts = p.spins ? cuts : [];
  return p.cuts;
}

/** The restart point of the cut that a move is in; null for a move that cuts nothing. */
function cutAt(p, move) {
  return cutsOf(p).find((cut) => cut.first <= move && move < cut.last) ?? null;
}

// ------------------------------------------------------------------ commands

/** The folder of this set as one types it next to it. */
const FOLDER = (() => {
  const parts = decodeURIComponent(location.pathname).split("/");
  const name = parts[parts.length - 2] ?? "";
  if (name === "" || /["$`\\%!]/.test(name)) return "SET";
  return /^[\w.-]+$/.test(name) ? name : `"${name}"`;
})();
/** Commands start from a whole set with programs. */
const takesCommands = () => data.whole && programs.length > 0;
const command = (words) => ({ command: `millprep ${words}` });
const passWords = (stage) =>
  `--pass ${stage.number}${stage.blank === 1 ? "" : ` --blank ${stage.blank}`}`;

const resumeAfter = (p, cut) =>
  command(`resume ${FOLDER} ${p.file} --after ${cut.number} --out NEW`);

/** The command that resumes a program at a place of the drawing. */
function resumeNear(p, x, y) {
  const [mx, my] = moved(p.stage.pose, x, y).map((v) => v.toFixed(2));
  return command(`resume ${FOLDER} ${p.file} --near=${mx},${my} --out NEW`);
}

const refitWith = (stage, option = "") =>
  command(`refit ${FOLDER} READINGS.toml ${passWords(stage)}${option} --out NEW`);

/** What one may do with the passes that reach a place where nothing is cut. */
function passCommands(x, y) {
  if (!takesCommands() || onBed()) return [];
  return windows
    .filter((w) => w.blank === state.blank)
    .filter((w) => (state.pass === null ? inside(w.area, x, y) : w.number === state.pass))
    .map((stage) => [`Commands of pass ${stage.number}`, [
      ["Before its first cut", command(`begin ${FOLDER} ${passWords(stage)}`)],
      ["Measure the copper", command(`probe ${FOLDER} ${passWords(stage)}`)],
      ["Follow its heights", command(`level ${FOLDER} MAP.csv ${passWords(stage)} --out NEW`)],
    ]]);
}

/** Restart points at a place: [title, rows] each. */
function restartFacts(x, y) {
  if (!state.layers.restarts) return [];
  const slack = NEAR / state.scale;
  const found = [];
  for (const p of shown()) {
    for (const cut of cutsOf(p)) {
      const away = Math.hypot(p.X[cut.first] - x, p.Y[cut.first] - y);
      if (away <= slack) found.push({ away, facts: oneRestart(p, cut) });
    }
  }
  return found.sort((a, b) => a.away - b.away).slice(0, MOST_RESTARTS).map((one) => one.facts);
}

function oneRestart(p, cut) {
  let deepest = 0;
  let along = cut.first;
  for (let i = cut.first; i < cut.last; i++) {
    deepest = Math.min(deepest, p.mz[i + 1]);
    const still = p.mx[along] === p.mx[along + 1] && p.my[along] === p.my[along + 1];
    if (still && p.kind[i] !== RAPID && (p.mx[i] !== p.mx[i + 1] || p.my[i] !== p.my[i + 1])) along = i;
  }
  return [`Restart point ${cut.number}`, [
    ["File", p.file],
    ["Line", String(p.line[cut.first])],
    ["Depth", `${figure(-deepest, 3)} mm`],
    ["Feed", feedWords(p, along)],
    ...(takesCommands() && p.stage ? [["Make it again", resumeAfter(p, cut)]] : []),
  ]];
}

// ------------------------------------------------------------------ on the drawing

/** A sign where a cut begins, with the numbers of all that begin there. */
function* paintRestarts(c, v) {
  const ink = colours();
  c.setLineDash([]);
  for (const p of shown()) {
    const spots = new Map();
    for (const cut of cutsOf(p)) {
      const [x, y] = [sx(v, p.X[cut.first]), sy(v, p.Y[cut.first])];
      if (x < 0 || y < 0 || x > v.width || y > v.height) continue;
      const key = `${x.toFixed(1)} ${y.toFixed(1)}`;
      if (!spots.has(key)) spots.set(key, { x, y, numbers: [] });
      spots.get(key).numbers.push(cut.number);
    }
    for (const { x, y, numbers } of spots.values()) {
      c.fillStyle = ink.ink;
      if (v.scale > 4) sign(c, "restart", x, y);
      else c.fillRect(x - 1.5, y - 1.5, 3, 3);
      if (v.scale < 12) continue;
      const words = numbers.slice(0, 3).join(", ") + (numbers.length > 3 ? " …" : "");
      label(c, words, x + 8, y - 5);
    }
    yield;
  }
}

// ------------------------------------------------------------------ copying

/** The value of a fact: words, or a command with a button that copies it. */
function valueOf(value) {
  if (typeof value === "string") return [element("bdi", value)];
  const button = element("button", "Copy", "copy");
  button.type = "button";
  button.addEventListener("click", () => copy(value.command, button));
  return [element("code", value.command), " ", button];
}

function copy(text, button) {
  const done = () => {
    button.textContent = "Copied";
  };
  // a page opened from a file may be refused the clipboard
  const byHand = () => {
    const box = element("textarea", text);
    document.body.append(box);
    box.select();
    const worked = document.execCommand("copy");
    box.remove();
    button.focus();
    if (worked) done();
  };
  if (navigator.clipboard) navigator.clipboard.writeText(text).then(done, byHand);
  else byHand();
}

/** Copy the first command at the place that is looked at. */
function copyHere() {
  const button = document.querySelector("#review-here .copy");
  if (button) button.click();
}
