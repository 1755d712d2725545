// The sheet to take outside for mending: where a strip lies by a tape from the edges, how long it takes, what the label allows.

import { formatNumber, formatQuantity, formatSpan, formatSpeed } from "./format.js";
import { say } from "./say.js";

const TWICE = 2; // what ground gets that is wetted again though it was not missed

/** How far it is from a point along a direction to the first outline crossed; null where none is. */
export function reachEdge([x, y], [dx, dy], zones) {
  let nearest = null;
  for (const ring of zones.flatMap(({ rings_m }) => rings_m)) {
    ring.forEach(([ax, ay], place) => {
      const [bx, by] = ring[(place + 1) % ring.length];
      const [ex, ey] = [bx - ax, by - ay];
      const across = dx * ey - dy * ex;
      if (Math.abs(across) < 1e-12) return; // alongside
      const far = ((ax - x) * ey - (ay - y) * ex) / across;
      const along = ((ax - x) * dy - (ay - y) * dx) / across;
      if (far >= 0 && along >= 0 && along <= 1 && (nearest === null || far < nearest)) nearest = far;
    });
  }
  return nearest;
}

/** From the middle of a line the way to the edge on the left and on the right of whoever walks it, metres or null. */
export function edgesBeside(line_m, zones) {
  const [[ax, ay], [bx, by]] = [line_m[0], line_m.at(-1)];
  const long_m = Math.hypot(bx - ax, by - ay);
  if (!(long_m > 0)) return { left_m: null, right_m: null };
  const [dx, dy] = [(bx - ax) / long_m, (by - ay) / long_m];
  const middle = [(ax + bx) / 2, (ay + by) / 2];
  return { left_m: reachEdge(middle, [-dy, dx], zones), right_m: reachEdge(middle, [dy, -dx], zones) };
}

/** The pace of the job's passes, the middle one of them; null where none is known. */
export function paceOf(passes) {
  const known = passes.map(({ speed_mps }) => speed_mps).filter((speed) => Number.isFinite(speed) && speed > 0).sort((a, b) => a - b);
  return known.length === 0 ? null : known[Math.floor(known.length / 2)];
}

/** Where a strip lies by a tape, and how long it takes; empty where neither can be told. */
export function describePlace(strip, zones, pace_mps, set) {
  const words = [];
  if (strip.kind !== "patch") {
    const { left_m, right_m } = edgesBeside(strip.lines_m[0], zones);
    const sides = [[left_m, "left"], [right_m, "right"]].filter(([far_m]) => far_m !== null);
    const nearest = sides.sort((a, b) => a[0] - b[0])[0];
    if (nearest) words.push(say(`mend.from_${nearest[1]}`, { far: formatQuantity(nearest[0], "length", set, 2) }));
  }
  if (pace_mps !== null && strip.kind !== "patch") words.push(say("mend.takes", { span: formatSpan(strip.length_m / pace_mps) }));
  return words.join(" ");
}

/** At what pace to walk, so that the flow of the job gives its rate again. */
export function describePace(pace_mps, set) {
  return pace_mps === null ? say("mend.pace_unknown") : say("mend.pace", { pace: formatSpeed(pace_mps, set) });
}

/** What the label says to ground that is wetted twice by mistake. */
export function describeMost({ most_times, strictest }) {
  if (most_times === null) return say("mend.most_unknown");
  const parts = { times: formatNumber(most_times, 2), product: strictest };
  return most_times < TWICE ? say("mend.most_broken", parts) : say("mend.most_kept", parts);
}
