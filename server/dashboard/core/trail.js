// The way as few lines: points that lie on the line within a tolerance are left out, as they come.

const FREE = { low: -Infinity, high: Infinity, base: 0, far_m: 0 };

/** An empty trail; what is left out lies within `tolerance_m` of the lines. */
export function emptyTrail(tolerance_m) {
  return { tolerance_m, count: 0, runs: [] };
}

function addPoint(run, track, place) {
  run.east_m.push(track.east_m[place]);
  run.north_m.push(track.north_m[place]);
  run.at.push(place);
}

/** A run of one kind from a point on; `at` are the places in the way of its corners. */
function beginRun(track, place, isSpraying) {
  const run = { isSpraying, east_m: [], north_m: [], at: [], last: place, ...FREE };
  addPoint(run, track, place);
  return run;
}

/** See whether all points since the last corner lie on a line to this one; the sector of directions narrows with each. */
function isOnLine(run, track, place, tolerance_m) {
  const [east, north] = [track.east_m[place] - run.east_m.at(-1), track.north_m[place] - run.north_m.at(-1)];
  const long_m = Math.hypot(east, north);
  if (long_m < run.far_m - tolerance_m) return false; // it came back
  if (long_m <= tolerance_m) return true;
  const angle = Math.atan2(north, east);
  if (run.high === Infinity) run.base = angle;
  const turned = ((angle - run.base + 3 * Math.PI) % (2 * Math.PI)) - Math.PI;
  if (turned < run.low || turned > run.high) return false;
  const slack = Math.asin(tolerance_m / long_m);
  run.low = Math.max(run.low, turned - slack);
  run.high = Math.min(run.high, turned + slack);
  run.far_m = Math.max(run.far_m, long_m);
  return true;
}

function extend(run, track, place, tolerance_m) {
  if (!isOnLine(run, track, place, tolerance_m)) {
    addPoint(run, track, run.last);
    Object.assign(run, FREE);
    isOnLine(run, track, place, tolerance_m);
  }
  run.last = place;
}

/** Take in what the way has gained since. */
export function growTrail(trail, track) {
  for (let place = Math.max(1, trail.count); place < track.east_m.length; place += 1) {
    const isSpraying = Boolean(track.spraying[place]);
    if (trail.runs.at(-1)?.isSpraying !== isSpraying) trail.runs.push(beginRun(track, place - 1, isSpraying));
    extend(trail.runs.at(-1), track, place, trail.tolerance_m);
  }
  trail.count = track.east_m.length;
  return trail;
}

/** The corners of a run from about a place of the way on, [east_m, north_m] each; none where it ends before. */
export function pointsOf(run, track, from = 0) {
  if (run.last < from) return [];
  const first = Math.max(0, run.at.findLastIndex((place) => place <= from));
  const points = [];
  for (let corner = first; corner < run.at.length; corner += 1) points.push([run.east_m[corner], run.north_m[corner]]);
  if (run.last !== run.at.at(-1)) points.push([track.east_m[run.last], track.north_m[run.last]]);
  return points;
}
