// The forms of a sprayer's calibration: large fields for wet gloves, each kept in the draft as it is typed.

import { RATES, VOLUMES, WEIGHTS } from "../core/check.js";
import { element, option } from "./element.js";
import { say } from "../core/say.js";

let fieldsMade = 0;

/** A labelled field of a draft; `about.units` with the draft's key of the unit beside it. */
function field(desk, key, label, about = {}) {
  const id = `check-${fieldsMade += 1}`;
  const { draft } = desk;
  const kind = about.isText ? {} : { inputmode: "decimal" };
  const input = element("input", { id, type: "text", autocomplete: "off", ...kind });
  input.value = draft[key];
  input.addEventListener("input", () => desk.type({ [key]: input.value }));
  const box = about.units ? element("div", { class: "with-unit" }, input, choice(desk, about.unitKey, about.units, say("cards.unit_of", { what: label }))) : input;
  return element("div", { class: "field" }, element("label", { for: id }, label), box, element("span", { class: "hint" }, about.hint ?? ""));
}

function choice(desk, key, values, label, words = (value) => value) {
  const select = element("select", { "aria-label": label }, ...values.map((value) => option(value, words(value), value === desk.draft[key])));
  select.addEventListener("change", () => desk.change({ [key]: select.value }));
  return select;
}

function press(text, onclick, kind = null) {
  return element("button", { type: "button", onclick, class: kind }, text);
}

/** A row of a list: several small fields and a button that takes it out. */
function rowOf(desk, key, place, parts, name) {
  const list = () => desk.draft[key];
  const replace = (row) => desk.type({ [key]: list().map((each, at) => (at === place ? row : each)) });
  const drop = () => desk.change({ [key]: list().filter((_, at) => at !== place) });
  return element("li", { class: "check-row" }, ...parts(list()[place], replace), press(say("check.remove"), drop), element("span", { class: "unseen" }, `${name} ${place + 1}`));
}

function cell(label, value, take) {
  const input = element("input", { type: "text", inputmode: "decimal", autocomplete: "off" });
  input.value = value ?? "";
  input.addEventListener("input", () => take(input.value));
  return element("label", { class: "cell" }, element("span", {}, label), input);
}

function makeCatch(desk) {
  const { draft } = desk;
  const rows = draft.runs.map((_, place) => rowOf(desk, "runs", place, (run, replace) => [
    cell(say("check.caught", { unit: draft.unit }), run.amount, (amount) => replace({ ...desk.draft.runs[place], amount })),
    ...(run.stretch ? [element("span", { class: "counted" }, desk.countOf(place))] : [
      cell(say("check.time_s"), run.seconds, (seconds) => replace({ ...desk.draft.runs[place], seconds })),
      cell(say("check.pulses"), run.pulses, (pulses) => replace({ ...desk.draft.runs[place], pulses }))]),
  ], say("check.run")));
  return [
    field(desk, "step", say("check.mark_or_digit"), { units: [...VOLUMES, ...WEIGHTS], unitKey: "unit", hint: say("check.weights_hint") }),
    field(desk, "pressure", say("check.pressure"), { units: ["bar", "kPa", "psi"], unitKey: "pressureUnit", hint: say("check.pressure_hint") }),
    field(desk, "setting", say("check.setting"), { isText: true, hint: say("check.setting_hint") }),
    element("ol", { class: "entries", "aria-label": say("check.runs") }, ...rows),
    desk.watch({ begin: say("check.start_catch"), end: say("check.stop_catch"), take: ({ stretch, seconds }) => ({ runs: [...desk.draft.runs, { amount: "", seconds: stretch ? "" : seconds, pulses: "", stretch }] }) }),
    press(say("check.add_run"), () => desk.change({ runs: [...desk.draft.runs, { amount: "", seconds: "", pulses: "", stretch: null }] })),
  ];
}

function makeTimes(desk, begin, end) {
  return [
    element("ol", { class: "entries", "aria-label": say("check.times") }, ...desk.draft.times.map((_, place) => rowOf(desk, "times", place, (time, replace) => [cell(say("check.time_s"), time, replace)], say("check.time")))),
    desk.watch({ begin, end, take: ({ seconds }) => ({ times: [...desk.draft.times, seconds] }) }),
    press(say("check.add_time"), () => desk.change({ times: [...desk.draft.times, ""] })),
  ];
}

function makeWalk(desk) {
  return [field(desk, "course", say("check.course"), { units: ["m", "ft"], unitKey: "unit" }), ...makeTimes(desk, say("check.start_walk"), say("check.stop"))];
}

function makeSwath(desk) {
  const rows = desk.draft.rows.map((_, place) => rowOf(desk, "rows", place, (row, replace) => [
    cell(say("check.cups"), row, replace)], say("check.row")));
  return [
    field(desk, "spacing", say("check.spacing"), { units: ["cm", "m", "in", "ft"], unitKey: "unit" }),
    field(desk, "middle", say("check.middle"), { hint: say("check.middle_hint") }),
    element("ol", { class: "entries wide-rows", "aria-label": say("check.rows") }, ...rows),
    press(say("check.add_row"), () => desk.change({ rows: [...desk.draft.rows, ""] })),
  ];
}

function makeWhole(desk) {
  const isPlot = desk.draft.method === "plot";
  const method = element("div", { class: "field" }, element("span", {}, say("check.way")), choice(desk, "method", ["plot", "refill"], say("check.way"),
    (value) => ({ plot: say("check.by_plot"), refill: say("check.by_refill") })[value]));
  return [
    method,
    field(desk, "target", say("check.target"), { units: RATES, unitKey: "targetUnit" }),
    field(desk, "area", isPlot ? say("check.plot_area") : say("check.sprayed_area"), { units: ["m2", "ft2"], unitKey: "areaUnit", hint: isPlot ? say("check.plot_hint") : "" }),
    ...(isPlot ? makeTimes(desk, say("check.start_plot"), say("check.stop")) : []),
    field(desk, "volume", isPlot ? say("check.caught_then") : say("check.refilled"), { units: VOLUMES, unitKey: "volumeUnit" }),
    field(desk, "step", say("check.mark"), { hint: say("check.same_unit") }),
    ...(isPlot ? [field(desk, "caught", say("check.catch_time"), { hint: say("check.catch_time_hint") })] : []),
  ];
}

const FORMS = { catch: makeCatch, walk: makeWalk, swath: makeSwath, check: makeWhole };

/**
 * The elements of a way's form. `desk`: draft, type(part) keeps what is typed, change(part) keeps it and draws anew,
 * countOf(place) what the rig counted of a run, watch({begin, end, take}) the buttons that time and count.
 */
export function makeCheckForm(part, desk) {
  return FORMS[part](desk);
}
