// Nets: what the job says of them, all their copper and wires, and how far their neighbours are.

const MOST_NETS = 400;
const MOST_NEIGHBOURS = 12;
/** Margins, measured / required: [below, word, dash on the drawing]. Line and word differ with the colour. */
const MARGINS = [
  [1 - 1e-6, "too narrow", []],
  [1.25, "less than a quarter to spare", [7, 3]],
  [Infinity, "ample", [2, 4]],
];
const marginOf = (share) => MARGINS.findIndex(([below]) => share < below);
const marginColour = (kind) => [colours().short, colours().accent, colours().quiet][kind];

/** Every net of every copy: {net, copy, blank, pieces, facts}; those the job names come first. */
const nets = (() => {
  const known = new Map();
  for (const one of pieces) {
    const key = `${one.copy} ${one.net ?? one.piece}`;
    if (!known.has(key)) {
      const name = one.net ?? one.piece;
      const facts = data.copies[one.copy].facts.find((row) => row.net === name) ?? null;
      known.set(key, { net: name, copy: one.copy, blank: one.blank, pieces: [], facts });
    }
    known.get(key).pieces.push(one);
  }
  const rank = (one) => (one.facts ? 0 : one.pieces[0].net !== one.pieces[0].piece ? 1 : 2);
  return [...known.values()].sort((a, b) => rank(a) - rank(b));
})();

/** Ends of the jumper wires of a net, blank frame: [x0, y0, x1, y1]. */
function jumpersOf(net) {
  const copy = data.copies[net.copy];
  return copy.jumpers
    .map(([x0, y0, x1, y1]) => [...moved(copy.pose, x0, y0), ...moved(copy.pose, x1, y1)])
    .filter(([x0, y0]) => net.pieces.some((one) => inside(one.area, x0, y0)));
}

function voltWords(volts) {
  if (!volts) return "";
  const [low, high] = volts.map((v) => figure(v, v % 1 ? 1 : 0));
  return low === high ? `${low} V` : `${low} … ${high} V`;
}

const ampereWords = (amperes) => (amperes ? `${Number(amperes.toPrecision(3))} A` : "");

function netWords(net) {
  const many = net.pieces.length > 1 ? `${net.pieces.length} pieces` : "";
  const whose = data.copies.length > 1 ? copyWords(net.copy) : "";
  const named = net.facts ? [voltWords(net.facts.volts), ampereWords(net.facts.amperes)] : [];
  return [...named, many, whose].filter((word) => word !== "").join(", ");
}

/**
 * The nets next to one: {name, net, measured, required, way, share}, the least margin first. Where
 * volts of both are known these are the figures of the report; otherwise the gap as cut on what is
 * drawn against the isolation gap of the job.
 */
function neighboursOf(net) {
  if (net.neighbours) return net.neighbours;
  const found = new Map();
  const other = (name) => nets.find((one) => one.copy === net.copy && one.net === name) ?? null;
  const { names, pairs, ways } = data.copies[net.copy].spacings;
  pairs.forEach(([a, b, volts, required, measured], i) => {
    if (names[a] !== net.net && names[b] !== net.net) return;
    const name = names[a] === net.net ? names[b] : names[a];
    const way = [...numbers(ways[i])].map((v) => v * data.units.shape);
    found.set(name, { name, net: other(name), measured, required, volts, way, at: narrowestOf(way) });
  });
  for (const piece of net.pieces) {
    const part = partOf(piece);
    for (const near of part ? nearParts(part, Math.max(2 * data.gap, 1)) : []) {
      for (const [copy, id] of parts[near.index].carries) {
        const mate = nets.find((one) => one.copy === copy && one.pieces.some((p) => p.piece === id));
        if (!mate || mate === net || (copy === net.copy && found.get(mate.net)?.volts !== undefined)) {
          continue;
        }
        const name = copy === net.copy ? mate.net : `${mate.net} of ${copyWords(copy)}`;
        const old = found.get(name);
        if (old && old.measured <= near.distance) continue;
        const way = [...near.from, ...near.to];
        found.set(name, { name, net: mate, measured: near.distance, required: data.gap, way,
          at: narrowestOf(way) });
      }
    }
  }
  net.neighbours = [...found.values()]
    .map((one) => ({ ...one, share: one.measured / one.required }))
    .sort((a, b) => a.share - b.share);
  return net.neighbours;
}

/** The middle of the narrowest gap on a way. */
function narrowestOf(way) {
  let best = 0;
  const wide = (i) => Math.hypot(way[i] - way[i + 2], way[i + 1] - way[i + 3]);
  for (let i = 4; i < way.length; i += 4) if (wide(i) < wide(best)) best = i;
  return [(way[best] + way[best + 2]) / 2, (way[best + 1] + way[best + 3]) / 2];
}

const shareWords = (one) =>
  `${figure(one.measured)} mm, required ${figure(one.required)}${
    one.volts === undefined ? " (the isolation gap)" : ` for ${figure(one.volts, 0)} V`
  }: ${MARGINS[marginOf(one.share)][1]}`;

// ------------------------------------------------------------------ the list

function fillNets() {
  const list = $("review-nets");
  list.replaceChildren();
  nets.listed = state.blank;
  const wanted = nets.filter((one) => one.blank === state.blank);
  for (const net of wanted.slice(0, MOST_NETS)) {
    const button = element("button", undefined, "hit");
    button.type = "button";
    button.append(element("bdi", net.net), element("span", netWords(net)));
    button.addEventListener("click", () => pickNet(state.net === net ? null : net));
    net.button = button;
    const row = element("li");
    row.append(button);
    list.append(row);
  }
  oneStop(list);
  const rest = wanted.length - MOST_NETS;
  $("review-nets-more").textContent =
    wanted.length === 0 ? "None." : rest > 0 ? `and ${rest} more: use Find` : "";
  showNet();
}

/** Light a net with its wires and neighbours, and put it in view; null for none. */
function pickNet(net) {
  state.gap = null;
  if (net) {
    if (net.blank !== state.blank || onBed()) setStage(net.blank, null);
    state.net = net;
    light(net.pieces);
  } else {
    state.net = null;
    state.lit = [];
  }
  showNet();
  changed(false);
}

function showNet() {
  const net = state.net;
  for (const one of nets) one.button?.setAttribute("aria-pressed", String(one === net));
  const box = $("review-net");
  box.replaceChildren();
  if (!net) return;
  const jumpers = jumpersOf(net);
  box.append(element("h4", net.net));
  const wires = jumpers.length ? count(jumpers.length, "jumper wire") : "no jumper wire";
  box.append(element("p", [netWords(net), wires].filter((word) => word).join(", ")));
  const near = neighboursOf(net);
  box.append(element("p", near.length ? "Neighbours, the least margin first:" : "No neighbour near."));
  const list = element("ol");
  for (const one of near.slice(0, MOST_NEIGHBOURS)) {
    const kind = marginOf(one.share);
    const button = element("button", undefined, `hit margin-${kind}`);
    button.type = "button";
    button.append(element("bdi", one.name), element("span", shareWords(one)));
    button.addEventListener("click", () => {
      state.gap = one;
      centreOn(...one.at, 25);
      canvas.scrollIntoView({ block: "nearest" });
    });
    const row = element("li");
    row.append(button);
    list.append(row);
  }
  oneStop(list);
  box.append(list);
  const rest = near.length - MOST_NEIGHBOURS;
  if (rest > 0) box.append(element("p", `and ${rest} with more to spare`));
}

const count = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;

// ------------------------------------------------------------------ on the drawing

/** The neighbours of the net that was picked, its jumper wires, and the way across each gap. */
function paintNet(v) {
  if (onBed()) return;
  for (const one of state.layers.findings ? data.findings : []) {
    if (one.pair && one.blank === state.blank && (one.severity === "stop" || one === state.flagged)) {
      const gap = gapOf(one);
      if (gap) paintWay(v, gap);
    }
  }
  const net = state.net;
  if (!net || net.blank !== state.blank) return;
  for (const one of [...neighboursOf(net)].reverse()) {
    const kind = marginOf(one.share);
    pen.strokeStyle = marginColour(kind);
    pen.lineWidth = kind === 0 ? 4 : 2.5;
    pen.setLineDash(MARGINS[kind][2]);
    for (const piece of one.net?.pieces ?? []) {
      if (!boxesMeet(piece.area.box, v.box)) continue;
      pen.beginPath();
      for (const ring of piece.area.rings) trace(pen, v, ring);
      pen.stroke();
    }
    pen.setLineDash([]);
    if (v.scale > 4 || one === state.gap) paintWay(v, one);
  }
  for (const [x0, y0, x1, y1] of jumpersOf(net)) paintJumper(v, x0, y0, x1, y1);
}

/** The gaps that current would take from net to net, one after the other, and what they add up to. */
function paintWay(v, one) {
  const ink = colours();
  const way = one.way;
  for (const [colour, wide] of [[ink.page, 7], [marginColour(marginOf(one.share)), 3.5]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.lineCap = "round";
    pen.beginPath();
    for (let i = 0; i < way.length; i += 4) {
      pen.moveTo(sx(v, way[i]), sy(v, way[i + 1]));
      pen.lineTo(sx(v, way[i + 2]), sy(v, way[i + 3]));
    }
    pen.stroke();
  }
  pen.lineCap = "butt";
  if (one !== state.gap) {
    if (v.scale > 15) label(pen, figure(one.measured), sx(v, one.at[0]) + 9, sy(v, one.at[1]) - 7);
    return;
  }
  // from gap to gap the way leads over floating copper
  pen.setLineDash([2, 3]);
  pen.lineWidth = 1.5;
  pen.strokeStyle = ink.ink;
  pen.beginPath();
  for (const [x0, y0, x1, y1] of between(way)) {
    pen.moveTo(sx(v, x0), sy(v, y0));
    pen.lineTo(sx(v, x1), sy(v, y1));
  }
  pen.stroke();
  pen.setLineDash([]);
  const last = way.length - 2;
  label(pen, `${figure(one.measured, 3)} mm, required ${figure(one.required, 3)}`,
    sx(v, (way[0] + way[last]) / 2) + 9, sy(v, (way[1] + way[last + 1]) / 2) + 18);
}

/** From the nearer end of each gap of a way to the nearer end of the next. */
function between(way) {
  const found = [];
  for (let i = 0; i + 4 < way.length; i += 4) {
    const ends = (k) => [[way[k], way[k + 1]], [way[k + 2], way[k + 3]]];
    let best = null;
    for (const a of ends(i)) {
      for (const b of ends(i + 4)) {
        const far = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (!best || far < best.far) best = { far, line: [...a, ...b] };
      }
    }
    found.push(best.line);
  }
  return found;
}

function paintJumper(v, x0, y0, x1, y1) {
  const ink = colours();
  const [ax, ay, bx, by] = [sx(v, x0), sy(v, y0), sx(v, x1), sy(v, y1)];
  const thin = v.scale > 4 ? 3 : 1.5;
  for (const [colour, wide] of [[ink.page, thin + 3], [ink.ink, thin]]) {
    pen.strokeStyle = colour;
    pen.fillStyle = colour;
    pen.lineWidth = wide;
    pen.beginPath();
    pen.moveTo(ax, ay);
    pen.lineTo(bx, by);
    pen.stroke();
    for (const [x, y] of [[ax, ay], [bx, by]]) {
      pen.beginPath();
      pen.arc(x, y, wide + 1, 0, 2 * Math.PI);
      pen.fill();
    }
  }
  if (v.scale > 4) label(pen, "jumper wire", (ax + bx) / 2 + 6, (ay + by) / 2 - 6);
}
