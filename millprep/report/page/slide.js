// The controls of a slid pass, what they say of every join, and how it is drawn.

const SLIDES = ["x", "y", "turn"];
const MOST_SLID = { x: 0.5, y: 0.5, turn: 0.2 };
const MOST_ROWS = 100;

function fillSlide() {
  const select = $("review-slid-pass");
  const here = new Set(
    data.joins.filter((j) => j.blank === state.blank && j.piece !== null).map((j) => Math.max(...j.passes)));
  select.replaceChildren();
  for (const number of [...here].sort()) option(select, number, `Pass ${number}`);
  $("review-slide").hidden = here.size === 0;
  slide.pass = here.size ? Math.min(...here) : null;
  setSlide({ x: 0, y: 0, turn: 0 });
}

const slideWords = (key) => slide[key].toFixed(key === "turn" ? 3 : 2);

/** Slide the pass; figures beyond what can be slid are held at the most. */
function setSlide(values) {
  for (const key of SLIDES) {
    if (values[key] === undefined) continue;
    slide[key] = Math.max(-MOST_SLID[key], Math.min(MOST_SLID[key], values[key]));
    $(`review-slide-${key}`).value = String(slide[key]);
    const box = $(`review-typed-${key}`);
    if (document.activeElement !== box) box.value = slideWords(key);
    box.setAttribute("aria-invalid", "false");
  }
  slide.results.clear();
  slide.todo = isSlid() ? slidJoins() : [];
  showSlide();
  changed(false);
}

/** Work on the joins for a part of a frame; the nearest to the middle of the view come first. */
function slideOn() {
  if (!slide.todo.length) return;
  const until = performance.now() + SLICE;
  slide.todo.sort((a, b) =>
    Math.hypot(b.at[0] - state.x, b.at[1] - state.y) - Math.hypot(a.at[0] - state.x, a.at[1] - state.y));
  while (slide.todo.length && performance.now() < until) {
    const join = slide.todo.pop();
    slide.results.set(join, workedOut(join));
  }
  if (slide.todo.length) changed(false);
  else showSlide();
}

/** 0 where copper bridges, 1 where less than the required gap is left, 2 where all is well. */
function verdictOf(one) {
  if (one.bridges) return 0;
  // squares see a gap within one of them
  return one.gap !== null && one.gap < data.required - GRID ? 1 : 2;
}

function verdictWords(one) {
  const tolerance = one.join.tolerance === null ? ""
    : `, tolerates ${figure(one.join.tolerance, 3)} mm across`;
  const left = one.gap === null ? "the groove meets" : `${figure(one.gap)} mm left`;
  const words = ["copper bridges: the grooves no longer meet", `${left}, too little`, left];
  return `${words[verdictOf(one)]}; moved by ${figure(one.moved, 3)} mm${tolerance}`;
}

function showSlide() {
  const list = $("review-slid");
  list.replaceChildren();
  const said = $("review-slid-words");
  if (!isSlid()) {
    said.textContent = "Slide the pass, or type how far it lies off, to see which joins hold.";
    return;
  }
  if (slide.todo.length) return;
  const rows = [...slide.results.values()].sort((a, b) =>
    verdictOf(a) - verdictOf(b) || (a.gap ?? 9) - (b.gap ?? 9));
  const number = (verdict) => rows.filter((one) => verdictOf(one) === verdict).length;
  said.textContent =
    `${count(rows.length, "join")}: ${number(0)} bridged, ${number(1)} with a gap below ` +
    `${figure(data.required)} mm, ${number(2)} good.`;
  for (const one of rows.slice(0, MOST_ROWS)) {
    const button = element("button", undefined, `hit margin-${verdictOf(one)}`);
    button.type = "button";
    button.append(
      element("bdi", `join ${data.joins.indexOf(one.join) + 1}, ${one.join.piece}`),
      element("span", verdictWords(one)),
    );
    button.addEventListener("click", () => centreOn(...one.join.at, 60));
    const row = element("li");
    row.append(button);
    list.append(row);
  }
  oneStop(list);
}

/** The joins as the slide leaves them: the copper where it can be seen, and a sign on each. */
function paintSlide(v) {
  if (!isSlid() || onBed()) return;
  const seen = [...slide.results.values()].filter(({ join: { at }, frame }) =>
    boxesMeet(boxOf(at, frame.half), v.box));
  for (const one of seen) if (one.frame.half * v.scale > 20) paintSquares(v, one);
  for (const one of seen) paintVerdict(v, one);
}

function paintSquares(v, one) {
  const { frame } = one;
  const wide = 2 * frame.half * v.scale;
  const [x, y] = [sx(v, frame.x0), sy(v, frame.y0)];
  one.picture ??= pictureOf(one);
  pen.save();
  pen.imageSmoothingEnabled = false;
  pen.translate(x, y);
  pen.scale(1, v.up);
  pen.drawImage(one.picture, 0, 0, wide, wide);
  pen.strokeStyle = colours().ink;
  pen.lineWidth = 1;
  pen.setLineDash([3, 3]);
  pen.strokeRect(0, 0, wide, wide);
  pen.restore();
}

/** A cross where copper bridges, a triangle where too little is left, a ring where all is well. */
function paintVerdict(v, one) {
  const [x, y] = [sx(v, one.join.at[0]), sy(v, one.join.at[1])];
  const r = 9;
  const verdict = verdictOf(one);
  for (const [colour, thick] of [[colours().page, 6], [marginColour(verdict), 3]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = thick;
    pen.beginPath();
    if (verdict === 0) {
      pen.moveTo(x - r, y - r);
      pen.lineTo(x + r, y + r);
      pen.moveTo(x + r, y - r);
      pen.lineTo(x - r, y + r);
    } else if (verdict === 1) {
      pen.moveTo(x, y - r);
      pen.lineTo(x + r, y + 0.7 * r);
      pen.lineTo(x - r, y + 0.7 * r);
      pen.closePath();
    } else {
      pen.arc(x, y, 0.7 * r, 0, 2 * Math.PI);
    }
    pen.stroke();
  }
}

/** The squares of a join as a picture; copper that bridges has a colour and a hatch of its own. */
function pictureOf({ frame: { n }, of, owner, bridged }) {
  const made = document.createElement("canvas");
  made.width = made.height = n;
  const c = made.getContext("2d");
  const squares = c.createImageData(n, n);
  const ink = colours();
  const bytes = (colour) => [1, 3, 5].map((k) => parseInt(colour.slice(k, k + 2), 16));
  const [none, copper, short, dark] = [ink.laminate, ink.copper, ink.short, ink.ink].map(bytes);
  for (let k = 0; k < n * n; k++) {
    const area = of[k];
    let colour = none;
    if (area >= 0) {
      const line = ((k % n) + Math.floor(k / n)) % 14 < 4;
      if (bridged[area]) colour = line ? dark : short;
      else colour = owner[area] > 0 || line ? copper : none;
    }
    squares.data.set(colour, 4 * k);
    squares.data[4 * k + 3] = 255;
  }
  c.putImageData(squares, 0, 0);
  return made;
}

function startSlide() {
  $("review-slid-pass").addEventListener("change", (e) => {
    slide.pass = Number(e.target.value);
    setSlide({});
  });
  for (const key of SLIDES) {
    $(`review-slide-${key}`).addEventListener("input", (e) => setSlide({ [key]: Number(e.target.value) }));
    const box = $(`review-typed-${key}`);
    box.addEventListener("input", () => {
      const value = typed(`review-typed-${key}`);
      if (value === null) box.setAttribute("aria-invalid", "true");
      else setSlide({ [key]: value });
    });
    box.addEventListener("blur", () => {
      box.value = slideWords(key);
      box.setAttribute("aria-invalid", "false");
    });
  }
  $("review-slide-back").addEventListener("click", () => setSlide({ x: 0, y: 0, turn: 0 }));
  fillSlide();
}
