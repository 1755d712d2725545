// What is known of the strips so far, in sentences.

import { formatFixed, formatNumber, formatPercent, formatQuantity } from "./format.js";
import { say } from "./say.js";
import { convert, unitOf } from "./units.js";

const NEAR_END_M = 2; // a verdict that reaches so near to both ends of a strip holds all along it
const ORDER = ["gap", "doubled", "unsure", "even"];
const LISTED = 3;

function listStretches(pairs, length_m, set) {
  if (pairs.length === 1 && pairs[0].from_m <= NEAR_END_M && pairs[0].to_m >= length_m - NEAR_END_M) return "";
  const figure = (value_m) => formatFixed(convert(value_m, "length", set), 0);
  const spans = pairs.map(({ from_m, to_m }) => say("pairs.span", { from: figure(from_m), to: figure(to_m) }));
  return say("pairs.where", { spans: spans.join(say("pairs.and")), unit: unitOf("length", set), strip: pairs[0].pass_a });
}

function explainDoubt({ doubt, spacing_m, spacing_sd_m }, set) {
  const sd = `±\u00a0${formatQuantity(spacing_sd_m, "length", set, 1)}`;
  if (doubt === "slow") return say("pairs.slow");
  if (doubt === "receiver") return say("pairs.blur", { sd });
  return say("pairs.apart", { spacing: formatNumber(convert(spacing_m, "length", set)), sd });
}

function describeVerdict(verdict, pairs, length_m, set, isRest) {
  const where = isRest ? say("pairs.elsewhere") : listStretches(pairs, length_m, set);
  return say(`pairs.${verdict}`, { where, doubt: verdict === "unsure" ? explainDoubt(pairs[0], set) : "" });
}

function describeNeighbours(pairs, length_m, set) {
  const found = ORDER.filter((verdict) => pairs.some((pair) => pair.verdict === verdict));
  return found.map((verdict, place) => describeVerdict(verdict, pairs.filter((pair) => pair.verdict === verdict), length_m, set,
    place > 0 && place === found.length - 1)).join("; ");
}

/** The verdict on the newest strip beside each of its neighbours, and the gravest word of it. */
export function describeNewest(strips, set) {
  if (!strips) return { verdict: "none", text: say("pairs.not_yet") };
  const newest = strips.passes.at(-1)?.pass;
  if (newest === undefined) return { verdict: "none", text: say("pairs.none") };
  const beside = strips.pairs.filter(({ pass_b }) => pass_b === newest);
  if (beside.length === 0) return { verdict: "none", text: say(`pairs.alone${newest === 1 ? "_yet" : ""}`, { strip: newest }) };
  const neighbours = [...new Set(beside.map(({ pass_a }) => pass_a))].sort((a, b) => b - a);
  const lengths_m = new Map(strips.passes.map(({ pass, length_m }) => [pass, length_m]));
  const tellBeside = (number) => describeNeighbours(beside.filter(({ pass_a }) => pass_a === number), lengths_m.get(number) ?? Infinity, set);
  const text = neighbours.map((number) => say("pairs.beside", { strip: newest, other: number, verdict: tellBeside(number) })).join(" ");
  return { verdict: ORDER.find((verdict) => beside.some((pair) => pair.verdict === verdict)), text };
}

function listPairs(pairs, verdict) {
  const found = [...new Set(pairs.filter((pair) => pair.verdict === verdict).map(({ pass_a, pass_b }) => say("pairs.two", { one: pass_a, other: pass_b })))];
  const more = found.length > LISTED ? say("pairs.more", { count: found.length - LISTED }) : "";
  return { count: found.length, text: found.slice(-LISTED).join(", ") + more };
}

function shareOf(pairs, verdict) {
  const lengthOf = (some) => some.reduce((sum, { from_m, to_m }) => sum + to_m - from_m, 0);
  return lengthOf(pairs.filter((pair) => pair.verdict === verdict)) / Math.max(lengthOf(pairs), 1e-9);
}

/** What to look at again, of the whole job so far; empty where there is nothing. */
export function describeDoubts(strips) {
  if (!strips) return "";
  const [gap, doubled] = ["gap", "doubled"].map((verdict) => listPairs(strips.pairs, verdict));
  const unsure = shareOf(strips.pairs, "unsure");
  const parts = [
    gap.count > 0 && say("pairs.all_gap", { which: gap.text }),
    doubled.count > 0 && say("pairs.all_doubled", { which: doubled.text }),
    unsure > 0 && say("pairs.all_unsure", { share: formatPercent(unsure) }),
  ].filter(Boolean);
  if (parts.length === 0) return "";
  return say(`pairs.so_far${gap.count > 0 ? "_look" : ""}`, { what: parts.join("; ") });
}
