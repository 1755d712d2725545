// How long records are kept: the rules that concern the user, and after how many years records may go.

import { readNumber } from "../core/card.js";
import { say } from "../core/say.js";
import { element, setText } from "./element.js";
import { part } from "./recordsheet.js";

/** The form; `save(retention)` keeps it and gives it back. */
export function makeRetention(found, save) {
  const said = element("p", { role: "status", class: "said" });
  const boxes = found.rules.map((rule) => [rule.key, element("input", { type: "checkbox", id: `rule-${rule.key}`, checked: found.regimes.includes(rule.key) })]);
  const rows = found.rules.map((rule, place) => element("div", { class: "rule" }, boxes[place][1],
    element("label", { for: `rule-${rule.key}` }, say("record.rule_keeps", { rule: rule.name, whom: rule.concerns, years: rule.keep_years }))));
  const years = element("input", { id: "keep-years", type: "text", inputmode: "numeric", autocomplete: "off", value: found.years ?? "" });
  const send = async (event) => {
    event.preventDefault();
    try {
      const regimes = boxes.filter(([, box]) => box.checked).map(([key]) => key);
      await save({ regimes, years: readNumber(years.value) });
    } catch (problem) {
      setText(said, say("cards.not_saved", { why: problem.message }));
    }
  };
  const words = found.years === null ? say("record.kept_ever") : say("record.kept_for", { years: found.years });
  return part(say("record.how_long"), element("p", {}, `${words} ${say("record.kept_least", { years: found.least_years })}`),
    element("form", { novalidate: true, onsubmit: send, class: "retention" }, ...rows,
      element("div", { class: "field" }, element("label", { for: "keep-years" }, say("record.remove_after")), years,
        element("span", { class: "hint" }, say("record.years_hint"))),
      element("button", { type: "submit" }, say("record.keep_setting"))), said);
}
