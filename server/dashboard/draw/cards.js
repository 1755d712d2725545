// A list of cards of one kind with the form to add, change and put one away; the parts of pages like gear and lawn.

import { tellAtField } from "../core/problem.js";
import { makeFields } from "./cardform.js";
import { element, renew, setText } from "./element.js";
import { say } from "../core/say.js";

/**
 * Cards of one noun. `about`: noun, heading, tell(card) a line of each, refers (nouns whose names the
 * form shows), hidden (keys that have a place of their own), complete(record, card) adds what the form does not show,
 * name(card) what is tapped, order(cards) how they are listed, extra(card) further elements of an open card,
 * onChange(cards), check(record, card, place) whether it may be saved now (what speaks against it is shown at `place`).
 */
export function makeCards({ feed, store }, about) {
  const list = element("ul", { class: "cards" });
  const place = element("div");
  const said = element("p", { role: "status", class: "said" });
  const add = element("button", { type: "button", onclick: () => open(null) }, say(`cards.add_${about.noun}`));
  const root = element("section", { class: "card-part" }, element("h2", {}, about.heading), list, add, place, said);
  let described = [];
  let cards = [];
  const names = {};
  const name = about.name ?? ((each) => each.card.name ?? each.card.kind);

  const load = async () => {
    described = (await feed.ask(`/${about.noun}/fields`)).filter(({ key }) => !(about.hidden ?? []).includes(key));
    for (const noun of about.refers ?? []) {
      names[noun] = (await feed.ask(`/${noun}`)).map(({ number, id, card, name }) => ({ number: number ?? id, name: card?.name ?? name }));
    }
    cards = await feed.ask(`/${about.noun}`);
    list.replaceChildren(...(about.order?.(cards) ?? cards).map((each) => element("li", {},
      element("button", { type: "button", onclick: () => open(each) }, name(each)), " ", about.tell?.(each) ?? "")));
    about.onChange?.(cards);
  };
  const close = async (words) => {
    renew(place, add);
    await load();
    setText(said, words);
  };
  const attempt = async (work, tell) => {
    setText(said, ""); // what was said of the press before is no longer so
    try {
      await work();
    } catch (problem) {
      const isTold = problem.key && tell((problem.key ?? "").split("."), tellAtField(problem.detail, problem.key));
      setText(said, isTold ? say("cards.see_field") : say("cards.not_saved", { why: problem.message }));
    }
  };
  const open = (each) => {
    const form = makeFields(described, each?.card ?? {}, store.units, names);
    const asked = element("div", { class: "asked", role: "status" });
    const save = (event) => {
      event.preventDefault();
      asked.replaceChildren();
      attempt(async () => {
        const record = form.read();
        const body = about.complete ? about.complete(record, each?.card ?? {}) : record;
        if (about.check && !(await about.check(body, each, asked))) return;
        if (each === null) await feed.ask(`/${about.noun}`, { method: "POST", body });
        else await feed.ask(`/${about.noun}/${each.number}?version=${each.version}`, { method: "PUT", body });
        await close(say("cards.saved"));
      }, form.tell);
    };
    const retire = () => attempt(async () => {
      await feed.ask(`/${about.noun}/${each.number}?version=${each.version}`, { method: "DELETE" });
      await close(say("cards.put_away_kept"));
    }, () => false);
    place.replaceChildren(element("form", { novalidate: true, onsubmit: save, class: "card" },
      element("h3", {}, each === null ? say(`cards.new_${about.noun}`) : each.card.name ?? each.card.kind), ...form.rows, asked,
      element("button", { type: "submit", class: "main" }, say("cards.save")),
      element("button", { type: "button", onclick: () => renew(place, add) }, say("cards.leave")),
      each === null ? null : element("button", { type: "button", onclick: retire }, say("cards.put_away"))),
    ...(each === null ? [] : about.extra?.(each) ?? []));
    place.scrollIntoView({ block: "nearest" });
    setText(said, "");
  };
  load().catch((problem) => setText(said, problem.message));
  return { root, load, open };
}
