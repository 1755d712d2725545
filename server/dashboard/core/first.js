// The first time: which steps are done by what the service really sees, and what each says.

import { formatFixed, formatNumber, formatQuantity } from "./format.js";
import { say } from "./say.js";
import { convert, unitOf } from "./units.js";

export const PRACTICE_RIG = "practice-rig"; // the rig of the demo that practises
export const PACE_MPS = 1; // a slow walk
const KEYS = ["rig", "sky", "meter", "cup", "figures", "strip", "laid"];
const OPTIONAL = ["sky", "cup"]; // there may be no cup, and a barn has no sky
const HEARD_S = 5;
const REST_L = 0.005;
const COUNTED = 20; // pulses: more than a bump makes

/** Whether the service sees a step done; `trial` is the trial's number and whether it is over, null before it. */
function isDone(key, { snapshot, age_s, isKept, trial, review }) {
  if (key === "figures") return isKept || trial !== null;
  if (key === "laid") return review?.state === "ready";
  if (snapshot === null) return false;
  const { rig, receiver, counts } = snapshot;
  if (key === "rig") return rig.name !== null && rig.link === "online" && age_s !== null && age_s < HEARD_S;
  if (key === "sky") return receiver.fix !== null && receiver.fix !== "none";
  if (key === "meter") return (counts?.flow_pulses ?? 0) >= COUNTED;
  if (key === "cup") return (counts?.cup_ago_s ?? null) !== null;
  return trial !== null && trial.isOver;
}

/** What was seen of a step, in a few words; empty where nothing was. */
function tellSeen(key, { snapshot, trial, review }, set) {
  if (key === "figures") return say("first.saw_figures");
  if (snapshot === null || key === "laid") return "";
  const { rig, receiver, counts } = snapshot;
  if (key === "rig") return rig.name === null ? "" : say("first.saw_rig", { name: rig.name });
  if (key === "sky") return receiver.fix === null || receiver.fix === "none" ? "" : say("first.saw_sky", { fix: receiver.fix, sats: receiver.sats ?? "?" });
  if (key === "meter") {
    const pulses = say("first.saw_meter", { n: counts?.flow_pulses ?? 0 });
    return (counts?.flow_hz ?? null) === null ? pulses : say("first.saw_rate", { pulses, rate: formatNumber(counts.flow_hz, 2) });
  }
  if (key === "cup") return say("first.saw_cup");
  if (trial === null) return "";
  const isOver = review?.state === "ready";
  return say("first.saw_strip", { n: isOver ? review.passes : snapshot.passes_done, litres: formatQuantity(isOver ? review.volume_l : snapshot.volume_l, "volume", set, 2) });
}

/** The steps in order: key, state ("done", "now", "left" or "later"), name, what to do, what was seen; one at most is now. */
export function listSteps(seen, set) {
  let hasNow = false;
  return KEYS.map((key) => {
    const done = isDone(key, seen);
    const left = !done && seen.left.includes(key);
    const now = !done && !left && !hasNow;
    hasNow ||= now;
    const state = done ? "done" : left ? "left" : now ? "now" : "later";
    const told = done || (now && ["meter", "strip"].includes(key)) ? tellSeen(key, seen, set) : "";
    return { key, state, name: say(`first.name_${key}`), advice: adviseOn(key, seen), seen: told, isOptional: OPTIONAL.includes(key) };
  });
}

function adviseOn(key, { snapshot, trial }) {
  if (key !== "strip" || trial === null) return say(`first.do_${key}`);
  return hasStrip(snapshot) ? say("first.do_end") : say("first.do_walk");
}

/** Whether the trial that runs has a strip that is over. */
export function hasStrip(snapshot) {
  return snapshot !== null && snapshot.passes_done > 0 && !snapshot.is_spraying;
}

/** The rate that this flow lays at a pace over a swath, L/m²; null where the flow is not known or a figure is missing. */
export function suggestTarget(counts, { swath_m, pulses_per_l, pace_mps }) {
  const flow_hz = counts?.flow_hz ?? null;
  if (flow_hz === null || !(swath_m > 0) || !(pulses_per_l > 0) || !(pace_mps > 0)) return null;
  return flow_hz / pulses_per_l / (swath_m * pace_mps);
}

/** The newest trial among the jobs, as this page would know it; null where there is none. */
export function findTrial(jobs) {
  const trials = (jobs ?? []).filter(({ name }) => name === say("first.trial"));
  const newest = trials.reduce((best, job) => (best === null || job.id > best.id ? job : best), null);
  return newest === null ? null : { id: newest.id, isOver: newest.state === "finished", wasSeen: true };
}

/** The settings with the three figures and, where it is known, the rate that a strip comes to; the rest stays. */
export function keepFigures(setup, figures, target_l_per_m2) {
  const kept = structuredClone(setup);
  kept.sprayer = { ...kept.sprayer, swath_m: figures.swath_m };
  kept.flow_meter = { ...kept.flow_meter, pulses_per_l: figures.pulses_per_l };
  if (Array.isArray(setup.flow_meter?.pulses_per_l)) delete kept.flow_meter.flow_l_per_min; // one figure has no table
  if (target_l_per_m2 !== null) kept.treatment = { ...kept.treatment, target_l_per_m2: Number((target_l_per_m2 * (setup.treatment.directions ?? 1)).toPrecision(3)) };
  return kept;
}

/** What was laid on the strips, each with its ±: litres, ground, litres on the ground; and what went elsewhere, by a bucket say. */
export function describeLaid(review, passes, set) {
  const sum = (name) => passes.reduce((total, pass) => total + (pass[name] ?? 0), 0);
  const [volume_l, area_m2] = [sum("volume_l"), sum("area_m2")];
  const meter = review.volume_l > 0 ? (review.volume_sd_l ?? 0) / review.volume_l : 0;
  const doubt = passes.filter((pass) => pass.dose_l_per_m2 > 0).map((pass) => (pass.dose_sd_l_per_m2 ?? 0) / pass.dose_l_per_m2);
  const share = Math.max(meter, ...doubt); // the meter's part is the same for every strip
  const dose = area_m2 > 0 ? volume_l / area_m2 : null;
  const lines = [
    ["litres", volume_l, volume_l * meter, "volume"], ["area", area_m2, area_m2 * Math.sqrt(share ** 2 - meter ** 2), "area"],
    ["dose", dose, dose === null ? null : dose * share, "rate"],
  ].map(([key, value, sd, quantity]) => ({ name: say(`first.laid_${key}`), figure: formatSpread(value, sd, quantity, set) }));
  const rest_l = review.volume_l - volume_l;
  return { lines, rest: rest_l > REST_L ? say("first.laid_rest", { litres: formatQuantity(rest_l, "volume", set, 2) }) : "" };
}

function formatSpread(value, sd, quantity, set) {
  const [number, spread] = [convert(value, quantity, set), convert(sd, quantity, set)];
  if (number === null || !(spread > 0)) return formatQuantity(value, quantity, set);
  const places = Math.min(6, Math.max(0, -Math.floor(Math.log10(spread / 2)))); // a spread of 1.9 has two figures, one of 2.1 one
  return say("first.sure", { figure: formatFixed(number, places), sd: formatFixed(spread, places), unit: unitOf(quantity, set) });
}
