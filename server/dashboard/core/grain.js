// Dose as grain: strokes of grass in the walking direction, denser with dose, crossed where doubled, frayed where unsure.

import { say } from "./say.js";
import { DOUBLED_SHARE, LEAST_SHARE } from "./scale.js";
import { shareAt } from "./straight.js";

const STEP_M = 0.25; // between places along the way that strokes take their direction from
export const FRAY_TENTHS = 3; // from a standard deviation of three tenths of the target on the tips splay
const FULL = 0.62; // the share of places that bear a stroke at the target

/** A number from 0 to 1 that belongs to two whole numbers and a salt, the same each time. */
export function hashOf(column, row, salt) {
  let mixed = Math.imul(column ^ 0x9e3779b9, 0x85ebca6b) ^ Math.imul(row + 0x7f4a7c15, 0xc2b2ae35) ^ Math.imul(salt + 1, 0x27d4eb2f);
  mixed = Math.imul(mixed ^ (mixed >>> 15), 0x2c1b3c6d);
  mixed = Math.imul(mixed ^ (mixed >>> 12), 0x297a2d39);
  return ((mixed ^ (mixed >>> 15)) >>> 0) / 4294967296;
}

/** How many of the places bear a stroke for a share of the target. */
export function densityOf(share) {
  return share < LEAST_SHARE ? 0 : Math.min(1, share * FULL);
}

/** Places along the sprayed way with their direction and time, in squares as wide as a swath to be found again. */
export function combWay({ t_s, east_m, north_m, spraying }, swath_m) {
  const squares = new Map();
  for (let k = 1; k < t_s.length; k += 1) {
    if (!spraying[k] || !spraying[k - 1]) continue;
    const [east, north] = [east_m[k] - east_m[k - 1], north_m[k] - north_m[k - 1]];
    const long_m = Math.hypot(east, north);
    if (!(long_m > 0) || !Number.isFinite(long_m)) continue;
    const count = Math.max(1, Math.ceil(long_m / STEP_M));
    for (let part = 0; part < count; part += 1) {
      const share = (part + 0.5) / count;
      const place = { east_m: east_m[k - 1] + share * east, north_m: north_m[k - 1] + share * north, t: t_s[k - 1] + share * (t_s[k] - t_s[k - 1]),
        angle: Math.atan2(north, east) };
      const key = `${Math.floor(place.east_m / swath_m)},${Math.floor(place.north_m / swath_m)}`;
      if (squares.has(key)) squares.get(key).push(place);
      else squares.set(key, [place]);
    }
  }
  return { squares, swath_m };
}

/** The place of the way nearest to a point, and the latest other visit to it; null where nobody walked near. */
export function nearestWay({ squares, swath_m }, east_m, north_m, apart_s = 5) {
  const [column, row] = [Math.floor(east_m / swath_m), Math.floor(north_m / swath_m)];
  let [best, least] = [null, swath_m ** 2];
  const near = [];
  for (let i = -1; i <= 1; i += 1) {
    for (let j = -1; j <= 1; j += 1) {
      for (const place of squares.get(`${column + i},${row + j}`) ?? []) {
        const squared = (place.east_m - east_m) ** 2 + (place.north_m - north_m) ** 2;
        if (squared > (0.75 * swath_m) ** 2 && squared >= least) continue;
        near.push(place);
        if (squared < least) [best, least] = [place, squared];
      }
    }
  }
  if (best === null) return null;
  const again = near.filter(({ t }) => t - best.t > apart_s || best.t - t > apart_s);
  return { ...best, again_t: again.length > 0 ? Math.max(...again.map(({ t }) => t)) : null };
}

function doubtAt(dose, east_m, north_m) {
  const column = Math.floor((east_m - dose.x0_m) / dose.cell_m);
  const row = Math.floor((north_m - dose.y0_m) / dose.cell_m);
  if (!dose.sd_tenths || column < 0 || row < 0 || column >= dose.nx || row >= dose.ny) return 0;
  const digit = dose.sd_tenths[row * dose.nx + column];
  return digit === "x" ? 9 : Number(digit);
}

function strew(strokes, [east_m, north_m], angle, half_m, kind, t) {
  const [x, y] = [half_m * Math.cos(angle), half_m * Math.sin(angle)];
  strokes.push({ kind, t, line_m: [east_m - x, north_m - y, east_m + x, north_m + y] });
}

/** A stroke that splays: one foot and two tips, the wider the less is known. */
function fray(strokes, [east_m, north_m], angle, half_m, doubt, t) {
  const foot = [east_m - half_m * Math.cos(angle), north_m - half_m * Math.sin(angle)];
  const splay = 0.25 + 0.07 * doubt;
  for (const side of [-1, 1]) {
    const tip = angle + side * splay;
    strokes.push({ kind: "frayed", t, line_m: [...foot, foot[0] + 1.5 * half_m * Math.cos(tip), foot[1] + 1.5 * half_m * Math.sin(tip)] });
  }
}

const CROSS = 0.9; // radians between a stroke and the one that crosses it

/** Strokes for a dose: each { kind: "plain" | "crossed" | "frayed", t, line_m [x0, y0, x1, y1] }, a lattice of `pitch_m`. */
export function growGrain({ dose, track, target_l_per_m2, swath_m }, pitch_m) {
  const strokes = [];
  if (dose.nx === 0 || !(pitch_m > 0)) return strokes;
  const comb = combWay(track, swath_m);
  const half_m = 0.62 * pitch_m;
  const [first, last] = [Math.floor(dose.x0_m / pitch_m), Math.ceil((dose.x0_m + dose.nx * dose.cell_m) / pitch_m)];
  const [low, high] = [Math.floor(dose.y0_m / pitch_m), Math.ceil((dose.y0_m + dose.ny * dose.cell_m) / pitch_m)];
  for (let column = first; column < last; column += 1) {
    for (let row = low; row < high; row += 1) {
      const place = [(column + 0.2 + 0.6 * hashOf(column, row, 0)) * pitch_m, (row + 0.2 + 0.6 * hashOf(column, row, 1)) * pitch_m];
      const share = shareAt(dose, target_l_per_m2, ...place);
      if (hashOf(column, row, 2) >= densityOf(share)) continue;
      const way = nearestWay(comb, ...place);
      const angle = (way?.angle ?? Math.PI / 2) + 0.24 * (hashOf(column, row, 3) - 0.5);
      const doubt = doubtAt(dose, ...place);
      const t = way?.t ?? -Infinity;
      if (doubt >= FRAY_TENTHS && share < DOUBLED_SHARE) fray(strokes, place, angle, half_m, doubt, t);
      else strew(strokes, place, angle, half_m, "plain", t);
      if (share >= DOUBLED_SHARE) strew(strokes, place, angle + CROSS, half_m, "crossed", Math.max(t, way?.again_t ?? t));
    }
  }
  return strokes;
}

/** How well strips can be told with a swath so wide and a way known so well, in a sentence. */
export function describeBlur(track_sd_m, swath_m) {
  if (!Number.isFinite(track_sd_m) || !(swath_m > 0)) return say("drawn.blur_unknown");
  const part = track_sd_m / swath_m;
  if (part < 0.1) return say("drawn.blur_sharp");
  if (part < 0.35) return say("drawn.blur_some");
  return say("drawn.blur_much");
}
