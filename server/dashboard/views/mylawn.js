// My lawn: lawns with their zones and keep-outs.

import { makeCards } from "../draw/cards.js";
import { element } from "../draw/element.js";

/** Build the page; returns how to leave it. */
export function mountMyLawn(root, parts) {
  const cards = makeCards(parts, { noun: "sites", one: "site", heading: "Sites", hidden: ["zones"], refers: ["people"], complete: (record, card) => ({ ...record, zones: card.zones ?? [] }) });
  root.replaceChildren(element("div", { class: "setup-page" }, element("h1", {}, "My lawn"),
    element("p", {}, "A job keeps the shape that its site had on the day."), cards.root));
  return () => {};
}
