// My gear, the cup: its calibration beside a reference or by a walk, step by step, and the record of both.

import {
  REFERENCE_UNITS, beginInterval, describeCup, describeElapsed, describeStand, describeWalk, dropReading, emptyDraft,
  endInterval, readDraft, requestOf, takeReading,
} from "../core/cup.js";
import { say } from "../core/say.js";
import { unitOf } from "../core/units.js";
import { makeReadings, makeRecord } from "../draw/calibrations.js";
import { element, option, setText } from "../draw/element.js";

const DRAFT_KEY = "calmpass.cup";
const LOOK_MS = 20_000;
const BESIDE = [
  say("cup.beside_step_1"),
  say("cup.beside_step_2"),
  say("cup.beside_step_3"),
];
const WALK = [
  say("cup.walk_step_1"),
  say("cup.walk_step_2"),
  say("cup.walk_step_3"),
];

function keepDraft(draft) {
  try {
    localStorage.setItem(DRAFT_KEY, JSON.stringify(draft));
  } catch {
    // not kept over a reload, still good for now
  }
}

function rememberDraft() {
  try {
    return readDraft(localStorage.getItem(DRAFT_KEY));
  } catch {
    return emptyDraft();
  }
}

function makeSteps(steps) {
  return element("ol", {}, ...steps.map((step) => element("li", {}, step)));
}

/** Build the page; returns how to leave it. */
export function mountCup(root, { store, feed }) {
  const now = element("p", {});
  const said = element("p", { class: "said", role: "status" });
  const beside = element("section", { class: "part" });
  const walk = element("section", { class: "part" });
  const kept = element("section", { class: "part" });
  const besideSaid = element("p", { role: "status" });
  const walkSaid = element("p", { role: "status" });
  const elapsed = element("p", { class: "elapsed" });
  let draft = rememberDraft();
  let anemometer = null;
  let record = [];
  let told = null;
  let lastLook_ms = 0;
  let isLeft = false;
  let entry = null; // what is being typed outlives whatever else is drawn anew

  const change = (next) => {
    draft = next;
    keepDraft(draft);
    show();
  };
  const attempt = (work) => async (...given) => {
    setText(said, "");
    try {
      await work(...given);
    } catch (problem) {
      if (!isLeft) setText(said, problem.message);
    }
  };
  const begin = (way) => attempt(async () => {
    const clock = await feed.ask("/calibrations/clock");
    setText(walkSaid, "");
    lastLook_ms = Date.now();
    change(beginInterval(draft, way, clock, Date.now()));
  });
  const giveUp = () => change({ ...draft, running: null, open: null });
  const stopReading = attempt(async () => {
    const interval = endInterval(draft.running, await feed.ask("/calibrations/clock"));
    change({ ...draft, open: { interval, rig: draft.running.rig }, rig: draft.running.rig, running: null });
  });
  const lookAtReadings = attempt(async () => {
    told = null;
    if (draft.readings.length === 0) return;
    const asked = draft.readings;
    const found = await feed.ask("/calibrations/look", { method: "POST", body: requestOf(draft, draft.rig) });
    if (asked !== draft.readings) return;
    told = found.readings;
    setText(besideSaid, describeStand(found, store.units));
    if (!isLeft) showBeside();
  });
  const walkBody = async () => {
    const { running } = draft;
    const interval = endInterval(running, await feed.ask("/calibrations/clock"));
    return { way: "walk", rig: running.rig, interval };
  };
  const lookAtWalk = attempt(async () => {
    const found = await feed.ask("/calibrations/look", { method: "POST", body: await walkBody() });
    if (draft.running?.way === "walk") setText(walkSaid, describeWalk(found, store.units));
  });
  const stopWalk = attempt(async () => {
    const body = await walkBody();
    setText(walkSaid, say("cup.working"));
    const found = await feed.ask("/calibrations", { method: "POST", body });
    change({ ...draft, running: null });
    setText(walkSaid, describeWalk(found, store.units));
    await loadRecord();
  });
  const keepReadings = attempt(async () => {
    const found = await feed.ask("/calibrations", { method: "POST", body: requestOf(draft, draft.rig) });
    told = null;
    change({ ...emptyDraft(), unit: draft.unit, accuracy_percent: draft.accuracy_percent });
    setText(besideSaid, `${say("check.on_record")} ${describeStand(found, store.units)}`);
    await loadRecord();
  });
  const apply = attempt(async (made) => {
    await feed.ask(`/calibrations/${made.id}/apply`, { method: "POST" });
    await loadRecord();
    setText(said, say("cup.in_settings"));
  });

  const makeEntry = () => {
    const text = element("input", { id: "reference-speed", type: "text", inputmode: "decimal", autocomplete: "off" });
    const unit = element("select", { "aria-label": say("cup.unit") },
      ...REFERENCE_UNITS.map((each) => option(each, each, each === (draft.unit ?? unitOf("speed", store.units)))));
    const take = attempt((event) => {
      event.preventDefault();
      change(takeReading(draft, text.value, unit.value));
      lookAtReadings();
    });
    return element("form", { novalidate: true, onsubmit: take },
      element("label", { for: "reference-speed" }, say("cup.what_said")),
      element("div", { class: "with-unit" }, text, unit), element("div", { class: "button-line" },
        element("button", { type: "submit", class: "main" }, say("cup.take_it")),
        element("button", { type: "button", onclick: giveUp }, say("cup.throw_away"))));
  };
  const makeAccuracy = () => {
    const input = element("input", { id: "accuracy", type: "text", inputmode: "decimal", value: String(draft.accuracy_percent), "aria-describedby": "accuracy-wrong" });
    const wrong = element("span", { class: "wrong", id: "accuracy-wrong", role: "status" });
    input.addEventListener("change", () => {
      const number = Number(input.value.replace(",", "."));
      const isGood = input.value.trim() !== "" && number >= 0 && number <= 30;
      input.setAttribute("aria-invalid", String(!isGood));
      setText(wrong, isGood ? "" : say("cup.accuracy_wrong"));
      if (!isGood) return;
      change({ ...draft, accuracy_percent: number });
      lookAtReadings();
    });
    return element("div", { class: "field" }, element("label", { for: "accuracy" }, say("cup.accuracy")), input, wrong);
  };
  const accuracy = makeAccuracy();
  const showBeside = () => {
    const runs = draft.running?.way === "references";
    entry = draft.open ? entry ?? makeEntry() : null;
    const button = (text, onclick, kind = null) => element("button", { type: "button", onclick, class: kind }, text);
    const controls = runs
      ? element("div", { class: "button-line" }, button(say("cup.stop"), stopReading, "main"), button(say("cup.throw_away"), giveUp))
      : draft.open ? entry
        : element("div", { class: "button-line" }, draft.running ? null : button(say("cup.start_reading"), begin("references"), "main"),
          draft.readings.length > 0 ? button(say("cup.put_on_record"), keepReadings) : null);
    beside.replaceChildren(element("h2", {}, say("cup.beside")), makeSteps(BESIDE), accuracy,
      ...(runs ? [elapsed] : []), controls,
      makeReadings(draft.readings, told, (place) => {
        told = null;
        setText(besideSaid, "");
        change(dropReading(draft, place));
        lookAtReadings();
      }), besideSaid);
  };
  const showWalk = () => {
    const runs = draft.running?.way === "walk";
    const button = (text, onclick, kind = null) => element("button", { type: "button", onclick, class: kind }, text);
    const controls = runs ? [button(say("cup.stop_work"), stopWalk, "main"), button(say("cup.throw_away"), giveUp)]
      : draft.running || draft.open ? [] : [button(say("cup.start_walk"), begin("walk"), "main")];
    walk.replaceChildren(element("h2", {}, say("cup.without")), makeSteps(WALK), ...(runs ? [elapsed] : []),
      element("div", { class: "button-line" }, ...controls), walkSaid);
  };
  const show = () => {
    if (isLeft) return;
    if (anemometer !== null) setText(now, describeCup(anemometer, store.units));
    tick();
    showBeside();
    showWalk();
    kept.replaceChildren(element("h2", {}, say("cup.record")), makeRecord(record, store.units, apply));
  };
  const tick = () => {
    if (draft.running) setText(elapsed, describeElapsed(draft.running, Date.now()));
    if (draft.running?.way !== "walk" || Date.now() - lastLook_ms < LOOK_MS) return;
    lastLook_ms = Date.now();
    lookAtWalk();
  };
  const loadRecord = async () => {
    const [list, setup] = await Promise.all([feed.ask("/calibrations"), feed.ask("/setup")]);
    record = list;
    anemometer = setup.anemometer ?? {};
    show();
  };

  root.replaceChildren(element("div", { class: "setup-page cup-page" }, element("p", {}, element("a", { href: "#gear" }, say("cup.back"))),
    element("h1", {}, say("cup.title")), now, said, beside, walk, kept));
  show();
  attempt(loadRecord)().then(lookAtReadings);
  const timer = setInterval(tick, 1000);
  store.addEventListener("units", show);
  return () => {
    isLeft = true;
    clearInterval(timer);
    store.removeEventListener("units", show);
  };
}
