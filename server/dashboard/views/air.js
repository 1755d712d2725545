// What did the air do? The wind's history from a day to a year, and readings brought along.

import { SPANS, besides, chooseStep, describePeriod, describeStep, finerAt, gapsOf, periodAround, placeAt, stepsOf, ticksOf, titleOf, writeFrom, writeStanding, writeStep, zoneOf, describeSource, describeStore } from "../core/past.js";
import { formatFixed, formatPercent, formatSpeed } from "../core/format.js";
import { convert, unitOf } from "../core/units.js";
import { SIDES_PX, paintDirections, paintSpeeds, scaleTime } from "../draw/air.js";
import { makeBringing } from "../draw/bring.js";
import { keepPainted } from "../draw/canvas.js";
import { element, option, setText } from "../draw/element.js";
import { makeShelves } from "../draw/shelves.js";

const AGAIN_MS = 60_000;
const SAME_HEIGHT_M = 0.25;
const EMPTY = "Nothing is recorded yet. Park the rig in the yard with its cup turning, and each minute's wind is kept; or bring the readings of another station along, below.";

function makeTable(steps, set) {
  const speed = (value_mps) => formatFixed(convert(value_mps, "speed", set), 1);
  const spread = ({ mean_sd_mps }) => (mean_sd_mps === null ? "" : ` ± ${speed(mean_sd_mps)}`);
  const unit = unitOf("speed", set);
  const heads = ["When", `Mean ± scatter, ${unit}`, `Highest gust, ${unit}`, "From", "The rig", "Known", "Too calm"];
  const rows = steps.map((step) => element("tr", {}, element("th", { scope: "row" }, writeStep(step)),
    ...[`${speed(step.mean_mps)}${spread(step)}`, step.gust_3s_mps === null ? "not known" : speed(step.gust_3s_mps), writeFrom(step),
      writeStanding(step), formatPercent(step.known), formatPercent(step.below)].map((text) => element("td", {}, text))));
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Table of the wind" },
    element("table", {}, element("thead", {}, element("tr", {}, ...heads.map((head) => element("th", { scope: "col" }, head)))),
      element("tbody", {}, ...rows)));
}

/** The limit as a line, where it is meant for about the height of the source. */
function levelFor(source, wind, set) {
  if (!source || !(wind?.limit_mps > 0) || Math.abs((wind.height_m ?? 0) - source.height_m) > SAME_HEIGHT_M) return null;
  return { value_mps: wind.limit_mps, name: `limit ${formatSpeed(wind.limit_mps, set)}` };
}

/** Build the page; returns how to leave it. */
export function mountAir(root, { store, feed }) {
  const today = periodAround("day", Date.now() / 1000);
  const state = { period: today, wanted: today, sources: [], source: null, steps: [], place: -1, isNamed: true, told: null, asked: 0, isLeft: false, isFirst: true };
  const speeds = element("canvas", { class: "air" });
  const directions = element("canvas", { class: "air-from", "aria-hidden": "true" });
  const cursor = element("div", { class: "cursor", tabindex: "0", role: "slider", "aria-label": "Step looked at; arrow keys move it, Enter looks closer", "aria-orientation": "horizontal" }, speeds, directions);
  const title = element("h2", { class: "period" });
  const sentence = element("p", { role: "status", class: "period-told" });
  const readout = element("p", { class: "readout" });
  const closer = element("button", { type: "button" }, "Look closer");
  const said = element("p", { class: "said", role: "status" });
  const choice = element("select", { id: "air-source" });
  const chooser = element("div", { class: "chooser", hidden: true }, element("label", { for: "air-source" }, "Whose record"), choice);
  const spans = Object.entries(SPANS).map(([span, name]) => element("button", { type: "button", "data-span": span, onclick: () => goTo(periodAround(span, middle())) }, name));
  const earlier = element("button", { type: "button", "aria-label": "Earlier", onclick: () => goTo(besides(state.wanted, -1)) }, "◀ Earlier");
  const later = element("button", { type: "button", "aria-label": "Later", onclick: () => goTo(besides(state.wanted, 1)) }, "Later ▶");
  const newest = element("button", { type: "button", onclick: () => goTo(periodAround(state.wanted.span, lastKnown() - 1)) }, "Newest");
  const table = element("details", { class: "as-table" }, element("summary", {}, "The same as a table"));
  const legend = element("p", { class: "small" });
  const list = element("div");
  const kept = element("p", { class: "small" });
  const browse = element("section", { class: "air-part", "aria-label": "Browse" });
  const source = () => state.sources.find(({ id }) => id === state.source) ?? null;
  const lastKnown = () => source()?.to_utc ?? Date.now() / 1000;
  const chosen = () => state.steps[state.place];
  const middle = () => chosen()?.from_s ?? Math.min((state.period.from_s + state.period.to_s) / 2, lastKnown() - 1);

  const look = () => {
    const set = store.units;
    return { period: state.period, steps: state.steps, gaps: gapsOf(state.steps, state.period, Date.now() / 1000), chosen: chosen(),
      level: levelFor(source(), store.snapshot?.wind, set), toUnit: (value_mps) => convert(value_mps, "speed", set), unit: `Wind, ${unitOf("speed", set)}` };
  };
  const painters = [keepPainted(speeds, (context, width_px, height_px, ink) => paintSpeeds(context, width_px, height_px, ink,
    { ...look(), ticks: ticksOf(state.period, width_px - SIDES_PX) })),
  keepPainted(directions, (context, width_px, height_px, ink) => paintDirections(context, width_px, height_px, ink,
    { ...look(), ticks: ticksOf(state.period, width_px - SIDES_PX) }))];
  const paint = () => painters.forEach(({ ask }) => ask());

  const showStep = () => {
    const step = chosen();
    setText(readout, step ? describeStep(step, store.units) : "To read a step, press it in the drawing or move through with the arrow keys.");
    readout.classList.toggle("hint", step === undefined);
    closer.hidden = step === undefined || state.period.span === "day";
    for (const [name, value] of Object.entries({ valuemin: 1, valuemax: Math.max(1, state.steps.length), valuenow: state.place + 1, valuetext: step ? readout.textContent : sentence.textContent })) {
      cursor.setAttribute(`aria-${name}`, value);
    }
    paint();
  };
  const move = (place) => {
    state.place = Math.max(0, Math.min(state.steps.length - 1, place));
    showStep();
  };
  const showWanted = () => {
    for (const button of spans) button.setAttribute("aria-pressed", button.dataset.span === state.wanted.span);
    later.disabled = state.wanted.to_s > Date.now() / 1000;
  };
  const showPeriod = () => {
    const set = store.units;
    setText(title, titleOf(state.period));
    setText(sentence, source() ? describePeriod(state.steps, state.period, set, source().height_m, Date.now() / 1000) : "");
    showWanted();
    directions.hidden = !state.steps.some(({ from_deg }) => from_deg !== null);
    const level = levelFor(source(), store.snapshot?.wind, set);
    setText(legend, `Line: mean of each step; band: scatter of its means of a minute or more; dots: highest gusts of 3 s; short dashes: nothing known. `
      + `Marks under the line: the rig was walked.${directions.hidden ? " No direction: a cup that stands tells none." : ""}`
      + `${level || !store.snapshot?.wind?.limit_mps ? "" : " The limit is meant for another height, so it is not drawn."}`);
    chooser.hidden = state.sources.length < 2;
    const told = JSON.stringify([state.sources.map(({ id }) => id), state.source, set]);
    // A list that is open, or a question that was asked, must not vanish with the next minute.
    if (told !== state.told || !(chooser.contains(document.activeElement) || list.contains(document.activeElement))) {
      state.told = told;
      choice.replaceChildren(...state.sources.map((each) => option(String(each.id), describeSource(each, set), each.id === state.source)));
      list.replaceChildren(makeShelves(state.sources, set, remove));
    }
    table.open && fillTable();
    browse.hidden = state.sources.length === 0;
    setText(said, state.sources.length === 0 ? EMPTY : "");
    showStep();
  };
  const fillTable = () => table.replaceChildren(table.firstChild, state.steps.length > 0 ? makeTable(state.steps, store.units) : element("p", {}, "Nothing was recorded."));
  const read = async (period, step_s) => {
    const query = new URLSearchParams({ from: period.from_s, to: period.to_s, step: step_s, zone: zoneOf(period.from_s, state.isNamed) });
    try {
      return await feed.ask(`/history?${query}`);
    } catch (problem) {
      if (problem.key !== "zone" || !state.isNamed) throw problem;
      state.isNamed = false; // the service's machine does not know the zone: the offset of that day will do
      return read(period, step_s);
    }
  };
  const load = async ({ keepPlace = false } = {}) => {
    const [number, { wanted: period }] = [state.asked += 1, state];
    const room_px = Math.max(200, (speeds.clientWidth || root.clientWidth || 300) - SIDES_PX);
    const answer = await read(period, chooseStep(period, room_px));
    if (state.isLeft || number !== state.asked) return;
    state.sources = answer.sources;
    if (source() === null) state.source = [...answer.sources].sort((a, b) => (b.to_utc ?? 0) - (a.to_utc ?? 0))[0]?.id ?? null;
    const last_s = source()?.to_utc ?? null;
    if (state.isFirst && last_s !== null) {
      state.isFirst = false;
      if (last_s <= period.from_s) return goTo(periodAround(period.span, last_s - 1)); // open where something is
    }
    state.period = period; // only now: axis, words and steps are always of the same time
    state.steps = stepsOf(answer.series.find((series) => series.source === state.source), period);
    state.place = keepPlace ? Math.min(state.place, state.steps.length - 1) : -1;
    showPeriod();
  };
  const reload = (more) => load(more).catch((problem) => {
    if (state.isLeft) return;
    state.wanted = state.period;
    showWanted();
    setText(said, problem.message);
  });
  const goTo = (period) => {
    state.wanted = period;
    showWanted();
    return reload();
  };
  const remove = async ({ id, name }) => {
    try {
      await feed.ask(`/history/${id}`, { method: "DELETE" });
      await load();
      setText(said, `${name} is removed.${state.sources.length === 0 ? ` ${EMPTY}` : ""}`);
    } catch (problem) {
      setText(said, problem.message);
    }
  };
  const lookCloser = () => chosen() && state.period.span !== "day" && goTo(finerAt(state.period, chosen().from_s)).then(() => cursor.focus());
  const KEYS = { ArrowLeft: () => move(state.place - 1), ArrowRight: () => move(state.place + 1), Home: () => move(0), End: () => move(state.steps.length - 1),
    PageUp: () => goTo(besides(state.wanted, -1)), PageDown: () => later.disabled || goTo(besides(state.wanted, 1)), Enter: lookCloser };
  cursor.addEventListener("keydown", (event) => {
    if (!Object.hasOwn(KEYS, event.key) || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    KEYS[event.key]();
  });
  cursor.addEventListener("click", (event) => {
    const { at } = scaleTime(state.period, speeds.clientWidth);
    move(placeAt(state.steps, at(event.clientX - speeds.getBoundingClientRect().left)));
  });
  closer.addEventListener("click", lookCloser);
  choice.addEventListener("change", () => {
    state.source = Number(choice.value);
    if (lastKnown() <= state.wanted.from_s || source().from_utc >= state.wanted.to_s) goTo(periodAround(state.wanted.span, lastKnown() - 1));
    else reload();
  });
  table.addEventListener("toggle", () => table.open && fillTable());

  const bringing = makeBringing({ store, feed, done: (report) => {
    [state.source, state.isFirst] = [report.source, false];
    goTo(periodAround("month", report.to_utc - 1));
  } });
  browse.append(chooser, element("div", { class: "span-row", role: "group", "aria-label": "How long a time" }, ...spans), title,
    element("div", { class: "move-row" }, earlier, newest, later), sentence, cursor, element("div", { class: "step-row" }, readout, closer), legend, table);
  root.replaceChildren(element("div", { class: "air-page" }, element("h1", {}, "What did the air do?"), said, browse, bringing.part,
    element("section", { class: "part" }, element("h2", {}, "Where does it come from?"), list, kept)));
  showPeriod();
  setText(said, "Looking…");
  reload();
  feed.ask("/health").then(({ store: told }) => setText(kept, told ? describeStore(told) : ""), () => {}); // a footnote: the page does without
  const clock = setInterval(() => state.period.to_s > Date.now() / 1000 && reload({ keepPlace: true }), AGAIN_MS);
  store.addEventListener("units", showPeriod);
  return () => {
    state.isLeft = true;
    clearInterval(clock);
    bringing.stop();
    painters.forEach(({ stop }) => stop());
    store.removeEventListener("units", showPeriod);
  };
}
