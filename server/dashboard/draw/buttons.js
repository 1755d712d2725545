// The buttons of a job: one for the state under the thumb, the others smaller above it; finishing asks twice.

import { describeElsewhere } from "../core/elsewhere.js";
import { UNDO_MS, chooseAction, undoOf } from "../core/glove.js";
import { say } from "../core/say.js";
import { element, setText } from "./element.js";
import { makeGlove } from "./glove.js";
import { makeSwap } from "./swap.js";

const ASK_AGAIN_MS = 5000;
const ORDER_TIMEOUT_S = 8; // who presses stands on the lawn; the same button again does no harm
const CHANGES = ["start", "pause", "finish"]; // what makes another state of the job
const FINISHED = say("buttons.finished");

/** The next free letter for a peg. */
function nextPeg(known) {
  return [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"].find((letter) => !known.includes(letter)) ?? `${known.length + 1}`;
}

function makePegChoice(feed, press) {
  const choices = element("div", { class: "pegs" });
  const dialog = element("dialog", { class: "peg-choice", "aria-labelledby": "peg-title" },
    element("h2", { id: "peg-title" }, say("buttons.which_peg")), choices,
    element("button", { type: "button", onclick: () => dialog.close() }, say("buttons.none")));
  const visited = [];
  const choose = (name) => {
    dialog.close();
    if (!visited.includes(name)) visited.push(name);
    press("peg", { name }, say("buttons.noted_peg"));
  };
  const open = async () => {
    const setup = await feed.ask("/setup").catch(() => null); // without the service's list the letters still serve
    const known = [...new Set([...(setup?.peg ?? []).map((peg) => peg.name), ...visited])];
    choices.replaceChildren(
      ...known.map((name) => element("button", { type: "button", onclick: () => choose(name) }, say("buttons.peg_named", { name }))),
      element("button", { type: "button", onclick: () => choose(nextPeg(known)) }, say("buttons.peg_new", { name: nextPeg(known) })));
    dialog.showModal();
  };
  return { dialog, open };
}

/** The bar of buttons; `show(snapshot)` tells it how the job stands. */
export function makeButtons({ feed, onNext = () => {} }) {
  const said = element("p", { class: "said", role: "status" });
  let snapshot = null;
  let job = null;
  let asked = { name: "", at_ms: -Infinity };
  let undo = null;
  let own = null;

  const order = async (path, body, done) => {
    const kind = body.kind ?? "start";
    undo = null; // of what was pressed before: its end must not take away what is said of this
    if (CHANGES.includes(kind)) own = { kind, at_ms: performance.now() };
    try {
      const answer = await feed.ask(path, { method: "POST", body, timeout_s: ORDER_TIMEOUT_S });
      setText(said, done);
      return answer;
    } catch (problem) {
      if (problem.status > 0) own = null; // refused: what happens now is somebody else's doing
      setText(said, problem.message);
      return null;
    }
  };
  const press = (kind, detail, done) => order(`/jobs/${job.id}/buttons`, { kind, detail }, done);
  const start = async () => {
    const name = say("buttons.job_name", { day: new Date().toLocaleDateString([], { day: "numeric", month: "long" }) });
    const made = await order("/jobs", { name, start: "now" }, say("buttons.started"));
    if (made) job = made;
    return made;
  };
  const finish = () => press("finish", {}, FINISHED).then(() => {
    if (said.textContent === FINISHED) said.append(" ", element("a", { class: "place", href: "#got" }, say("frame.got")), " ", element("a", { class: "place", href: "#record" }, say("frame.record")));
  });
  const orders = {
    start, finish,
    pause: () => press("pause", {}, say("buttons.paused")),
    resume: () => press("start", {}, say("buttons.going_on")),
    refill: () => press("refill", {}, say("buttons.filled")),
  };
  /** What cannot be taken back asks twice. */
  const askTwice = (name) => () => {
    const now_ms = performance.now();
    if (asked.name === name && now_ms - asked.at_ms <= ASK_AGAIN_MS) {
      asked = { name: "", at_ms: -Infinity };
      orders[name]();
      return;
    }
    asked = { name, at_ms: now_ms };
    show(snapshot);
    setText(said, say(`buttons.${name}_again`));
    setTimeout(() => show(snapshot), ASK_AGAIN_MS + 50);
  };
  const glove = makeGlove(async (action) => {
    const isDone = await orders[action.name]();
    const back = isDone ? undoOf(action) : null;
    if (back !== null) {
      undo = { action: back, until_ms: performance.now() + UNDO_MS };
      setText(said, say("buttons.undo", { done: said.textContent }));
      setTimeout(() => show(snapshot), UNDO_MS + 50);
    }
    show(snapshot);
  });
  const pegs = makePegChoice(feed, press);
  const swap = makeSwap(feed, () => (isOpen(job) ? job : null), (words) => { setText(said, words); onNext(); });
  const buttons = {
    pause: element("button", { type: "button", onclick: () => orders[job.state === "paused" ? "resume" : "pause"]() }, say("buttons.pause")),
    refill: element("button", { type: "button", onclick: askTwice("refill") }, say("buttons.refill")),
    peg: element("button", { type: "button", onclick: pegs.open }, say("buttons.peg")),
    finish: element("button", { type: "button", class: "finish", onclick: askTwice("finish") }, say("buttons.finish")),
  };
  const row = element("div", { class: "button-row" }, ...Object.values(buttons));
  function show(now) {
    const elsewhere = describeElsewhere(snapshot === null ? undefined : snapshot.job, now?.job, own, performance.now());
    snapshot = now;
    job = now?.job ?? null;
    const open = isOpen(job);
    if (undo && (performance.now() > undo.until_ms || !open)) {
      undo = null;
      setText(said, "");
    }
    if (elsewhere !== "") {
      undo = null;
      setText(said, elsewhere);
    }
    const action = undo?.action ?? chooseAction(now);
    glove.show(action);
    row.hidden = !open;
    // What the bar does needs no second button.
    for (const [name, button] of Object.entries(buttons)) button.hidden = name === (action.name === "resume" ? "pause" : action.name);
    setText(buttons.pause, say(`buttons.${job?.state === "paused" ? "resume" : "pause"}`));
    for (const name of ["refill", "finish"]) {
      const isAsked = asked.name === name && performance.now() - asked.at_ms <= ASK_AGAIN_MS;
      setText(buttons[name], say(isAsked ? "buttons.again" : `buttons.${name}`));
    }
  }
  show(null);
  const bar = element("section", { class: "buttons", "aria-label": say("buttons.all") }, said, row, glove.part, pegs.dialog, swap.dialog);
  return { bar, show, swap: swap.button };
}

function isOpen(job) {
  return job !== null && (job.state === "running" || job.state === "paused");
}
