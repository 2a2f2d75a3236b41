// Where the cutter is at a time, as the programs on disk move it.

/** Seconds that the programs in view take. */
const total = () => shown().reduce((sum, p) => sum + p.time[p.n], 0);

/** The move of a program that is under way `seconds` after its start. */
function moveAt(p, seconds) {
  let low = 0;
  let high = p.n - 1;
  while (low < high) {
    const mid = (low + high + 1) >> 1;
    if (p.time[mid] <= seconds) low = mid;
    else high = mid - 1;
  }
  return low;
}

/** Program, move and place of the cutter; null when nothing moves or no time is set. */
function cutterAt(time) {
  let left = time;
  const list = shown();
  for (const [k, p] of list.entries()) {
    const last = k === list.length - 1;
    if (p.n === 0 || (left > p.time[p.n] && !last)) {
      left -= p.n ? p.time[p.n] : 0;
      continue;
    }
    const i = moveAt(p, left);
    const moving = p.time[i + 1] - p.time[i] - p.wait[i];
    const gone = left - p.time[i] - p.wait[i];
    const share = moving > 0 ? Math.min(1, Math.max(0, gone / moving)) : 1;
    return { program: p, move: i, share, ...along(p, i, share) };
  }
  return null;
}

/** The place a share of the way along a move, in both frames. */
function along(p, i, share) {
  const mix = (a) => a[i] + (a[i + 1] - a[i]) * share;
  const arc = p.arcs.get(i);
  if (!arc) return { x: mix(p.X), y: mix(p.Y), mx: mix(p.mx), my: mix(p.my), mz: mix(p.mz) };
  const angle = arc.from + arc.sweep * share;
  const x = arc.x + arc.radius * Math.cos(angle);
  const y = arc.y + arc.radius * Math.sin(angle);
  const [mx, my] = p.stage ? moved(p.stage.pose, x, y) : [x, y];
  return { x, y, mx, my, mz: mix(p.mz) };
}

/** For each program in view how many of its moves are done; all of them without a time. */
function movesDone() {
  const done = new Map();
  let left = state.time === null ? Infinity : state.time;
  for (const p of shown()) {
    const whole = left >= p.time[p.n];
    done.set(p.index, whole ? p.n : left <= 0 ? 0 : moveAt(p, left));
    left -= p.time[p.n];
  }
  return done;
}

/** The times at which moves begin or end, next to a time: one step back or ahead. */
function stepFrom(time, way) {
  let before = 0;
  const least = 1e-6;
  for (const p of shown()) {
    const end = before + p.time[p.n];
    if (way > 0 ? time < end - least : time <= end + least) {
      let i = moveAt(p, time - before);
      if (way > 0) {
        while (i < p.n && before + p.time[i] <= time + least) i++;
        return before + p.time[i];
      }
      while (i > 0 && before + p.time[i] >= time - least) i--;
      return before + p.time[i];
    }
    before = end;
  }
  return way > 0 ? before : 0;
}

/** A time of the day's work: hours, minutes, seconds. */
function clockWords(seconds) {
  const tenths = Math.round(seconds * 10);
  const two = (v) => String(v).padStart(2, "0");
  const rest = figure((tenths % 600) / 10, 1).padStart(4, "0");
  return `${Math.floor(tenths / 36000)}:${two(Math.floor(tenths / 600) % 60)}:${rest}`;
}
