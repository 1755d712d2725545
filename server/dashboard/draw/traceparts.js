// The report's lines over time, each with its words: the wind, the flow, the pace, the dose.

import { formatLimit, formatNumber, formatQuantity, formatSpeed } from "../core/format.js";
import { laidDose, measureDose } from "../core/laid.js";
import { passAtTime } from "../core/passway.js";
import { say } from "../core/say.js";
import { alarmSpans, describeShield } from "../core/story.js";
import { convert, unitOf } from "../core/units.js";
import { keepPainted, placeOn, readRoom } from "./canvas.js";
import { chooseByKeys } from "./chosen.js";
import { element } from "./element.js";
import { part } from "./recordsheet.js";
import { paintTraces, timeAt } from "./traces.js";

const BESIDE_S = 20; // a tap between two passes means the nearer one

function makeTrace(label, trace, { passes }, { choice, playhead }) {
  const canvas = element("canvas", { class: "trace", role: "img", "aria-label": label });
  const span = () => {
    const pass = passes.find((each) => each.pass === choice.pass);
    return Number.isFinite(pass?.start_s) ? [pass.start_s, pass.end_s] : null;
  };
  const painted = keepPainted(canvas, (context, width_px, height_px, ink) => paintTraces(context, width_px, height_px, ink, {
    ...trace, looked: span(), moment: playhead.t }));
  for (const what of [choice, playhead]) what.addEventListener("change", painted.ask);
  canvas.addEventListener("click", (event) => {
    const t = timeAt(placeOn(canvas, event)[0], readRoom(canvas).width_px, trace.t_s);
    const pass = t === null ? null : passAtTime(passes, t, BESIDE_S);
    if (pass !== null) choice.take(pass);
  });
  chooseByKeys(canvas, choice);
  return canvas;
}

/** The wind against its limit, and when the alarm was on. */
export function makeWindTrace({ wind, review, passes }, set, looked) {
  const inSet = (values) => (values ?? []).map((value) => convert(value, "speed", set));
  const limit = convert(wind.limit_mps, "speed", set);
  const now_mps = wind.known_60s_mps ?? wind.mean_60s_mps;
  const known = now_mps.filter((value) => value !== null);
  const highest = known.length > 0 ? Math.max(...known) : null;
  const spans = limit === null ? [] : alarmSpans(wind.t_s, wind.alarm ?? []);
  const words = highest === null ? say("got.wind_unmeasured") : [say("got.wind_key"), limit === null ? say("got.wind_no_limit", { speed: formatSpeed(highest, set) })
    : say("got.wind_limit", { speed: formatSpeed(highest, set), limit: formatLimit(wind.limit_mps, wind.limit_stated, set) }),
  ...(spans.length > 0 ? [say("got.wind_foot")] : [])].join(" ");
  const trace = { t_s: wind.t_s, unit: say("got.wind_axis", { unit: unitOf("speed", set) }), spans, lines: [
    { values: inSet(wind.gust_3s_mps), dash: [2, 3], width: 1.5 },
    { values: inSet(wind.mean_60s_mps), spread: inSet(wind.mean_60s_sd_mps), width: 1 },
    { values: inSet(now_mps), width: 3, isMain: true }],
  level: limit === null ? null : { value: limit, name: say("got.limit_name", { limit: formatLimit(wind.limit_mps, wind.limit_stated, set) }) } };
  const shield = describeShield(review.cup_shield);
  return part(say("got.how_wind"), makeTrace(words, trace, { passes }, looked), element("p", { class: "small" }, words),
    shield === null ? null : element("p", { class: "caution" }, shield));
}

function makeLine(flow, name, quantity, values, set) {
  return { t_s: flow.t_s, unit: say("got.axis", { name, unit: unitOf(quantity, set) }),
    lines: [{ values: values.map((value) => convert(value, quantity, set)), isMain: true }] };
}

/** Dose along the way, against what was wanted; null where swath or pace are not known. */
function makeDoseTrace({ flow, dose, passes }, set, looked) {
  const { swath_m = null, pass_l_per_m2: target = null } = dose ?? {}; // the way is walked once where the ground is walked twice
  if (!flow.speed_mps || swath_m === null) return [];
  const laid = laidDose(flow, swath_m);
  const { high, median } = measureDose(laid);
  const words = say(target === null ? "got.dose_words" : "got.dose_words_wanted",
    { median: formatQuantity(median, "rate", set), most: formatQuantity(high, "rate", set), wanted: formatQuantity(target, "rate", set) });
  const level = target === null ? null : { value: convert(target, "rate", set), name: say("got.wanted", { wanted: formatNumber(convert(target, "rate", set)) }) };
  const line = makeLine(flow, say("got.dose"), "rate", laid, set);
  return [makeTrace(words, { ...line, level }, { passes }, looked), element("p", { class: "small" }, words)];
}

/** Flow, pace and dose over time. */
export function makeFlowTrace(found, set, looked) {
  const { flow } = found;
  const sprayed = flow.flow_l_per_min.filter((value) => value > 0);
  const mean = sprayed.length > 0 ? sprayed.reduce((sum, value) => sum + value, 0) / sprayed.length : null;
  const words = say("got.flow_words", { flow: formatQuantity(mean, "flow", set) });
  return part(say("got.how_flow"), makeTrace(words, makeLine(flow, say("got.flow"), "flow", flow.flow_l_per_min, set), found, looked),
    flow.speed_mps ? makeTrace(say("got.pace_line"), makeLine(flow, say("got.pace"), "speed", flow.speed_mps, set), found, looked) : null,
    element("p", { class: "small" }, words), ...makeDoseTrace(found, set, looked));
}
