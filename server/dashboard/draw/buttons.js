// The five buttons of a job, large enough for a glove; finishing asks twice.

import { element, setText } from "./element.js";
import { makeSwap } from "./swap.js";

const ASK_AGAIN_MS = 5000;
const FINISHED = "Job finished. Rinse on treated ground where the label allows, never into a drain; keep off until dry or longer, as the label says.";

/** The next free letter for a peg. */
function nextPeg(known) {
  return [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"].find((letter) => !known.includes(letter)) ?? `${known.length + 1}`;
}

function makePegChoice(feed, press) {
  const choices = element("div", { class: "pegs" });
  const dialog = element("dialog", { class: "peg-choice", "aria-labelledby": "peg-title" },
    element("h2", { id: "peg-title" }, "At which peg?"), choices,
    element("button", { type: "button", onclick: () => dialog.close() }, "None, go back"));
  const visited = [];
  const choose = (name) => {
    dialog.close();
    if (!visited.includes(name)) visited.push(name);
    press("peg", { name });
  };
  const open = async () => {
    const setup = await feed.ask("/setup").catch(() => null); // without the service's list the letters still serve
    const known = [...new Set([...(setup?.peg ?? []).map((peg) => peg.name), ...visited])];
    choices.replaceChildren(
      ...known.map((name) => element("button", { type: "button", onclick: () => choose(name) }, `Peg ${name}`)),
      element("button", { type: "button", onclick: () => choose(nextPeg(known)) }, `New peg ${nextPeg(known)}`));
    dialog.showModal();
  };
  return { dialog, open };
}

/** The bar of buttons; `show(job)` tells it how the job stands. */
export function makeButtons({ feed, onNext = () => {} }) {
  const said = element("p", { class: "said", role: "status" });
  let job = null;
  let askedAt_ms = -Infinity;

  const order = async (path, body, done) => {
    try {
      const answer = await feed.ask(path, { method: "POST", body });
      setText(said, done);
      return answer;
    } catch (problem) {
      setText(said, problem.message);
      return null;
    }
  };
  const press = (kind, detail = {}, done = `Noted: ${kind}`) => order(`/jobs/${job.id}/buttons`, { kind, detail }, done);
  const start = async () => {
    if (isOpen(job)) return press("start", {}, "Going on");
    const name = `Lawn, ${new Date().toLocaleDateString([], { day: "numeric", month: "long" })}`;
    const made = await order("/jobs", { name, start: "now" }, "Job started");
    if (made) job = made;
    return made;
  };
  const finish = () => {
    const now_ms = performance.now();
    if (now_ms - askedAt_ms > ASK_AGAIN_MS) {
      askedAt_ms = now_ms;
      setText(buttons.finish, "Press again");
      setText(said, "Finish the job? Press again within 5 seconds.");
      setTimeout(() => show(job), ASK_AGAIN_MS);
      return;
    }
    askedAt_ms = -Infinity;
    press("finish", {}, FINISHED).then(() => {
      if (said.textContent === FINISHED) said.append(" ", element("a", { class: "place", href: "#got" }, "What it got"), " ", element("a", { class: "place", href: "#record" }, "The record"));
    });
  };
  const pegs = makePegChoice(feed, press);
  const swap = makeSwap(feed, () => (isOpen(job) ? job : null), (words) => { setText(said, words); onNext(); });
  const buttons = {
    start: element("button", { type: "button", onclick: start }, "Start"),
    pause: element("button", { type: "button", onclick: () => (job.state === "paused" ? press("start", {}, "Going on") : press("pause", {}, "Paused")) }, "Pause"),
    refill: element("button", { type: "button", onclick: () => press("refill", {}, "Tank filled") }, "Refill"),
    peg: element("button", { type: "button", onclick: pegs.open }, "Peg"),
    finish: element("button", { type: "button", class: "finish", onclick: finish }, "Finish"),
  };
  function show(now) {
    job = now;
    const open = isOpen(now);
    buttons.start.disabled = open;
    for (const name of ["pause", "refill", "peg", "finish"]) buttons[name].disabled = !open;
    setText(buttons.pause, now?.state === "paused" ? "Resume" : "Pause");
    if (performance.now() - askedAt_ms > ASK_AGAIN_MS - 50) setText(buttons.finish, "Finish");
  }
  show(null);
  const bar = element("section", { class: "buttons", "aria-label": "Buttons of the job" }, said,
    element("div", { class: "button-row" }, ...Object.values(buttons)), pegs.dialog, swap.dialog);
  return { bar, show, swap: swap.button };
}

function isOpen(job) {
  return job !== null && (job.state === "running" || job.state === "paused");
}
