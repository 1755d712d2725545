// What is due?: the season: what was done, what is due, and the rules it is judged by.

import { wordsOfChoice } from "../core/card.js";
import { say } from "../core/say.js";
import { dayOf, dayOfPlan, doubtDay, nameDay, placeItems, tellDay, timeOf } from "../core/season.js";
import { makeCalendar } from "../draw/calendar.js";
import { makeCards } from "../draw/cards.js";
import { element, option, setText } from "../draw/element.js";
import { makeJotting } from "../draw/jotting.js";
import { makeMaking } from "../draw/making.js";
import { makeMatters } from "../draw/matters.js";
import { makeSoil } from "../draw/soil.js";

const ALL = "";
const CALENDAR = "season.ics";
const NEWEST = 10;

/** A day far off is asked about once; a second press keeps it. */
function makeDayCheck() {
  let asked = "";
  return async ({ day }, each, place) => {
    const doubt = day === asked ? "" : doubtDay(day ?? "", dayOf(new Date()));
    asked = doubt === "" ? "" : day;
    place.replaceChildren(doubt);
    return doubt === "";
  };
}

function makeJournal(parts, names, reload) {
  let isLong = false;
  const more = element("button", { type: "button", hidden: true, onclick: () => { isLong = !isLong; cards.load().catch(() => {}); } });
  const sort = (lines) => [...lines].sort((a, b) => `${b.card.day}${b.card.time}`.localeCompare(`${a.card.day}${a.card.time}`));
  const cards = makeCards(parts, {
    noun: "works", heading: say("season.journal"), refers: ["sites", "products", "treatments"], hidden: ["job"],
    name: ({ card }) => `${tellDay(card.day, dayOf(new Date()))}: ${wordsOfChoice(card.kind)}`,
    tell: ({ card }) => [card.is_plan ? say("season.is_planned") : "", names.get(card.site), card.zones.join(", "), card.job === null ? "" : say("season.job", { number: card.job }), card.note].filter(Boolean).join("; "),
    order: (lines) => (isLong ? sort(lines) : sort(lines).slice(0, NEWEST)),
    check: makeDayCheck(),
    // A day to come can only be a plan, and stays one until somebody says that it was done.
    complete: (record, card) => ({ ...record, job: card.job ?? null, is_plan: Boolean(record.is_plan) || record.day > dayOf(new Date()) }),
    onChange: (lines) => {
      setText(more, isLong ? say("season.only_newest") : say("season.all_lines", { count: lines.length }));
      more.hidden = lines.length <= NEWEST;
      reload();
    },
  });
  cards.root.append(more);
  return cards;
}

function makeRules(parts, reload) {
  const { feed } = parts;
  const away = element("div");
  const said = element("p", { class: "said", role: "status" });
  const restore = async (each) => {
    try {
      await feed.ask(`/rules/${each.number}/shipped?version=${each.version}`, { method: "POST" });
      setText(said, say("season.text_back"));
      await cards.load();
    } catch (problem) {
      setText(said, problem.message);
    }
  };
  const cards = makeCards(parts, {
    noun: "rules", heading: say("season.rules"), hidden: ["shipped"],
    tell: ({ card }) => (card.is_used ? "" : say("season.not_in_use")),
    complete: (record, card) => ({ ...record, shipped: card.shipped ?? "" }),
    extra: (each) => (each.card.shipped === "" ? [] : [element("button", { type: "button", onclick: () => restore(each) }, say("season.back_to_text"))]),
    onChange: async (kept) => {
      const all = await feed.ask("/rules?retired=true").catch(() => []);
      const gone = all.filter(({ number, card }) => card.shipped !== "" && !kept.some((each) => each.number === number));
      away.replaceChildren(...gone.map((each) => element("p", {}, `${say("season.put_away", { name: each.card.name })} `,
        element("button", { type: "button", onclick: () => restore(each) }, say("season.bring_back")))));
      reload();
    },
  });
  cards.root.append(away, said, element("p", { class: "small" }, say("season.rules_forbid_nothing")));
  return cards;
}

function makeDays({ feed }) {
  const zone = element("input", { id: "zone", type: "text", autocomplete: "off" });
  const begins = element("input", { id: "begins", type: "text", inputmode: "numeric" });
  const said = element("p", { class: "said", role: "status" });
  const put = (body) => feed.ask("/season/calendar", { method: "PUT", body });
  const save = async (event) => {
    event.preventDefault();
    try {
      await put({ zone: zone.value.trim(), year_begins: Number(begins.value) });
      setText(said, say("cards.saved"));
    } catch (problem) {
      setText(said, say("cards.not_saved", { why: problem.message }));
    }
  };
  const load = async () => {
    let { card } = await feed.ask("/season/calendar");
    const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
    if (card.zone === "" && here) ({ card } = await put({ ...card, zone: here })); // jobs get their day by it
    zone.value = card.zone;
    begins.value = String(card.year_begins);
  };
  const making = makeMaking();
  load().catch((problem) => setText(said, problem.message));
  return element("section", { class: "card-part" }, element("h2", {}, say("season.days")),
    element("form", { onsubmit: save, class: "card", novalidate: true },
      element("div", { class: "field" }, element("label", { for: "zone" }, say("season.zone")), zone, element("span", { class: "hint" }, say("season.zone_hint"))),
      element("div", { class: "field" }, element("label", { for: "begins" }, say("season.begins")), begins, element("span", { class: "hint" }, say("season.begins_hint"))),
      element("button", { type: "submit", class: "main" }, say("cards.save"))), said,
    element("p", {}, element("a", { class: "place", href: feed.seasonAddress(), download: CALENDAR, onclick: making.tell(CALENDAR) }, say("season.as_file"))), making.line);
}

function makeOrder() {
  const list = element("ol", { class: "order" });
  const root = element("section", { class: "card-part", hidden: true }, element("h2", {}, say("season.order")), list);
  return { root, show: (steps) => {
    root.hidden = steps.length < 2;
    list.replaceChildren(...steps.map((step) => element("li", {}, element("strong", {}, step.name), ` ${say("season.planned_for", { day: nameDay(step.day) })}`,
      ...step.reasons.map((reason) => element("p", { class: "small" }, reason)))));
  } };
}

/** Note a plan as done: a work of the journal is no plan any more, a treatment gets its line. */
async function finishPlan(feed, matter) {
  const day = dayOfPlan(matter, dayOf(new Date()));
  const [number] = matter.works;
  if (number === undefined) {
    const body = { day, kind: "treatment", site: matter.site, zones: matter.zones, treatment: matter.treatments[0] };
    await feed.ask("/works", { method: "POST", body });
    return;
  }
  const { version, card } = await feed.ask(`/works/${number}`);
  await feed.ask(`/works/${number}?version=${version}`, { method: "PUT", body: { ...card, day, is_plan: false } });
}

/** Build the page; returns how to leave it. */
export function mountSeason(root, parts) {
  const { feed } = parts;
  const sentence = element("p", {}, say("frame.looking"));
  const answer = element("section", { class: "answer", "aria-label": say("season.what_is_due"), role: "status" }, sentence);
  const sites = element("select", { id: "season-site" }, option(ALL, say("season.all_lawns"), true));
  const chooser = element("div", { class: "chooser", hidden: true }, element("label", { for: "season-site" }, say("season.lawn")), sites);
  const matters = element("section", { class: "card-part", hidden: true });
  const calendar = makeCalendar();
  const order = makeOrder();
  const soil = element("section", { class: "card-part", hidden: true });
  const names = new Map();
  let drawn = [];

  const showSoil = (traces) => {
    for (const { stop } of drawn) stop();
    drawn = traces.map((trace) => makeSoil(trace, names.size > 1 ? names.get(trace.site) ?? "" : ""));
    soil.hidden = drawn.length === 0;
    soil.replaceChildren(element("h2", {}, say("season.soil")), ...drawn.map(({ part }) => part));
  };
  const load = async () => {
    const now = new Date();
    const where = sites.value === ALL ? "" : `&site=${sites.value}`;
    const season = await feed.ask(`/season?day=${dayOf(now)}&time=${timeOf(now)}${where}`);
    setText(sentence, season.sentence);
    matters.hidden = false;
    matters.replaceChildren(element("h2", {}, say("season.now")), ...makeMatters(season.matters, finish));
    calendar.show(placeItems(season, names), season.day);
    jotting.offer(season.matters);
    showSoil(season.soil);
    order.show(await feed.ask(`/season/order?day=${season.day}${where}`));
  };
  const finish = (matter) => finishPlan(feed, matter).then(() => journal.load(), (problem) => setText(sentence, problem.message));
  const reload = () => load().catch((problem) => setText(sentence, problem.message));
  const loadSites = async () => {
    for (const { number, card } of await feed.ask("/sites")) {
      names.set(number, card.name);
      sites.append(option(String(number), card.name, false));
    }
    chooser.hidden = names.size < 2;
  };
  const site = () => (sites.value !== ALL ? Number(sites.value) : names.size === 1 ? [...names.keys()][0] : null);
  const jotting = makeJotting(parts, { site, onNote: () => journal.load().catch(() => {}) });
  const journal = makeJournal(parts, names, reload);
  const rules = makeRules(parts, reload);
  sites.addEventListener("change", reload);
  loadSites().then(reload, (problem) => setText(sentence, problem.message));
  root.replaceChildren(element("div", { class: "setup-page season-page" }, element("h1", {}, say("frame.season")), answer, chooser, matters,
    jotting.root, calendar.root, order.root, soil, journal.root,
    element("details", {}, element("summary", {}, say("season.rules_summary")), rules.root),
    element("details", {}, element("summary", {}, say("season.days_summary")), makeDays(parts)),
    element("p", { class: "caution" }, say("season.caution"))));
  return () => {
    for (const { stop } of drawn) stop();
  };
}
