// The straightened lawn: each pass as a strip at its true length, in the order of walking, with what it got metre by metre.

import { say } from "./say.js";
import { formatPercent, formatQuantity, formatSpeed, nameBearing } from "./format.js";
import { hitBox } from "./hit.js";
import { DOUBLED_SHARE } from "./scale.js";

const BIN_M = 1;
const MOST_BINS = 120;
const DRY_SHARE = 0.1; // as on the map: below a tenth of the target counts as missed
const ALONG = 0.7; // cosine from which a pass lies along the first one

/** The first place whose time is not before `t`. */
export function placeOfTime(t_s, t) {
  let [low, high] = [0, t_s.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (t_s[middle] < t) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** The dose on the ground at a place as a share of the target, 0 outside the grid. */
export function shareAt(dose, target_l_per_m2, east_m, north_m) {
  const column = Math.floor((east_m - dose.x0_m) / dose.cell_m);
  const row = Math.floor((north_m - dose.y0_m) / dose.cell_m);
  if (column < 0 || row < 0 || column >= dose.nx || row >= dose.ny || !(target_l_per_m2 > 0)) return 0;
  return dose.l_per_m2[row * dose.nx + column] / target_l_per_m2;
}

function cutWay({ start_s, end_s }, { t_s, east_m, north_m }, { flow_l_per_min }) {
  const points = [];
  let walked_m = 0;
  for (let k = placeOfTime(t_s, start_s); k < t_s.length && t_s[k] <= end_s; k += 1) {
    if (!Number.isFinite(east_m[k]) || !Number.isFinite(north_m[k])) continue;
    const before = points.at(-1);
    if (before) walked_m += Math.hypot(east_m[k] - before.east_m, north_m[k] - before.north_m);
    points.push({ t: t_s[k], east_m: east_m[k], north_m: north_m[k], flow: flow_l_per_min[k] ?? 0, at_m: walked_m });
  }
  return points;
}

/** Litres of each metre, shared out over the bins that a step of the way lies in. */
function pourLitres(points, count, bin_m) {
  const litres = new Float64Array(count);
  for (let k = 1; k < points.length; k += 1) {
    const [a, b] = [points[k - 1], points[k]];
    const poured_l = ((a.flow + b.flow) / 120) * (b.t - a.t);
    const span_m = Math.max(1e-9, b.at_m - a.at_m);
    const first = Math.min(count - 1, Math.floor(a.at_m / bin_m));
    const last = Math.min(count - 1, Math.floor(b.at_m / bin_m));
    if (b.at_m - a.at_m < 1e-9) { // what flows while the rig stands still falls where it stands
      litres[first] += poured_l;
      continue;
    }
    for (let bin = first; bin <= last; bin += 1) {
      const from_m = bin === first ? a.at_m : bin * bin_m;
      const to_m = bin === last ? b.at_m : (bin + 1) * bin_m;
      litres[bin] += (poured_l * Math.max(0, to_m - from_m)) / span_m;
    }
  }
  return litres;
}

function isDoubledAt(points, at_m, { dose, target_l_per_m2, swath_m }) {
  const k = Math.min(points.length - 1, Math.max(1, points.findIndex((point) => point.at_m >= at_m)));
  const [a, b] = [points[k - 1], points[k]];
  const long_m = Math.hypot(b.east_m - a.east_m, b.north_m - a.north_m) || 1;
  const [across_east, across_north] = [(b.north_m - a.north_m) / long_m, -(b.east_m - a.east_m) / long_m];
  const walked = b.at_m > a.at_m ? Math.min(1, Math.max(0, (at_m - a.at_m) / (b.at_m - a.at_m))) : 0;
  const [east_m, north_m] = [a.east_m + walked * (b.east_m - a.east_m), a.north_m + walked * (b.north_m - a.north_m)];
  const shares = [-0.3, 0, 0.3].map((part) => shareAt(dose, target_l_per_m2, east_m + part * swath_m * across_east, north_m + part * swath_m * across_north));
  return shares.sort((low, high) => low - high)[1] >= DOUBLED_SHARE;
}

function fillBins(pass, points, ground) {
  const wanted_l_per_m2 = pass.percent_of_target > 0 ? (100 * pass.dose_l_per_m2) / pass.percent_of_target : ground.target_l_per_m2;
  if (points.length < 2) return [{ from_m: 0, to_m: pass.length_m, share: pass.percent_of_target === null ? null : pass.percent_of_target / 100, isDoubled: false, isBare: false }];
  const walked_m = points.at(-1).at_m;
  const count = Math.min(MOST_BINS, Math.max(1, Math.round(walked_m / BIN_M)));
  const bin_m = walked_m / count;
  const stretch = walked_m > 0 ? pass.length_m / walked_m : 1;
  return [...pourLitres(points, count, bin_m)].map((litres, bin) => {
    const share = litres / (bin_m * ground.swath_m) / wanted_l_per_m2;
    return { from_m: bin * bin_m * stretch, to_m: (bin + 1) * bin_m * stretch, share, isBare: share < DRY_SHARE,
      isDoubled: isDoubledAt(points, (bin + 0.5) * bin_m, ground) };
  });
}

function threadWind(pass, points, wind) {
  const means = wind.known_60s_mps ?? wind.mean_60s_mps ?? [];
  return points.map(({ t, at_m }) => ({ at_m, mps: means[Math.min(wind.t_s.length - 1, placeOfTime(wind.t_s, t))] ?? null }));
}

function radiansBetween(a_deg, b_deg) {
  return ((a_deg - b_deg) * Math.PI) / 180;
}

/** The sheet: strips with their place along the first pass's way, what lies between them, and how long the sheet is. */
export function straighten({ passes, pairs, track, flow, dose, wind, target_l_per_m2, swath_m }) {
  const axis_deg = passes[0]?.heading_deg ?? 0;
  const axis = [Math.sin((axis_deg * Math.PI) / 180), Math.cos((axis_deg * Math.PI) / 180)];
  const strips = passes.filter(({ start_s }) => Number.isFinite(start_s)).map((pass) => {
    const points = cutWay(pass, track, flow);
    const cosine = Math.cos(radiansBetween(pass.heading_deg ?? axis_deg, axis_deg));
    const isAlong = Math.abs(cosine) > ALONG && points.length > 0;
    return { pass: pass.pass, length_m: pass.length_m, isUp: cosine >= 0, isAlong, heading_deg: pass.heading_deg, verdict: pass.wind_verdict,
      share: pass.percent_of_target === null ? null : pass.percent_of_target / 100, wind_mps: pass.wind_mean_mps, start_s: pass.start_s, end_s: pass.end_s,
      start_m: isAlong ? points[0].east_m * axis[0] + points[0].north_m * axis[1] : null,
      bins: fillBins(pass, points, { dose, target_l_per_m2, swath_m }), thread: threadWind(pass, points, wind) };
  });
  const lows = strips.filter(({ isAlong }) => isAlong).map(({ start_m, isUp, length_m }) => start_m - (isUp ? 0 : length_m));
  const low_m = lows.length > 0 ? Math.min(...lows) : 0;
  for (const strip of strips) strip.start_m = strip.isAlong ? strip.start_m - low_m : strip.isUp ? 0 : strip.length_m;
  const between = pairs.filter(({ verdict }) => ["gap", "doubled", "unsure"].includes(verdict));
  const long_m = Math.max(1, ...strips.map((strip) => Math.max(strip.start_m, placeAlong(strip, strip.length_m))));
  return { strips, between, long_m, limit_mps: wind.limit_mps ?? null };
}

/** Where on the sheet a strip is after so many metres. */
export function placeAlong({ start_m, isUp }, at_m) {
  return isUp ? start_m + at_m : start_m - at_m;
}

/** How one strip is folded into the next: at which end, or across where the next begins at the other. */
export function foldOf(a, b) {
  return a.isUp === b.isUp ? "across" : a.isUp ? "top" : "bottom";
}

const GAP_PX = 64; // for numbers, folds and marks above and below a row
const MANY = 14;

/** Where the strips stand on a page so wide: rows of slots, all at one scale. */
export function layRows({ strips, long_m }, width_px) {
  const slot_px = Math.min(Math.max(strips.length > MANY ? 30 : 48, Math.floor(width_px / Math.max(1, strips.length))), 72);
  const per_row = Math.max(1, Math.floor(width_px / slot_px));
  const rows = Math.max(1, Math.ceil(strips.length / per_row));
  const px_per_m = (rows > 4 ? 150 : 250) / long_m;
  const row_px = long_m * px_per_m + GAP_PX;
  const boxes = strips.map((strip, place) => {
    const row = Math.floor(place / per_row);
    return { pass: strip.pass, left_px: (place % per_row) * slot_px, top_px: row * row_px, base_px: row * row_px + row_px - GAP_PX / 2 };
  });
  return { slot_px, per_row, rows, px_per_m, row_px, height_px: rows * row_px + 30, boxes };
}

/** The pass under a point of the sheet, or null. */
export function hitStrip({ boxes, slot_px, row_px }, x, y) {
  return hitBox(boxes.map(({ pass, left_px, top_px }) => [pass, { left: left_px, right: left_px + slot_px, top: top_px, bottom: top_px + row_px }]), [x, y]);
}

/** The stretches along a strip that are so, joined: [from_m, to_m] each. */
export function joinBins(bins, isSo) {
  const found = [];
  for (const bin of bins.filter(isSo)) {
    const last = found.at(-1);
    if (last && bin.from_m - last[1] < 1e-6) last[1] = bin.to_m;
    else found.push([bin.from_m, bin.to_m]);
  }
  return found;
}

const WINDS = { within: say("straight.within"), above: say("straight.above"), unsure: say("straight.unsure") };
const BETWEEN = { gap: say("straight.gap"), doubled: say("straight.twice"), unsure: say("straight.untold") };

/** A strip in words: what the drawing shows of it. */
export function describeStrip(strip, between, set) {
  const spans = (list) => list.map(([from, to]) => say("straight.span", { from: formatQuantity(from, "length", set, 2), to: formatQuantity(to, "length", set, 2) })).join(", ");
  const words = [say("straight.strip", { long: formatQuantity(strip.length_m, "length", set), way: nameBearing(strip.heading_deg ?? 0), share: formatPercent(strip.share) })];
  const bare = joinBins(strip.bins, ({ isBare }) => isBare);
  const doubled = joinBins(strip.bins, ({ isDoubled }) => isDoubled);
  if (bare.length > 0) words.push(say("straight.dry", { spans: spans(bare) }));
  if (doubled.length > 0) words.push(say("straight.on_twice", { spans: spans(doubled) }));
  words.push(Number.isFinite(strip.wind_mps) ? say("straight.wind", { speed: formatSpeed(strip.wind_mps, set), verdict: WINDS[strip.verdict] ?? say("straight.no_limit") })
    : say("straight.no_wind"));
  for (const pair of between.filter(({ pass_a, verdict }) => pass_a === strip.pass && verdict !== "even")) {
    words.push(say("straight.towards", { pass: pair.pass_b, what: BETWEEN[pair.verdict], span: spans([[pair.from_m, pair.to_m]]),
      share: pair.probability > 0.99 ? say("straight.nearly_all") : formatPercent(pair.probability) }));
  }
  return `${words.join("; ")}.`;
}
