// The first time: guided from nothing to a strip sprayed with water, each step ticked off by what the service sees.

import { PACE_MPS, PRACTICE_RIG, describeLaid, findTrial, hasStrip, keepFigures, listSteps, suggestTarget } from "../core/first.js";
import { formatQuantity, formatSpeed } from "../core/format.js";
import { say } from "../core/say.js";
import { element, setText } from "../draw/element.js";
import { carryFields, makeField } from "../draw/fields.js";
import { makeSteps } from "../draw/firststeps.js";

const TICK_MS = 1000;
const AGAIN_MS = 1500;
const FIGURES = ["sprayer.swath_m", "flow_meter.pulses_per_l"];
const PACE = { key: "first.pace_mps", range: [0.3, 2.5], default: null, choices: null };
const ONWARD = ["gear", "site", "fill", "start"];
const KEY = "calmpass.first";
const beginTrial = ({ id }) => ({ id, isOver: false, wasSeen: false });
const known = { isKept: false, trial: null, left: [], isAgain: false, ...recall() }; // what was done before somebody looked elsewhere

function recall() {
  try {
    return JSON.parse(sessionStorage.getItem(KEY) ?? "{}");
  } catch {
    return {}; // a browser that forbids storage begins anew with each reload
  }
}

function remember() {
  try {
    const { isKept, left, isAgain } = known;
    sessionStorage.setItem(KEY, JSON.stringify({ isKept, left, isAgain }));
  } catch {
    // not kept for a reload
  }
}

/** Why a pace is none that people walk; empty where it is, or the field is another. The service knows no pace. */
function refusePace(entry, values, set) {
  if (entry.key !== PACE.key) return "";
  const [low, high] = PACE.range;
  const pace_mps = values[PACE.key];
  return pace_mps >= low && pace_mps <= high ? "" : say("first.pace_between", { low: formatSpeed(low, set), high: formatSpeed(high, set) });
}

function refuseField(field, set) {
  try {
    return refusePace(field.entry, field.read(), set);
  } catch (problem) {
    return problem.message;
  }
}

/** The three figures: swath, pulses, pace; what rate they come to, and keeping them. */
function makeFigures({ store, feed }, onKept) {
  const place = element("div", { class: "three" });
  const target = element("p", { class: "target" });
  const said = element("p", { class: "said", role: "status" });
  let entries = [];
  let setup = null;
  let fields = [];
  const read = () => Object.fromEntries(fields.map((field) => [field.entry.key.split(".")[1], field.read()[field.entry.key]]));
  const suggest = () => suggestTarget(store.snapshot?.counts ?? null, read());
  const isRight = () => {
    try {
      return fields.every((field) => refusePace(field.entry, field.read(), store.units) === "");
    } catch {
      return false; // a figure that is being typed
    }
  };
  const show = () => {
    if (setup === null) return;
    if (!isRight()) return setText(target, say("first.target_unread"));
    const found = suggest();
    const rate = formatQuantity(found ?? setup.treatment.target_l_per_m2, "rate", store.units);
    setText(target, found === null ? say("first.target_kept", { rate }) : say("first.target", { rate }));
  };
  const lay = () => {
    if (setup === null) return;
    fields = carryFields(fields, entries.map((entry) => makeField(entry, { ...setup, first: { pace_mps: PACE_MPS } }, store.units)));
    place.replaceChildren(...fields.map(({ row }) => row));
    show();
  };
  const keep = async (event) => {
    event.preventDefault();
    for (const field of fields) {
      const why = refuseField(field, store.units);
      field.tell(why);
      if (why !== "") return setText(said, say("first.see_field"));
    }
    try {
      await feed.ask("/setup", { method: "PUT", body: keepFigures(setup, read(), suggest()) });
      setText(said, "");
      onKept();
    } catch (problem) {
      setText(said, say("first.refused", { reason: problem.message }));
      fields.find(({ entry }) => entry.key === problem.key)?.tell(problem.message);
    }
  };
  const load = async () => {
    const keys = await feed.ask("/setup/keys");
    setup = await feed.ask("/setup");
    entries = [...FIGURES.map((key) => keys.find((entry) => entry.key === key)), PACE];
    lay();
  };
  load().catch((problem) => setText(said, problem.message));
  const form = element("form", { novalidate: true, onsubmit: keep, oninput: show }, place, target,
    element("button", { type: "submit", class: "main" }, say("first.keep")), said);
  return { part: form, show, lay };
}

/** Begin and end the trial. */
function makeTrial({ store, feed }, onChange) {
  const said = element("p", { class: "said", role: "status" });
  const order = async (work) => {
    try {
      await work();
      setText(said, "");
    } catch (problem) {
      setText(said, say("first.refused", { reason: problem.message }));
    }
    onChange();
  };
  const begin = element("button", { type: "button", class: "main", onclick: () => order(async () => {
    const job = await feed.ask("/jobs", { method: "POST", body: { name: say("first.trial"), start: "now" } });
    [known.trial, known.isAgain] = [beginTrial(job), false];
    remember();
  }) }, say("first.begin"));
  const when = element("p", { class: "small", id: "trial-end-when" }, say("first.end_when"));
  const end = element("button", { type: "button", class: "main", "aria-describedby": "trial-end-when", onclick: () => order(async () => {
    const { trial } = known;
    await feed.ask(`/jobs/${trial.id}/buttons`, { method: "POST", body: { kind: "finish", detail: {} } });
    trial.isOver = true;
  }) }, say("first.end"));
  const busy = element("p", { class: "wrong" }, say("first.busy"));
  return { part: element("div", {}, busy, begin, end, when, said), show: () => {
    const isOther = Boolean(store.snapshot?.job) && known.trial === null;
    busy.hidden = !isOther;
    begin.hidden = isOther || known.trial !== null;
    end.hidden = known.trial === null || known.trial.isOver;
    end.disabled = !hasStrip(store.snapshot);
    when.hidden = end.hidden || !end.disabled;
  } };
}

function makeLaid(onAgain) {
  const list = element("dl", { class: "ledger" });
  const onward = element("ul", { class: "onward" });
  const rest = element("p", {});
  const told = element("div", {}, list, rest, element("p", { class: "small" }, say("first.laid_words")), element("button", { type: "button", onclick: onAgain }, say("first.again")), element("h3", {}, say("first.onward")), onward);
  const failed = element("p", { class: "wrong", role: "status" });
  let shown = "";
  return { part: element("div", {}, failed, told), show: ({ review, passes }, set) => {
    const isReady = review?.state === "ready" && passes !== null;
    setText(failed, review?.state === "failed" ? say("first.failed", { problem: review.problem }) : "");
    told.hidden = !isReady;
    if (!isReady) return;
    const laid = describeLaid(review, passes, set);
    const now = JSON.stringify([laid, known.trial.id]);
    if (now === shown) return; // made anew each second, a link would lose the focus
    shown = now;
    setText(rest, laid.rest);
    list.replaceChildren(...laid.lines.map(({ name, figure }) => element("div", { class: "line" }, element("dt", {}, name), element("dd", { class: "figure" }, figure))));
    onward.replaceChildren(...["got", ...ONWARD].map((place) => element("li", {}, element("a", { class: "place", href: place === "got" ? `#got/${known.trial.id}` : `#${place}` }, say(`first.to_${place}`)))));
  } };
}

/** Ask for the trial's review until it is there. */
function followReview(feed, onReview) {
  let timer = null;
  let isLeft = false;
  const ask = async () => {
    timer = null;
    const review = await feed.ask(`/jobs/${known.trial.id}/review`).catch(() => null);
    const isReady = review?.state === "ready";
    const passes = isReady ? await feed.ask(`/jobs/${known.trial.id}/passes`).catch(() => null) : null;
    if (isLeft) return;
    onReview({ review, passes });
    if (review?.state !== "failed" && (!isReady || passes === null)) timer = setTimeout(ask, AGAIN_MS);
  };
  let isAsked = false;
  return { begin: () => {
    if (!isAsked) ask();
    isAsked = true;
  }, forget: () => {
    isAsked = false;
    clearTimeout(timer);
  }, stop: () => {
    isLeft = true;
    clearTimeout(timer);
  } };
}

/** Build the page; returns how to leave it. */
export function mountFirst(root, { store, feed }) {
  let result = { review: null, passes: null };
  const figures = makeFigures({ store, feed }, () => { known.isKept = true; remember(); show(); });
  const trial = makeTrial({ store, feed }, () => show());
  const again = () => {
    [known.trial, known.isKept, known.isAgain, result] = [null, true, true, { review: null, passes: null }];
    remember();
    reviews.forget();
    show();
  };
  const laid = makeLaid(again);
  const steps = makeSteps({ figures: figures.part, strip: trial.part, laid: laid.part }, (key) => { known.left.push(key); remember(); show(); });
  const reviews = followReview(feed, (found) => { result = found; show(); });
  const practice = element("p", { class: "practice", hidden: true }, say("first.practice"));
  const count = element("p", { class: "count", role: "status" });

  function noteTrial(job) {
    if (known.trial === null && job?.name === say("first.trial")) known.trial = beginTrial(job); // after a reload
    if (known.trial === null) return;
    if (job?.id === known.trial.id) known.trial.wasSeen = true;
    else if (known.trial.wasSeen) known.trial.isOver = true; // ended on the lawn, on the rig, or while this page was away
  }
  function show() {
    const { snapshot, units } = store;
    const held = document.activeElement;
    if (snapshot !== null) noteTrial(snapshot.job);
    const age_s = snapshot === null ? null : store.ageAt(performance.now() / 1000);
    const found = listSteps({ snapshot, age_s, isKept: known.isKept, trial: known.trial, review: result.review, left: known.left }, units);
    practice.hidden = snapshot?.rig.name !== PRACTICE_RIG;
    setText(count, snapshot === null ? say("first.looking") : say("first.count", { done: found.filter(({ state }) => state === "done").length, n: found.length }));
    steps.show(found);
    figures.show();
    trial.show();
    laid.show(result, units);
    if (known.trial?.isOver) reviews.begin();
    if (root.contains(held) && held.offsetParent === null) steps.focus(); // the button that was pressed has done its work
  }
  root.replaceChildren(element("div", { class: "first-page" }, element("h1", {}, say("frame.first")), element("p", {}, say("first.intro")), practice, count,
    steps.list, element("p", { class: "caution" }, say("first.caution"))));
  if (known.trial === null && !known.isAgain) {
    feed.ask("/jobs").then((jobs) => {
      known.trial ??= findTrial(jobs);
      show();
    }, () => {}); // the page says elsewhere when the service is away
  }
  const showInUnits = () => { figures.lay(); show(); };
  store.addEventListener("snapshot", show);
  store.addEventListener("units", showInUnits);
  const clock = setInterval(show, TICK_MS);
  show();
  return () => {
    store.removeEventListener("snapshot", show);
    store.removeEventListener("units", showInUnits);
    clearInterval(clock);
    reviews.stop();
  };
}
