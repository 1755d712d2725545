// Start now?: one sentence that answers, and below it the reasons.

import { describeAge } from "../core/figures.js";
import { formatTime } from "../core/format.js";
import { describeNext, isNothingChosen } from "../core/papers.js";
import { describeRope } from "../core/rope.js";
import { dayOf, timeOf } from "../core/season.js";
import { answerStart, describeAir, describeHours, describeInversion, describeNeed, describeTrust } from "../core/start.js";
import { keepPainted } from "../draw/canvas.js";
import { element, option, setText } from "../draw/element.js";
import { paintRopeAndStrips } from "../draw/rope.js";

const TICK_MS = 1000;
const SEASON_MS = 600_000;
const OLD_S = 10; // chances are of minutes: a moment without a word changes none
const LENGTHS_MIN = [10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60];
const OWN = "own";

function makeAnswer() {
  const word = element("strong", {});
  const text = element("span", {});
  const lull = element("p", { class: "since" });
  const part = element("section", { class: "answer", "aria-label": "Answer", role: "status" }, element("p", {}, word, " ", text), lull);
  return { part, show: (answer, said) => {
    part.dataset.kind = answer.kind;
    setText(word, answer.word);
    setText(text, answer.text);
    setText(lull, said);
    lull.hidden = said === "";
  } };
}

function describeLull(lull) {
  if (!lull || lull.since_utc === null || lull.reason === "") return "";
  const clock = formatTime(lull.since_utc);
  return lull.is_open ? `Calm long enough since ${clock}.` : `The lull closed at ${clock}.`;
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
function makeSentences(attributes = {}) {
  const list = element("ul", { class: "sentences", ...attributes });
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
  const select = element("select", { id: "length" }, option(OWN, "As long as the job needs", true),
    ...LENGTHS_MIN.map((minutes) => option(String(minutes), `${minutes} minutes`, false)));
  const said = element("p", { class: "said", role: "status" });
  const part = element("div", { class: "chooser" }, element("label", { for: "length" }, "Must stay calm for"), select);
  let chosen = OWN;
  select.addEventListener("change", async () => {
    const minutes = select.value === OWN ? null : Number(select.value);
    try {
      store.takeOutlook(await feed.ask("/outlook", { method: "PUT", body: { minutes } }));
      setText(said, "");
    } catch (problem) {
      select.value = chosen;
      setText(said, `Not changed. ${problem.message}`);
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
  const words = element("p", { class: "small" }, "Line: means of a minute. Shade above it: gusts. Under it, from now on: the strips to come, a notch at the end of each, a gap for a refill.");
  const part = element("div", { hidden: true }, canvas, words);
  const painter = keepPainted(canvas, (context, width_px, height_px, ink) => paintRopeAndStrips(context, width_px, height_px, ink,
    { outlook: store.outlook, set: store.units }));
  return { part, stop: painter.stop, show: () => {
    const { outlook, units } = store;
    part.hidden = !outlook?.recent?.mean_mps.some((each) => each !== null);
    if (part.hidden) return;
    const said = describeRope(outlook, units);
    if (canvas.getAttribute("aria-label") !== said) canvas.setAttribute("aria-label", said);
    painter.ask();
  } };
}

const FIRST = [["site", "My lawn", "draw what to treat and what to keep out"], ["gear", "My gear", "add the sprayer and calibrate it"],
  ["fill", "Fill by fill", "enter the product from its label, then the treatment"]];

/** What the next job rests on, asked for again with each job. */
function makeNext({ store, feed }) {
  const lines = makeSentences();
  const words = element("a", { class: "place", href: "#papers" }, "Choose site, treatment, sprayer, who");
  const first = element("ol", { class: "first" }, ...FIRST.map(([page, name, what]) => element("li", {}, element("a", { href: `#${page}` }, element("strong", {}, name), `: ${what}`))));
  let next = null;
  const show = () => {
    first.hidden = next === null || !isNothingChosen(next);
    lines.show(next === null ? [] : describeNext(next, store.units));
  };
  const load = () => feed.ask("/next").then((answer) => { next = answer.papers ? answer : null; show(); }, () => {});
  load();
  store.addEventListener("job", load);
  return { part: section("What is next", lines.list, first, element("p", {}, words)), show, stop: () => store.removeEventListener("job", load) };
}

/** What the season asks for today, asked for again now and then; nothing while nothing is due. */
function makeSeason(feed) {
  const words = element("span", {});
  const part = element("p", { class: "season", hidden: true }, words, " ", element("a", { class: "place", href: "#season" }, "Season"));
  const load = async () => {
    const now = new Date();
    const { sentence, matters } = await feed.ask(`/season?day=${dayOf(now)}&time=${timeOf(now)}`);
    setText(words, sentence ?? "");
    part.hidden = !matters || matters.length === 0 || sentence === "Nothing is due.";
  };
  const ask = () => load().catch(() => {}); // the page says elsewhere when the service is away
  const again = setInterval(ask, SEASON_MS);
  ask();
  return { part, stop: () => clearInterval(again) };
}

function section(title, ...parts) {
  return element("section", { class: "reason" }, element("h2", {}, title), ...parts);
}

/** Build the page; returns how to leave it. */
export function mountStart(root, { store, feed }) {
  const answer = makeAnswer();
  const air = makeAir();
  const [trust, hours, inversion, faults] = [makeSentences(), makeSentences(), makeSentences(), makeSentences({ class: "faults" })];
  const rope = makeRope(store);
  const chooser = makeChooser({ store, feed });
  const next = makeNext({ store, feed });
  const season = makeSeason(feed);
  const need = element("p", { class: "need" });
  const ready = element("p", {});
  const age = element("p", { class: "age" });
  const go = element("a", { class: "go", href: "#lawn" }, "To the lawn: begin there");
  const title = element("h1", {}, "Start now?");

  root.replaceChildren(element("div", { class: "start-page" }, title, answer.part, age, season.part,
    next.part, section("The wind now", air.list, rope.part),
    section("Will it hold?", need, chooser.part, chooser.said, trust.list),
    section("When it is usually calm here", hours.list, element("p", { class: "small" }, "What was usual on the last days, no forecast.")),
    section("Calm is not always good", inversion.list),
    section("The rig", faults.list, ready),
    element("p", { class: "caution" }, "The product's label and the law of the place decide in what wind may be sprayed, and whether at all. "
      + "Chances are told from past wind alone: look at the sky, and stop when in doubt."), go));

  const show = () => {
    const { snapshot, outlook, units } = store;
    const { isConnected } = store;
    const age_s = snapshot?.rig.name ? store.ageAt(performance.now() / 1000) : store.heardAgo(performance.now() / 1000);
    const isOld = age_s > OLD_S;
    const hasJob = Boolean(snapshot?.job);
    answer.show(answerStart(snapshot, outlook, units, { isConnected, isOld }), isOld ? "" : describeLull(outlook?.lull));
    setText(age, isOld ? describeAge(age_s, isConnected).text : "");
    age.classList.toggle("old", isOld);
    setText(title, hasJob ? "Will it hold?" : "Start now?");
    setText(go, hasJob ? "To the lawn: the job is running" : "To the lawn: begin there");
    next.part.hidden = hasJob;
    next.show();
    if (snapshot === null) return;
    air.show(describeAir(snapshot, units));
    faults.show([...snapshot.faults, ...(outlook?.fault ? [outlook.fault] : [])]);
    setText(ready, snapshot.faults.length > 0 ? "" : "Link, receiver, flow meter and anemometer: nothing to complain of.");
    ready.hidden = snapshot.faults.length > 0;
    if (!outlook) return;
    rope.show();
    setText(need, describeNeed(outlook.need, units));
    chooser.show(outlook.need, hasJob);
    trust.show(describeTrust(outlook));
    hours.show([...describeHours(outlook.hours, outlook.at_utc), ...outlook.left_out.map((reason) => `Not used: ${reason}.`)]);
    inversion.show([describeInversion(outlook.inversion, units)]);
  };
  const names = ["snapshot", "outlook", "units", "connection"];
  for (const name of names) store.addEventListener(name, show);
  const clock = setInterval(show, TICK_MS);
  show();
  return () => {
    for (const name of names) store.removeEventListener(name, show);
    clearInterval(clock);
    next.stop();
    season.stop();
    rope.stop();
  };
}
