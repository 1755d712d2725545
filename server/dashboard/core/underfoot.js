// The strip that is being walked, seen the way the walker looks: across to the right, along ahead, in metres.

import { formatQuantity } from "./format.js";
import { say } from "./say.js";

const NEAR_ENOUGH = 0.1; // of a swath: no foot can do better
const CHORD_M = 1.5; // a direction from less way is the receiver's noise
const ANCHOR_M = 1;
const BEHIND_M = 4;
const AHEAD_M = 8;
const STEP_M = 0.5;
const BESIDE_M = 2.5; // a spacing is the median of what lies so near
const REACH = 2.5; // swaths to either side
const LEAST = 3;
const SEEN_M = 6; // of the own strip, backwards
const TURN_DEG = 120;
const SETTLED_M = 2;

/** The direction of the last steps, clockwise from north; null where too little was walked. */
export function findBearing(track, position) {
  for (let place = track.east_m.length - 1; place >= 0; place -= 1) {
    const [east_m, north_m] = [position.east_m - track.east_m[place], position.north_m - track.north_m[place]];
    if (Math.hypot(east_m, north_m) >= CHORD_M) return (Math.atan2(east_m, north_m) * 180) / Math.PI;
  }
  return position.heading_deg;
}

/** A place on the ground as the walker sees it. */
export function turnToWalker(position, bearing_deg, [east_m, north_m]) {
  const angle = (bearing_deg * Math.PI) / 180;
  const [east, north] = [east_m - position.east_m, north_m - position.north_m];
  return [east * Math.cos(angle) - north * Math.sin(angle), east * Math.sin(angle) + north * Math.cos(angle)];
}

/** Where in the way the present strip begins: as far back as it goes the same way. */
export function findBegin(track, position, bearing_deg) {
  let [anchor_m, begin] = [0, track.east_m.length];
  let across_m = 0;
  for (let place = track.east_m.length - 1; place >= 0; place -= 1) {
    const [across, along] = turnToWalker(position, bearing_deg, [track.east_m[place], track.north_m[place]]);
    const way = Math.hypot(across - across_m, along - anchor_m);
    if (way < ANCHOR_M) continue;
    if (anchor_m - along < way / 2) return begin;
    [across_m, anchor_m, begin] = [across, along, place];
  }
  return 0;
}

/** The lines that were sprayed before the present strip: as smoothed where they are, else as the live way has them. */
export function gatherEarlier(track, strips, begin, position, near_m = Infinity) {
  const smoothed = Math.min(strips?.way_points ?? 0, track.east_m.length);
  const passes = [...(strips?.passes ?? [])];
  if (begin < smoothed) passes.pop(); // the newest of them is the present one
  const lines = passes.map(({ line_m }) => line_m);
  let line = [];
  for (let place = smoothed; place < begin; place += 1) {
    const isNear = Math.abs(track.east_m[place] - position.east_m) < near_m && Math.abs(track.north_m[place] - position.north_m) < near_m;
    const isTaken = track.spraying[place] && isNear; // hours of way lie elsewhere
    if (isTaken) line.push([track.east_m[place], track.north_m[place]]);
    if (!isTaken || place === begin - 1) {
      if (line.length > 1) lines.push(line);
      line = [];
    }
  }
  return lines;
}

/** The pieces of lines that go the same way or the opposite and lie where the walker looks. */
function cutPieces(lines, reach_m) {
  const pieces = [];
  for (const line of lines) {
    for (let place = 1; place < line.length; place += 1) {
      const [[across_a, along_a], [across_b, along_b]] = [line[place - 1], line[place]];
      const isSeen = Math.max(along_a, along_b) >= -BEHIND_M && Math.min(along_a, along_b) <= AHEAD_M
        && Math.max(across_a, across_b) >= -reach_m && Math.min(across_a, across_b) <= reach_m;
      if (isSeen && Math.abs(across_b - across_a) <= Math.abs(along_b - along_a)) pieces.push([across_a, along_a, across_b, along_b]);
    }
  }
  return pieces;
}

/** Where pieces cross a row at right angles to the walker. */
function crossRow(pieces, along_m) {
  return pieces.filter(([, along_a, , along_b]) => along_a <= along_m !== along_b <= along_m)
    .map(([across_a, along_a, across_b, along_b]) => across_a + ((along_m - along_a) / (along_b - along_a)) * (across_b - across_a));
}

function medianOf(values) {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted.length < LEAST ? null : sorted[Math.floor(sorted.length / 2)];
}

function findBeside(pieces, swath_m, side) {
  const points = [];
  for (let along_m = -BEHIND_M; along_m <= AHEAD_M; along_m += STEP_M) {
    const beside = crossRow(pieces, along_m).map((across_m) => across_m * side).filter((far_m) => far_m >= 0 && far_m <= REACH * swath_m);
    if (beside.length > 0) points.push([side * Math.min(...beside), along_m]);
  }
  const spacing_m = medianOf(points.filter(([, along_m]) => Math.abs(along_m) <= BESIDE_M).map(([across_m]) => Math.abs(across_m)));
  return { side, points, spacing_m };
}

/** The present strip and what lies beside it; null where it is not known which way is walked. */
export function lookDown({ position, track, strips, swath_m, sd_m }) {
  if (!position || !(swath_m > 0)) return null;
  const bearing_deg = findBearing(track, position);
  if (bearing_deg === null) return null;
  const begin = findBegin(track, position, bearing_deg);
  const turn = (point) => turnToWalker(position, bearing_deg, point);
  const reach_m = REACH * swath_m;
  const lines = gatherEarlier(track, strips, begin, position, AHEAD_M + reach_m).map((line) => line.map(turn));
  const pieces = cutPieces(lines, reach_m);
  const own = [];
  for (let place = begin; place < track.east_m.length; place += 1) {
    const [across_m, along_m] = turn([track.east_m[place], track.north_m[place]]);
    if (along_m >= -SEEN_M) own.push([across_m, along_m, Boolean(track.spraying[place])]);
  }
  const angle = (bearing_deg * Math.PI) / 180;
  return {
    bearing_deg, swath_m, own, beside: [-1, 1].map((side) => findBeside(pieces, swath_m, side)),
    // Two places that err each by itself; errors in common make the spacing surer than that.
    spacing_sd_m: Number.isFinite(sd_m) && sd_m !== null ? Math.SQRT2 * sd_m : null,
    walked_m: position.east_m * Math.sin(angle) + position.north_m * Math.cos(angle),
  };
}

function apartOf(before_deg, now_deg) {
  return Math.abs(((((now_deg - before_deg) % 360) + 540) % 360) - 180);
}

/** The way that is faced once a strip has run for some way, and whether that is a turn; in between nothing is said. */
export function faceAfter(facing_deg, view) {
  const run_m = view === null || view.own.length === 0 ? 0 : Math.hypot(view.own[0][0], view.own[0][1]);
  if (run_m < SETTLED_M) return { facing_deg, isTurn: false };
  return { facing_deg: view.bearing_deg, isTurn: facing_deg !== null && apartOf(facing_deg, view.bearing_deg) > TURN_DEG };
}

/** A number as from a bell of width 1, always the same for a row: rows keep their frays while they pass by. */
export function frayOf(row, edge) {
  let sum = 0;
  for (let draw = 1; draw <= 4; draw += 1) {
    const wave = Math.sin(row * 12.9898 + edge * 78.233 + draw * 37.719) * 43758.5453;
    sum += wave - Math.floor(wave) - 0.5;
  }
  return sum * Math.sqrt(3); // four even draws of variance 1/12 each
}

/** The strip beside in a sentence: how far, how sure, and whether that is what a swath wants. */
export function describeUnderfoot(view, { hasPosition, swath_m }, set) {
  if (!hasPosition) return say("strip.no_place");
  if (view === null) return say("strip.walk");
  const known = view.beside.filter(({ spacing_m }) => spacing_m !== null);
  if (known.length === 0) return say("strip.alone");
  const { side, spacing_m } = known.reduce((a, b) => (b.spacing_m < a.spacing_m ? b : a));
  const length = (value_m) => formatQuantity(value_m, "length", set, 2);
  const { spacing_sd_m } = view;
  const parts = { side: say(`strip.${side < 0 ? "left" : "right"}`), spacing: length(spacing_m), wanted: length(swath_m) };
  if (spacing_sd_m === null) return say("strip.beside_unsure", parts);
  const judge = () => {
    if (spacing_sd_m > swath_m / 2) return "cannot_tell";
    if (Math.abs(spacing_m - swath_m) <= Math.max(spacing_sd_m, NEAR_ENOUGH * swath_m)) return "as_wanted";
    return spacing_m < swath_m ? "too_near" : "too_far";
  };
  return say("strip.beside", { ...parts, sd: length(spacing_sd_m), verdict: say(`strip.${judge()}`) });
}
