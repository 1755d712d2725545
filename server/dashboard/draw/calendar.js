// A month by weeks: on a wide screen a table, on a narrow one the days that have something.

import { say } from "../core/say.js";
import { nameDay, nameMonth, nameWeekday, turnMonth, weeksOf } from "../core/season.js";
import { element, setText } from "./element.js";

function makeDay(day, month, today, items) {
  const found = items.get(day) ?? [];
  const isOther = !day.startsWith(month);
  const list = found.map(({ sign, word, text }) => element("li", {},
    element("span", { class: "mark", "aria-hidden": "true" }, sign), " ", element("span", { class: "unseen" }, say("season.state_before", { word })), text));
  const head = element("p", { class: "date" }, nameDay(day), day === today ? element("strong", {}, ` ${say("season.today")}`) : null);
  return element("td", { class: [isOther ? "other" : "", found.length === 0 && day !== today ? "empty" : ""].join(" ").trim() || null,
    "aria-current": day === today ? "date" : null }, head, list.length === 0 ? null : element("ul", {}, ...list));
}

/** The calendar; `show(items, today)` with what stands on each day. */
export function makeCalendar() {
  const title = element("h3", { "aria-live": "polite" });
  const place = element("div");
  let month = "";
  let shown = { items: new Map(), today: "" };
  const draw = () => {
    const weeks = weeksOf(month);
    setText(title, nameMonth(month));
    const heads = weeks[0].map((day) => element("th", { scope: "col" }, nameWeekday(day)));
    const rows = weeks.map((week) => element("tr", {}, ...week.map((day) => makeDay(day, month, shown.today, shown.items))));
    const isEmpty = weeks.flat().every((day) => !day.startsWith(month) || !shown.items.has(day));
    place.replaceChildren(element("table", { class: "month" }, element("thead", {}, element("tr", {}, ...heads)), element("tbody", {}, ...rows)));
    if (isEmpty) place.append(element("p", { class: "small" }, say("season.empty_month")));
  };
  const turn = (step) => {
    month = step === 0 ? shown.today.slice(0, 7) : turnMonth(month, step);
    draw();
  };
  const button = (words, step) => element("button", { type: "button", onclick: () => turn(step) }, words);
  const root = element("section", { class: "card-part calendar", hidden: true }, element("h2", {}, say("season.calendar")),
    element("div", { class: "button-line" }, button(say("season.month_before"), -1), button(say("season.this_month"), 0), button(say("season.next_month"), 1)), title, place,
    element("p", { class: "small" }, say("season.signs")));
  return { root, show: (items, today) => {
    shown = { items, today };
    month ||= today.slice(0, 7);
    root.hidden = false;
    draw();
  } };
}
