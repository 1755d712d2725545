// The touch-up plan in words: what to walk again, what to leave alone, what to look at.

import { writeAmount } from "./fill.js";
import { formatNumber, formatPercent, formatQuantity, nameBearing } from "./format.js";
import { say } from "./say.js";

export const LISTED = 6;
const BLIND = 0.6; // of the length between passes: then every place would be on the list

/** Which way a line leads, as a word. */
export function wayOf([[east0_m, north0_m], ...rest]) {
  const [east1_m, north1_m] = rest.at(-1) ?? [east0_m, north0_m];
  const angle = (Math.atan2(east1_m - east0_m, north1_m - north0_m) * 180) / Math.PI;
  return nameBearing(angle);
}

function placeOf({ kind, passes }) {
  if (kind === "edge") return say("mend.beside_edge");
  if (kind === "patch") return say("mend.left_out");
  return say("mend.between", { one: passes[0], other: passes[1] });
}

function sure(probability) {
  // Rounded up it would say 100 %, and nobody is so sure of a lawn.
  return probability > 0.99 ? say("mend.over_sure") : say("mend.sure", { share: formatPercent(probability) });
}

/** Whether the receiver can tell so little that single places are not worth naming. */
export function isBlind(plan) {
  return plan.untold_m > BLIND * plan.seams_m;
}

/** The head of the plan in one or two sentences. */
export function summariseMend(plan, set) {
  const { repeats, looks, alone, thin } = plan;
  const wet = (value) => formatQuantity(value, "volume", set);
  const hidden = looks.filter(({ why_not }) => why_not === "placing");
  const more_l = hidden.reduce((sum, { volume_l }) => sum + volume_l, 0);
  const byEye = hidden.length === 0 ? "" : say("mend.by_eye_too", { more: wet(more_l) });
  if (repeats.length > 0) {
    return say("mend.walk_again", { n: repeats.length, area: formatQuantity(plan.area_m2, "area", set), volume: wet(plan.volume_l),
      spare: wet(plan.volume_l + plan.allowance_l) }) + byEye;
  }
  if (hidden.length > 0) return say("mend.by_eye", { more: wet(more_l) });
  if (isBlind(plan)) return say("mend.blind");
  if (looks.length > 0) return say("mend.unsure");
  return say(alone.length + thin.length > 0 ? "mend.no_strip" : "mend.nothing");
}

/** A strip to walk again: where, how much, how sure, and what it does where that is wrong. */
export function describeRepeat(strip, set) {
  const { kind, lines_m, length_m, width_m, area_m2, volume_l, probability, doubled_if_wrong_m2 } = strip;
  const lanes = lines_m.length > 1 ? say("mend.in_lanes", { lanes: lines_m.length }) : "";
  const size = kind === "patch" ? formatQuantity(area_m2, "area", set)
    : say("mend.size", { length: formatQuantity(length_m, "length", set), way: wayOf(lines_m[0]), width: formatQuantity(width_m, "length", set, 2), lanes });
  return { head: placeOf(strip), text: say("mend.repeat", { size, volume: formatQuantity(volume_l, "volume", set), sure: sure(probability),
    doubled: formatQuantity(doubled_if_wrong_m2, "area", set) }) };
}

/** Ground to leave alone: what it got. */
export function describeAlone(found, label, set) {
  const [one, other] = found.passes;
  const head = { doubled: () => say("mend.on_another", { one, other }), pass: () => say("mend.pass", { pass: one }), spot: () => say("mend.spot") }[found.kind];
  const beyond = found.is_beyond_label ? say("mend.beyond", { product: label.strictest, times: formatNumber(label.most_times, 2) }) : "";
  return { head: head(), text: say("mend.got", { area: formatQuantity(found.area_m2, "area", set), times: formatNumber(found.times_target, 2),
    surplus: formatQuantity(found.surplus_l, "volume", set, 2), sure: sure(found.probability) }) + beyond };
}

const LOOKS = ["placing", "unlikely", "narrow", "unplaced", "crossed", "unsure"]; // the surest kind first

/** Places to look at, those between the same passes together, the surest kind first. */
export function groupLooks({ looks, ...plan }) {
  const groups = new Map();
  for (const strip of looks.filter(({ why_not }) => why_not !== "unsure" || !isBlind(plan))) {
    const key = strip.kind === "gap" ? `${strip.passes.join()} ${strip.why_not}` : groups.size;
    const known = groups.get(key);
    if (known === undefined) groups.set(key, { ...strip, count: 1 });
    else {
      groups.set(key, { ...known, count: known.count + 1, length_m: known.length_m + strip.length_m, volume_l: known.volume_l + strip.volume_l,
        area_m2: known.area_m2 + strip.area_m2, width_m: Math.min(known.width_m, strip.width_m),
        place_sd_m: Math.max(known.place_sd_m, strip.place_sd_m), probability: Math.min(known.probability, strip.probability) });
    }
  }
  const rank = ({ why_not }) => LOOKS.indexOf(why_not);
  return [...groups.values()].sort((a, b) => rank(a) - rank(b) || b.area_m2 - a.area_m2);
}

/** A place to look at: why it is not simply sprayed again, and what it takes if it was missed after all. */
export function describeLook(strip, set) {
  const length = formatQuantity(strip.length_m, "length", set);
  const long = () => (strip.count > 1 ? say("mend.in_pieces", { length, pieces: strip.count }) : say("mend.long", { length, way: wayOf(strip.lines_m[0]) }));
  const size = strip.kind === "patch" ? formatQuantity(strip.area_m2, "area", set) : long();
  const reason = LOOKS.includes(strip.why_not) ? strip.why_not : "other";
  return { head: placeOf(strip), text: say(`mend.look_${reason}`, { size, takes: say("mend.if_missed", { volume: formatQuantity(strip.volume_l, "volume", set) }),
    share: formatPercent(strip.probability), width: formatQuantity(strip.width_m, "length", set, 2), sure: sure(strip.probability),
    sd: formatQuantity(strip.place_sd_m, "length", set, 1) }) };
}

/** Passes that got too little, those that may be mended in the same way together. */
export function describeThin(thin, target_l_per_m2) {
  const ways = [...new Set(thin.map(({ way }) => way))];
  return ways.map((way) => {
    const some = thin.filter((each) => each.way === way);
    const area_m2 = some.reduce((sum, each) => sum + each.area_m2, 0);
    const lacking = some.reduce((sum, each) => sum + each.lacking_l_per_m2 * each.area_m2, 0) / area_m2 / target_l_per_m2;
    const list = some.slice(0, LISTED).map(({ pass }) => pass).join(", ") + (some.length > LISTED ? "…" : "");
    const head = some.length === 1 ? say("mend.pass", { pass: some[0].pass }) : say("mend.passes", { count: some.length, list });
    return { head, text: say("mend.got_less", { share: formatPercent(1 - lacking), how: say(`mend.way_${way}`, { share: formatPercent(lacking) }) }) };
  });
}

/** What is left out, and what the receiver cannot tell. */
export function describeRest(plan, set) {
  const words = [];
  if (plan.small_count > 0) {
    words.push(say("mend.small", { n: plan.small_count, area: formatQuantity(plan.small_m2, "area", set, 2) }));
  }
  if (plan.untold_m > 0) {
    words.push(say("mend.untold", { share: formatPercent(plan.untold_m / plan.seams_m) }));
  }
  return words.join(" ");
}

function amountOf({ name, is_weighed, volume_l, mass_kg }, set) {
  return say("mend.amount", { amount: writeAmount(is_weighed ? mass_kg : volume_l, set, is_weighed), name });
}

/** What to mix, given what is left in the tank; with water and products where the job's treatment says them. */
export function describeMix({ need_l, from_tank_l, mix_l, left_l, load = null }, set) {
  const wet = (value) => formatQuantity(value, "volume", set);
  const parts = load === null ? say("mend.as_strong")
    : say("mend.water_and", { water: wet(load.carrier_l), amounts: load.amounts.map((each) => amountOf(each, set)).join(", ") });
  if (!(need_l > 0)) return "";
  if (from_tank_l === 0) return say("mend.mix", { mix: wet(mix_l), parts });
  if (mix_l > 0) return say("mend.mix_more", { tank: wet(from_tank_l), mix: wet(mix_l), parts });
  return left_l > 0 ? say("mend.enough", { left: wet(left_l) }) : say("mend.just_enough");
}

/** The first few of some texts, and how many more there are. */
export function shorten(found, count = LISTED) {
  return { shown: found.slice(0, count), more: Math.max(0, found.length - count) };
}
