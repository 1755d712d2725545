// My gear: the settings as one plain form, in the user's units.

import { fieldUnit, hintOf, mergeSetup, readKey, textOf, titleOf, valueOf, wordsOf, zonesFromGeojson } from "../core/form.js";
import { element, option, setText } from "../draw/element.js";

const HIDDEN = ["site.boundary", "job", "peg", "zone"];

function isInForm({ key }) {
  return key.includes(".") && !HIDDEN.some((each) => key === each || key.startsWith(`${each}.`));
}

function makeField(entry, setup, set) {
  const text = textOf(readKey(setup, entry.key), entry.key, set);
  const id = `field-${entry.key.replace(".", "-")}`;
  const hint = element("span", { class: "hint", id: `${id}-hint` }, hintOf(entry, set));
  const wrong = element("span", { class: "wrong", id: `${id}-wrong` });
  const input = entry.choices
    ? element("select", { id }, ...["", ...entry.choices].map((choice) => option(choice, choice || "not set", choice === text)))
    : element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", value: text });
  input.setAttribute("aria-describedby", `${id}-hint ${id}-wrong`);
  const unit = fieldUnit(entry, set);
  const label = element("label", { for: id }, wordsOf(entry.key), unit ? element("span", { class: "unit" }, ` (${unit})`) : null);
  const row = element("div", { class: "field" }, label, input, hint, wrong);
  return { entry, input, row, text, tell: (problem) => {
    setText(wrong, problem);
    input.setAttribute("aria-invalid", problem === "" ? "false" : "true");
    if (problem !== "") input.focus();
  } };
}

function makeOutline(take) {
  const said = element("p", { role: "status" });
  const input = element("input", { type: "file", id: "outline", accept: ".geojson,.json,application/geo+json" });
  input.addEventListener("change", async () => {
    try {
      const zones = zonesFromGeojson(await input.files[0].text());
      take(zones);
      setText(said, `${zones.length} ${zones.length === 1 ? "polygon" : "polygons"} read: save to keep.`);
    } catch (problem) {
      setText(said, problem.message);
    }
  });
  return element("fieldset", {}, element("legend", {}, "Lawn"),
    element("label", { for: "outline" }, "Outline of the lawn and keep-outs, a GeoJSON file"), input, said);
}

function readChanges(fields, set) {
  const changes = {};
  for (const field of fields) {
    field.tell("");
    if (field.input.value === field.text) continue; // untouched fields keep the digits they had
    try {
      changes[field.entry.key] = valueOf(field.input.value, field.entry, set);
    } catch (problem) {
      field.tell(problem.message);
      return null;
    }
  }
  return changes;
}

/** Build the page; returns how to leave it. */
export function mountSetup(root, { store, feed }) {
  const place = element("div");
  const said = element("p", { class: "said", role: "status" }, "Looking…");
  let keys = [];
  let setup = {};
  let fields = [];
  let zones = null;

  const save = async (event) => {
    event.preventDefault();
    const changes = readChanges(fields, store.units);
    if (changes === null) {
      setText(said, "Not saved: see the field that is marked.");
      return;
    }
    try {
      const wanted = mergeSetup(setup, changes);
      if (zones !== null) wanted.zone = zones;
      await feed.ask("/setup", { method: "PUT", body: wanted });
      setup = await feed.ask("/setup");
      zones = null;
      show();
      setText(said, "Saved. The next job starts with it; jobs that are done keep theirs.");
    } catch (problem) {
      setText(said, `Not saved. ${problem.message}`);
      fields.find(({ entry }) => entry.key === problem.key)?.tell(problem.detail);
    }
  };
  const show = () => {
    fields = keys.filter(isInForm).map((entry) => makeField(entry, setup, store.units));
    const tables = [...new Set(fields.map(({ entry }) => entry.key.split(".")[0]))];
    const groups = tables.map((table) => element("fieldset", {}, element("legend", {}, titleOf(table)),
      ...fields.filter(({ entry }) => entry.key.startsWith(`${table}.`)).map(({ row }) => row)));
    place.replaceChildren(element("form", { novalidate: true, onsubmit: save }, ...groups,
      makeOutline((found) => { zones = found; }), element("button", { type: "submit", class: "main" }, "Save")));
  };
  const load = async () => {
    const answer = await feed.ask("/setup/keys");
    keys = Array.isArray(answer) ? answer : answer.keys;
    setup = await feed.ask("/setup").catch((problem) => {
      if (problem.status !== 404) throw problem;
      return {}; // nothing is set up yet
    });
    setText(said, "");
    show();
  };
  root.replaceChildren(element("div", { class: "setup-page" }, element("h1", {}, "My gear"),
    element("p", {}, "Measure, do not guess: the figures of every job rest on these."), place, said));
  load().catch((problem) => setText(said, problem.message));
  store.addEventListener("units", show);
  return () => store.removeEventListener("units", show);
}
