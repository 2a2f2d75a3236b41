// One box that finds nets, pieces, pins, holes, boards, joins, findings, programs and their restart
// points by their names.

const MOST_HITS = 30;

/** Everything that has a name: {kind, name, more, blank, go()}. */
function namedThings() {
  const things = [];
  const many = data.copies.length > 1;
  const whose = (copy) => (many ? copyWords(copy) : "");
  const lighting = (list) => () => light(list);
  for (const net of nets) {
    if (net.pieces[0].net === null) continue;
    things.push({ kind: "net", name: net.net,
      more: [count(net.pieces.length, "piece"), whose(net.copy)], blank: net.blank,
      go: () => pickNet(net) });
  }
  for (const one of pieces) {
    things.push({ kind: "piece", name: one.piece, more: [one.net ?? "", whose(one.copy)],
      blank: one.blank, go: lighting([one]) });
    for (const pin of one.pins) {
      things.push({ kind: "pin", name: pin, more: [one.net ?? "", whose(one.copy)],
        blank: one.blank, go: lighting([one]) });
    }
  }
  const at = (kind, name, more, blank, place) =>
    things.push({ kind, name, more, blank, go: () => pinAt(place) });
  for (const hole of data.holes) {
    if (hole.work === "register") continue;
    at("hole", hole.id, [`${figure(hole.diameter)} mm`, whose(hole.copy)], hole.blank, hole.at);
  }
  for (const hole of data.registration) {
    at("registration", hole.id, [PURPOSES[hole.role]], hole.blank, hole.at);
  }
  outlines.forEach((one, index) => {
    const [x0, y0, x1, y1] = one.area.box;
    things.push({ kind: "board", name: copyWords(index), more: [], blank: one.blank,
      go: () => showBox([x0, y0, x1, y1]) });
  });
  data.joins.forEach((join, index) => {
    at("join", `join ${index + 1}`, [`passes ${join.passes.join(" and ")}`, join.piece ?? "edge"],
      join.blank, join.at);
  });
  for (const one of data.findings) {
    if (one.at) {
      things.push({ kind: "finding", name: one.name, more: [one.code], blank: one.blank,
        go: () => goTo(one) });
    }
  }
  for (const p of programs) {
    things.push({ kind: "program", name: p.file, more: [p.cutter.name], blank: p.blank,
      go: () => setStage(p.blank, p.pass, p.index) });
    for (const cut of cutsOf(p)) {
      things.push({ kind: "restart point", name: `restart point ${cut.number}`, more: [p.file],
        blank: p.blank, go: () => showRestart(p, cut) });
    }
  }
  return things;
}

function showRestart(p, cut) {
  setStage(p.blank, p.pass, p.index);
  setLayer("restarts", true);
  pinAt([p.X[cut.first], p.Y[cut.first]]);
}

function pinAt(place) {
  state.pinned = [...place];
  centreOn(...place, 12);
  showHere();
}

/** Put a box in view, with room around it. */
function showBox(box) {
  const [wide, high] = [Math.max(box[2] - box[0], 5), Math.max(box[3] - box[1], 5)];
  state.x = (box[0] + box[2]) / 2;
  state.y = (box[1] + box[3]) / 2;
  state.scale = Math.min(MOST_SCALE, 0.8 * Math.min(size.width / wide, size.height / high));
  changed(false);
}

/** Light pieces of copper and put them in view. */
function light(list) {
  state.lit = list;
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const { area } of list) {
    box[0] = Math.min(box[0], area.box[0]);
    box[1] = Math.min(box[1], area.box[1]);
    box[2] = Math.max(box[2], area.box[2]);
    box[3] = Math.max(box[3], area.box[3]);
  }
  showBox(box);
}

/** How well a name answers what was typed: 0 for exactly, then beginning, then anywhere. */
function rank(thing, wanted) {
  const name = thing.name.toLowerCase();
  if (name === wanted) return 0;
  if (name.startsWith(wanted)) return 1;
  const words = [thing.kind, name, ...thing.more].join(" ").toLowerCase();
  return wanted.split(/\s+/).every((word) => words.includes(word)) ? 2 : Infinity;
}

let things = null;

function find() {
  const wanted = $("review-find").value.trim().toLowerCase();
  const list = $("review-hits");
  list.replaceChildren();
  if (wanted === "") {
    pickNet(null);
    $("review-found").textContent = "";
    changed(false);
    return;
  }
  things ??= namedThings();
  const hits = things
    .map((thing) => ({ thing, rank: rank(thing, wanted) }))
    .filter((hit) => hit.rank < Infinity)
    .sort((a, b) => a.rank - b.rank);
  for (const { thing } of hits.slice(0, MOST_HITS)) {
    const button = element("button", undefined, "hit");
    button.type = "button";
    const kind = thing.name.startsWith(thing.kind) ? "" : thing.kind;
    const more = [kind, ...thing.more].filter((word) => word !== "").join(", ");
    button.append(element("bdi", thing.name), element("span", more));
    button.addEventListener("click", () => {
      pickNet(null);
      const stays = !["program", "restart point"].includes(thing.kind);
      if (stays && (thing.blank !== state.blank || onBed())) {
        setStage(thing.blank, null);
      }
      thing.go();
    });
    const row = element("li");
    row.append(button);
    list.append(row);
  }
  const rest = hits.length - MOST_HITS;
  $("review-found").textContent =
    hits.length === 0 ? "Nothing has this name." : rest > 0 ? `and ${rest} more` : "";
}
