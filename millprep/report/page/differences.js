// Where the copper left is off the drawing: too much, too little, with their areas.

/** Both differences, with their words. */
const OFF = [["much", "Too much copper"], ["little", "Too little copper"]];

/** Every difference: {kind, blank, area}, the largest of a copy first. */
const differences = data.copies.flatMap((copy) =>
  copy.differences === null ? [] : OFF.flatMap(([kind]) =>
    areas(copy.differences[kind]).map((area) => ({ kind, blank: copy.blank, area }))),
);

const differencesOf = (kind) =>
  differences.filter((one) => one.kind === kind && one.blank === state.blank);

/** What is off, in words, with buttons from place to place. */
function fillDifferences() {
  const box = $("review-differences");
  box.replaceChildren();
  const here = data.copies.filter((copy) => copy.blank === state.blank && copy.differences !== null);
  if (!here.length) return;
  OFF.forEach(([kind, words], k) => {
    const mm2 = here.reduce((sum, copy) => sum + copy.differences.mm2[k], 0);
    const list = differencesOf(kind);
    const row = element("div", undefined, "steps");
    const swatch = element("span", undefined, `swatch ${kind}`);
    const said = list.length ? `${figure(mm2, 3)} mm² in ${count(list.length, "place")}` : "none";
    row.append(swatch, element("span", `${words}: ${said}`));
    let at = -1;
    for (const [way, sign] of list.length ? [[-1, "‹"], [1, "›"]] : []) {
      const button = element("button", sign);
      button.type = "button";
      button.title = way > 0 ? `${words}: next place` : `${words}: place before`;
      button.setAttribute("aria-label", button.title);
      button.addEventListener("click", () => {
        at = ((at < 0 && way < 0 ? 0 : at) + way + list.length) % list.length;
        const [x0, y0, x1, y1] = list[at].area.box;
        setLayer("differences", true);
        centreOn((x0 + x1) / 2, (y0 + y1) / 2, 40);
      });
      row.append(button);
    }
    box.append(row);
  });
}

/** A small pattern of rectangles [x, y, w, h] of ink on a ground. */
function pattern(c, ground, marks) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 5;
  const t = tile.getContext("2d");
  t.fillStyle = ground;
  t.fillRect(0, 0, 5, 5);
  t.fillStyle = colours().ink;
  for (const mark of marks) t.fillRect(...mark);
  return c.createPattern(tile, "repeat");
}

/** Too much is dotted, too little is barred; both have a rim, so that the smallest is seen. */
function* paintDifferences(c, v) {
  const ink = colours();
  const grounds = {
    much: pattern(c, ink.page, [[0, 0, 2, 2]]),
    little: pattern(c, ink.short, [[0, 0, 5, 2]]),
  };
  for (const [kind] of OFF) {
    const list = differencesOf(kind);
    yield* fill(c, v, list, () => grounds[kind]);
    c.strokeStyle = ink.ink;
    c.lineWidth = 1;
    yield* outline(c, v, list);
  }
}
