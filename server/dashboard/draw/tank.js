// What is in the tank now, fills by hand, and what to mix after a stop.

import { readNumber } from "../core/card.js";
import { addressOfRest, tankOfSnapshot, tellFill, tellRefusal, tellRest, tellTank, writeAmount } from "../core/fill.js";
import { say } from "../core/say.js";
import { revert, unitOf } from "../core/units.js";
import { element, setText } from "./element.js";
import { makeLoad } from "./mixsheet.js";

function makeTyped(id, label, set, quantity = "volume") {
  const input = element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off" });
  const row = element("div", { class: "field" }, element("label", { for: id }, `${label}, ${unitOf(quantity, set)}`), input);
  const read = () => {
    const number = readNumber(input.value);
    return number === null ? null : revert(number, quantity, set);
  };
  return { row, read, clear: () => { input.value = ""; } };
}

/** The part of the page; `treatment()` gives the chosen one's number. */
export function makeTank({ store, feed }, { treatment, tank_l }) {
  const figure = element("p", { class: "tank-figure" });
  const lines = element("div");
  const fills = element("ul", { class: "fills" });
  const forms = element("div", { class: "tank-forms" });
  const rest = element("div", { class: "rest", role: "status" });
  const before = element("div");
  const said = element("p", { class: "said", role: "status" });
  let tank = null;
  let last = null;

  const show = () => {
    if (tank === null) return;
    const isLive = tank.job !== null && store.snapshot?.job?.id === tank.job;
    const told = tellTank(isLive ? { ...tankOfSnapshot(store.snapshot), is_contradiction: tank.is_contradiction } : tank, store.units);
    setText(figure, told.figure);
    setText(lines, told.lines.join(" "));
  };
  const load = () => read().catch((problem) => setText(said, tellRefusal(problem, store.units)));
  const read = async () => {
    const size = tank_l();
    tank = await feed.ask(size === null ? "/tank" : `/tank?tank_l=${size}`);
    root.classList.toggle("is-running", tank.job !== null);
    show();
    fills.replaceChildren(...tank.fills.map((fill) => element("li", {}, tellFill(fill, store.units),
      tank.job === null ? element("button", { type: "button", onclick: () => takeBack(fill.number) }, say("fill.take_back")) : null)));
    if (tank.job === null && tank.is_assumed) await showLast();
    else before.replaceChildren();
    makeForms();
  };
  /** What the last job left in the tank, to be taken over by one tap. */
  const showLast = async () => {
    last = (await feed.ask("/jobs")).find(({ state }) => state === "finished") ?? null;
    const left = last === null ? null : await feed.ask(`/jobs/${last.id}/tank`);
    if (left === null || left.is_assumed || left.left_l < 0.05) return;
    before.replaceChildren(element("p", {}, say("fill.after_job", { job: last.name, amount: writeAmount(left.left_l, store.units) })),
      element("button", { type: "button", onclick: () => keep({ holds_l: left.left_l }, say("fill.taken_over")) }, say("fill.still_there")));
  };
  const attempt = async (work, words) => {
    try {
      await work();
      setText(said, words);
    } catch (problem) {
      setText(said, tellRefusal(problem, store.units));
    }
  };
  const keep = (body, words) => attempt(async () => {
    const size = tank_l();
    await feed.ask("/tank/fills", { method: "POST", body: size === null ? body : { ...body, tank_l: size } });
    await read();
  }, words);
  const takeBack = (number) => attempt(async () => {
    await feed.ask(`/tank/fills/${number}`, { method: "DELETE" });
    await read();
  }, say("fill.taken_back"));
  const planRest = (area_left_m2) => attempt(async () => {
    const ask = (more) => feed.ask(addressOfRest(tank.job ?? last.id), { method: "POST", body: { ...(area_left_m2 === null ? {} : { area_left_m2 }), ...more } });
    const found = await ask({}).catch((problem) => {
      if (problem.key !== "treatment" || treatment() === null) throw problem;
      return ask({ treatment: treatment() }); // the job rests on none: the one of the sheet is meant
    });
    const { lines: told, loads } = tellRest(found, store.units);
    rest.replaceChildren(...told.map((line) => element("p", {}, line)), ...loads.map((each) => makeLoad(each, store.units)));
  }, "");
  const makeForms = () => {
    const added = makeTyped("tank-added", say("fill.added"), store.units);
    const holds = makeTyped("tank-holds", say("fill.now_holds"), store.units);
    const area = makeTyped("tank-area", say("fill.area_left"), store.units, "area");
    const readAll = (...parts) => {
      try {
        return parts.map((part) => part.read());
      } catch (problem) {
        setText(said, problem.message);
        return null;
      }
    };
    const fill = (event) => {
      event.preventDefault();
      const typed = readAll(added, holds);
      if (typed === null) return;
      const [added_l, holds_l] = typed;
      if (added_l === null && holds_l === null) setText(said, say("fill.type_first"));
      else if (added_l !== null && holds_l !== null) setText(said, say("fill.type_one"));
      else keep(added_l === null ? { holds_l } : { added_l }, say("fill.noted"));
    };
    const stop = (event) => {
      event.preventDefault();
      const typed = readAll(area);
      if (typed !== null) planRest(typed[0]);
    };
    forms.replaceChildren(
      element("form", { novalidate: true, onsubmit: fill }, added.row, holds.row, element("button", { type: "submit" }, say("fill.note_fill"))),
      ...(tank.job === null && last === null ? [] : [element("form", { novalidate: true, onsubmit: stop }, area.row,
        element("span", { class: "hint" }, tank.job === null ? say("fill.of_job_before") : say("fill.as_map_counts")), element("button", { type: "submit" }, say("fill.what_for_rest")))]));
  };
  const root = element("section", { class: "tank-part" }, element("h2", {}, say("fill.in_tank")), figure, lines, before, fills, said, forms, rest);
  load();
  store.addEventListener("snapshot", show);
  const noted = (number) => (tank?.fills ?? []).filter((fill) => fill.treatment === number && fill.load !== undefined).map((fill) => fill.load);
  return { root, load, keep, noted, leave: () => store.removeEventListener("snapshot", show) };
}
