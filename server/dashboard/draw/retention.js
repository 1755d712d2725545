// How long records are kept: the rules that concern the user, and after how many years records may go.

import { readNumber } from "../core/card.js";
import { element, setText } from "./element.js";
import { part } from "./recordsheet.js";

/** The form; `save(retention)` keeps it and gives it back. */
export function makeRetention(found, save) {
  const said = element("p", { role: "status", class: "said" });
  const boxes = found.rules.map((rule) => [rule.key, element("input", { type: "checkbox", id: `rule-${rule.key}`, checked: found.regimes.includes(rule.key) })]);
  const rows = found.rules.map((rule, place) => element("div", { class: "rule" }, boxes[place][1],
    element("label", { for: `rule-${rule.key}` }, `${rule.name}: ${rule.concerns}, ${rule.keep_years} years`)));
  const years = element("input", { id: "keep-years", type: "text", inputmode: "numeric", autocomplete: "off", value: found.years ?? "" });
  const send = async (event) => {
    event.preventDefault();
    try {
      const regimes = boxes.filter(([, box]) => box.checked).map(([key]) => key);
      await save({ regimes, years: readNumber(years.value) });
    } catch (problem) {
      setText(said, `Not saved. ${problem.message}`);
    }
  };
  const words = found.years === null ? "Signed records and their logs are kept for ever."
    : `Signed records and their logs are removed after ${found.years} years.`;
  return part("How long is it kept?", element("p", {}, `${words} Nobody can remove one before ${found.least_years} years are over.`),
    element("form", { novalidate: true, onsubmit: send, class: "retention" }, ...rows,
      element("div", { class: "field" }, element("label", { for: "keep-years" }, "Remove after so many years"), years,
        element("span", { class: "hint" }, `empty: never; else 2 to 100`)),
      element("button", { type: "submit" }, "Keep this setting")), said);
}
