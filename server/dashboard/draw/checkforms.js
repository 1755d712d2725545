// The forms of a sprayer's calibration: large fields for wet gloves, each kept in the draft as it is typed.

import { RATES, VOLUMES, WEIGHTS } from "../core/check.js";
import { element, option } from "./element.js";

let fieldsMade = 0;

/** A labelled field of a draft; `about.units` with the draft's key of the unit beside it. */
function field(desk, key, label, about = {}) {
  const id = `check-${fieldsMade += 1}`;
  const { draft } = desk;
  const kind = about.isText ? {} : { inputmode: "decimal" };
  const input = element("input", { id, type: "text", autocomplete: "off", ...kind });
  input.value = draft[key];
  input.addEventListener("input", () => desk.type({ [key]: input.value }));
  const box = about.units ? element("div", { class: "with-unit" }, input, choice(desk, about.unitKey, about.units, `Unit of: ${label}`)) : input;
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
  return element("li", { class: "check-row" }, ...parts(list()[place], replace), press(`Remove`, drop), element("span", { class: "unseen" }, `${name} ${place + 1}`));
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
    cell(`Caught, ${draft.unit}`, run.amount, (amount) => replace({ ...desk.draft.runs[place], amount })),
    ...(run.stretch ? [element("span", { class: "counted" }, desk.countOf(place))] : [
      cell("Time, s", run.seconds, (seconds) => replace({ ...desk.draft.runs[place], seconds })),
      cell("Pulses", run.pulses, (pulses) => replace({ ...desk.draft.runs[place], pulses }))]),
  ], "Run"));
  return [
    field(desk, "step", "Finest mark of the vessel, or last digit of the scale", { units: [...VOLUMES, ...WEIGHTS], unitKey: "unit", hint: "weights: without the empty vessel" }),
    field(desk, "pressure", "Pressure meanwhile, if there is a gauge", { units: ["bar", "kPa", "psi"], unitKey: "pressureUnit", hint: "for the nozzle's wear" }),
    field(desk, "setting", "Pump setting", { isText: true, hint: "what dial or switch says; wear is told against the first catch at it" }),
    element("ol", { class: "entries", "aria-label": "Runs" }, ...rows),
    desk.watch({ begin: "Start a catch", end: "Stop: the valve is shut", take: ({ stretch, seconds }) => ({ runs: [...desk.draft.runs, { amount: "", seconds: stretch ? "" : seconds, pulses: "", stretch }] }) }),
    press("Add a run by hand", () => desk.change({ runs: [...desk.draft.runs, { amount: "", seconds: "", pulses: "", stretch: null }] })),
  ];
}

function makeTimes(desk, begin, end) {
  return [
    element("ol", { class: "entries", "aria-label": "Times" }, ...desk.draft.times.map((_, place) => rowOf(desk, "times", place, (time, replace) => [cell("Time, s", time, replace)], "Time"))),
    desk.watch({ begin, end, take: ({ seconds }) => ({ times: [...desk.draft.times, seconds] }) }),
    press("Add a time by hand", () => desk.change({ times: [...desk.draft.times, ""] })),
  ];
}

function makeWalk(desk) {
  return [field(desk, "course", "Length of the course", { units: ["m", "ft"], unitKey: "unit" }), ...makeTimes(desk, "Start a walk", "Stop")];
}

function makeSwath(desk) {
  const rows = desk.draft.rows.map((_, place) => rowOf(desk, "rows", place, (row, replace) => [
    cell("Cups from left to right, a blank between", row, replace)], "Row"));
  return [
    field(desk, "spacing", "From cup to cup", { units: ["cm", "m", "in", "ft"], unitKey: "unit" }),
    field(desk, "middle", "Which cup stood under the nozzle", { hint: "counted from the left; nothing: the middle one" }),
    element("ol", { class: "entries wide-rows", "aria-label": "Rows of cups" }, ...rows),
    press("Add a row", () => desk.change({ rows: [...desk.draft.rows, ""] })),
  ];
}

function makeWhole(desk) {
  const isPlot = desk.draft.method === "plot";
  const method = element("div", { class: "field" }, element("span", {}, "Way"), choice(desk, "method", ["plot", "refill"], "Way",
    (value) => ({ plot: "a plot, timed, then caught", refill: "an area, then refilled" })[value]));
  return [
    method,
    field(desk, "target", "Wanted on an area", { units: RATES, unitKey: "targetUnit" }),
    field(desk, "area", isPlot ? "Area of the plot" : "Area sprayed", { units: ["m2", "ft2"], unitKey: "areaUnit", hint: isPlot ? "nothing: 1/128 acre" : "" }),
    ...(isPlot ? makeTimes(desk, "Start the plot", "Stop") : []),
    field(desk, "volume", isPlot ? "Caught in that time" : "Refilled to the mark", { units: VOLUMES, unitKey: "volumeUnit" }),
    field(desk, "step", "Finest mark of the vessel", { hint: "in the same unit" }),
    ...(isPlot ? [field(desk, "caught", "Time of the catch, s", { hint: "nothing: the mean of the times above" })] : []),
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
