// What is drawn anew in every frame: flags, the cutter, what is pointed at, the scale.

function overlay() {
  const ink = colours();
  const v = viewNow();
  if (state.layers.findings && !onBed()) {
    const here = flagPlaces(toScreen);
    // the one that was gone to lies over its neighbours
    here.sort((a, b) => Number(a.one === state.flagged) - Number(b.one === state.flagged));
    here.forEach(flag);
    showPlaces();
  }
  lightUp(v);
  paintNet(v);
  paintSlide(v);
  highlight(v);
  placePop();
  for (const at of state.measure) if (at) cross(...toScreen(...at), ink.accent);
  if (state.measuring) previewMeasure();
  if (state.measure[0] && state.measure[1]) {
    const [a, b] = state.measure.map((at) => toScreen(...at));
    pen.strokeStyle = ink.accent;
    pen.lineWidth = 2;
    pen.beginPath();
    pen.moveTo(...a);
    pen.lineTo(...b);
    pen.stroke();
    label(pen, `${figure(measured())} mm`, (a[0] + b[0]) / 2 + 8, (a[1] + b[1]) / 2 - 8);
  }
  if (state.time !== null) drawCutter();
  if (document.activeElement === canvas && state.keys) {
    cross(size.width / 2, size.height / 2, ink.quiet);
  }
  scaleBar();
  const side = onBed() ? "the spoilboard, seen from above"
    : data.unread ? "as drawn"
    : state.fromComponents ? "component side up, turned over about X"
      : "copper side up, as it lies on the mill";
  label(pen, side, 10, size.height - 28);
}

function cross(x, y, colour) {
  pen.strokeStyle = colour;
  pen.lineWidth = 1.5;
  pen.beginPath();
  pen.moveTo(x - 9, y);
  pen.lineTo(x + 9, y);
  pen.moveTo(x, y - 9);
  pen.lineTo(x, y + 9);
  pen.stroke();
}

/** Every place of the finding that was gone to, and a ring around the present one. */
function showPlaces() {
  const one = state.flagged;
  if (!one?.at || one.blank !== state.blank) return;
  const ink = colours();
  const list = placesOf(one);
  pen.fillStyle = ink.flag;
  pen.strokeStyle = ink.flag_ink;
  pen.lineWidth = 1.2;
  for (const at of list.slice(1)) {
    const [x, y] = toScreen(...at);
    pen.beginPath();
    pen.moveTo(x, y - 6);
    pen.lineTo(x + 6, y);
    pen.lineTo(x, y + 6);
    pen.lineTo(x - 6, y);
    pen.closePath();
    pen.fill();
    pen.stroke();
  }
  const [x, y] = toScreen(...list[state.place]);
  for (const [colour, wide] of [[ink.page, 5], [ink.accent, 2.5]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.beginPath();
    pen.arc(x, y, 16, 0, 2 * Math.PI);
    pen.stroke();
  }
  if (list.length > 1) label(pen, `${state.place + 1} of ${list.length}`, x + 20, y + 16);
}

/** Flags of this blank on the screen; one that would cover others has a longer pole. */
function flagPlaces(onScreen) {
  const laid = [];
  for (const one of data.findings) {
    if (!one.at || one.blank !== state.blank) continue;
    const [x, y] = onScreen(...one.at);
    const box = [x, y - 30, x + 12 + 8 * one.name.length, y - 12];
    for (let k = 0; k < 5 && laid.some((other) => boxesMeet(other.box, box)); k++) {
      box[1] -= 20;
      box[3] -= 20;
    }
    laid.push({ one, x, y, box });
  }
  return laid;
}

/** A flag whose foot stands on the place. */
function flag({ one, x, y, box: [, y0, x1, y1] }) {
  const chosen = state.flagged === one;
  const ink = colours();
  pen.lineWidth = chosen ? 3 : 1.2;
  pen.strokeStyle = ink.flag_ink;
  pen.fillStyle = ink.flag;
  pen.beginPath();
  pen.moveTo(x, y);
  pen.lineTo(x, y0);
  pen.lineTo(x1, y0);
  pen.lineTo(x1, y1);
  pen.lineTo(x + 4, y1);
  pen.closePath();
  pen.fill();
  pen.stroke();
  pen.fillStyle = ink.flag_ink;
  pen.textAlign = "center";
  pen.font = "bold 12px system-ui, sans-serif";
  pen.fillText(one.name, (x + x1) / 2, y1 - 5);
}

function drawCutter() {
  const at = cutterAt(state.time);
  if (!at) return;
  const ink = colours();
  const p = at.program;
  const [x, y] = toScreen(at.x, at.y);
  const cutting = at.mz < 0 && p.spins;
  const width = cutting ? widthOf(p.cutter, -at.mz) : p.cutter.diameter || p.cutter.tip;
  const r = Math.max(2.5, (width / 2) * state.scale);
  pen.beginPath();
  pen.arc(x, y, r, 0, 2 * Math.PI);
  pen.fillStyle = cutting ? ink.ink : ink.page;
  pen.fill();
  pen.lineWidth = 1.5;
  pen.strokeStyle = ink.page;
  pen.stroke();
  for (const [colour, wide] of [[ink.page, 5], [ink.ink, 2]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.beginPath();
    pen.arc(x, y, Math.max(r + 5, 11), 0, 2 * Math.PI);
    pen.stroke();
  }
}

/** A bar of a round length. */
function scaleBar() {
  const ink = colours();
  const most = Math.min(160, size.width / 3) / state.scale;
  const ten = 10 ** Math.floor(Math.log10(most));
  const long = [5, 2, 1].map((k) => k * ten).find((k) => k <= most);
  const [x, y] = [12, size.height - 14];
  const wide = long * state.scale;
  pen.fillStyle = ink.page;
  pen.fillRect(x - 2, y - 2, wide + 4, 9);
  pen.fillStyle = ink.ink;
  pen.fillRect(x, y, wide / 2, 5);
  pen.strokeStyle = ink.ink;
  pen.lineWidth = 1;
  pen.strokeRect(x + 0.5, y + 0.5, wide - 1, 4);
  label(pen, `${figure(long, long < 0.1 ? 3 : long < 1 ? 1 : 0)} mm`, x + wide + 8, y + 7);
}

/** The copper that was found, so that it stands out. */
function lightUp(v) {
  const ink = colours();
  for (const piece of state.lit) {
    if (piece.blank !== state.blank || onBed() || !boxesMeet(piece.area.box, v.box)) continue;
    pen.beginPath();
    for (const ring of piece.area.rings) trace(pen, v, ring);
    pen.globalAlpha = 0.55;
    pen.fillStyle = ink.accent;
    pen.fill("evenodd");
    pen.globalAlpha = 1;
    pen.strokeStyle = ink.accent;
    pen.lineWidth = 2;
    pen.stroke();
  }
}

/** What is under the pointer, drawn again so that it stands out. */
function highlight(v) {
  const at = state.pinned ?? state.pointer ?? (state.keys ? [state.x, state.y] : null);
  if (!at) return;
  const ink = colours();
  const piece = pieceAt(...at);
  if (piece) {
    pen.beginPath();
    for (const ring of piece.area.rings) trace(pen, v, ring);
    pen.strokeStyle = ink.accent;
    pen.lineWidth = 2.5;
    pen.stroke();
    const gaps = partOf(piece) ? gapsOf(partOf(piece)).other : null;
    if (gaps) {
      const [a, b] = [toScreen(...gaps.from), toScreen(...gaps.to)];
      for (const [colour, wide] of [[ink.page, 6], [ink.accent, 3]]) {
        pen.strokeStyle = colour;
        pen.lineWidth = wide;
        pen.beginPath();
        pen.moveTo(...a);
        pen.lineTo(...b);
        pen.stroke();
      }
    }
  }
  if (state.pinned) cross(...toScreen(...state.pinned), ink.ink);
}
