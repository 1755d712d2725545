// Where and when a pass was walked: to find the pass under a finger and to draw the one that is looked at.

import { say } from "./say.js";
import { formatPercent, formatQuantity, formatSpeed } from "./format.js";
import { hitLine } from "./hit.js";
import { placeOfTime } from "./straight.js";

/** The way of a pass as [east_m, north_m] places; empty where its time is not known. */
export function wayOfPass({ start_s, end_s }, { t_s, east_m, north_m }) {
  if (!Number.isFinite(start_s) || !Number.isFinite(end_s)) return [];
  const way = [];
  for (let k = placeOfTime(t_s, start_s); k < t_s.length && t_s[k] <= end_s; k += 1) {
    if (Number.isFinite(east_m[k]) && Number.isFinite(north_m[k])) way.push([east_m[k], north_m[k]]);
  }
  return way;
}

/** The number of the pass whose way is nearest to a place, if within reach, or null. */
export function passNear(passes, track, place, reach_m) {
  return hitLine(passes.map((pass) => [pass.pass, wayOfPass(pass, track)]), place, reach_m);
}

/** The number of the pass that was walked at a time, or of the nearest one within some seconds, or null. */
export function passAtTime(passes, t, within_s = 0) {
  let [best, least] = [null, within_s];
  for (const { pass, start_s, end_s } of passes) {
    if (!Number.isFinite(start_s)) continue;
    const beside_s = Math.max(0, start_s - t, t - end_s);
    if (beside_s === 0) return pass;
    if (beside_s <= least) [best, least] = [pass, beside_s];
  }
  return best;
}

const WINDS = { within: say("got.wind_within"), above: say("got.wind_above"), unsure: say("got.wind_unsure") };

/** A pass in one line. */
export function describePass(pass, set) {
  const share = formatPercent(pass.percent_of_target === null ? null : pass.percent_of_target / 100);
  const wind = Number.isFinite(pass.wind_mean_mps) ? say("got.wind_was", { speed: formatSpeed(pass.wind_mean_mps, set), verdict: WINDS[pass.wind_verdict] ?? "" }).trimEnd() : say("got.wind_unknown");
  return say("got.pass_line", { long: formatQuantity(pass.length_m, "length", set), share, wind });
}
