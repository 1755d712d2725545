// The record: which jobs have one, what it says, what is missing, who signed; and how long it is kept.

import { missingKeys, tellState } from "../core/record.js";
import { say } from "../core/say.js";
import { makeCards } from "../draw/cards.js";
import { element, renew, setText } from "../draw/element.js";
import { makeAmending, makeSigning, makeTyping } from "../draw/recordforms.js";
import { makeDeviations, makeFiles, makeItems, makeRules, makeSignature, part } from "../draw/recordsheet.js";
import { makeRetention } from "../draw/retention.js";

const ZONE = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";

function makeList(rows) {
  if (rows.length === 0) {
    return part(say("record.which_job"), element("p", {}, `${say("record.no_job")} `, element("a", { class: "place", href: "#lawn" }, say("record.press_start"))));
  }
  return part(say("record.which_job"), element("ul", { class: "jobs" }, ...rows.map((row) => element("li", {},
    element("a", { href: `#record/${row.job}` }, element("strong", {}, row.name),
      element("span", {}, [row.date, row.site, tellState(row)].filter(Boolean).join(" · ")))))));
}

function mountList(root, parts, tell) {
  const { feed } = parts;
  const list = element("div");
  const keep = element("div");
  const showKeep = (found) => keep.replaceChildren(makeRetention(found, async (body) => {
    showKeep(await feed.ask("/records/retention", { method: "PUT", body }));
    tell(say("record.kept"));
  }));
  const people = makeCards(parts, { noun: "people", one: "person", heading: say("record.whom"),
    tell: ({ card }) => [card.role, card.licence].filter(Boolean).join(", ") });
  root.append(list, keep, people.root);
  feed.ask("/records").then((rows) => list.replaceChildren(makeList(rows)), (problem) => tell(problem.message));
  feed.ask("/records/retention").then(showKeep, (problem) => tell(problem.message));
  return () => {};
}

function mountOne(root, { store, feed, chosen }, tell) {
  const head = element("p", { class: "record-head", tabindex: "-1" });
  const place = element("div", { class: "record-page" });
  let record = null;
  root.append(element("p", {}, element("a", { href: "#record", class: "place" }, say("record.all"))), head, place);
  const order = async (path, method, body, words) => {
    record = await feed.ask(`/jobs/${chosen}/record${path}`, { method, body });
    show();
    tell(words);
  };
  const show = () => {
    if (record === null) return;
    const clock = { set: store.units, offset_s: record.offset_s };
    const others = record.parts.length > 1 ? say("record.with_parts", { parts: record.parts.slice(1).join(", ") }) : "";
    const state = tellState({ ...record, missing: missingKeys(record.rules).size, amendments: record.amendments.length, proposals: record.proposals.length });
    setText(head, say("record.head", { job: record.job, name: record.name, others, state }));
    const isSigned = record.signature !== null;
    const forms = isSigned
      ? [makeSignature(record), makeAmending(record, clock, (body) => order("/amendments", "POST", body, say("record.amended_now")))]
      : [makeTyping(record, clock, (typed) => order("", "PATCH", { typed, zone: ZONE }, say("record.kept"))),
        makeSigning(record, (name) => order("/sign", "POST", { name, zone: ZONE }, say("record.signed")))];
    const [first, second] = forms;
    renew(place, head, ...[makeDeviations(record, clock), isSigned ? null : first, makeItems(record, clock), makeRules(record),
      isSigned ? first : second, isSigned ? second : null, makeFiles(record, feed, store.units)].filter(Boolean));
  };
  feed.ask(`/jobs/${chosen}/record?zone=${encodeURIComponent(ZONE)}`).then((found) => {
    record = found;
    show();
    tell("");
  }, (problem) => tell(problem.message));
  store.addEventListener("units", show);
  return () => store.removeEventListener("units", show);
}

/** Build the page; `chosen` is the number of a job or null. Returns how to leave it. */
export function mountRecord(root, parts) {
  const said = element("p", { class: "said", role: "status" });
  const page = element("div", { class: "setup-page record" }, element("h1", {}, say("place.record")),
    element("p", { class: "defer" }, say("record.local_code")), said);
  root.replaceChildren(page);
  return (parts.chosen === null ? mountList : mountOne)(page, parts, (words) => setText(said, words));
}
