// The touch-up plan in words: what to walk again, what to leave alone, what to look at.

import { writeAmount } from "./fill.js";
import { formatNumber, formatPercent, formatQuantity, nameBearing } from "./format.js";

export const LISTED = 6;
const BLIND = 0.6; // of the length between passes: then every place would be on the list

/** Which way a line leads, as a word. */
export function wayOf([[east0_m, north0_m], ...rest]) {
  const [east1_m, north1_m] = rest.at(-1) ?? [east0_m, north0_m];
  const angle = (Math.atan2(east1_m - east0_m, north1_m - north0_m) * 180) / Math.PI;
  return nameBearing(angle);
}

function placeOf({ kind, passes }) {
  if (kind === "edge") return "Beside the edge";
  if (kind === "patch") return "A part left out";
  return `Between passes ${passes.join(" and ")}`;
}

function sure(probability) {
  // Rounded up it would say 100 %, and nobody is so sure of a lawn.
  return probability > 0.99 ? "over 99\u00a0% sure" : `${formatPercent(probability)} sure`;
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
  const byEye = hidden.length === 0 ? "" : ` Between other passes a strip is missing too, but you have to find it by eye: ${wet(more_l)} more if you do.`;
  if (repeats.length > 0) {
    const count = repeats.length === 1 ? "One strip was missed. Walk it again" : `${repeats.length} strips were missed. Walk them again in this order`;
    return `${count}: ${formatQuantity(plan.area_m2, "area", set)}, ${wet(plan.volume_l)}; with a little to spare ${wet(plan.volume_l + plan.allowance_l)}.${byEye}`;
  }
  if (hidden.length > 0) return `A strip is missing, but this receiver cannot place it: find it by eye. ${wet(more_l)} if you do.`;
  if (isBlind(plan)) return "This receiver cannot tell missed strips at this swath: look at the whole lawn.";
  if (looks.length > 0) return "No strip is sure enough to spray again. Look at the places below first.";
  return alone.length + thin.length > 0 ? "No strip has to be walked again." : "Nothing to mend was found.";
}

/** A strip to walk again: where, how much, how sure, and what it does where that is wrong. */
export function describeRepeat(strip, set) {
  const { kind, lines_m, length_m, width_m, area_m2, volume_l, probability, doubled_if_wrong_m2 } = strip;
  const lanes = lines_m.length > 1 ? ` in ${lines_m.length} lanes` : "";
  const size = kind === "patch" ? formatQuantity(area_m2, "area", set)
    : `${formatQuantity(length_m, "length", set)} to the ${wayOf(lines_m[0])}, ${formatQuantity(width_m, "length", set, 2)} wide${lanes}`;
  return { head: placeOf(strip), text: `${size}, ${formatQuantity(volume_l, "volume", set)}; ${sure(probability)}. `
    + `If it was not missed, ${formatQuantity(doubled_if_wrong_m2, "area", set)} get twice the rate.` };
}

/** Ground to leave alone: what it got. */
export function describeAlone(found, label, set) {
  const heads = { doubled: `Passes ${found.passes.join(" and ")} lie on one another`, pass: `Pass ${found.passes[0]}`, spot: "A spot" };
  const beyond = found.is_beyond_label
    ? ` That is beyond the label of ${label.strictest}: its most is ${formatNumber(label.most_times, 2)} times what was planned.` : "";
  return { head: heads[found.kind], text: `${formatQuantity(found.area_m2, "area", set)} got ${formatNumber(found.times_target, 2)} times the target, `
    + `${formatQuantity(found.surplus_l, "volume", set, 2)} too much; ${sure(found.probability)}.${beyond}` };
}

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
  const rank = ({ why_not }) => ["placing", "unlikely", "narrow", "unplaced", "crossed", "unsure"].indexOf(why_not);
  return [...groups.values()].sort((a, b) => rank(a) - rank(b) || b.area_m2 - a.area_m2);
}

/** A place to look at: why it is not simply sprayed again, and what it takes if it was missed after all. */
export function describeLook(strip, set) {
  const pieces = strip.count > 1 ? ` in ${strip.count} pieces` : "";
  const long = strip.kind === "patch" ? formatQuantity(strip.area_m2, "area", set)
    : `${formatQuantity(strip.length_m, "length", set)}${pieces || ` to the ${wayOf(strip.lines_m[0])}`}`;
  const takes = `If you see that it was missed: ${formatQuantity(strip.volume_l, "volume", set)}.`;
  const reasons = {
    unsure: `${long}, cannot be told. ${takes}`,
    unlikely: `${long}, missed with ${formatPercent(strip.probability)}, which is too little to risk a double rate. ${takes}`,
    narrow: `${long}, only ${formatQuantity(strip.width_m, "length", set, 2)} wide: a whole swath would double more than it mends. Narrow the swath, or leave it.`,
    placing: `${long}, a strip is missing (${sure(strip.probability)}), but it is placed only to ±\u00a0${formatQuantity(strip.place_sd_m, "length", set, 1)}: find it by eye. ${takes}`,
    crossed: `${long}, seems to be wet from other passes.`,
    unplaced: `${long}, liquid without a position may have gone there. ${takes}`,
  };
  return { head: placeOf(strip), text: reasons[strip.why_not] ?? `${long}.` };
}

const LIGHTER = {
  same: (share) => `The same mix may go on again, at ${share} of the rate.`,
  weaker: (share) => `To mend it: ${share} of the product in the usual water, at the usual pace.`,
  label: (share) => `Before a second, lighter pass (${share} of the product) read the label's carrier range.`,
  no: () => "Leave it: a second pass would be outside the label's carrier range.",
};

/** Passes that got too little, those that may be mended in the same way together. */
export function describeThin(thin, target_l_per_m2) {
  const ways = [...new Set(thin.map(({ way }) => way))];
  return ways.map((way) => {
    const some = thin.filter((each) => each.way === way);
    const area_m2 = some.reduce((sum, each) => sum + each.area_m2, 0);
    const lacking = some.reduce((sum, each) => sum + each.lacking_l_per_m2 * each.area_m2, 0) / area_m2 / target_l_per_m2;
    const names = some.length === 1 ? `Pass ${some[0].pass}` : `${some.length} passes (${some.slice(0, LISTED).map(({ pass }) => pass).join(", ")}${some.length > LISTED ? "…" : ""})`;
    return { head: names, text: `got ${formatPercent(1 - lacking)} of the target. ${LIGHTER[way](formatPercent(lacking))}` };
  });
}

/** What is left out, and what the receiver cannot tell. */
export function describeRest(plan, set) {
  const words = [];
  if (plan.small_count > 0) {
    const what = plan.small_count === 1 ? "One smaller strip" : `${plan.small_count} smaller strips`;
    words.push(`${what}, ${formatQuantity(plan.small_m2, "area", set, 2)} in all, ${plan.small_count === 1 ? "is" : "are"} not worth a walk.`);
  }
  if (plan.untold_m > 0) {
    words.push(`On ${formatPercent(plan.untold_m / plan.seams_m)} of the length between passes this receiver cannot tell how far apart they lie.`);
  }
  return words.join(" ");
}

function amountOf({ name, is_weighed, volume_l, mass_kg }, set) {
  return `${writeAmount(is_weighed ? mass_kg : volume_l, set, is_weighed)} of ${name}`;
}

/** What to mix, given what is left in the tank; with water and products where the job's treatment says them. */
export function describeMix({ need_l, from_tank_l, mix_l, left_l, load = null }, set) {
  const wet = (value) => formatQuantity(value, "volume", set);
  const parts = load === null ? "as strong as before"
    : `${wet(load.carrier_l)} of water and ${load.amounts.map((each) => amountOf(each, set)).join(", ")}`;
  if (!(need_l > 0)) return "";
  if (from_tank_l === 0) return `Mix ${wet(mix_l)}: ${parts}.`;
  if (mix_l > 0) return `Use the ${wet(from_tank_l)} in the tank and mix ${wet(mix_l)} more: ${parts}.`;
  return left_l > 0 ? `What is in the tank is enough; ${wet(left_l)} will be left.` : "What is in the tank is just enough.";
}

/** The first few of some texts, and how many more there are. */
export function shorten(found, count = LISTED) {
  return { shown: found.slice(0, count), more: Math.max(0, found.length - count) };
}
