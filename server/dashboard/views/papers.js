// What a job rests on: the cards of the next one, or of one that is done or open.

import { choiceOf, describeNext, zonesToChoose } from "../core/papers.js";
import { sayLitres } from "../core/fill.js";
import { tellAtField } from "../core/problem.js";
import { makeFields } from "../draw/cardform.js";
import { element, setText } from "../draw/element.js";

const BARE = { kind: "number", hint: "", choices: [], text: "line", is_needed: false, default: null, range: null, unit: "", units: null, rows: null };
const ROLES = [
  { ...BARE, key: "treatment", label: "Treatment", refers: "treatments" },
  { ...BARE, key: "site", label: "Site", refers: "sites", hint: "none: the treatment's" },
  { ...BARE, key: "sprayer", label: "Sprayer", refers: "sprayers", hint: "none: the treatment's" },
  { ...BARE, key: "operator", label: "Who applies", refers: "people" },
  { ...BARE, key: "customer", label: "For whom", refers: "people", hint: "none: the site's" },
];

function makeZones(chosen) {
  const list = element("div", { class: "checks" });
  const box = element("div", { class: "field" }, element("span", {}, "Zones"), list, element("span", { class: "hint" }, "none marked: all of them; keep-outs always hold"));
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
  const said = element("p", { role: "status", class: "said" }, "Looking…");
  const back = isNext ? element("a", { class: "place", href: "#start" }, "Back to Start now?")
    : element("a", { class: "place", href: `#got/${chosen}` }, "Back to What it got");

  const load = async () => {
    const nouns = ["treatments", "sites", "sprayers", "people"];
    const lists = await Promise.all(nouns.map((noun) => feed.ask(`/${noun}`)));
    const cards = Object.fromEntries(nouns.map((noun, i) => [noun, lists[i]]));
    const [answer, sprayerFields] = await Promise.all([feed.ask(path), feed.ask("/sprayers/fields")]);
    const tank = sprayerFields.find(({ key }) => key === "tank");
    showForm(answer, cards, { ...tank, key: "fill", label: "Filled to", hint: "nothing: a full tank", default: null });
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
        setText(said, isNext ? "Chosen: the next job begins so, on the rig's START too." : "Changed: what it got is computed again.");
      } catch (problem) {
        const isTold = problem.key && form.tell(problem.key.split("."), sayLitres(tellAtField(problem.detail, problem.key), store.units));
        setText(said, isTold ? "Not taken: see the field that is marked." : `Not taken. ${problem.message}`);
      }
    };
    const made = element("form", { novalidate: true, class: "card", onsubmit: save, onchange: renew },
      ...form.rows.slice(0, 2), zones.box, ...form.rows.slice(2), element("button", { type: "submit", class: "main" }, isNext ? "Take this next" : "Let it rest on these"));
    renew();
    place.replaceChildren(made);
  };
  root.replaceChildren(element("div", { class: "setup-page cup-page" }, element("p", {}, back),
    element("h1", {}, isNext ? "What is next?" : `What job ${chosen} rests on`), now,
    element("p", { class: "caution" }, "The label decides: read it before you choose rate, wind and zones."), place, said));
  load().catch((problem) => setText(said, problem.message));
  return () => {};
}
