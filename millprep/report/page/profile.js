// The picture of a section: laminate, copper, what is cut away, the flatness band and both axes.
const ROOM = { left: 58, right: 14, top: 16, bottom: 34 }; // pixels

/** Draw a section; how many times larger depths are drawn than lengths. */
function drawProfile(c, { wide, high }, cut, blank, asked, flatness, ink, figure) {
  const { long, depths } = cut;
  const across = (wide - ROOM.left - ROOM.right) / long;
  const deepest = blank.thickness + 0.3;
  const up = Math.max(0.15, (flatness ?? 0) * 2);
  const most = (high - ROOM.top - ROOM.bottom) / (deepest + up) / across;
  // the largest round factor that fits; below 1 the lengths have to shrink
  const larger = asked || [...TIMES].reverse().find((one) => one <= most) || 1;
  const shrunk = Math.min(1, most / larger);
  const sx = across * shrunk;
  const sz = sx * larger;
  const X = (s) => ROOM.left + s * sx;
  const Y = (z) => ROOM.top + (up - z) * sz;
  const count = depths.length - 1;
  const at = (k) => (k * long) / count;
  const band = (topOf, bottom, colour) => {
    c.beginPath();
    c.moveTo(X(0), Y(-bottom));
    for (let k = 0; k <= count; k++) c.lineTo(X(at(k)), Y(-Math.min(bottom, topOf(depths[k]))));
    c.lineTo(X(long), Y(-bottom));
    c.closePath();
    c.fillStyle = colour;
    c.fill();
  };
  band((d) => Math.max(d, blank.copper), blank.thickness, ink.laminate);
  band((d) => d, blank.copper, ink.copper);
  c.strokeStyle = ink.ink;
  c.lineWidth = 1;
  c.beginPath();
  for (let k = 0; k <= count; k++) c[k ? "lineTo" : "moveTo"](X(at(k)), Y(-depths[k]));
  c.stroke();
  line(c, X(0), Y(-blank.thickness), X(long), Y(-blank.thickness), []);
  if (flatness) {
    for (const z of [flatness, -flatness]) line(c, X(0), Y(z), X(long), Y(z), [5, 4]);
  }
  axes(c, { wide, high }, { X, Y, long, low: -deepest, top: up, sx, sz }, ink, figure);
  return larger;
}

function line(c, x0, y0, x1, y1, dash) {
  c.setLineDash(dash);
  c.beginPath();
  c.moveTo(x0, y0);
  c.lineTo(x1, y1);
  c.stroke();
  c.setLineDash([]);
}

function axes(c, { high }, { X, Y, long, low, top, sx, sz }, ink, figure) {
  c.fillStyle = ink.ink;
  c.strokeStyle = ink.ink;
  c.font = "12px system-ui, sans-serif";
  const step = roundStep(long, Math.max(2, (long * sx) / 70));
  const digits = (value) => Math.max(0, Math.ceil(-Math.log10(value) - 1e-9));
  c.textAlign = "center";
  const floor = Math.min(high - ROOM.bottom, Y(low));
  line(c, X(0), floor, X(long), floor, []);
  for (let n = 0; n * step <= long + 1e-9; n++) {
    line(c, X(n * step), floor, X(n * step), floor + 4, []);
    c.fillText(figure(n * step, digits(step)), X(n * step), floor + 16);
  }
  c.fillText("along the section, mm", X(long / 2), floor + 30);
  const rise = roundStep(top - low, Math.max(2, ((top - low) * sz) / 26));
  c.textAlign = "right";
  for (let n = Math.ceil(low / rise); n * rise <= top; n++) {
    line(c, X(0) - 4, Y(n * rise), X(0), Y(n * rise), []);
    c.fillText(figure(n * rise, digits(rise)), X(0) - 7, Y(n * rise) + 4);
  }
  line(c, X(0), Y(top), X(0), floor, []);
  c.textAlign = "left";
  c.fillText("Z, mm", 4, 11);
}
