// A record to be read: what was not as planned, its items by groups, the rules' checklists, its files.

import { groupItems, labelOf, tellInstant, tellItem, tellSource, tellValue, tellZone } from "../core/record.js";
import { say } from "../core/say.js";
import { element } from "./element.js";
import { makeMaking } from "./making.js";

const FILES = {
  "record.html": say("record.file_page"), "record.pdf": say("record.file_pdf"), "record.csv": say("record.file_table"), "record-dictionary.csv": say("record.file_words"),
  "job.geojson": say("record.file_geojson"), "job.gpkg": say("record.file_geopackage"), "log.ndjson.gz": say("record.file_log"),
};

export function part(title, ...children) {
  return element("section", { class: "part" }, element("h2", {}, title), ...children);
}

function makeRow(item, clock) {
  const earlier = item.amended.map((each) => element("span", { class: "earlier" },
    say("record.before", { before: tellValue(item.kind, each.before, each.before_unit, clock), who: each.who, when: tellInstant(each.utc, clock.offset_s), why: each.reason })));
  const source = tellSource(item);
  return element("div", { class: item.value === null ? "unknown" : null }, element("dt", {}, labelOf(item)),
    element("dd", {}, element("span", {}, tellItem(item, clock)), source ? element("span", { class: "small" }, ` ${source}`) : null, ...earlier));
}

/** The items by groups. */
export function makeItems(record, clock) {
  return part(say("record.what_says"), element("p", { class: "small" }, say("record.times", { zone: tellZone(record.offset_s) })),
    element("div", { class: "record-groups" }, ...groupItems(record.items).map(([group, items]) => element("section", {},
      element("h3", {}, group), element("dl", { class: "record-items" }, ...items.map((item) => makeRow(item, clock)))))));
}

/** What was not as planned; null where nothing was. */
export function makeDeviations(record, clock) {
  const items = new Map(record.items.map((item) => [item.key, item]));
  const found = record.deviations.filter(({ key }) => items.has(key));
  if (found.length === 0) return null;
  return part(say("record.not_planned"), element("ul", {}, ...found.map(({ key }) => element("li", {}, say("record.item_is", { item: labelOf(items.get(key)), value: tellItem(items.get(key), clock) })))));
}

function tellNeed(need, labels) {
  if (need.is_met) return need.label;
  const missing = [...new Set(need.missing.map((key) => labels.get(key) ?? key))].join(", ");
  return missing === need.label ? say("record.need_missing", { need: need.label }) : say("record.need_misses", { need: need.label, missing });
}

/** The chosen rules as checklists. */
export function makeRules(record) {
  const labels = new Map(record.items.map((item) => [item.key, labelOf(item)]));
  const lists = record.rules.filter((rule) => rule.is_chosen).map((rule) => {
    const met = rule.needs.filter((need) => need.is_met).length;
    const rows = rule.needs.map((need) => element("li", { class: need.is_met ? "met" : "unmet" }, tellNeed(need, labels)));
    return element("details", { open: met < rule.needs.length },
      element("summary", {}, say("record.rule_met", { rule: rule.name, met, all: rule.needs.length })),
      element("p", { class: "small" }, say("record.rule_concerns", { whom: rule.concerns, source: rule.source.split(",")[0], years: rule.keep_years })),
      element("ul", { class: "needs" }, ...rows));
  });
  return part(say("record.all_asked"), element("p", {}, say("record.help_not_law")), element("div", { class: "rules" }, ...lists),
    lists.length === 0 ? element("p", {}, say("record.no_rule")) : null);
}

/** The files to take along; pages in the chosen units. */
export function makeFiles(record, feed, set) {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";
  const query = `?units=${set}&zone=${encodeURIComponent(zone)}`;
  const making = makeMaking();
  const links = Object.entries(FILES).map(([name, words]) => {
    const isPage = name === "record.html";
    const address = feed.fileAddress(record.job, name) + (/^record\./.test(name) ? query : "");
    return element("li", {}, element("a", { href: isPage ? `${address}&show=true` : address,
      download: isPage ? null : name, target: isPage ? "_blank" : null, rel: "noopener", onclick: making.tell(name) }, say("record.file", { words, name })));
  });
  return part(say("record.take_along"), element("ul", { class: "files" }, ...links), making.line);
}

/** Who signed and what became of it since. */
export function makeSignature(record) {
  const { signature } = record;
  const state = say(signature.is_intact ? "record.intact" : "record.not_intact");
  return part(say("record.who_signed"), element("p", {}, say("record.signed_when", { name: signature.name, when: tellInstant(signature.utc, record.offset_s), until: signature.keep_until })),
    element("p", { class: signature.is_intact ? "small" : "caution" }, state), element("p", { class: "small digest" }, `SHA-256 ${signature.digest}`));
}
