// Passes, findings and totals of a reviewed job, in words and the user's units.

import { say } from "../core/say.js";
import { UNKNOWN, formatClock, formatFixed, formatFrom, formatNumber, formatPercent, formatQuantity, formatSpan, formatSpeed } from "../core/format.js";
import { convert, unitOf } from "../core/units.js";
import { element } from "./element.js";

const VERDICTS = { within: say("got.is_within"), above: say("got.is_above"), unsure: say("got.is_unsure") };
const KINDS = { missed: say("got.missed"), doubled: say("got.doubled"), off_target: say("got.off_target"), keep_out: say("got.keep_out") };

const isUnknown = (value) => !Number.isFinite(value ?? NaN);

function figure(value, quantity, set, figures = 3) {
  return formatNumber(convert(value, quantity, set), figures);
}

const withSpread = (told, sd) => (told === UNKNOWN || sd === UNKNOWN ? told : `${told} ± ${sd}`);

const COLUMNS = [
  [say("got.col_pass"), null],
  [say("got.col_limit"), null, (pass) => VERDICTS[pass.wind_verdict] ?? say("got.no_limit")],
  [say("got.col_began"), null, (pass) => formatClock(pass.start_utc)],
  [say("got.col_length"), "length", (pass, set) => figure(pass.length_m, "length", set)],
  [say("got.col_pace"), "speed", (pass, set) => formatFixed(convert(pass.speed_mps, "speed", set), 2)],
  [say("got.col_volume"), "volume", (pass, set) => figure(pass.volume_l, "volume", set)],
  [say("got.col_rate"), "rate", (pass, set) => withSpread(figure(pass.dose_l_per_m2, "rate", set), figure(pass.dose_sd_l_per_m2, "rate", set, 2))],
  [say("got.col_share"), null, (pass) => formatPercent(pass.percent_of_target === null ? null : pass.percent_of_target / 100)],
  [say("got.col_wind"), "speed", (pass, set) => withSpread(formatFixed(convert(pass.wind_mean_mps, "speed", set), 1), formatFixed(convert(pass.wind_sd_mps, "speed", set), 1))],
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

const SMALL_M2 = 1; // below, a place is not looked for one by one

function sizeOf(findings, set) {
  const sum = (name) => findings.reduce((total, each) => total + (each[name] ?? 0), 0);
  const volume_l = sum("volume_l");
  return `${formatQuantity(sum("area_m2"), "area", set)}${volume_l >= LEAST_L ? `, ${formatQuantity(volume_l, "volume", set)}` : ""}`;
}

/** What went wrong, the surest first; small places of a kind together, behind them. */
export function makeFindings(findings, set) {
  if (findings.length === 0) return element("p", {}, say("got.nothing"));
  const large = findings.filter(({ area_m2 }) => area_m2 >= SMALL_M2).sort((a, b) => b.probability - a.probability);
  const line = (kind, text) => element("li", {}, element("strong", {}, KINDS[kind] ?? kind), `: ${text}`);
  const rest = [...new Set(findings.map(({ kind }) => kind))].map((kind) => [kind, findings.filter((each) => each.kind === kind && !large.includes(each))])
    .filter(([, small]) => small.length > 0);
  return element("ul", { class: "findings" },
    ...large.map((each) => line(each.kind, say("got.finding", { size: sizeOf([each], set), share: formatPercent(each.probability) }))),
    ...rest.map(([kind, small]) => line(kind, say("got.small_findings", { n: small.length, size: sizeOf(small, set), least: formatQuantity(SMALL_M2, "area", set, 2) }))));
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

/** What was covered outside the lawn, so that lawn and missed ground add up; nothing where there is none. */
function tellBeside({ covered_area_m2, zone_area_m2, zone_missed_m2 }, set) {
  const beside_m2 = covered_area_m2 - (zone_area_m2 - zone_missed_m2);
  return zone_area_m2 > 0 && beside_m2 > 0 ? [[say("got.tot_beside"), formatQuantity(beside_m2, "area", set, 2)]] : [];
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
    ...tellBeside(review, set),
    [say("got.tot_lawn"), quantity("zone_area_m2", "area")],
    [say("got.tot_target"), quantity("zone_on_target_m2", "area")],
    [say("got.tot_little"), quantity("zone_under_m2", "area")],
    [say("got.tot_much"), quantity("zone_over_m2", "area")],
    [say("got.missed"), quantity("zone_missed_m2", "area")],
    [say("got.tot_off"), giveOrTake("off_target_l", "off_target_sd_l", "volume")],
    [say("got.tot_unplaced"), quantity("unplaced_l", "volume")],
    [say("got.tot_span"), formatSpan(review.sprayed_s)],
    [say("got.tot_walked"), quantity("distance_m", "length")],
    [say("got.col_wind"), isUnknown(wind.mean_mps) ? UNKNOWN : say("got.wind_from", { speed: formatSpeed(wind.mean_mps, set), from: formatFrom(wind.from_deg) })],
    [say("got.tot_gust"), isUnknown(wind.max_2min_mps) && isUnknown(wind.gust_mps) ? UNKNOWN : say("got.gusts", { speed: formatSpeed(wind.max_2min_mps, set), gust: formatSpeed(wind.gust_mps, set) })],
    [say("got.tot_above"), isUnknown(review.passes_above_limit) ? UNKNOWN : say("got.passes_above", { above: review.passes_above_limit ?? UNKNOWN, count: review.passes, unsure: review.passes_unsure ?? UNKNOWN })],
    [say("got.tot_receiver"), say("got.receiver", { kind: review.receiver_class, sd: formatQuantity(review.track_sd_m, "length", set, 2) })],
  ];
  return element("dl", { class: "totals" }, ...lines.map(([name, text]) => element("div", {}, element("dt", {}, name), element("dd", {}, text))));
}
