// Where and when a pass was walked: to find the pass under a finger and to draw the one that is looked at.

import { formatPercent, formatQuantity, formatSpeed } from "./format.js";
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

function squaredFrom([east, north], [east0, north0], [east1, north1]) {
  const [along_east, along_north] = [east1 - east0, north1 - north0];
  const squared = along_east ** 2 + along_north ** 2;
  const part = squared > 0 ? Math.min(1, Math.max(0, ((east - east0) * along_east + (north - north0) * along_north) / squared)) : 0;
  return (east0 + part * along_east - east) ** 2 + (north0 + part * along_north - north) ** 2;
}

/** The number of the pass whose way is nearest to a place, if within reach, or null. */
export function passNear(passes, track, place, reach_m) {
  let [best, least] = [null, reach_m ** 2];
  for (const pass of passes) {
    const way = wayOfPass(pass, track);
    for (let k = Math.min(1, way.length - 1); k >= 0 && k < way.length; k += 1) {
      const squared = squaredFrom(place, way[Math.max(0, k - 1)], way[k]);
      if (squared < least) [best, least] = [pass.pass, squared];
    }
  }
  return best;
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

const WINDS = { within: "within the limit", above: "ABOVE the limit", unsure: "perhaps above the limit" };

/** A pass in one line. */
export function describePass(pass, set) {
  const share = formatPercent(pass.percent_of_target === null ? null : pass.percent_of_target / 100);
  const wind = Number.isFinite(pass.wind_mean_mps) ? `wind ${formatSpeed(pass.wind_mean_mps, set)}${WINDS[pass.wind_verdict] ? ` ${WINDS[pass.wind_verdict]}` : ""}` : "wind not known";
  return `${formatQuantity(pass.length_m, "length", set)}, ${share} of target, ${wind}`;
}
