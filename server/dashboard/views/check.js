// My gear, a sprayer: its calibration by catches, timed walks, a row of cups or a whole check, and the record of them.

import { WAYS, describeChanges, describeCheck, hasUse, partOf, readCheck, requestOfCheck } from "../core/check.js";
import { sayLitres } from "../core/fill.js";
import { endInterval } from "../core/cup.js";
import { formatInstant, formatSpan } from "../core/format.js";
import { say } from "../core/say.js";
import { makeCheckForm } from "../draw/checkforms.js";
import { element, option, setText } from "../draw/element.js";

const LOOK_MS = 700;
const SPRAYER_KEY = "calmpass.sprayer";

function keep(key, text) {
  try {
    if (text === null) localStorage.removeItem(key);
    else localStorage.setItem(key, text);
  } catch {
    // not kept over a reload, still good for now
  }
}

function recall(key) {
  try {
    return localStorage.getItem(key);
  } catch {
    return null;
  }
}

/** Build the page of one way, `part`; returns how to leave it. */
export function mountCheck(root, { store, feed, part }) {
  const way = WAYS[part];
  const due = element("p", {});
  const said = element("p", { class: "said", role: "status" }, say("frame.looking"));
  const form = element("div", { class: "part" });
  const found = element("ul", { class: "sentences" });
  const kept = element("section", { class: "part" });
  const elapsed = element("p", { class: "elapsed" });
  const chooser = element("select", { id: "check-sprayer" });
  let sprayer = null;
  let draft = null;
  let running = null;
  let told = null;
  let asked = null; // the draft that was said not to be good enough
  let timer = null;
  let isLeft = false;

  const draftKey = () => `calmpass.check.${part}.${sprayer.number}`;
  const attempt = (work) => async (...given) => {
    setText(said, "");
    try {
      await work(...given);
    } catch (problem) {
      if (!isLeft) setText(said, problem.detail ?? problem.message);
    }
  };
  const type = (changed) => {
    draft = { ...draft, ...changed };
    keep(draftKey(), JSON.stringify(draft));
    clearTimeout(timer);
    timer = setTimeout(look, LOOK_MS);
  };
  const change = (changed) => {
    type(changed);
    showForm();
  };
  const look = attempt(async () => {
    const asked = draft;
    const answer = await feed.ask(`/sprayers/${sprayer.number}/checks/look`, { method: "POST", body: requestOfCheck(part, draft) });
    if (asked !== draft || isLeft) return;
    const isCounted = JSON.stringify(answer.runs) !== JSON.stringify(told?.runs);
    told = answer;
    showFound();
    if (isCounted && part === "catch" && draft.runs.some(({ stretch }) => stretch)) showCounts();
  });
  const showFound = () => found.replaceChildren(...(told === null ? [] : describeCheck(part, told, store.units)).map((line) => element("li", {}, line)));
  const countOf = (place) => {
    const run = told?.runs?.[place];
    return run?.pulses ? say("check.counted", { pulses: run.pulses, seconds: run.seconds.toFixed(1) }) : say("check.rig_counts");
  };
  const showCounts = () => form.querySelectorAll(".check-row").forEach((row, place) => {
    const cell = row.querySelector(".counted");
    if (cell) setText(cell, countOf(place));
  });
  const watch = ({ begin, end, take }) => {
    const button = (text, onclick) => element("button", { type: "button", class: "main", onclick }, text);
    if (running === null) {
      return element("div", { class: "button-line" }, button(begin, attempt(async () => {
        const clock = part === "catch" ? await feed.ask("/calibrations/clock").catch(() => null) : null;
        running = { clock, since_ms: Date.now() };
        showForm();
      })));
    }
    const stop = attempt(async () => {
      const { clock, since_ms } = running;
      const seconds = ((Date.now() - since_ms) / 1000).toFixed(1);
      const interval = clock === null ? null : endInterval({ ...clock, start: clock.mono }, await feed.ask("/calibrations/clock"));
      running = null;
      change(take({ stretch: interval === null ? null : { rig: clock.rig, ...interval }, seconds }));
    });
    return element("div", { class: "button-line" }, button(end, stop), elapsed,
      element("button", { type: "button", onclick: () => { running = null; showForm(); } }, say("cup.throw_away")));
  };
  const showForm = () => {
    tick();
    form.replaceChildren(...makeCheckForm(part, { get draft() { return draft; }, type, change, countOf, watch }),
      element("div", { class: "button-line" }, element("button", { type: "button", class: "main", onclick: keepCheck }, say("cup.put_on_record")),
        element("button", { type: "button", onclick: () => { keep(draftKey(), null); told = null; draft = readCheck(part, store.units, null); showForm(); showFound(); } }, say("check.begin_anew"))));
  };
  const keepCheck = attempt(async () => {
    if (asked !== JSON.stringify(draft)) {
      told = await feed.ask(`/sprayers/${sprayer.number}/checks/look`, { method: "POST", body: requestOfCheck(part, draft) });
      showFound();
      if (!told.is_usable) {
        asked = JSON.stringify(draft);
        setText(said, say("check.refused_once"));
        return;
      }
    }
    const made = await feed.ask(`/sprayers/${sprayer.number}/checks`, { method: "POST", body: requestOfCheck(part, draft) });
    keep(draftKey(), null);
    asked = null;
    draft = readCheck(part, store.units, null);
    told = made;
    showForm();
    showFound();
    await loadRecord();
    setText(said, made.is_usable ? say("check.on_record") : say("check.on_record_refused"));
  });
  const apply = attempt(async (made) => {
    const answer = await feed.ask(`/sprayers/${sprayer.number}/checks/${made.number}/apply`, { method: "POST" });
    await loadRecord();
    setText(said, describeChanges(answer.changes));
  });
  const showRecord = (record) => {
    const rows = record.map((made) => element("li", {},
      element("span", {}, element("strong", {}, `${formatInstant(made.made_utc)}, ${say(`check.${partOf(made.way)}_made`)}`), `: ${describeCheck(partOf(made.way), made, store.units)[0]}`),
      !hasUse(made) ? null : made.applied_version !== null ? element("strong", {}, say("check.put_to_use"))
        : element("button", { type: "button", onclick: () => apply(made) }, say("check.put_it_to_use"))));
    kept.replaceChildren(element("h2", {}, say("cup.record")), rows.length > 0 ? element("ul", { class: "entries" }, ...rows) : element("p", {}, say("cup.none_yet")));
  };
  const loadRecord = async () => {
    const [record, stand] = await Promise.all([feed.ask(`/sprayers/${sprayer.number}/checks`), feed.ask(`/sprayers/${sprayer.number}/due`)]);
    if (isLeft) return;
    setText(due, sayLitres(stand.sentence, store.units));
    showRecord(record);
  };
  const choose = attempt(async (each) => {
    sprayer = each;
    keep(SPRAYER_KEY, String(sprayer.number));
    told = null;
    running = null;
    draft = readCheck(part, store.units, recall(draftKey()));
    showForm();
    showFound();
    await loadRecord();
    if (recall(draftKey()) !== null) await look();
  });
  const load = attempt(async () => {
    const sprayers = await feed.ask("/sprayers");
    if (sprayers.length === 0) {
      said.replaceChildren(`${say("check.no_sprayer")} `, element("a", { class: "place", href: "#gear" }, say("check.add_sprayer")));
      return;
    }
    const first = sprayers.find(({ number }) => String(number) === recall(SPRAYER_KEY)) ?? sprayers[0];
    chooser.replaceChildren(...sprayers.map((each) => option(String(each.number), each.card.name, each === first)));
    chooser.addEventListener("change", () => choose(sprayers.find(({ number }) => String(number) === chooser.value)));
    await choose(first);
  });
  const tick = () => {
    if (running !== null) setText(elapsed, formatSpan((Date.now() - running.since_ms) / 1000));
  };

  root.replaceChildren(element("div", { class: "setup-page cup-page check-page" }, element("p", {}, element("a", { href: "#gear" }, say("cup.back"))),
    element("h1", {}, way.title), element("p", {}, way.aim),
    element("div", { class: "field" }, element("label", { for: "check-sprayer" }, say("check.sprayer")), chooser), due,
    element("p", { class: "caution" }, say("check.caution")),
    element("ol", {}, ...way.steps.map((step) => element("li", {}, step))), form, said, element("div", { role: "status" }, found), kept));
  load();
  const clock = setInterval(tick, 500);
  const showInUnits = () => { if (sprayer !== null) { showFound(); attempt(loadRecord)(); } };
  store.addEventListener("units", showInUnits);
  return () => {
    isLeft = true;
    clearInterval(clock);
    clearTimeout(timer);
    store.removeEventListener("units", showInUnits);
  };
}
