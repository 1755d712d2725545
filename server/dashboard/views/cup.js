// My gear, the cup: its calibration beside a reference or by a walk, step by step, and the record of both.

import {
  REFERENCE_UNITS, beginInterval, describeCup, describeElapsed, describeStand, describeWalk, dropReading, emptyDraft,
  endInterval, readDraft, requestOf, takeReading,
} from "../core/cup.js";
import { unitOf } from "../core/units.js";
import { makeReadings, makeRecord } from "../draw/calibrations.js";
import { element, option, setText } from "../draw/element.js";

const DRAFT_KEY = "calmpass.cup";
const LOOK_MS = 20_000;
const BESIDE = [
  "Stand the rig still, the reference at the cup's height and about a metre beside it, both away from walls and bodies.",
  "Press Start, watch the reference for 2 minutes, press Stop and type what it said in the mean.",
  "Do this in at least five different winds that span 1.5 m/s (3.4 mph) or more, the strongest near your limit; the cup must turn all the time.",
];
const WALK = [
  "Choose light, steady air, below 0.7 m/s (1.6 mph): early morning, open lawn. Carry the cup above your head, nothing in front of it.",
  "Press Start. Walk 20 s out and 20 s back along one line at a slow pace, then along a line square to it; then both at a fast pace.",
  "Go on like that, about 10 minutes; what is still missing is told here every 20 s. Stop when it says good enough.",
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
    setText(walkSaid, "Reckoning…");
    const found = await feed.ask("/calibrations", { method: "POST", body });
    change({ ...draft, running: null });
    setText(walkSaid, describeWalk(found, store.units));
    await loadRecord();
  });
  const keepReadings = attempt(async () => {
    const found = await feed.ask("/calibrations", { method: "POST", body: requestOf(draft, draft.rig) });
    told = null;
    change({ ...emptyDraft(), unit: draft.unit, accuracy_percent: draft.accuracy_percent });
    setText(besideSaid, `On record. ${describeStand(found, store.units)}`);
    await loadRecord();
  });
  const apply = attempt(async (made) => {
    await feed.ask(`/calibrations/${made.id}/apply`, { method: "POST" });
    await loadRecord();
    setText(said, "The line is in the settings: the next job starts with it; jobs that are done keep theirs.");
  });

  const makeEntry = () => {
    const text = element("input", { id: "reference-speed", type: "text", inputmode: "decimal", autocomplete: "off" });
    const unit = element("select", { "aria-label": "Unit of the reference" },
      ...REFERENCE_UNITS.map((each) => option(each, each, each === (draft.unit ?? unitOf("speed", store.units)))));
    const take = attempt((event) => {
      event.preventDefault();
      change(takeReading(draft, text.value, unit.value));
      lookAtReadings();
    });
    return element("form", { novalidate: true, onsubmit: take },
      element("label", { for: "reference-speed" }, "What did the reference say in the mean? One figure, or several with blanks between."),
      element("div", { class: "with-unit" }, text, unit), element("div", { class: "button-line" },
        element("button", { type: "submit", class: "main" }, "Take it"),
        element("button", { type: "button", onclick: giveUp }, "Throw it away")));
  };
  const makeAccuracy = () => {
    const input = element("input", { id: "accuracy", type: "text", inputmode: "decimal", value: String(draft.accuracy_percent) });
    input.addEventListener("change", () => {
      const number = Number(input.value.replace(",", "."));
      const isGood = input.value.trim() !== "" && number >= 0 && number <= 30;
      input.setAttribute("aria-invalid", String(!isGood));
      if (!isGood) return;
      change({ ...draft, accuracy_percent: number });
      lookAtReadings();
    });
    return element("div", { class: "field" }, element("label", { for: "accuracy" }, "The reference is right to ± so many per cent, by its papers"), input);
  };
  const accuracy = makeAccuracy();
  const showBeside = () => {
    const runs = draft.running?.way === "references";
    entry = draft.open ? entry ?? makeEntry() : null;
    const button = (text, onclick, kind = null) => element("button", { type: "button", onclick, class: kind }, text);
    const controls = runs
      ? element("div", { class: "button-line" }, button("Stop", stopReading, "main"), button("Throw it away", giveUp))
      : draft.open ? entry
        : element("div", { class: "button-line" }, draft.running ? null : button("Start a reading", begin("references"), "main"),
          draft.readings.length > 0 ? button("Put on record", keepReadings) : null);
    beside.replaceChildren(element("h2", {}, "Beside a reference"), makeSteps(BESIDE), accuracy,
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
    const controls = runs ? [button("Stop and reckon", stopWalk, "main"), button("Throw it away", giveUp)]
      : draft.running || draft.open ? [] : [button("Start the walk", begin("walk"), "main")];
    walk.replaceChildren(element("h2", {}, "By a walk, without a reference"), makeSteps(WALK), ...(runs ? [elapsed] : []),
      element("div", { class: "button-line" }, ...controls), walkSaid);
  };
  const show = () => {
    if (isLeft) return;
    if (anemometer !== null) setText(now, describeCup(anemometer, store.units));
    tick();
    showBeside();
    showWalk();
    kept.replaceChildren(element("h2", {}, "Record"), makeRecord(record, store.units, apply));
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

  root.replaceChildren(element("div", { class: "setup-page cup-page" }, element("p", {}, element("a", { href: "#gear" }, "Back to My gear")),
    element("h1", {}, "Calibrate the cup"), now, said, beside, walk, kept));
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
