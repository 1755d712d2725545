// Fill by fill: what goes into the tank.

import { makeCards } from "../draw/cards.js";
import { element } from "../draw/element.js";

/** Build the page; returns how to leave it. */
export function mountFill(root, parts) {
  const cards = makeCards(parts, { noun: "products", one: "product", heading: "Products" });
  root.replaceChildren(element("div", { class: "setup-page" }, element("h1", {}, "Fill by fill"),
    element("p", {}, "The label decides. Enter it in its own units, and check what you entered against it."), cards.root));
  return () => {};
}
