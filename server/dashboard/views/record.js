// The record: which jobs have one, what it says, what is missing, who signed; and how long it is kept.

import { missingKeys, tellState } from "../core/record.js";
import { makeCards } from "../draw/cards.js";
import { element, setText } from "../draw/element.js";
import { makeAmending, makeSigning, makeTyping } from "../draw/recordforms.js";
import { makeDeviations, makeFiles, makeItems, makeRules, makeSignature, part } from "../draw/recordsheet.js";
import { makeRetention } from "../draw/retention.js";

const ZONE = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";

function makeList(rows) {
  if (rows.length === 0) return part("Which job?", element("p", {}, "There is no job yet. ", element("a", { class: "place", href: "#lawn" }, "Press Start on the lawn")));
  return part("Which job?", element("ul", { class: "jobs" }, ...rows.map((row) => element("li", {},
    element("a", { href: `#record/${row.job}` }, element("strong", {}, row.name),
      element("span", {}, [row.date, row.site, tellState(row)].filter(Boolean).join(" · ")))))));
}

function mountList(root, parts, say) {
  const { feed } = parts;
  const list = element("div");
  const keep = element("div");
  const showKeep = (found) => keep.replaceChildren(makeRetention(found, async (body) => {
    showKeep(await feed.ask("/records/retention", { method: "PUT", body }));
    say("Kept.");
  }));
  const people = makeCards(parts, { noun: "people", one: "person", heading: "Whom do records name?",
    tell: ({ card }) => [card.role, card.licence].filter(Boolean).join(", ") });
  root.append(list, keep, people.root);
  feed.ask("/records").then((rows) => list.replaceChildren(makeList(rows)), (problem) => say(problem.message));
  feed.ask("/records/retention").then(showKeep, (problem) => say(problem.message));
  return () => {};
}

function mountOne(root, { store, feed, chosen }, say) {
  const head = element("p", { class: "record-head" });
  const place = element("div", { class: "record-page" });
  let record = null;
  root.append(element("p", {}, element("a", { href: "#record", class: "place" }, "All records")), head, place);
  const order = async (path, method, body, words) => {
    record = await feed.ask(`/jobs/${chosen}/record${path}`, { method, body });
    show();
    say(words);
  };
  const show = () => {
    if (record === null) return;
    const clock = { set: store.units, offset_s: record.offset_s };
    const others = record.parts.length > 1 ? ` with its parts ${record.parts.slice(1).join(", ")}` : "";
    setText(head, `Job ${record.job}, “${record.name}”${others}: ${tellState({ ...record, missing: missingKeys(record.rules).size, amendments: record.amendments.length, proposals: record.proposals.length })}.`);
    const isSigned = record.signature !== null;
    const forms = isSigned
      ? [makeSignature(record), makeAmending(record, clock, (body) => order("/amendments", "POST", body, "Amended."))]
      : [makeTyping(record, clock, (typed) => order("", "PATCH", { typed, zone: ZONE }, "Kept.")),
        makeSigning(record, (name) => order("/sign", "POST", { name, zone: ZONE }, "Signed."))];
    const [first, second] = forms;
    place.replaceChildren(...[makeDeviations(record, clock), isSigned ? null : first, makeItems(record, clock), makeRules(record),
      isSigned ? first : second, isSigned ? second : null, makeFiles(record, feed, store.units)].filter(Boolean));
  };
  feed.ask(`/jobs/${chosen}/record?zone=${encodeURIComponent(ZONE)}`).then((found) => {
    record = found;
    show();
    say("");
  }, (problem) => say(problem.message));
  store.addEventListener("units", show);
  return () => store.removeEventListener("units", show);
}

/** Build the page; `chosen` is the number of a job or null. Returns how to leave it. */
export function mountRecord(root, parts) {
  const said = element("p", { class: "said", role: "status" });
  const page = element("div", { class: "setup-page record" }, element("h1", {}, "The record"),
    element("p", { class: "defer" }, "Your local code says what a record must hold and how long it is kept."), said);
  root.replaceChildren(page);
  return (parts.chosen === null ? mountList : mountOne)(page, parts, (words) => setText(said, words));
}
