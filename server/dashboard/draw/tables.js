// Passes, findings and totals of a reviewed job, in words and the user's units.

import { say } from "../core/say.js";
import { UNKNOWN, formatClock, formatFixed, formatFrom, formatNumber, formatPercent, formatQuantity, formatSpan, formatSpeed } from "../core/format.js";
import { convert, unitOf } from "../core/units.js";
import { element } from "./element.js";

const VERDICTS = { within: say("got.is_within"), above: say("got.is_above"), unsure: say("got.is_unsure") };
const KINDS = { missed: say("got.missed"), doubled: say("got.doubled"), off_target: say("got.off_target"), keep_out: say("got.keep_out") };

function figure(value, quantity, set, figures = 3) {
  return formatNumber(convert(value, quantity, set), figures);
}

const COLUMNS = [
  [say("got.col_pass"), null],
  [say("got.col_limit"), null, (pass) => VERDICTS[pass.wind_verdict] ?? say("got.no_limit")],
  [say("got.col_began"), null, (pass) => formatClock(pass.start_utc)],
  [say("got.col_length"), "length", (pass, set) => figure(pass.length_m, "length", set)],
  [say("got.col_pace"), "speed", (pass, set) => formatFixed(convert(pass.speed_mps, "speed", set), 2)],
  [say("got.col_volume"), "volume", (pass, set) => figure(pass.volume_l, "volume", set)],
  [say("got.col_rate"), "rate", (pass, set) => `${figure(pass.dose_l_per_m2, "rate", set)} ± ${figure(pass.dose_sd_l_per_m2, "rate", set, 2)}`],
  [say("got.col_share"), null, (pass) => formatPercent(pass.percent_of_target === null ? null : pass.percent_of_target / 100)],
  [say("got.col_wind"), "speed", (pass, set) => `${formatFixed(convert(pass.wind_mean_mps, "speed", set), 1)} ± ${formatFixed(convert(pass.wind_sd_mps, "speed", set), 1)}`],
  [say("got.col_gust"), "speed", (pass, set) => formatFixed(convert(pass.wind_gust_mps, "speed", set), 1)],
];

function makeRow(pass, set, choice) {
  const button = element("button", { type: "button", class: "pick", "aria-label": say("got.look_at", { pass: pass.pass }) }, String(pass.pass));
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
  if (passes.length === 0) return element("p", {}, say("got.no_pass"));
  const heads = COLUMNS.map(([name, quantity]) => element("th", { scope: "col" }, quantity ? `${name}, ${unitOf(quantity, set)}` : name));
  const rows = passes.map((pass) => makeRow(pass, set, choice));
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": say("got.table") },
    element("table", {}, element("thead", {}, element("tr", {}, ...heads)), element("tbody", {}, ...rows)));
}

const LEAST_L = 0.005; // a spoonful: less is the edge of a cell, not liquid that somebody would miss

/** What went wrong, the surest first. */
export function makeFindings(findings, set) {
  if (findings.length === 0) return element("p", {}, say("got.nothing"));
  const sorted = [...findings].sort((a, b) => b.probability - a.probability);
  return element("ul", { class: "findings" }, ...sorted.map((finding) => {
    const volume = finding.volume_l >= LEAST_L ? `, ${formatQuantity(finding.volume_l, "volume", set)}` : "";
    return element("li", {}, element("strong", {}, KINDS[finding.kind] ?? finding.kind),
      `: ${say("got.finding", { size: `${formatQuantity(finding.area_m2, "area", set)}${volume}`, share: formatPercent(finding.probability) })}`);
  }));
}

/** The pairs of neighbours that left a gap, overlapped or cannot be told. */
export function makePairs(pairs, set) {
  const words = { gap: say("straight.gap"), doubled: say("straight.twice"), unsure: say("straight.untold") };
  const told = pairs.filter((pair) => words[pair.verdict]);
  if (told.length === 0) return null;
  return element("ul", { class: "findings" }, ...told.map((pair) => element("li", {},
    `${say("got.pair", { a: pair.pass_a, b: pair.pass_b })}: `, element("strong", {}, words[pair.verdict]),
    `, ${say("got.apart", { far: formatQuantity(pair.spacing_m, "length", set), sd: formatQuantity(pair.spacing_sd_m, "length", set, 1), share: formatPercent(pair.probability) })}`)));
}

/** The totals as a ledger. */
export function makeTotals(review, set) {
  const quantity = (key, kind) => formatQuantity(review[key], kind, set);
  const giveOrTake = (key, sd, kind) => quantity(key, kind)
    + (Number.isFinite(review[sd]) ? ` ± ${formatQuantity(review[sd], kind, set, 1)}` : "");
  const wind = review.wind ?? {};
  const lines = [
    [say("got.tot_volume"), `${quantity("volume_l", "volume")} ± ${formatQuantity(review.volume_sd_l, "volume", set, 2)}`],
    [say("got.tot_rate"), quantity("mean_dose_l_per_m2", "rate")],
    [say("got.tot_covered"), giveOrTake("covered_area_m2", "covered_area_sd_m2", "area")],
    [say("got.tot_lawn"), quantity("zone_area_m2", "area")],
    [say("got.tot_target"), quantity("zone_on_target_m2", "area")],
    [say("got.tot_little"), quantity("zone_under_m2", "area")],
    [say("got.tot_much"), quantity("zone_over_m2", "area")],
    [say("got.missed"), quantity("zone_missed_m2", "area")],
    [say("got.tot_off"), giveOrTake("off_target_l", "off_target_sd_l", "volume")],
    [say("got.tot_unplaced"), quantity("unplaced_l", "volume")],
    [say("got.tot_span"), formatSpan(review.sprayed_s)],
    [say("got.tot_walked"), quantity("distance_m", "length")],
    [say("got.col_wind"), say("got.wind_from", { speed: formatSpeed(wind.mean_mps, set), from: formatFrom(wind.from_deg) })],
    [say("got.tot_gust"), say("got.gusts", { speed: formatSpeed(wind.max_2min_mps, set), gust: formatSpeed(wind.gust_mps, set) })],
    [say("got.tot_above"), say("got.passes_above", { above: review.passes_above_limit ?? UNKNOWN, count: review.passes, unsure: review.passes_unsure ?? UNKNOWN })],
    [say("got.tot_receiver"), say("got.receiver", { kind: review.receiver_class, sd: formatQuantity(review.track_sd_m, "length", set, 2) })],
  ];
  return element("dl", { class: "totals" }, ...lines.map(([name, text]) => element("div", {}, element("dt", {}, name), element("dd", {}, text))));
}
