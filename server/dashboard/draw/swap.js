// Another sprayer in two taps: a list of those there are; in a job it begins the next part of it.

import { say } from "../core/say.js";
import { element, setText } from "./element.js";

/** The button and its list; `jobOf()` tells the job, `tell(words)` what came of it. */
export function makeSwap(feed, jobOf, tell) {
  const title = element("h2", { id: "swap-title" });
  const choices = element("div", { class: "pegs" });
  const dialog = element("dialog", { class: "peg-choice", "aria-labelledby": "swap-title" }, title, choices,
    element("button", { type: "button", onclick: () => dialog.close() }, say("buttons.none")));
  const choose = async ({ number, card }) => {
    dialog.close();
    const job = jobOf();
    try {
      if (job) {
        const part = await feed.ask(`/jobs/${job.id}/swap`, { method: "POST", body: { sprayer: number } });
        tell(say("swap.goes_on", { sprayer: card.name, job: part.name }));
      } else {
        const { choice } = await feed.ask("/next");
        await feed.ask("/next", { method: "PUT", body: { ...choice, sprayer: number } });
        tell(say("swap.next", { sprayer: card.name }));
      }
    } catch (problem) {
      tell(problem.message);
    }
  };
  const open = async () => {
    try {
      const sprayers = await feed.ask("/sprayers");
      setText(title, say(`swap.${sprayers.length === 0 ? "no_sprayer" : jobOf() ? "which_on" : "which_next"}`));
      choices.replaceChildren(...sprayers.map((each) => element("button", { type: "button", onclick: () => choose(each) }, each.card.name)));
      dialog.showModal();
    } catch (problem) {
      tell(problem.message);
    }
  };
  return { button: element("button", { type: "button", class: "wide", onclick: open }, say("swap.another")), dialog };
}
