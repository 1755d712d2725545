// What did the air do? The wind's history from a day to a year, and readings brought along.

import { describePeriod, describeSource, describeStep, describeStore, finerAt, gapsOf, periodAround, placeAt, ticksOf, titleOf } from "../core/past.js";
import { formatSpeed } from "../core/format.js";
import { say } from "../core/say.js";
import { convert, unitOf } from "../core/units.js";
import { SIDES_PX, paintDirections, paintSpeeds, scaleTime } from "../draw/air.js";
import { makeAirTable, makeCursor, makeTimeButtons } from "../draw/airpart.js";
import { makeBringing } from "../draw/bring.js";
import { keepPainted, readRoom } from "../draw/canvas.js";
import { element, option, setText } from "../draw/element.js";
import { makeShelves } from "../draw/shelves.js";
import { Past } from "../past.js";

const AGAIN_MS = 60_000;
const SAME_HEIGHT_M = 0.25;
const LEAST_ROOM_PX = 200;
const EMPTY = say("air.empty");
const HINT = say("air.hint");
const LEGEND = say("air.legend");

/** The limit as a line, where it is meant for about the height of the source. */
function levelFor(source, wind, set) {
  if (!source || !(wind?.limit_mps > 0) || Math.abs((wind.height_m ?? 0) - source.height_m) > SAME_HEIGHT_M) return null;
  return { value_mps: wind.limit_mps, name: say("air.limit", { limit: formatSpeed(wind.limit_mps, set) }) };
}

/** The drawing, its cursor and the sentence of the step looked at; `move` and `closer` are what keys do. */
function makeLooking({ past, store }) {
  let place = -1;
  const readout = element("p", { class: "readout" });
  const closer = element("button", { type: "button", onclick: () => lookCloser() }, say("air.closer"));
  const chosen = () => past.steps[place];
  const move = (wanted) => {
    place = Math.max(0, Math.min(past.steps.length - 1, wanted));
    show();
  };
  const lookCloser = () => {
    if (chosen() && past.period.span !== "day") past.goTo(finerAt(past.period, chosen().from_s)).then(() => part.cursor.focus());
  };
  const keys = { ArrowLeft: () => move(place - 1), ArrowRight: () => move(place + 1), Home: () => move(0), End: () => move(past.steps.length - 1),
    PageUp: () => past.step(-1), PageDown: () => past.step(1), Enter: lookCloser };
  const part = makeCursor(keys, (x_px) => move(placeAt(past.steps, scaleTime(past.period, readRoom(part.speeds).width_px).at(x_px))));
  const look = (width_px) => ({
    period: past.period, steps: past.steps, gaps: gapsOf(past.steps, past.period, Date.now() / 1000), chosen: chosen(),
    ticks: ticksOf(past.period, width_px - SIDES_PX), level: levelFor(past.source, store.snapshot?.wind, store.units),
    toUnit: (value_mps) => convert(value_mps, "speed", store.units), unit: say("air.wind", { unit: unitOf("speed", store.units) }),
  });
  const painters = [[part.speeds, paintSpeeds], [part.directions, paintDirections]].map(([canvas, paint]) => keepPainted(canvas,
    (context, width_px, height_px, ink) => paint(context, width_px, height_px, ink, look(width_px))));
  function show() {
    const step = chosen();
    setText(readout, step ? describeStep(step, store.units) : HINT);
    readout.classList.toggle("hint", step === undefined);
    closer.hidden = step === undefined || past.period.span === "day";
    part.tell(place, past.steps.length, step ? readout.textContent : titleOf(past.period));
    for (const { ask } of painters) ask();
  }
  return { ...part, show, row: element("div", { class: "step-row" }, readout, closer), place: () => chosen()?.from_s ?? null,
    forget: () => { place = -1; }, stop: () => painters.forEach(({ stop }) => stop()) };
}

/** Whose record is shown and where all records come from; `show()` leaves alone what somebody is using. */
function makeSources({ past, store, remove }) {
  let told = null;
  const choice = element("select", { id: "air-source", onchange: () => past.choose(Number(choice.value)) });
  const chooser = element("div", { class: "chooser", hidden: true }, element("label", { for: "air-source" }, say("air.whose")), choice);
  const list = element("div");
  const show = () => {
    chooser.hidden = past.sources.length < 2;
    const now = JSON.stringify([past.sources.map(({ id }) => id), past.source?.id, store.units]);
    if (now === told && (chooser.contains(document.activeElement) || list.contains(document.activeElement))) return;
    told = now;
    choice.replaceChildren(...past.sources.map((each) => option(String(each.id), describeSource(each, store.units), each === past.source)));
    list.replaceChildren(makeShelves(past.sources, store.units, remove));
  };
  return { chooser, list, show };
}

/** Build the page; returns how to leave it. */
export function mountAir(root, { store, feed }) {
  const past = new Past(feed, () => Math.max(LEAST_ROOM_PX, (readRoom(looking.speeds).width_px || root.clientWidth) - SIDES_PX));
  const looking = makeLooking({ past, store });
  const title = element("h2", { class: "period" });
  const sentence = element("p", { role: "status", class: "period-told" });
  const said = element("p", { class: "said", role: "status" }, say("frame.looking"));
  const legend = element("p", { class: "small" });
  const kept = element("p", { class: "small" });
  const table = element("details", { class: "as-table", ontoggle: () => fillTable() }, element("summary", {}, say("air.as_table")));
  const middle = () => looking.place() ?? Math.min((past.period.from_s + past.period.to_s) / 2, past.lastKnown_s);
  const buttons = makeTimeButtons({ span: (span) => past.goTo(periodAround(span, middle())), step: (direction) => past.step(direction),
    newest: () => past.goTo(periodAround(past.wanted.span, past.lastKnown_s)) });

  const remove = async ({ id, name }) => {
    try {
      await feed.ask(`/history/${id}`, { method: "DELETE" });
      await past.load();
      setText(said, `${say("air.removed", { name })}${past.sources.length === 0 ? ` ${EMPTY}` : ""}`);
    } catch (problem) {
      setText(said, problem.message);
    }
  };
  const sources = makeSources({ past, store, remove });
  const showWanted = () => buttons.show(past.wanted.span, past.hasLater);
  const fillTable = () => table.open && table.replaceChildren(table.firstChild, makeAirTable(past.steps, store.units));
  const show = () => {
    const { source, steps, period } = past;
    showWanted();
    setText(title, titleOf(period));
    setText(sentence, source ? describePeriod(steps, period, store.units, source.height_m, Date.now() / 1000) : "");
    looking.directions.hidden = !steps.some(({ from_deg }) => from_deg !== null);
    const isUnlike = store.snapshot?.wind?.limit_mps && !levelFor(source, store.snapshot.wind, store.units);
    setText(legend, `${LEGEND}${looking.directions.hidden ? ` ${say("air.no_direction")}` : ""}`
      + `${isUnlike ? ` ${say("air.limit_elsewhere")}` : ""}`);
    sources.show();
    fillTable();
    browse.hidden = source === null;
    setText(said, source === null ? EMPTY : "");
    looking.show();
  };

  const bringing = makeBringing({ store, feed, done: async (report) => {
    await past.load(); // so that the new source is known
    await past.choose(report.source);
    past.goTo(periodAround("month", report.to_utc - 1));
  } });
  const browse = element("section", { class: "air-part", "aria-label": say("air.browse"), hidden: true }, sources.chooser, buttons.spanRow, title,
    buttons.moveRow, sentence, looking.cursor, looking.row, legend, table);
  root.replaceChildren(element("div", { class: "air-page" }, element("h1", {}, say("frame.air")), said, browse, bringing.part,
    element("section", { class: "part" }, element("h2", {}, say("air.sources")), sources.list, kept)));

  let shownFrom_s = null;
  past.addEventListener("wanted", showWanted);
  past.addEventListener("shown", () => {
    if (past.period.from_s !== shownFrom_s || past.period.span !== browse.dataset.span) looking.forget(); // another time: no step of it is chosen
    [shownFrom_s, browse.dataset.span] = [past.period.from_s, past.period.span];
    show();
  });
  past.addEventListener("failed", ({ problem }) => {
    showWanted();
    setText(said, problem.message);
  });
  const showUnits = () => shownFrom_s !== null && show();
  store.addEventListener("units", showUnits);
  past.load();
  feed.ask("/health").then(({ store: told }) => setText(kept, told ? describeStore(told) : ""), () => {}); // a footnote: the page does without
  const clock = setInterval(() => past.period === past.wanted && past.period.to_s > Date.now() / 1000 && past.load(), AGAIN_MS);
  return () => {
    clearInterval(clock);
    past.leave();
    bringing.stop();
    looking.stop();
    store.removeEventListener("units", showUnits);
  };
}
