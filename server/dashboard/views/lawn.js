// On the lawn: what a person who walks with a wand in one hand must see, and the buttons for a gloved thumb.

import { describeAge, describeAll, describeDrawing, describeHealth } from "../core/figures.js";
import { placeOnMap } from "../core/dry.js";
import { describeFeel } from "../core/feel.js";
import { describeNext } from "../core/papers.js";
import { say } from "../core/say.js";
import { describeDoubts, describeNewest } from "../core/strips.js";
import { makeAlarm } from "../draw/alarm.js";
import { keepPainted } from "../draw/canvas.js";
import { element, setText } from "../draw/element.js";
import { makeFootfall } from "../draw/footfall.js";
import { DoseImage, paintLawn } from "../draw/lawn.js";
import { makeLegend } from "../draw/legend.js";
import { makeButtons } from "../draw/buttons.js";
import { makeSounds } from "../draw/sounds.js";
import { makeSpoken } from "../draw/spoken.js";
import { makeUnderfoot } from "../draw/underfoot.js";
import { makeViewChoice } from "../draw/views.js";

const TICK_MS = 500;

function makeLedger() {
  const rows = [];
  const list = element("dl", { class: "ledger" });
  const show = (lines) => {
    while (rows.length < lines.length) {
      const row = { name: element("dt"), figure: element("dd", { class: "figure" }), remark: element("dd", { class: "remark" }) };
      row.gust = element("dd", { class: "remark" });
      list.append(element("div", { class: "line" }, row.name, row.figure, row.remark, row.gust));
      rows.push(row);
    }
    lines.forEach((line, place) => {
      const row = rows[place];
      for (const part of ["name", "figure", "remark"]) setText(row[part], line[part]);
      setText(row.gust, line.gust ?? "");
      row.gust.hidden = !line.gust;
    });
  };
  return { list, show };
}

function makeHealth() {
  const list = element("dl", { class: "health" });
  const faults = element("ul", { class: "faults" });
  const place = element("div", { class: "faults-place", role: "status" }, faults); // round the list, or a reader would lose it
  const hear = makeSpoken(place); // a fault may tell its seconds
  let shown = null;
  const show = (snapshot, set) => {
    list.replaceChildren(...describeHealth(snapshot, set).flatMap(({ name, text }) => [
      element("div", {}, element("dt", {}, name), element("dd", {}, text))]));
    const text = snapshot.faults.join("\n");
    hear(text);
    if (text === shown) return;
    shown = text;
    faults.replaceChildren(...snapshot.faults.map((fault) => element("li", {}, fault)));
    faults.hidden = snapshot.faults.length === 0;
  };
  return { list, place, show };
}

function makeDrawing(store) {
  const canvas = element("canvas", { class: "lawn-drawing", role: "img" });
  const image = new DoseImage();
  const painter = keepPainted(canvas, (context, width_px, height_px, ink) => paintLawn(context, width_px, height_px, ink, {
    zones: store.lawn.zones, dose: store.dose, track: store.track, position: store.snapshot?.position ?? null, strips: store.strips,
    target_l_per_m2: store.snapshot?.target_l_per_m2 ?? 0, set: store.units, image, dry: placeOnMap(store.snapshot),
  }));
  return { canvas, painter };
}

function makeStrips(store) {
  const newest = element("p", { class: "newest", role: "status" });
  const doubts = element("p", { class: "doubts" });
  const part = element("section", { class: "strips", "aria-label": say("lawn.newest") }, newest, doubts);
  const show = () => {
    const { verdict, text } = describeNewest(store.strips, store.units);
    part.dataset.verdict = verdict;
    part.hidden = store.strips === null && !store.snapshot?.job;
    setText(newest, text);
    setText(doubts, describeDoubts(store.strips));
  };
  return { part, show };
}

/** While no job runs: what Start begins, and what holds at the lawn's edge. */
function makeBefore({ store, feed }) {
  const list = element("ul", {});
  const part = element("section", { class: "before", "aria-label": say("lawn.before") }, list,
    element("p", {}, element("strong", {}, say("lawn.wear")), " ",
      element("a", { class: "place", href: "#start" }, say("frame.start"))));
  let next = null;
  let hadJob = null;
  const tell = () => list.replaceChildren(...(next === null ? [] : describeNext(next, store.units)).map((line, place) => element("li", {}, place === 0 ? say("lawn.next", { line }) : line)));
  const load = () => feed.ask("/next").then((answer) => { next = answer.papers ? answer : null; tell(); }, () => {});
  return { part, tell, load, show: () => {
    const hasJob = ["running", "paused"].includes(store.snapshot?.job?.state);
    part.hidden = hasJob || store.snapshot === null;
    if (hadJob !== hasJob && !hasJob) load();
    hadJob = hasJob;
  } };
}

/** Build the page; returns how to leave it. */
export function mountLawn(root, { store, feed, sound }) {
  const alarm = makeAlarm(store);
  const footfall = makeFootfall(store);
  const underfoot = makeUnderfoot(store);
  const ledger = makeLedger();
  const health = makeHealth();
  const drawing = makeDrawing(store);
  const strips = makeStrips(store);
  const sounds = makeSounds(store, sound);
  const before = makeBefore({ store, feed });
  const buttons = makeButtons({ store, feed, onNext: before.load });
  const age = element("p", { class: "age" });
  const job = element("p", { class: "job" });
  const feel = element("p", { class: "feel" });
  const legend = element("div");
  const hidden = element("p", { class: "unseen" });

  const page = element("div", { class: "lawn-page idle" });
  page.append(element("h1", { class: "unseen" }, say("frame.lawn")), alarm.bar, element("div", { class: "status" }, job, age), health.place,
    footfall.part, makeViewChoice(page), underfoot.part, feel, strips.part,
    element("section", { class: "drawing", "aria-label": say("view.above") }, drawing.canvas, hidden, legend),
    before.part,
    element("section", { class: "figures", "aria-label": say("lawn.figures") }, ledger.list),
    element("section", { class: "more", "aria-label": say("lawn.rig_part") }, health.list, buttons.swap, sounds.part),
    buttons.bar);
  root.replaceChildren(page);

  const showAge = () => {
    const age_s = store.ageAt(performance.now() / 1000);
    const told = describeAge(age_s, store.isConnected);
    setText(age, told.text);
    age.classList.toggle("old", told.isOld);
    const isStale = describeAge(age_s, true).isOld; // looking for the service for a moment makes nothing old yet
    page.classList.toggle("stale", isStale && store.snapshot !== null);
    alarm.show(told, isStale);
    footfall.show(isStale);
  };
  const showLegend = () => {
    const target = store.snapshot?.target_l_per_m2;
    legend.replaceChildren(...(target > 0 ? [makeLegend({ target_l_per_m2: target }, store.units, ["doubled", "gap", "unsure"])] : []));
    legend.dataset.of = `${target} ${store.units}`;
  };
  let wasIdle = true;
  const show = () => {
    const { snapshot, units } = store;
    showAge();
    if (snapshot === null) {
      setText(job, say("lawn.looking"));
      return;
    }
    const isIdle = !["running", "paused"].includes(snapshot.job?.state);
    if (page.classList.toggle("idle", isIdle) !== wasIdle && !isIdle) page.scrollIntoView(); // the places stay above, a swipe away
    wasIdle = isIdle;
    underfoot.show();
    setText(feel, describeFeel(snapshot, units));
    ledger.show(describeAll(snapshot, units));
    health.show(snapshot, units);
    setText(job, snapshot.job ? say("lawn.job", { name: snapshot.job.name, state: snapshot.job.state }) : say("lawn.no_job"));
    buttons.show(snapshot);
    strips.show();
    before.show();
    if (legend.dataset.of !== `${snapshot.target_l_per_m2} ${units}`) showLegend();
    drawing.painter.ask();
  };
  const describe = () => {
    if (store.snapshot) setText(hidden, describeDrawing(store.snapshot, store.units, store.strips));
    drawing.canvas.setAttribute("aria-label", hidden.textContent || say("map.drawing"));
  };
  const stops = listen(store, { snapshot: show, units: () => { before.tell(); sounds.show(); show(); }, strips: show, drawing: drawing.painter.ask, connection: showAge, sound: sounds.show });
  const clock = setInterval(showAge, TICK_MS);
  const teller = setInterval(describe, 10 * TICK_MS);
  show();
  describe();
  return () => {
    stops();
    alarm.stop();
    clearInterval(clock);
    clearInterval(teller);
    drawing.painter.stop();
    footfall.stop();
    underfoot.stop();
  };
}

function listen(store, hooks) {
  for (const [name, hook] of Object.entries(hooks)) store.addEventListener(name, hook);
  return () => {
    for (const [name, hook] of Object.entries(hooks)) store.removeEventListener(name, hook);
  };
}
