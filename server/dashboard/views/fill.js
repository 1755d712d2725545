// Fill by fill: what goes into the tank, what is in it, and the treatments and products that say so.

import { addressOfSheet, tellRefusal, tellStated } from "../core/fill.js";
import { tellOtherSprayer } from "../core/papers.js";
import { say } from "../core/say.js";
import { dayOf, listWaits, timeOf } from "../core/season.js";
import { makeCards } from "../draw/cards.js";
import { element, setText } from "../draw/element.js";
import { makeSheet } from "../draw/mixsheet.js";
import { makeObjections } from "../draw/objections.js";
import { makeSheetForm } from "../draw/sheetform.js";
import { makeTank } from "../draw/tank.js";

const KEY = "calmpass.sheet";
const SHEET_KEYS = ["area", "fill", "spare", "flow", "area_m2", "fill_l", "spare_l", "flow_l_per_min"]; // typed on the sheet itself
const KEEP_DRAFT = say("fill.keep_draft");
const NOTHING = { treatment: null, sprayer: null, zones: [], area_m2: null, fill_l: null, spare_l: null, is_even: false, flow_l_per_min: null, isOpen: false };

function recall() {
  try {
    return { ...NOTHING, ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
  } catch {
    return { ...NOTHING }; // a browser that forbids storage still shows the page
  }
}

function remember(choice) {
  try {
    localStorage.setItem(KEY, JSON.stringify(choice));
  } catch {
    // not kept for the next visit
  }
}

/** What the form of a treatment asks before saving: what speaks against it is shown once, a second press saves it. */
function makeCheck(feed) {
  let shown = "";
  return async (record, each, place) => {
    const query = each === null ? "" : `&number=${each.number}`;
    const body = JSON.stringify(record);
    if (body === shown) return true;
    const found = await feed.ask(`/treatments/look?today=${dayOf(new Date())}${query}`, { method: "POST", body: record });
    const isRefused = found.objections.some(({ severity }) => severity === "refuse");
    const isAsked = found.objections.some(({ severity }) => severity !== "tell");
    place.replaceChildren(makeObjections(found.objections), isAsked ? element("p", {}, isRefused ? KEEP_DRAFT : say("fill.keep_same")) : "");
    shown = isAsked ? body : "";
    return !isAsked;
  };
}

/** Build the page; returns how to leave it. */
export function mountFill(root, parts) {
  const { store, feed } = parts;
  let choice = recall();
  let lists = { treatments: [], sprayers: [], sites: [] };
  let sheet = null;
  let planned = null; // the papers of the next job
  let season = null;
  const form = element("div");
  let sheetForm = null;
  const place = element("div");
  const said = element("p", { class: "said", role: "status" });
  const tank = makeTank(parts, { treatment: () => choice.treatment, tank_l: () => sheet?.tank_l ?? null });
  /** The next job rests on this treatment, these zones, this sprayer: what else was chosen for it stays. */
  const takeNext = async () => {
    try {
      const { choice: before } = await feed.ask("/next");
      const card = lists.treatments.find(({ number }) => number === choice.treatment)?.card;
      const body = { ...before, treatment: choice.treatment, site: card.site, zones: choice.zones.length ? choice.zones : card.zones, sprayer: choice.sprayer ?? card.sprayer };
      planned = (await feed.ask("/next", { method: "PUT", body })).papers ?? null;
      draw();
      taken.replaceChildren(`${say("fill.chosen_next")} `, element("a", { class: "place", href: "#start" }, say("frame.start")));
    } catch (problem) {
      setText(taken, say("fill.not_taken", { why: tellRefusal(problem, store.units) }));
    }
  };
  const next = element("button", { type: "button", class: "main", onclick: takeNext }, say("fill.take_next"));
  const taken = element("p", { class: "said", role: "status" });
  const print = element("button", { type: "button", class: "print", onclick: () => globalThis.print() }, say("fill.print"));

  const fill = (load, number) => tank.keep({ added_l: load.mix_l, treatment: choice.treatment, load: number }, say("fill.noted_as_filled", { number }))
    .then(draw);
  /** What this treatment has to wait for on its ground. */
  const tellWaits = () => {
    const card = lists.treatments.find(({ number }) => number === choice.treatment)?.card;
    const papers = card ? { site: { number: card.site }, zones: choice.zones.length ? choice.zones : card.zones, products: card.doses.map(({ product }) => ({ number: product })) } : null;
    return listWaits(season, papers).map(({ sentence }) => element("p", { class: "doubt" }, sentence));
  };
  const draw = () => {
    const orders = { onFill: fill, done: tank.noted(choice.treatment), onEven: () => work({ ...choice, is_even: true }) };
    const other = sheet === null ? "" : tellOtherSprayer(sheet, planned, choice.treatment);
    place.replaceChildren(...(sheet === null ? [] : [...tellWaits(), other === "" ? "" : element("p", { class: "doubt" }, other), makeSheet(sheet, store.units, orders), element("div", { class: "button-line" }, next, print), taken]));
  };
  const work = async (next) => {
    choice = next;
    remember(choice);
    if (choice.treatment === null) return;
    try {
      sheet = await feed.ask(addressOfSheet(choice.treatment, choice, dayOf(new Date())));
      setText(said, "");
    } catch (problem) {
      sheet = null;
      const why = tellRefusal(problem, store.units);
      sheetForm?.refuse(problem.key, why);
      setText(said, say(SHEET_KEYS.includes(problem.key) ? "fill.no_sheet" : "fill.no_sheet_mend", { why: why.replace(/([^.?!])$/, "$1.") }));
    }
    draw();
    await tank.load();
    draw(); // the fills noted so far are known now
  };
  const showForm = () => {
    const chosen = lists.treatments.find(({ number }) => number === choice.treatment);
    const site = lists.sites.find(({ number }) => number === chosen?.card.site);
    const zones = (site?.card.zones ?? []).filter(({ kind }) => kind !== "keep_out").map(({ name }) => name);
    const planned = chosen?.card.zones ?? [];
    if (lists.treatments.length === 0) {
      form.replaceChildren(element("p", {}, say("fill.add_first")));
      return;
    }
    sheetForm = makeSheetForm({ ...lists, zones }, { ...choice, zones: choice.zones.length ? choice.zones : planned }, store.units, {
      onChange: (next) => work({ ...next, is_even: false, isOpen: true }),
      onTreatment: (number) => {
        work({ ...NOTHING, treatment: number, flow_l_per_min: choice.flow_l_per_min, isOpen: choice.isOpen });
        showForm();
      },
    });
    form.replaceChildren(sheetForm.form);
  };
  const load = async () => {
    const [treatments, sprayers, sites] = await Promise.all(["treatments", "sprayers", "sites"].map((noun) => feed.ask(`/${noun}`)));
    lists = { treatments, sprayers, sites };
    const now = new Date();
    season = await feed.ask(`/season?day=${dayOf(now)}&time=${timeOf(now)}`).catch(() => null); // the sheet is worth seeing without it
    planned = await feed.ask("/next").then(({ papers }) => papers ?? null, () => null);
    if (!treatments.some(({ number }) => number === choice.treatment)) choice = { ...NOTHING, treatment: treatments[0]?.number ?? null };
    showForm();
    await work(choice);
  };
  const reload = () => load().catch((problem) => setText(said, problem.message));
  const treatments = makeCards(parts, {
    noun: "treatments", heading: say("fill.treatments"), refers: ["products", "sites", "sprayers"], check: makeCheck(feed),
    tell: ({ card }) => [card.planned_on, tellStated(card.target)].filter(Boolean).join(", "),
    extra: ({ number }) => {
      const words = element("div");
      feed.ask(`/treatments/${number}/warnings?today=${dayOf(new Date())}`).then(({ objections }) => words.replaceChildren(makeObjections(objections)),
        (problem) => setText(words, problem.message));
      return [words];
    },
    onChange: reload,
  });
  let isFirst = true;
  const products = makeCards(parts, {
    noun: "products", heading: say("fill.products"),
    tell: ({ card }) => say("fill.at_most", { rate: tellStated(card.rate_most) }),
    onChange: () => {
      if (!isFirst) treatments.load();
      isFirst = false;
    },
  });
  root.replaceChildren(element("div", { class: "fill-page" }, element("h1", {}, say("frame.fill")),
    element("div", { class: "sheet-part" }, form, said, place), tank.root,
    element("div", { class: "setup-page cards-part" }, element("p", {}, say("fill.label_decides")),
      treatments.root, products.root)));
  const showUnits = () => {
    showForm();
    draw();
    tank.load();
  };
  store.addEventListener("units", showUnits);
  return () => {
    store.removeEventListener("units", showUnits);
    tank.leave();
  };
}
