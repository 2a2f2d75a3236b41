// What lies at a place, what is near it, and how far two places are apart.
const NEAR = 6; // pixels

function toSegment(x, y, x0, y0, x1, y1) {
  const dx = x1 - x0;
  const dy = y1 - y0;
  const square = dx * dx + dy * dy;
  const t = square ? Math.min(1, Math.max(0, ((x - x0) * dx + (y - y0) * dy) / square)) : 0;
  const at = [x0 + t * dx, y0 + t * dy];
  return { at, distance: Math.hypot(x - at[0], y - at[1]) };
}

function toMove(p, i, x, y) {
  const arc = p.arcs.get(i);
  if (arc) {
    const angle = Math.atan2(y - arc.y, x - arc.x);
    const full = 2 * Math.PI;
    const way = Math.sign(arc.sweep);
    const gone = (((way * (angle - arc.from)) % full) + full) % full;
    if (gone <= Math.abs(arc.sweep)) {
      return Math.abs(Math.hypot(x - arc.x, y - arc.y) - arc.radius);
    }
  }
  if (arc) {
    return Math.min(
      Math.hypot(x - p.X[i], y - p.Y[i]),
      Math.hypot(x - p.X[i + 1], y - p.Y[i + 1]),
    );
  }
  return toSegment(x, y, p.X[i], p.Y[i], p.X[i + 1], p.Y[i + 1]).distance;
}

/** Moves at a place, those whose axis is nearest first; several laps may run on one line. */
function movesAt(x, y) {
  if (!state.layers.paths && !state.layers.air) return [];
  const slack = NEAR / state.scale;
  let least = Infinity;
  let found = [];
  for (const p of shown()) {
    for (const chunk of p.chunks) {
      const box = chunk.box;
      if (x < box[0] - slack || x > box[2] + slack || y < box[1] - slack || y > box[3] + slack) {
        continue;
      }
      for (let i = chunk.from; i < chunk.to; i++) {
        const width = p.width[i];
        if (width > 0 ? !state.layers.paths : !state.layers.air) continue;
        const distance = toMove(p, i, x, y);
        if (distance > Math.max(width / 2, slack)) continue;
        if (distance < least - 1e-3) {
          found = found.filter((one) => one.distance < distance + 1e-3);
        }
        if (distance < least + 1e-3) {
          found.push({ program: p, move: i, distance });
          least = Math.min(least, distance);
        }
      }
    }
  }
  return found;
}

const pieceAt = (x, y) =>
  onBed() ? undefined : pieces.find((one) => one.blank === state.blank && inside(one.area, x, y));
const partAt = (x, y) =>
  onBed() ? undefined : parts.find((one) => one.blank === state.blank && inside(one.area, x, y));
const partOf = (piece) =>
  parts.find((part) =>
    part.blank === piece.blank &&
    part.carries.some(([copy, id]) => copy === piece.copy && id === piece.piece));

const nameOf = (piece) =>
  piece.net && piece.net !== piece.piece ? `${piece.piece}, ${piece.net}` : piece.piece;

/** A place in the drawing of a sheet that shows one. */
function drawnAt(x, y) {
  const { pose } = data.copies.find((copy) => copy.blank === state.blank);
  return ["In the drawing", placeWords(...moved(inverse(pose), x, y))];
}

/** What a person wants to know of a place: [title, [[name, value], …]] in turn. */
function facts(x, y) {
  const found = [];
  const here = [data.unread ? drawnAt(x, y)
    : [onBed() ? "From work zero" : "On the blank", placeWords(x, y)]];
  const stage = windows.find((w) => w.blank === state.blank && w.number === state.pass);
  if (stage && !onBed()) here.push(["From work zero", placeWords(...moved(stage.pose, x, y))]);
  found.push(["Place", here]);
  const slack = NEAR / state.scale;
  const near = (at, more = 0) => at && Math.hypot(x - at[0], y - at[1]) <= Math.max(slack, more);
  const mine = (one) => one.blank === state.blank && !onBed();
  const refitHere = (number, option) => {
    const used = windows.find((w) => w.blank === state.blank && w.number === number);
    return used && takesCommands() ? [["Once measured", refitWith(used, option)]] : [];
  };
  for (const hole of data.registration) {
    if (mine(hole) && state.layers.registration && near(hole.at, hole.diameter / 2)) {
      found.push([`Registration ${hole.ends ? "slot" : "hole"} ${hole.id}`, [
        [hole.ends ? "Width" : "Diameter", `${figure(hole.diameter, 3)} mm`],
        ["Purpose", PURPOSES[hole.role]],
        ["Passes", `drilled in pass ${hole.drilledIn}, used in pass ${hole.usedIn}`],
        ...refitHere(hole.usedIn),
      ]]);
    }
  }
  for (const hole of data.holes) {
    if (!mine(hole) || !state.layers.holes || hole.work === "register") continue;
    const at = hole.end ? toSegment(x, y, ...hole.at, ...hole.end).at : hole.at;
    if (!near(at, hole.diameter / 2)) continue;
    found.push([`${hole.end ? "Slot" : "Hole"} ${hole.id}`, [
      ["Diameter", `${figure(hole.diameter, 3)} mm`],
      ["Cutter", data.cutters[hole.cutter].name],
      ["Depth", `${figure(hole.depth, 3)} mm`],
    ]]);
  }
  found.push(...restartFacts(x, y));
  const moves = movesAt(x, y);
  if (moves.length) found.push(["Path", moveFacts(moves[0], x, y)]);
  if (moves.length > 1) {
    const lineOf = (m) => `line ${m.program.line[m.move]}`;
    const rest = moves.slice(1, 5).map((m) => [m.program.file, lineOf(m)]);
    if (moves.length > 5) rest.push(["and more", String(moves.length - 5)]);
    found.push(["Also on this line", rest]);
  }
  const piece = pieceAt(x, y);
  if (piece) found.push([data.unread ? "Drawn" : "Copper", pieceFacts(piece)]);
  else if (state.layers.asCut && partAt(x, y)) {
    found.push(["Copper", [["Net", "floating copper"]]]);
  }
  for (const join of data.joins) {
    if (mine(join) && state.layers.joins && near(join.at)) {
      found.push(["Join", joinFacts(join)]);
    }
  }
  for (const stageOf of windows) {
    for (const one of stageOf.verniers) {
      if (stageOf.blank === state.blank && state.layers.verniers && near(one.at)) {
        found.push([`Vernier ${one.id}`, [
          ["Measures along", one.measures.toUpperCase()],
          ["One line is", `${figure(one.step, 3)} mm`],
          ...refitHere(stageOf.number, " --vernier"),
        ]]);
      }
    }
  }
  if (!found.some(([title]) => /^(Path|Restart|Registration|Vernier|Join)/.test(title))) {
    found.push(...passCommands(x, y));
  }
  return found;
}

const placeWords = (x, y, digits = 2) => `X ${figure(x, digits)}  Y ${figure(y, digits)}`;

const feedWords = (p, i) =>
  p.kind[i] === RAPID ? "rapid" : `${figure(p.feed[i], 0)} mm/min`;

function moveFacts({ program: p, move: i }, x, y) {
  const depths = [p.mz[i], p.mz[i + 1]].map((z) => figure(-z, 3));
  const depth = depths[0] === depths[1] ? depths[0] : `${depths[0]} → ${depths[1]}`;
  const cut = cutAt(p, i);
  return [
    ["File", p.file],
    ["Line", String(p.line[i])],
    ...(cut ? [["Restart point", String(cut.number)]] : []),
    ["Cutter", `${p.cutter.name}: ${p.cutter.words}`],
    ["Depth", `${depth} mm`],
    ["Feed", feedWords(p, i)],
    ["Groove at the surface", p.width[i] > 0 ? `${figure(p.width[i], 3)} mm` : "none"],
    ...(p.stage && p.width[i] > 0 && takesCommands() ? [["Resume here", resumeNear(p, x, y)]] : []),
  ];
}

const MOST_PINS = 12;

/** The pins that netlist or texts put on a piece. */
function pinWords(pins) {
  const more = pins.length - MOST_PINS;
  return pins.slice(0, MOST_PINS).join(", ") + (more > 0 ? ` and ${more} more` : "");
}

/** Volts and amperes that the job gives the net of a piece. */
function netFacts(piece) {
  const facts = data.copies[piece.copy].facts.find((row) => row.net === piece.net);
  if (!facts) return [];
  return [["Volts", voltWords(facts.volts)], ["Current", ampereWords(facts.amperes)]]
    .filter(([, words]) => words !== "");
}

function pieceFacts(piece) {
  if (data.unread) return [["Layer and shape", piece.piece], ["Board", copyWords(piece.copy)]];
  const rows = [
    ["Net", piece.net ?? "none"],
    ...netFacts(piece),
    ...(piece.pins.length ? [["Pins", pinWords(piece.pins)]] : []),
    ["Piece", piece.piece],
    ["Board", copyWords(piece.copy)],
  ];
  const part = partOf(piece);
  if (part) {
    const { any, other } = gapsOf(part);
    const gapTo = (one) => {
      const carried = parts[one.index].carries[0];
      const named = pieces.find((p) => carried && p.copy === carried[0] && p.piece === carried[1]);
      const to = named ? nameOf(named) : "floating copper";
      return `${figure(one.distance)} mm to ${to}`;
    };
    if (other) rows.push(["Narrowest gap as cut", gapTo(other)]);
    if (any && (!other || any.distance < other.distance - 0.005)) {
      rows.push(["Nearest copper, floating included", gapTo(any)]);
    }
  }
  const joins = data.joins.filter((j) => j.copy === piece.copy && j.piece === piece.piece);
  rows.push(["Joins", joins.length ? String(joins.length) : "none"]);
  const known = (list) => list.filter((v) => v !== null);
  const stands = known(joins.map((j) => j.tolerance));
  const expected = known(joins.map((j) => j.predicted));
  return [
    ...rows,
    ...misalignment(
      expected.length ? Math.max(...expected) : null,
      stands.length ? Math.min(...stands) : null,
    ),
  ];
}

/** The misalignment to expect and the one tolerated, as far as they are known. */
function misalignment(predicted, tolerance) {
  const rows = [];
  if (predicted !== null) rows.push(["Expected misalignment", `below ${figure(predicted, 3)} mm on 99.7 % of blanks`]);
  if (tolerance !== null) rows.push(["Misalignment tolerated", `up to ${figure(tolerance, 3)} mm`]);
  return rows;
}

function joinFacts(join) {
  return [["Passes", join.passes.join(" – ")], ...misalignment(join.predicted, join.tolerance)];
}

/** What a click near a place means, {at, kind}: a hole's centre, a corner, an edge, or itself. */
function snapped(x, y) {
  const free = { at: [x, y], kind: "free" };
  if (onBed()) return free;
  const slack = (NEAR + 2) / state.scale;
  const nearer = (a, b) => a.distance - b.distance;
  const best = (list) => list.filter((c) => c.distance <= slack).sort(nearer)[0];
  const to = (at) => ({ at, distance: Math.hypot(x - at[0], y - at[1]) });
  const centres = [...data.holes, ...data.registration]
    .filter((hole) => hole.blank === state.blank)
    .flatMap((hole) => (hole.end ? [hole.at, hole.end] : [hole.at]));
  const centre = best(centres.map(to));
  if (centre) return { at: centre.at, kind: "centre" };
  let edge = null;
  for (const area of edgesNear(x, y, slack)) {
    eachSegment(area, (x0, y0, x1, y1) => {
      const found = toSegment(x, y, x0, y0, x1, y1);
      if (found.distance <= slack && (!edge || found.distance < edge.distance)) {
        const corner = [[x0, y0], [x1, y1]].map(to).find((c) => c.distance <= slack / 3);
        edge = { at: corner?.at ?? found.at, kind: corner ? "corner" : "edge", distance: found.distance };
      }
    });
  }
  return edge ?? free;
}

/** Areas whose edges may be meant near a place: copper, boards, blank, travel, clamps. */
function edgesNear(x, y, slack) {
  const copper = state.layers.asCut && parts.length ? parts : pieces;
  const here = (list) => list.filter((one) => one.blank === state.blank).map((one) => one.area);
  const reached = windows.filter(
    (w) => w.blank === state.blank && (state.pass === null || w.number === state.pass));
  return [
    ...here(copper), ...here(outlines),
    ...blanks.filter((b) => b.number === state.blank).map((b) => b.area),
    ...(state.layers.windows ? reached.map((w) => w.area) : []),
    ...(state.layers.clamps ? reached.flatMap(clampsOf) : []),
  ].filter(({ box }) =>
    x >= box[0] - slack && x <= box[2] + slack && y >= box[1] - slack && y <= box[3] + slack);
}

/** The clamps of a pass as areas of the blank. */
function clampsOf(stage) {
  const back = inverse(stage.pose);
  return data.clamps
    .filter((clamp) => !clamp.passes || clamp.passes.includes(stage.number))
    .map(({ box: [x0, y0, x1, y1] }) => {
      const ring = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]].flatMap((at) => moved(back, ...at));
      return { rings: [ring], box: boxOf(ring) };
    });
}

const measured = () =>
  Math.hypot(state.measure[1][0] - state.measure[0][0], state.measure[1][1] - state.measure[0][1]);
