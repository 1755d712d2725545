// What speaks against a treatment: the grave first, each with a word before it.

import { wordOfSeverity } from "../core/fill.js";
import { element } from "./element.js";
import { say } from "../core/say.js";

/** A list of objections; nothing where there are none. */
export function makeObjections(objections) {
  if (objections.length === 0) return element("p", { class: "small" }, say("fill.no_objection"));
  return element("ul", { class: "objections" }, ...objections.map(({ severity, sentence, key }) => element("li", { "data-severity": severity, "data-key": key },
    element("strong", {}, `${wordOfSeverity(severity)} `), sentence)));
}
