// The forms of a record: typing in what is not known, signing it once, amending it afterwards.

import { tellAtField } from "../core/problem.js";
import { sayDegrees } from "../core/format.js";
import { hintToType, labelOf, missingKeys, readTyped, tellSource, tellValue, writeTyped } from "../core/record.js";
import { say } from "../core/say.js";
import { element, option, setText } from "./element.js";
import { part } from "./recordsheet.js";

let formsMade = 0;

/** A field for an item of a kind, by its value now. */
function makeBox(item, id, clock) {
  const value = writeTyped(item.kind, item.source === "measured" || item.source === "computed" ? item.beside : item.value, item.unit, clock);
  const isLong = ["notes", "incidents"].includes(item.key);
  const types = { day: "date", instant: "datetime-local" };
  const isNumber = !["text", "day", "instant", "amount", "rate"].includes(item.kind);
  const box = isLong ? element("textarea", { id, rows: 3 })
    : element("input", { id, type: types[item.kind] ?? "text", inputmode: isNumber ? "decimal" : "text", autocomplete: "off" });
  box.value = value;
  return box;
}

function makeField(item, clock) {
  const id = `item-${formsMade += 1}`;
  const box = makeBox(item, id, clock);
  const before = box.value;
  const wrong = element("span", { class: "wrong", id: `${id}-wrong` });
  box.setAttribute("aria-describedby", `${id}-wrong`);
  const tell = (problem) => {
    setText(wrong, sayDegrees(problem, clock.set));
    box.setAttribute("aria-invalid", problem === "" ? "false" : "true");
    if (problem !== "") box.focus();
  };
  const hint = [hintToType(item.kind, clock.set, clock.offset_s), item.value === null ? item.missing : tellSource(item)].filter(Boolean).join("; ");
  const row = element("div", { class: "field" }, element("label", { for: id }, labelOf(item)), box, element("span", { class: "hint" }, hint), wrong);
  return { key: item.key, row, tell, isChanged: () => box.value !== before, read: () => readTyped(item.kind, box.value, clock) };
}

async function attempt(said, fields, work) {
  try {
    for (const field of fields) field.tell("");
    await work();
  } catch (problem) {
    const field = fields.find(({ key }) => key === problem.key);
    field?.tell(problem.detail ? tellAtField(problem.detail, problem.key) : problem.message);
    setText(said, field ? say("cards.see_field") : say("cards.not_saved", { why: problem.message }));
  }
}

/** Fields for what may be typed: what the rules want first, then the rest behind a fold. */
export function makeTyping(record, clock, save) {
  const wanted = missingKeys(record.rules);
  const canType = record.items.filter((item) => item.is_typable && !["measured", "computed", "settings"].includes(item.source));
  const fields = canType.map((item) => makeField(item, clock));
  const isFirst = (place) => wanted.has(canType[place].key) || ["incidents", "notes"].includes(canType[place].key);
  const rowsWhere = (test) => fields.filter((_, place) => test(place)).map(({ row }) => row);
  const said = element("p", { role: "status", class: "said" });
  const send = (event) => {
    event.preventDefault();
    attempt(said, fields, async () => {
      const typed = {};
      for (const field of fields.filter((each) => each.isChanged())) {
        try {
          typed[field.key] = field.read();
        } catch (problem) {
          problem.key = field.key;
          throw problem;
        }
      }
      await save(typed);
    });
  };
  const rest = rowsWhere((place) => !isFirst(place));
  return part(say(wanted.size > 0 ? "record.what_missing" : "record.what_added"), element("form", { novalidate: true, onsubmit: send, class: "card" }, ...rowsWhere(isFirst),
    rest.length > 0 ? element("details", { class: "rest" }, element("summary", {}, say("record.everything_else")), element("div", { class: "card" }, ...rest)) : null,
    element("button", { type: "submit", class: "main" }, say("record.keep_typed"))), said);
}

/** Signing: a name, then a second look at what it means. */
export function makeSigning(record, sign) {
  const said = element("p", { role: "status", class: "said" });
  const id = `sign-${formsMade += 1}`;
  const applicator = record.items.find((item) => item.key === "applicator")?.value ?? "";
  const input = element("input", { id, type: "text", autocomplete: "off", value: applicator });
  const count = missingKeys(record.rules).size;
  const dialog = element("dialog", { "aria-label": say("record.sign_ask") });
  const confirm = () => {
    if (input.value.trim() === "") {
      setText(said, say("record.who_signs"));
      input.focus();
      return;
    }
    const words = count === 0 ? say("record.nothing_missing") : say("record.rules_miss", { n: count });
    const send = (event) => {
      event.preventDefault();
      dialog.close();
      attempt(said, [], () => sign(input.value.trim()));
    };
    dialog.replaceChildren(element("form", { onsubmit: send }, element("h2", {}, say("record.sign_ask")), element("p", {}, words),
      element("p", {}, say("record.once_signed")),
      element("button", { type: "submit", class: "main" }, say("record.sign_as", { name: input.value.trim() })),
      element("button", { type: "button", onclick: () => dialog.close() }, say("record.not_yet"))));
    dialog.showModal();
  };
  const isReady = record.state === "unsigned" && record.is_reviewed;
  const why = say(record.state === "open" ? "record.job_open" : "record.review_first");
  return part(say("record.sign_it"), isReady ? element("div", { class: "field" }, element("label", { for: id }, say("record.signer")), input,
    element("button", { type: "button", class: "main", onclick: confirm }, say("record.sign"))) : element("p", {}, why), said, dialog);
}

/** Amending: which item, its new value, why and by whom; figures of a later review offer themselves. */
export function makeAmending(record, clock, amend) {
  const said = element("p", { role: "status", class: "said" });
  const place = element("div", { class: "field" });
  const keys = record.items.filter((item) => item.key !== "cards" && item.key !== "job");
  const select = element("select", { id: `amend-${formsMade += 1}` }, ...keys.map((item) => option(item.key, say("record.item_of", { item: labelOf(item), group: item.group }), false)));
  const reason = element("textarea", { id: `${select.id}-why`, rows: 2 });
  const who = element("input", { id: `${select.id}-who`, type: "text", autocomplete: "off" });
  let field = null;
  const show = (item) => {
    field = makeField({ ...item, source: "", beside: null }, clock);
    place.replaceChildren(field.row);
  };
  const choose = () => show(keys.find((item) => item.key === select.value));
  select.addEventListener("change", choose);
  choose();
  const offer = (proposal) => {
    const item = keys.find(({ key }) => key === proposal.key) ?? { ...proposal, kind: "text", missing: "" };
    select.value = proposal.key;
    show({ ...item, value: proposal.now, unit: proposal.unit });
    reason.value = say("record.computed_again");
    who.focus();
  };
  const send = (event) => {
    event.preventDefault();
    attempt(said, [field], async () => {
      const value = field.read();
      if (value === null || reason.value.trim().length < 3 || who.value.trim() === "") throw new Error(say("record.three_needed"));
      await amend({ key: field.key, value, reason: reason.value.trim(), who: who.value.trim() });
    });
  };
  const kindOf = (key) => keys.find((item) => item.key === key)?.kind ?? "text";
  const offers = record.proposals.map((each) => element("li", {},
    `${say("record.signed_now", { item: labelOf(each), signed: tellValue(kindOf(each.key), each.value, each.unit, clock), now: tellValue(kindOf(each.key), each.now, each.unit, clock) })} `,
    element("button", { type: "button", onclick: () => offer(each) }, say("record.take_up"))));
  const takeAll = () => attempt(said, [], async () => {
    if (who.value.trim() === "") throw new Error(say("record.type_who"));
    for (const { key, now, unit } of record.proposals) {
      const isLabels = ["amount", "rate"].includes(kindOf(key));
      await amend({ key, value: isLabels ? `${now} ${unit}` : now, reason: reason.value.trim() || say("record.computed_again"), who: who.value.trim() });
    }
  });
  return part(say("record.amend_it"), offers.length === 0 ? null : element("div", {}, element("p", {}, say("record.otherwise")),
    element("ul", { class: "offers" }, ...offers), element("button", { type: "button", onclick: takeAll }, say("record.take_all"))),
    element("form", { novalidate: true, onsubmit: send, class: "card" },
      element("div", { class: "field" }, element("label", { for: select.id }, say("record.what_changed")), select), place,
      element("div", { class: "field" }, element("label", { for: reason.id }, say("record.why")), reason),
      element("div", { class: "field" }, element("label", { for: who.id }, say("record.who_changes")), who),
      element("button", { type: "submit", class: "main" }, say("record.add_amendment"))), said);
}
