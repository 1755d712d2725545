// Two jobs beside each other: on one plane, at one scale, and the difference in words.

import { boundsOf, fitView } from "./geometry.js";
import { formatInstant, formatPercent, formatQuantity, formatSpeed } from "./format.js";
import { say } from "./say.js";

const PLACES = ["south_west", "south", "south_east", "west", "middle", "east", "north_west", "north", "north_east"];
const SIDES = { south: [0, 1, 2], west: [0, 3, 6], east: [2, 5, 8], north: [6, 7, 8] };
const OFTEN = 2; // so many times what chance would share is no chance
const MISSED_NINTH = 0.05; // of a ninth's ground; less is frayed edges
const LEAST_M2 = 0.5;

/** The two numbers of an address such as "3+5", or null. */
export function readPair(part) {
  const found = /^(\d+)\+(\d+)$/.exec(part ?? "");
  return found === null || found[1] === found[2] ? null : [Number(found[1]), Number(found[2])];
}

/** A job's dose and way as they lie on another job's plane. */
export function shiftJob({ dose, track }, [east_m, north_m]) {
  const moved = (values, by_m) => values.map((value) => (value === null ? null : value + by_m));
  return { dose: { ...dose, x0_m: dose.x0_m + east_m, y0_m: dose.y0_m + north_m },
    track: { ...track, east_m: moved(track.east_m, east_m), north_m: moved(track.north_m, north_m) } };
}

/** One view for both: the same ground at the same place and scale in drawings of one size; null without any. */
export function shareView(scenes, width_px, height_px, margin_px) {
  const boxes = scenes.map(boundsOf).filter((box) => box !== null);
  if (boxes.length === 0) return null;
  const box = { west_m: Math.min(...boxes.map(({ west_m }) => west_m)), south_m: Math.min(...boxes.map(({ south_m }) => south_m)),
    east_m: Math.max(...boxes.map(({ east_m }) => east_m)), north_m: Math.max(...boxes.map(({ north_m }) => north_m)) };
  return fitView(box, width_px, height_px, margin_px);
}

/** How high a drawing so wide has to be for the ground to fill it, within bounds. */
export function heightFor(scenes, width_px, margin_px, [least_px, most_px]) {
  const view = shareView(scenes, width_px, 1e6, margin_px);
  if (view === null) return least_px;
  const boxes = scenes.map(boundsOf).filter((box) => box !== null);
  const high_m = Math.max(...boxes.map(({ north_m }) => north_m)) - Math.min(...boxes.map(({ south_m }) => south_m));
  return Math.round(Math.min(most_px, Math.max(least_px, high_m * view.px_per_m + 2 * margin_px)));
}

/** What the two have in common, in one sentence: missed by both, and whether chance alone would do that. */
export function summariseMissed(found, set) {
  const area = (value) => formatQuantity(value, "area", set, 2);
  if (Math.max(...found.missed_m2) < LEAST_M2) return say("beside.none_missed");
  if (found.missed_both_m2 < LEAST_M2) return say("beside.apart");
  const parts = { both: area(found.missed_both_m2), chance: area(found.missed_by_chance_m2) };
  return found.missed_both_m2 > OFTEN * found.missed_by_chance_m2 ? say("beside.same_places", parts) : say("beside.by_chance", parts);
}

/** How well places of the two can be laid on one another. */
export function describePlaces({ place_sd_m }, set) {
  if (!Number.isFinite(place_sd_m)) return say("beside.places_unknown");
  return say("beside.places", { sd: formatQuantity(place_sd_m, "length", set, 2) });
}

/** The rows of the comparison: [name, first, second, both]. */
export function tabulateBeside(found, set) {
  const area = (value) => formatQuantity(value, "area", set, 2);
  const of = (pick) => found.jobs.map(pick);
  const litres = ({ volume_l, volume_sd_l }) => {
    const sd = formatQuantity(2 * volume_sd_l, "volume", set, 1);
    return Number.isFinite(volume_sd_l) && volume_sd_l > 0 ? say("beside.pm", { value: formatQuantity(volume_l, "volume", set), sd })
      : formatQuantity(volume_l, "volume", set);
  };
  const winds = ({ wind }) => say("beside.wind_words", { mean: formatSpeed(wind?.mean_mps ?? null, set), gust: formatSpeed(wind?.gust_mps ?? null, set) });
  return [
    [say("beside.when"), ...of(({ start_utc }) => formatInstant(start_utc)), ""],
    [say("beside.liquid"), ...of(litres), formatQuantity(found.jobs[0].volume_l + found.jobs[1].volume_l, "volume", set)],
    [say("beside.target"), ...of(({ target_l_per_m2 }) => formatQuantity(target_l_per_m2, "rate", set)),
      formatQuantity(found.jobs[0].target_l_per_m2 + found.jobs[1].target_l_per_m2, "rate", set)],
    [say("beside.mean"), ...found.mean_share.map(formatPercent), formatPercent(found.mean_share_together)],
    [say("beside.missed"), ...found.missed_m2.map(area), area(found.missed_both_m2)],
    [say("beside.doubled"), ...found.doubled_m2.map(area), area(found.doubled_both_m2)],
    [say("beside.wind"), ...of(winds), ""],
    [say("beside.receiver"), ...of(({ track_sd_m }) => say("beside.sd", { sd: formatQuantity(track_sd_m, "length", set, 2) })), ""],
  ];
}

/** What both gave together, against the sum of what was wanted. */
export function describeTogether(found, set) {
  const of = (value) => formatPercent(found.ground_m2 > 0 ? value / found.ground_m2 : null);
  return say("beside.together", { area: formatQuantity(found.ground_m2, "area", set), under: of(found.together_under_m2),
    on: of(found.together_on_target_m2), over: of(found.together_over_m2) });
}

/** The place that most of the site's jobs missed: { place, count, jobs }, count 0 where none missed any. */
export function findWorst({ season, wanted_ninths_m2 }) {
  const isMissed = (job, ninth) => job.missed_ninths_m2[ninth] > Math.max(LEAST_M2, MISSED_NINTH * wanted_ninths_m2[ninth]);
  const sum = (ninth) => season.reduce((total, job) => total + job.missed_ninths_m2[ninth], 0);
  const counted = PLACES.map((place, ninth) => ({ place, jobs: season.length, total_m2: sum(ninth),
    count: season.filter((job) => isMissed(job, ninth)).length }));
  const worst = counted.reduce((most, each) => (each.count > most.count || (each.count === most.count && each.total_m2 > most.total_m2) ? each : most));
  // Where a whole side is missed as often as its worst ninth, the side is the answer and not a corner of it.
  const side = Object.keys(SIDES).find((name) => SIDES[name].every((ninth) => counted[ninth].count === worst.count));
  return worst.count > 0 && side !== undefined ? { ...worst, place: side } : worst;
}

/** Is it always the same corner? */
export function describeCorner(found) {
  const { place, count, jobs } = findWorst(found);
  if (count === 0) return say("beside.corner_none", { n: jobs });
  const parts = { place: say(`beside.at_${place}`), count, n: jobs };
  if (count === 1) return say("beside.corner_once", parts);
  return count === jobs ? say("beside.corner_always", parts) : say("beside.corner_often", parts);
}
