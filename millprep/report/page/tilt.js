// The board from aside: what is cut is painted as depths into a texture, and every pixel of the
// view follows its ray down to them. Needs WebGL 2; a plain picture stands in where there is none.
const TEXTURE = 2048; // pixels
const STEPS = 96; // of a ray, at most
const MOST_CLAMPS = 12;
const ARC_STEP = 0.2; // radians

const CUT_VERTEX = `#version 300 es
in vec2 corner; in vec4 ends; in vec2 tips; in vec3 tool;
uniform vec4 box;
out vec2 place; flat out vec4 line; flat out vec2 depth; flat out vec3 shape;
void main() {
  vec2 along = ends.zw - ends.xy;
  float far = length(along);
  vec2 u = far > 0.0 ? along / far : vec2(1.0, 0.0);
  vec2 at = corner.x < 0.0 ? ends.xy : ends.zw;
  place = at + tool.z * (u * corner.x + vec2(-u.y, u.x) * corner.y);
  line = ends; depth = tips; shape = tool;
  gl_Position = vec4((place - box.xy) / (box.zw - box.xy) * 2.0 - 1.0, 0.0, 1.0);
}`;
const CUT_FRAGMENT = `#version 300 es
precision highp float;
in vec2 place; flat in vec4 line; flat in vec2 depth; flat in vec3 shape;
uniform float range;
out vec4 colour;
void main() {
  vec2 along = line.zw - line.xy;
  float square = dot(along, along);
  float t = square > 0.0 ? clamp(dot(place - line.xy, along) / square, 0.0, 1.0) : 0.0;
  float aside = length(place - line.xy - t * along);
  float tip = square > 0.0 ? mix(depth.x, depth.y, t) : max(depth.x, depth.y);
  float cut = aside > shape.z ? 0.0 : max(0.0, tip - max(0.0, aside - shape.x) * shape.y);
  colour = vec4(cut / range, 0.0, 0.0, 1.0);
}`;
const VIEW_VERTEX = `#version 300 es
in vec2 corner;
out vec2 at;
void main() { at = corner; gl_Position = vec4(corner, 0.0, 1.0); }`;
const VIEW_FRAGMENT = `#version 300 es
precision highp float;
in vec2 at;
uniform sampler2D depths;
uniform vec4 box, blank, clamps[${MOST_CLAMPS}];
uniform float heights[${MOST_CLAMPS}];
uniform int count;
uniform vec2 centre, half_;
uniform float tilt, turn, range, thickness, copper, times;
uniform vec3 ink, page, copperColour, laminateColour, clampColour;
out vec4 colour;
float deep(vec2 p) { return texture(depths, (p - box.xy) / (box.zw - box.xy)).r * range; }
bool on(vec2 p) { return p.x >= blank.x && p.y >= blank.y && p.x <= blank.z && p.y <= blank.w; }
float lit(vec3 n) { return 0.6 + 0.4 * max(0.0, dot(n, normalize(vec3(-0.5, 0.6, 1.0)))); }
void main() {
  vec3 right = vec3(cos(turn), sin(turn), 0.0), ahead = vec3(-sin(turn), cos(turn), 0.0);
  vec3 down = ahead * sin(tilt) - vec3(0.0, 0.0, cos(tilt));
  vec3 start = vec3(centre, 0.0) + right * at.x * half_.x + ahead * at.y * half_.y / cos(tilt);
  float nearest = 1e9;
  vec3 side = vec3(0.0);
  for (int k = 0; k < ${MOST_CLAMPS}; k++) {
    if (k >= count) break;
    vec3 low = (vec3(clamps[k].xy, 0.0) - start) / down, high = (vec3(clamps[k].zw, heights[k]) - start) / down;
    vec3 first = min(low, high), last = max(low, high);
    float from = max(first.x, max(first.y, first.z)), to = min(last.x, min(last.y, last.z));
    if (from <= to && from < nearest) {
      nearest = from;
      side = vec3(greaterThanEqual(first, vec3(from - 1e-5))) * -sign(down);
    }
  }
  float bottom = thickness * times;
  float reach = bottom / cos(tilt), t = 0.0, step_ = reach / float(${STEPS});
  bool hit = false;
  vec3 p = start;
  for (int k = 0; k <= ${STEPS}; k++) {
    p = start + down * t;
    if (on(p.xy) && -p.z >= min(deep(p.xy), thickness) * times - 1e-6 && deep(p.xy) < thickness) { hit = true; break; }
    t += step_;
  }
  float low = max(0.0, t - step_), high = t;
  if (hit && t > 0.0) for (int k = 0; k < 8; k++) {
    float middle = (low + high) / 2.0;
    vec3 q = start + down * middle;
    if (on(q.xy) && -q.z >= deep(q.xy) * times) high = middle; else low = middle;
  }
  p = start + down * high;
  if (nearest < (hit ? high : reach)) { colour = vec4(clampColour * lit(side), 1.0); return; }
  if (!hit) {
    bool through = on((start + down * reach).xy);
    colour = vec4(through ? mix(page, ink, 0.75) : page, 1.0);
    return;
  }
  vec2 px = (box.zw - box.xy) / ${TEXTURE}.0;
  vec2 grade = vec2(deep(p.xy + vec2(px.x, 0.0)) - deep(p.xy - vec2(px.x, 0.0)),
    deep(p.xy + vec2(0.0, px.y)) - deep(p.xy - vec2(0.0, px.y))) / (2.0 * px) * times;
  vec3 n = normalize(vec3(grade, 1.0));
  colour = vec4((-p.z / times < copper ? copperColour : laminateColour) * lit(n), 1.0);
}`;

const triple = (hex) => [1, 3, 5].map((k) => parseInt(hex.slice(k, k + 2), 16) / 255);

function shader(gl, vertex, fragment) {
  const program = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const one = gl.createShader(kind);
    gl.shaderSource(one, text);
    gl.compileShader(one);
    if (!gl.getShaderParameter(one, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(one));
    gl.attachShader(program, one);
  }
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) {
    throw new Error(gl.getProgramInfoLog(program));
  }
  return program;
}

/** Moves as straight pieces: ends, depths of the tip, and the cutter's flat, slope and reach. */
function pieces9(moves) {
  const rows = [];
  for (const { p, i, reach } of moves) {
    const half = (((p.cutter.angle || 0) / 2) * Math.PI) / 180;
    const round = p.cutter.kind === "endmill" || half === 0;
    const flat = p.cutter.kind === "vee" ? p.cutter.tip / 2 : round ? p.cutter.diameter / 2 : 0;
    const slope = round ? 0 : 1 / Math.tan(half);
    const arc = p.arcs.get(i);
    const parts = arc ? Math.max(1, Math.ceil(Math.abs(arc.sweep) / ARC_STEP)) : 1;
    const at = (k) => {
      const z = -(p.mz[i] + ((p.mz[i + 1] - p.mz[i]) * k) / parts);
      if (!arc || k === 0 || k === parts) return k === 0 ? [p.X[i], p.Y[i], z] : [p.X[i + 1], p.Y[i + 1], z];
      const angle = arc.from + (arc.sweep * k) / parts;
      return [arc.x + arc.radius * Math.cos(angle), arc.y + arc.radius * Math.sin(angle), z];
    };
    for (let k = 0; k < parts; k++) {
      const [a, b] = [at(k), at(k + 1)];
      rows.push(a[0], a[1], b[0], b[1], a[2], b[2], flat, slope, reach);
    }
  }
  return new Float32Array(rows);
}

/** Draws into a canvas with WebGL 2; null where the browser has none. */
function tiltedView(canvas) {
  const gl = canvas.getContext("webgl2", { antialias: false, preserveDrawingBuffer: true });
  if (!gl) return null;
  const cut = shader(gl, CUT_VERTEX, CUT_FRAGMENT);
  const view = shader(gl, VIEW_VERTEX, VIEW_FRAGMENT);
  const square = gl.createBuffer();
  gl.bindBuffer(gl.ARRAY_BUFFER, square);
  gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([-1, -1, 1, -1, -1, 1, 1, 1]), gl.STATIC_DRAW);
  const rows = gl.createBuffer();
  const texture = gl.createTexture();
  gl.bindTexture(gl.TEXTURE_2D, texture);
  const fine = gl.getExtension("EXT_color_buffer_float");
  gl.texStorage2D(gl.TEXTURE_2D, 1, fine ? gl.RGBA16F : gl.RGBA8, TEXTURE, TEXTURE);
  for (const name of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, name, gl.CLAMP_TO_EDGE);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR);
  const frame = gl.createFramebuffer();
  gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
  gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, texture, 0);
  const attribute = (program, name, size, stride, offset, each) => {
    const where = gl.getAttribLocation(program, name);
    gl.enableVertexAttribArray(where);
    gl.vertexAttribPointer(where, size, gl.FLOAT, false, stride, offset);
    gl.vertexAttribDivisor(where, each);
    return where;
  };
  const corners = (program) => {
    gl.bindBuffer(gl.ARRAY_BUFFER, square);
    return attribute(program, "corner", 2, 0, 0, 0);
  };
  const put = (program, values) => {
    for (const [name, value] of Object.entries(values)) {
      const where = gl.getUniformLocation(program, name);
      if (typeof value === "number") gl.uniform1f(where, value);
      else gl[`uniform${value.length}fv`](where, value);
    }
  };

  /** Paint the depths of moves in a box of the blank. */
  function paintDepths(moves, box, range) {
    const values = pieces9(moves);
    gl.useProgram(cut);
    gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
    gl.viewport(0, 0, TEXTURE, TEXTURE);
    gl.clearColor(0, 0, 0, 1);
    gl.clear(gl.COLOR_BUFFER_BIT);
    gl.enable(gl.BLEND);
    gl.blendEquation(gl.MAX);
    const used = [corners(cut)];
    gl.bindBuffer(gl.ARRAY_BUFFER, rows);
    gl.bufferData(gl.ARRAY_BUFFER, values, gl.DYNAMIC_DRAW);
    used.push(attribute(cut, "ends", 4, 36, 0, 1), attribute(cut, "tips", 2, 36, 16, 1),
      attribute(cut, "tool", 3, 36, 24, 1));
    put(cut, { box, range });
    gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, values.length / 9);
    gl.disable(gl.BLEND);
    for (const where of used) {
      gl.vertexAttribDivisor(where, 0);
      gl.disableVertexAttribArray(where);
    }
  }

  /** Draw what the depths look like: see the uniforms of the shader for `values`. */
  function draw(values, clamps) {
    gl.useProgram(view);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    gl.viewport(0, 0, canvas.width, canvas.height);
    const where = corners(view);
    put(view, values);
    const some = clamps.slice(0, MOST_CLAMPS);
    gl.uniform1i(gl.getUniformLocation(view, "count"), some.length);
    if (some.length) {
      gl.uniform4fv(gl.getUniformLocation(view, "clamps"), some.flatMap((one) => one.box));
      gl.uniform1fv(gl.getUniformLocation(view, "heights"), some.map((one) => one.height));
    }
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
    gl.disableVertexAttribArray(where);
  }
  return { paintDepths, draw };
}
