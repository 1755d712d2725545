// My gear: the settings as one plain form, in the user's units.

import { LIMIT_KEY, LIMIT_STATED_KEY, forgetCalibration, isReplaced, mergeSetup, tellWhatHolds, titleOf, zonesFromGeojson } from "../core/form.js";
import { sayLitres } from "../core/fill.js";
import { tellAtField } from "../core/problem.js";
import { say } from "../core/say.js";
import { makeCards } from "../draw/cards.js";
import { element, setText } from "../draw/element.js";
import { carryFields, makeField } from "../draw/fields.js";

const HIDDEN = ["site.boundary", "job", "peg", "zone", LIMIT_STATED_KEY];

const PLACES = ["catch", "walk", "swath", "check", "cup"];

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
      setText(said, say("gear.polygons", { n: zones.length }));
    } catch (problem) {
      setText(said, problem.message);
    }
  });
  return element("fieldset", {}, element("legend", {}, say("gear.lawn")),
    element("label", { for: "outline" }, say("gear.outline")), input, said);
}

/** Say what is wrong at a field, out of its fold if it is in one. */
function tellAt(field, words) {
  const fold = field?.row.closest("details");
  if (fold && words) fold.open = true;
  field?.tell(words);
}

function readChanges(fields) {
  const changes = {};
  for (const field of fields) {
    field.tell("");
    if (!field.isTouched()) continue;
    try {
      Object.assign(changes, field.read());
    } catch (problem) {
      tellAt(field, problem.message);
      return null;
    }
  }
  return changes;
}

/** Build the page; returns how to leave it. */
export function mountSetup(root, { store, feed }) {
  const stands = new Map();
  const sprayers = makeCards({ store, feed }, {
    noun: "sprayers", one: "sprayer", heading: say("gear.sprayers"), tell: ({ number, card }) => {
      const line = element("span", {}, say("gear.sprayer", { swath: `${card.swath.value} ${card.swath.unit}`, tank: `${card.tank.value} ${card.tank.unit}` }));
      const stand = element("span", {});
      line.append(stand);
      stands.set(number, stand);
      return line;
    },
    onChange: (cards) => cards.forEach(async ({ number, card }) => {
      const due = await feed.ask(`/sprayers/${number}/due`).catch(() => null);
      if (due) setText(stands.get(number), capitalise(sayLitres(due.sentence.replace(`${card.name}: `, ""), store.units)));
    }),
  });
  const place = element("div");
  const said = element("p", { class: "said", role: "status" }, say("gear.looking"));
  let keys = [];
  let setup = {};
  let fields = [];
  let zones = null;
  let outline = null;
  let next = null;

  const save = async (event) => {
    event.preventDefault();
    const changes = readChanges(fields);
    if (changes === null) {
      setText(said, say("gear.see_field"));
      return;
    }
    try {
      const wanted = mergeSetup(setup, forgetCalibration(changes));
      if (zones !== null) wanted.zone = zones;
      await feed.ask("/setup", { method: "PUT", body: wanted });
      setup = await feed.ask("/setup");
      showAnew();
      setText(said, say("gear.saved"));
    } catch (problem) {
      setText(said, say("gear.not_saved", { reason: problem.message }));
      const key = problem.key === LIMIT_STATED_KEY ? LIMIT_KEY : problem.key;
      tellAt(fields.find(({ entry }) => entry.key === key), tellAtField(problem.detail, problem.key));
    }
  };
  const showAnew = () => {
    zones = null;
    outline = makeOutline((found) => { zones = found; });
    show([]);
  };
  const show = (typed = fields) => {
    fields = carryFields(typed, keys.filter(isInForm).map((entry) => makeField(entry, setup, store.units)));
    const isHeld = (key) => isReplaced(key, next, setup);
    const group = (chosen) => [...new Set(chosen.map(({ entry }) => entry.key.split(".")[0]))].map((table) => element("fieldset", {},
      element("legend", {}, titleOf(table)), ...chosen.filter(({ entry }) => entry.key.startsWith(`${table}.`)).map(({ row }) => row)));
    const held = group(fields.filter(({ entry }) => isHeld(entry.key)));
    if (isHeld("zone")) held.push(outline);
    const isOpen = place.querySelector("details.held")?.open ?? false;
    place.replaceChildren(element("h2", {}, say("gear.settings")),
      element("p", {}, tellWhatHolds(next), " ", element("a", { class: "place", href: "#papers" }, say("gear.what_next"))),
      element("form", { novalidate: true, onsubmit: save }, ...group(fields.filter(({ entry }) => !isHeld(entry.key))), isHeld("zone") ? null : outline,
        held.length === 0 ? null : element("details", { class: "held", open: isOpen }, element("summary", {}, say("gear.replaced")), ...held),
        element("button", { type: "submit", class: "main" }, say("gear.save"))));
  };
  const load = async () => {
    const answer = await feed.ask("/setup/keys");
    keys = Array.isArray(answer) ? answer : answer.keys;
    setup = await feed.ask("/setup").catch((problem) => {
      if (problem.status !== 404) throw problem;
      return {}; // nothing is set up yet
    });
    next = await feed.ask("/next").catch(() => null); // then nothing is folded
    setText(said, "");
    showAnew();
  };
  root.replaceChildren(element("div", { class: "setup-page" }, element("h1", {}, say("frame.gear")),
    element("p", {}, say("gear.measure")),
    sprayers.root, element("nav", { class: "button-line", "aria-label": say("gear.calibrate") }, ...PLACES.map((part) => element("a", { class: "place", href: `#gear/${part}` }, say(`gear.go_${part}`)))),
    place, said));
  load().catch((problem) => setText(said, problem.message));
  const showInUnits = () => show();
  store.addEventListener("units", showInUnits);
  return () => store.removeEventListener("units", showInUnits);
}
