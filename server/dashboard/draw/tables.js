// Passes, findings and totals of a reviewed job, in words and the user's units.

import { formatClock, formatFixed, formatFrom, formatNumber, formatPercent, formatQuantity, formatSpan, formatSpeed } from "../core/format.js";
import { convert, unitOf } from "../core/units.js";
import { element } from "./element.js";

const VERDICTS = { within: "within", above: "▲ ABOVE", unsure: "? unsure" };
const KINDS = { missed: "Missed", doubled: "Doubled", off_target: "Sprayed off the lawn", keep_out: "Sprayed in a keep-out" };

function figure(value, quantity, set, figures = 3) {
  return formatNumber(convert(value, quantity, set), figures);
}

const COLUMNS = [
  ["Pass", null],
  ["Wind against the limit", null, (pass) => VERDICTS[pass.wind_verdict] ?? "no limit"],
  ["Began", null, (pass) => formatClock(pass.start_utc)],
  ["Length", "length", (pass, set) => figure(pass.length_m, "length", set)],
  ["Pace", "speed", (pass, set) => formatFixed(convert(pass.speed_mps, "speed", set), 2)],
  ["Volume", "volume", (pass, set) => figure(pass.volume_l, "volume", set)],
  ["Rate", "rate", (pass, set) => `${figure(pass.dose_l_per_m2, "rate", set)} ± ${figure(pass.dose_sd_l_per_m2, "rate", set, 2)}`],
  ["Of target", null, (pass) => formatPercent(pass.percent_of_target === null ? null : pass.percent_of_target / 100)],
  ["Wind, mean", "speed", (pass, set) => `${formatFixed(convert(pass.wind_mean_mps, "speed", set), 1)} ± ${formatFixed(convert(pass.wind_sd_mps, "speed", set), 1)}`],
  ["Gust", "speed", (pass, set) => formatFixed(convert(pass.wind_gust_mps, "speed", set), 1)],
];

function makeRow(pass, set, choice) {
  const button = element("button", { type: "button", class: "pick", "aria-label": `Look at pass ${pass.pass}` }, String(pass.pass));
  const row = element("tr", { class: pass.wind_verdict === "above" ? "above" : null, onclick: () => choice.take(pass.pass) },
    element("th", { scope: "row" }, button), ...COLUMNS.slice(1).map(([, , write]) => element("td", {}, write(pass, set))));
  const show = () => {
    button.setAttribute("aria-pressed", String(choice.pass === pass.pass));
    row.classList.toggle("chosen", choice.pass === pass.pass);
  };
  choice.addEventListener("change", show);
  show();
  return row;
}

/** The passes as a table, each to be chosen; the sideways scroll can be reached by keyboard. */
export function makePassTable(passes, set, choice) {
  if (passes.length === 0) return element("p", {}, "No pass was found.");
  const heads = COLUMNS.map(([name, quantity]) => element("th", { scope: "col" }, quantity ? `${name}, ${unitOf(quantity, set)}` : name));
  const rows = passes.map((pass) => makeRow(pass, set, choice));
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table of passes" },
    element("table", {}, element("thead", {}, element("tr", {}, ...heads)), element("tbody", {}, ...rows)));
}

const LEAST_L = 0.005; // a spoonful: less is the edge of a cell, not liquid that somebody would miss

/** What went wrong, the surest first. */
export function makeFindings(findings, set) {
  if (findings.length === 0) return element("p", {}, "Nothing was found: no missed or doubled strip, nothing off the lawn.");
  const sorted = [...findings].sort((a, b) => b.probability - a.probability);
  return element("ul", { class: "findings" }, ...sorted.map((finding) => {
    const volume = finding.volume_l >= LEAST_L ? `, ${formatQuantity(finding.volume_l, "volume", set)}` : "";
    return element("li", {}, element("strong", {}, KINDS[finding.kind] ?? finding.kind),
      `: ${formatQuantity(finding.area_m2, "area", set)}${volume}, ${formatPercent(finding.probability)} sure`);
  }));
}

/** The pairs of neighbours that left a gap, overlapped or cannot be told. */
export function makePairs(pairs, set) {
  const words = { gap: "a gap", doubled: "sprayed twice", unsure: "cannot be told" };
  const told = pairs.filter((pair) => words[pair.verdict]);
  if (told.length === 0) return null;
  return element("ul", { class: "findings" }, ...told.map((pair) => element("li", {},
    `Passes ${pair.pass_a} and ${pair.pass_b}: `, element("strong", {}, words[pair.verdict]),
    `, ${formatQuantity(pair.spacing_m, "length", set)} ± ${formatQuantity(pair.spacing_sd_m, "length", set, 1)} apart`
    + ` (${formatPercent(pair.probability)} sure)`)));
}

/** The totals as a ledger. */
export function makeTotals(review, set) {
  const quantity = (key, kind) => formatQuantity(review[key], kind, set);
  const giveOrTake = (key, sd, kind) => quantity(key, kind)
    + (Number.isFinite(review[sd]) ? ` ± ${formatQuantity(review[sd], kind, set, 1)}` : "");
  const wind = review.wind ?? {};
  const lines = [
    ["Volume sprayed", `${quantity("volume_l", "volume")} ± ${formatQuantity(review.volume_sd_l, "volume", set, 2)}`],
    ["Mean rate on the lawn", quantity("mean_dose_l_per_m2", "rate")],
    ["Covered", giveOrTake("covered_area_m2", "covered_area_sd_m2", "area")],
    ["Lawn", quantity("zone_area_m2", "area")],
    ["On target", quantity("zone_on_target_m2", "area")],
    ["Too little", quantity("zone_under_m2", "area")],
    ["Too much", quantity("zone_over_m2", "area")],
    ["Missed", quantity("zone_missed_m2", "area")],
    ["Off the lawn", giveOrTake("off_target_l", "off_target_sd_l", "volume")],
    ["Without a position", quantity("unplaced_l", "volume")],
    ["Sprayed for", formatSpan(review.sprayed_s)],
    ["Walked while spraying", quantity("distance_m", "length")],
    ["Wind, mean", `${formatSpeed(wind.mean_mps, set)} from the ${formatFrom(wind.from_deg)}`],
    ["Wind, highest 2 min and gust", `${formatSpeed(wind.max_2min_mps, set)}, gust ${formatSpeed(wind.gust_mps, set)}`],
    ["Passes above the wind limit", `${review.passes_above_limit ?? "not known"} of ${review.passes}, ${review.passes_unsure ?? "not known"} cannot be said`],
    ["Receiver", `${review.receiver_class}, way good to ± ${formatQuantity(review.track_sd_m, "length", set, 2)}`],
  ];
  return element("dl", { class: "totals" }, ...lines.map(([name, text]) => element("div", {}, element("dt", {}, name), element("dd", {}, text))));
}
