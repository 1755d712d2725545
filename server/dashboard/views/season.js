// What is due?: the season: what was done, what is due.

import { makeCards } from "../draw/cards.js";
import { element } from "../draw/element.js";

/** Build the page; returns how to leave it. */
export function mountSeason(root, parts) {
  const cards = makeCards(parts, { noun: "works", one: "line", heading: "Journal", refers: ["sites", "products", "treatments", "jobs"] });
  root.replaceChildren(element("div", { class: "setup-page" }, element("h1", {}, "What is due?"),
    element("p", {}, "What was done on each lawn, and what comes next."), cards.root));
  return () => {};
}
