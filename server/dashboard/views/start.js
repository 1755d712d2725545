// Start now?: one sentence that answers, what holds you back and what to do about it, the wind and the strips, and the rest.

import { describeAge } from "../core/figures.js";
import { formatTime } from "../core/format.js";
import { describeNext, isNothingChosen } from "../core/papers.js";
import { findHold, listReasons } from "../core/reasons.js";
import { describeFit, describeRope } from "../core/rope.js";
import { say } from "../core/say.js";
import { dayOf, timeOf } from "../core/season.js";
import { answerStart, describeAir, describeHours, describeNeed, describeTrust } from "../core/start.js";
import { keepPainted } from "../draw/canvas.js";
import { element, option, setText } from "../draw/element.js";
import { makeReasons } from "../draw/reasons.js";
import { paintRopeAndStrips } from "../draw/rope.js";
import { makeSpoken } from "../draw/spoken.js";

const TICK_MS = 1000;
const SEASON_MS = 600_000;
const OLD_S = 10; // chances are of minutes: a moment without a word changes none
const LENGTHS_MIN = [10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60];
const OWN = "own";

function makeAnswer() {
  const word = element("strong", {});
  const text = element("span", {});
  const lull = element("p", { class: "since" });
  const part = element("section", { class: "answer", "aria-label": say("start.answer"), role: "status" }, element("p", {}, word, " ", text), lull);
  const hear = makeSpoken(part);
  return { part, show: (answer, said, isHeard) => {
    part.dataset.kind = answer.kind;
    hear(isHeard ? [answer.word, answer.text, said].join(" ").trim() : ""); // that one is still looking is no answer
    setText(word, answer.word);
    setText(text, answer.text);
    setText(lull, said);
    lull.hidden = said === "";
  } };
}

function describeLull(lull) {
  if (!lull || lull.since_utc === null || lull.reason === "") return "";
  const clock = formatTime(lull.since_utc);
  return lull.is_open ? say("start.calm_since", { clock }) : say("start.lull_closed", { clock });
}

function makeAir() {
  const list = element("dl", { class: "ledger" });
  const rows = [];
  return { list, show: (lines) => {
    lines.forEach((line, place) => {
      if (rows[place] === undefined) {
        const row = { name: element("dt"), figure: element("dd", { class: "figure" }), remark: element("dd", { class: "remark" }) };
        list.append(element("div", { class: "line" }, row.name, row.figure, row.remark));
        rows.push(row);
      }
      for (const part of ["name", "figure", "remark"]) setText(rows[place][part], line[part]);
      rows[place].remark.hidden = line.remark === "";
    });
  } };
}

/** A list of sentences, renewed only when one of them changed. */
function makeSentences() {
  const list = element("ul", { class: "sentences" });
  let shown = "";
  return { list, show: (sentences) => {
    const text = sentences.join("\n");
    if (text === shown) return;
    shown = text;
    list.replaceChildren(...sentences.map((sentence) => element("li", {}, sentence)));
    list.hidden = sentences.length === 0;
  } };
}

function makeChooser({ store, feed }) {
  const select = element("select", { id: "length" }, option(OWN, say("start.own_length"), true),
    ...LENGTHS_MIN.map((minutes) => option(String(minutes), say("start.length", { minutes }), false)));
  const said = element("p", { class: "said", role: "status" });
  const part = element("div", { class: "chooser" }, element("label", { for: "length" }, say("start.must_stay")), select);
  let chosen = OWN;
  select.addEventListener("change", async () => {
    const minutes = select.value === OWN ? null : Number(select.value);
    try {
      store.takeOutlook(await feed.ask("/outlook", { method: "PUT", body: { minutes } }));
      setText(said, "");
    } catch (problem) {
      select.value = chosen;
      setText(said, say("start.not_changed", { reason: problem.message }));
    }
  });
  return { part, said, show: (need, hasJob) => {
    part.hidden = hasJob;
    const now = need?.origin === "chosen" && LENGTHS_MIN.includes(need.minutes) ? String(need.minutes) : OWN;
    if (now !== chosen) select.value = chosen = now; // not while it is open and nothing has changed
  } };
}

function makeRope(store) {
  const canvas = element("canvas", { class: "rope", role: "img" });
  const fit = element("p", { class: "fit" });
  const part = element("div", { hidden: true }, fit, canvas, element("p", { class: "small" }, say("rope.key")));
  const painter = keepPainted(canvas, (context, width_px, height_px, ink) => paintRopeAndStrips(context, width_px, height_px, ink,
    { outlook: store.outlook, set: store.units }));
  return { part, stop: painter.stop, show: (isOld) => {
    const { outlook, units } = store;
    fit.hidden = isOld; // what is likely to fit was said of another wind
    part.hidden = !outlook?.recent?.mean_mps.some((each) => each !== null);
    if (part.hidden) return;
    const said = describeRope(outlook, units);
    if (canvas.getAttribute("aria-label") !== said) canvas.setAttribute("aria-label", said);
    setText(fit, describeFit(outlook));
    painter.ask();
  } };
}

const FIRST = ["site", "gear", "fill"];

/** What the next job rests on; while nothing is entered, where to begin. */
function makeNext(store) {
  const lines = makeSentences();
  const words = element("a", { class: "place", href: "#papers" }, say("start.choose_next"));
  const first = element("ol", { class: "first" }, ...FIRST.map((page) => element("li", {}, element("a", { href: `#${page}` },
    element("strong", {}, say(`frame.${page}`)), say("start.first_colon", { what: say(`start.first_${page}`) })))));
  return { part: section(say("start.what_next"), lines.list, first, element("p", {}, words)), show: (next) => {
    first.hidden = next === null || !isNothingChosen(next);
    lines.show(next === null ? [] : describeNext(next, store.units));
  } };
}

/** The way into the first time: shown while nothing was ever done here. */
function makeFirstTime() {
  return section(say("start.first_time"), element("p", {}, say("start.first_words")), element("a", { class: "go", href: "#first" }, say("start.begin_first")));
}

/** What the service knows besides the live picture, asked for again now and then and with each job. */
function keepAsking({ store, feed }, onNews) {
  const heard = { next: null, order: null, health: null, season: null, jobs: null };
  const take = (name, path, choose = (answer) => answer) => feed.ask(path).then((answer) => {
    heard[name] = choose(answer);
    onNews();
  }, () => {}); // the page says elsewhere when the service is away
  const load = () => {
    const now = new Date();
    take("next", "/next", (answer) => (answer.papers ? answer : null));
    take("health", "/health");
    take("jobs", "/jobs");
    take("order", `/season/order?day=${dayOf(now)}`);
    take("season", `/season?day=${dayOf(now)}&time=${timeOf(now)}`);
  };
  const again = setInterval(load, SEASON_MS);
  store.addEventListener("job", load);
  load();
  return { heard, stop: () => {
    clearInterval(again);
    store.removeEventListener("job", load);
  } };
}

/** What the season asks for today; nothing while nothing is due. */
function makeSeason() {
  const words = element("span", {});
  const part = element("p", { class: "season", hidden: true }, words, " ", element("a", { class: "place", href: "#season" }, say("start.season")));
  return { part, show: (season) => {
    setText(words, season?.sentence ?? "");
    part.hidden = !season?.matters || season.matters.length === 0 || season.sentence === say("start.nothing_due");
  } };
}

function section(title, ...parts) {
  return element("section", { class: "reason" }, element("h2", {}, title), ...parts);
}

/** Build the page; returns how to leave it. */
export function mountStart(root, { store, feed }) {
  const [answer, air, rope, chooser, next, season] = [makeAnswer(), makeAir(), makeRope(store), makeChooser({ store, feed }), makeNext(store), makeSeason()];
  const [trust, hours, held, ordered] = [makeSentences(), makeSentences(), makeReasons("held"), makeReasons("ordered")];
  const [need, age] = [element("p", { class: "need" }), element("p", { class: "age" })];
  const go = element("a", { class: "go", href: "#lawn" }, say("start.to_lawn"));
  const title = element("h1", {}, say("frame.start"));
  const heading = element("h2");
  const first = makeFirstTime();
  const holds = element("section", { class: "reason" }, heading, held.list);
  const sureness = section(say("start.will_hold"), need, chooser.part, chooser.said, trust.list);
  const order = section(say("start.in_order"), ordered.list);
  const asking = keepAsking({ store, feed }, () => show());

  root.replaceChildren(element("div", { class: "start-page" }, title, answer.part, age, first, holds, go, season.part, next.part,
    section(say("start.the_wind"), air.list, rope.part),
    sureness,
    section(say("start.usual_hours"), hours.list, element("p", { class: "small" }, say("start.no_forecast"))),
    order, element("p", { class: "caution" }, say("start.caution"))));

  function show() {
    const { snapshot, outlook, units, isConnected } = store;
    const now_s = performance.now() / 1000;
    const age_s = snapshot?.rig.name ? store.ageAt(now_s) : store.heardAgo(now_s);
    const isOld = age_s > OLD_S;
    const hasJob = Boolean(snapshot?.job);
    const reasons = listReasons({ ...asking.heard, snapshot, outlook, now_utc: Date.now() / 1000 - (age_s ?? 0) }, units);
    answer.show(answerStart(snapshot, outlook, units, { isConnected, isOld, hold: findHold(reasons) }), isOld ? "" : describeLull(outlook?.lull), snapshot !== null && outlook !== null);
    setText(age, isOld ? describeAge(age_s, isConnected).text : "");
    age.classList.toggle("old", isOld);
    setText(title, hasJob ? say("start.will_hold") : say("frame.start"));
    setText(sureness.firstElementChild, say(hasJob ? "start.how_long" : "start.will_hold")); // in a job that is the page's title
    setText(go, hasJob ? say("start.to_running") : say("start.to_lawn"));
    next.part.hidden = hasJob;
    next.show(asking.heard.next);
    first.hidden = hasJob || !Array.isArray(asking.heard.jobs) || asking.heard.jobs.length > 0;
    season.show(asking.heard.season);
    showReasons(reasons, isOld);
    if (snapshot === null) return;
    air.show(describeAir(snapshot, units));
    if (!outlook) return;
    rope.show(isOld);
    setText(need, describeNeed(outlook.need, units));
    chooser.show(outlook.need, hasJob);
    trust.show(describeTrust(outlook));
    hours.show([...describeHours(outlook.hours, outlook.at_utc), ...outlook.left_out.map((reason) => say("start.not_used", { reason }))]);
  }
  function showReasons(reasons, isOld) {
    setText(heading, reasons[0]?.state === "shut" ? say("start.holds") : say("start.look_first"));
    holds.hidden = !held.show(reasons.filter(({ state }) => state !== "open"));
    const isAny = ordered.show(reasons.filter(({ state }) => state === "open"));
    order.hidden = isOld || !isAny; // nothing is in order that nobody has seen lately
  }
  const names = ["snapshot", "outlook", "units", "connection"];
  for (const name of names) store.addEventListener(name, show);
  const clock = setInterval(show, TICK_MS);
  show();
  return () => {
    for (const name of names) store.removeEventListener(name, show);
    clearInterval(clock);
    asking.stop();
    rope.stop();
  };
}
