// What a job rests on: the cards of the next one, or of one that is done or open.

import { choiceOf, describeNext, zonesToChoose } from "../core/papers.js";
import { sayLitres } from "../core/fill.js";
import { tellAtField } from "../core/problem.js";
import { say } from "../core/say.js";
import { makeFields } from "../draw/cardform.js";
import { element, setText } from "../draw/element.js";

const BARE = { kind: "number", hint: "", choices: [], text: "line", is_needed: false, default: null, range: null, unit: "", units: null, rows: null };
const ROLES = [
  { ...BARE, key: "treatment", label: say("papers.role_treatment"), refers: "treatments" },
  { ...BARE, key: "site", label: say("papers.role_site"), refers: "sites", hint: say("papers.of_treatment") },
  { ...BARE, key: "sprayer", label: say("papers.role_sprayer"), refers: "sprayers", hint: say("papers.of_treatment") },
  { ...BARE, key: "operator", label: say("papers.role_operator"), refers: "people" },
  { ...BARE, key: "customer", label: say("papers.role_customer"), refers: "people", hint: say("papers.of_site") },
];

function makeZones(chosen) {
  const list = element("div", { class: "checks" });
  const box = element("div", { class: "field" }, element("span", {}, say("papers.zones")), list, element("span", { class: "hint" }, say("papers.no_zone")));
  let marks = [];
  const show = (names) => {
    const wanted = marks.length > 0 ? read() : chosen;
    marks = names.map((name) => element("input", { type: "checkbox", value: name, checked: wanted.includes(name) }));
    list.replaceChildren(...marks.map((mark) => element("label", { class: "check" }, mark, " ", mark.value)));
    box.hidden = names.length < 2;
  };
  const read = () => marks.filter((mark) => mark.checked).map((mark) => mark.value);
  return { box, show, read };
}

/** Build the page; `chosen` is a job's number, null for the next job. Returns how to leave it. */
export function mountPapers(root, { store, feed, chosen }) {
  const isNext = chosen === null;
  const path = isNext ? "/next" : `/jobs/${chosen}/papers`;
  const now = element("ul", { class: "sentences" });
  const place = element("div");
  const said = element("p", { role: "status", class: "said" }, say("papers.looking"));
  const back = isNext ? element("a", { class: "place", href: "#start" }, say("papers.to_start"))
    : element("a", { class: "place", href: `#got/${chosen}` }, say("papers.to_got"));

  const load = async () => {
    const nouns = ["treatments", "sites", "sprayers", "people"];
    const lists = await Promise.all(nouns.map((noun) => feed.ask(`/${noun}`)));
    const cards = Object.fromEntries(nouns.map((noun, i) => [noun, lists[i]]));
    const [answer, sprayerFields] = await Promise.all([feed.ask(path), feed.ask("/sprayers/fields")]);
    const tank = sprayerFields.find(({ key }) => key === "tank");
    showForm(answer, cards, { ...tank, key: "fill", label: say("papers.filled"), hint: say("papers.full_tank"), default: null });
    setText(said, "");
  };
  const showForm = (answer, cards, fill) => {
    if (isNext) now.replaceChildren(...describeNext(answer, store.units).map((each) => element("li", {}, each)));
    const choice = isNext ? answer.choice : choiceOf(answer);
    const names = Object.fromEntries(Object.entries(cards).map(([noun, list]) => [noun, list.map(({ number, card }) => ({ number, name: card.name }))]));
    const form = makeFields([...ROLES, fill], choice, store.units, names);
    const zones = makeZones(choice.zones ?? []);
    const cardOf = (noun, number) => cards[noun].find((each) => each.number === number);
    const renew = () => {
      const treatment = cardOf("treatments", form.read().treatment);
      zones.show(zonesToChoose(cardOf("sites", form.read().site ?? treatment?.card.site), treatment));
    };
    const save = async (event) => {
      event.preventDefault();
      setText(said, "");
      try {
        await feed.ask(path, { method: "PUT", body: { ...form.read(), zones: zones.read() } });
        await load();
        setText(said, isNext ? say("papers.chosen") : say("papers.changed"));
      } catch (problem) {
        const isTold = problem.key && form.tell(problem.key.split("."), sayLitres(tellAtField(problem.detail, problem.key), store.units));
        setText(said, isTold ? say("papers.see_field") : say("papers.not_taken", { reason: problem.message }));
      }
    };
    const made = element("form", { novalidate: true, class: "card", onsubmit: save, onchange: renew },
      ...form.rows.slice(0, 2), zones.box, ...form.rows.slice(2), element("button", { type: "submit", class: "main" }, isNext ? say("papers.take") : say("papers.let_rest")));
    renew();
    place.replaceChildren(made);
  };
  root.replaceChildren(element("div", { class: "setup-page cup-page" }, element("p", {}, back),
    element("h1", {}, isNext ? say("papers.what_next") : say("papers.what_job", { job: chosen })), now,
    element("p", { class: "caution" }, say("papers.caution")), place, said));
  load().catch((problem) => setText(said, problem.message));
  return () => {};
}
