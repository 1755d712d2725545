// The record: who applied what, for whom.

import { makeCards } from "../draw/cards.js";
import { element } from "../draw/element.js";

/** Build the page; returns how to leave it. */
export function mountRecord(root, parts) {
  const cards = makeCards(parts, { noun: "people", one: "person", heading: "People whom records name" });
  root.replaceChildren(element("div", { class: "setup-page" }, element("h1", {}, "The record"),
    element("p", {}, "Your local code says what a record must hold and how long it is kept."), cards.root));
  return () => {};
}
