// My gear: the settings as one plain form, in the user's units.

import { LIMIT_KEY, LIMIT_STATED_KEY, forgetCalibration, mergeSetup, titleOf, zonesFromGeojson } from "../core/form.js";
import { makeCards } from "../draw/cards.js";
import { element, setText } from "../draw/element.js";
import { carryFields, makeField } from "../draw/fields.js";

const HIDDEN = ["site.boundary", "job", "peg", "zone", LIMIT_STATED_KEY];

const PLACES = [["catch", "Catch the flow"], ["walk", "Time a walk"], ["swath", "Measure the swath"], ["check", "Check the whole"], ["cup", "Calibrate the cup"]];

function capitalise(text) {
  return `${text.charAt(0).toUpperCase()}${text.slice(1)}`;
}

function isInForm({ key }) {
  return key.includes(".") && !HIDDEN.some((each) => key === each || key.startsWith(`${each}.`));
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

function readChanges(fields) {
  const changes = {};
  for (const field of fields) {
    field.tell("");
    if (!field.isTouched()) continue;
    try {
      Object.assign(changes, field.read());
    } catch (problem) {
      field.tell(problem.message);
      return null;
    }
  }
  return changes;
}

/** Build the page; returns how to leave it. */
export function mountSetup(root, { store, feed }) {
  const stands = new Map();
  const sprayers = makeCards({ store, feed }, {
    noun: "sprayers", one: "sprayer", heading: "Sprayers", tell: ({ number, card }) => {
      const line = element("span", {}, `${card.swath.value} ${card.swath.unit} wide, tank ${card.tank.value} ${card.tank.unit}. `);
      const stand = element("span", {});
      line.append(stand);
      stands.set(number, stand);
      return line;
    },
    onChange: (cards) => cards.forEach(async ({ number, card }) => {
      const due = await feed.ask(`/sprayers/${number}/due`).catch(() => null);
      if (due) setText(stands.get(number), capitalise(due.sentence.replace(`${card.name}: `, "")));
    }),
  });
  const place = element("div");
  const said = element("p", { class: "said", role: "status" }, "Looking…");
  let keys = [];
  let setup = {};
  let fields = [];
  let zones = null;
  let outline = null;

  const save = async (event) => {
    event.preventDefault();
    const changes = readChanges(fields);
    if (changes === null) {
      setText(said, "Not saved: see the field that is marked.");
      return;
    }
    try {
      const wanted = mergeSetup(setup, forgetCalibration(changes));
      if (zones !== null) wanted.zone = zones;
      await feed.ask("/setup", { method: "PUT", body: wanted });
      setup = await feed.ask("/setup");
      showAnew();
      setText(said, "Saved. The next job starts with it; jobs that are done keep theirs.");
    } catch (problem) {
      setText(said, `Not saved. ${problem.message}`);
      const key = problem.key === LIMIT_STATED_KEY ? LIMIT_KEY : problem.key;
      fields.find(({ entry }) => entry.key === key)?.tell(problem.detail);
    }
  };
  const showAnew = () => {
    zones = null;
    outline = makeOutline((found) => { zones = found; });
    show([]);
  };
  const show = (typed = fields) => {
    fields = carryFields(typed, keys.filter(isInForm).map((entry) => makeField(entry, setup, store.units)));
    const tables = [...new Set(fields.map(({ entry }) => entry.key.split(".")[0]))];
    const groups = tables.map((table) => element("fieldset", {}, element("legend", {}, titleOf(table)),
      ...fields.filter(({ entry }) => entry.key.startsWith(`${table}.`)).map(({ row }) => row)));
    place.replaceChildren(element("form", { novalidate: true, onsubmit: save }, ...groups,
      outline, element("button", { type: "submit", class: "main" }, "Save")));
  };
  const load = async () => {
    const answer = await feed.ask("/setup/keys");
    keys = Array.isArray(answer) ? answer : answer.keys;
    setup = await feed.ask("/setup").catch((problem) => {
      if (problem.status !== 404) throw problem;
      return {}; // nothing is set up yet
    });
    setText(said, "");
    showAnew();
  };
  root.replaceChildren(element("div", { class: "setup-page" }, element("h1", {}, "My gear"),
    element("p", {}, "Measure, do not guess: the figures of every job rest on these."),
    sprayers.root, element("nav", { class: "button-line", "aria-label": "Calibrate" }, ...PLACES.map(([part, words]) => element("a", { class: "place", href: `#gear/${part}` }, words))),
    place, said));
  load().catch((problem) => setText(said, problem.message));
  const showInUnits = () => show();
  store.addEventListener("units", showInUnits);
  return () => store.removeEventListener("units", showInUnits);
}
