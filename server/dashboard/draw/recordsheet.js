// A record to be read: what was not as planned, its items by groups, the rules' checklists, its files.

import { groupItems, labelOf, tellInstant, tellItem, tellSource, tellValue, tellZone } from "../core/record.js";
import { element } from "./element.js";

const FILES = {
  "record.html": "Page to print", "record.pdf": "PDF to mail", "record.csv": "Table", "record-dictionary.csv": "What the table's words mean",
  "job.geojson": "Map, GeoJSON", "job.gpkg": "Map, GeoPackage", "log.ndjson.gz": "Raw log",
};
const DEFER = "These lists are a help, not the law: defer to your local code.";

export function part(title, ...children) {
  return element("section", { class: "part" }, element("h2", {}, title), ...children);
}

function makeRow(item, clock) {
  const earlier = item.amended.map((each) => element("span", { class: "earlier" },
    `before: ${tellValue(item.kind, each.before, each.before_unit, clock)}; changed by ${each.who}, ${tellInstant(each.utc, clock.offset_s)}: ${each.reason}`));
  const source = tellSource(item);
  return element("div", { class: item.value === null ? "unknown" : null }, element("dt", {}, labelOf(item)),
    element("dd", {}, element("span", {}, tellItem(item, clock)), source ? element("span", { class: "small" }, ` ${source}`) : null, ...earlier));
}

/** The items by groups. */
export function makeItems(record, clock) {
  return part("What does it say?", element("p", { class: "small" }, `Times are ${tellZone(record.offset_s)}.`),
    element("div", { class: "record-groups" }, ...groupItems(record.items).map(([group, items]) => element("section", {},
      element("h3", {}, group), element("dl", { class: "record-items" }, ...items.map((item) => makeRow(item, clock)))))));
}

/** What was not as planned; null where nothing was. */
export function makeDeviations(record, clock) {
  const items = new Map(record.items.map((item) => [item.key, item]));
  const found = record.deviations.filter(({ key }) => items.has(key));
  if (found.length === 0) return null;
  return part("What was not as planned?", element("ul", {}, ...found.map(({ key }) => element("li", {}, `${labelOf(items.get(key))}: ${tellItem(items.get(key), clock)}`))));
}

function tellNeed(need, labels) {
  if (need.is_met) return need.label;
  const missing = [...new Set(need.missing.map((key) => labels.get(key) ?? key))].join(", ");
  return missing === need.label ? `${need.label}: missing` : `${need.label}: missing ${missing}`;
}

/** The chosen rules as checklists. */
export function makeRules(record) {
  const labels = new Map(record.items.map((item) => [item.key, labelOf(item)]));
  const lists = record.rules.filter((rule) => rule.is_chosen).map((rule) => {
    const met = rule.needs.filter((need) => need.is_met).length;
    const rows = rule.needs.map((need) => element("li", { class: need.is_met ? "met" : "unmet" }, tellNeed(need, labels)));
    return element("details", { open: met < rule.needs.length },
      element("summary", {}, `${rule.name}: ${met} of ${rule.needs.length}`),
      element("p", { class: "small" }, `Concerns ${rule.concerns}. ${rule.source.split(",")[0]}. Keep for ${rule.keep_years} years.`),
      element("ul", { class: "needs" }, ...rows));
  });
  return part("Is all there that the rules ask for?", element("p", {}, DEFER), element("div", { class: "rules" }, ...lists),
    lists.length === 0 ? element("p", {}, "No rule is chosen; see “How long is it kept?” in the list of records.") : null);
}

/** The files to take along; pages in the chosen units. */
export function makeFiles(record, feed, set) {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";
  const query = `?units=${set}&zone=${encodeURIComponent(zone)}`;
  const links = Object.entries(FILES).map(([name, words]) => {
    const isPage = name === "record.html";
    const address = feed.fileAddress(record.job, name) + (name.startsWith("record.") ? query : "");
    return element("li", {}, element("a", { href: isPage ? `${address}&show=true` : address,
      download: isPage ? null : name, target: isPage ? "_blank" : null, rel: "noopener" }, `${words} (${name})`));
  });
  return part("Take it with you", element("ul", { class: "files" }, ...links));
}

/** Who signed and what became of it since. */
export function makeSignature(record) {
  const { signature } = record;
  const state = signature.is_intact ? "The record is as it was signed." : "The stored record does not match its fingerprint.";
  return part("Who signed?", element("p", {}, `${signature.name}, ${tellInstant(signature.utc, record.offset_s)}. Kept until ${signature.keep_until} at least.`),
    element("p", { class: signature.is_intact ? "small" : "caution" }, state), element("p", { class: "small digest" }, `SHA-256 ${signature.digest}`));
}
