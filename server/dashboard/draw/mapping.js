// The form that says how a table of readings is to be read: its head, a field for each thing, doubts beside their field.

import { DATE_ORDERS, DECIMALS, STAMPS, offerZones } from "../core/readings.js";
import { say } from "../core/say.js";
import { unitOf } from "../core/units.js";
import { element, option, setText } from "./element.js";

const OTHER = "other";
const HOW = {
  time: say("bring.time"), clock: say("bring.clock"), third: say("bring.third"),
  speed: say("bring.speed"), gust: say("bring.gust"), direction: say("bring.direction"), flag: say("bring.flag"),
};

/** The head of the table as it was cut; columns numbered as in the fields. */
export function makeHead({ columns, rows }) {
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": say("bring.first_rows") },
    element("table", { class: "head" },
      element("thead", {}, element("tr", {}, ...columns.map((name, place) => element("th", { scope: "col" }, `${place + 1}. ${name}`)))),
      element("tbody", {}, ...rows.slice(0, 5).map((row) => element("tr", {}, ...row.map((field) => element("td", {}, field)))))));
}

function makeField(key, label, input, { doubt = "", hint = "" } = {}) {
  const id = `told-${key}`;
  input.id = id;
  input.setAttribute("aria-describedby", `${id}-doubt ${id}-wrong`);
  const wrong = element("span", { class: "wrong", id: `${id}-wrong` });
  const row = element("div", { class: "field" }, element("label", { for: id }, label), input,
    element("span", { class: doubt ? "doubt" : "hint", id: `${id}-doubt` }, doubt ? `? ${doubt}` : hint), wrong);
  return { key, row, input, tell: (problem) => {
    setText(wrong, problem);
    input.setAttribute("aria-invalid", problem === "" ? "false" : "true");
  } };
}

function makeSelect(entries, value, take) {
  const select = element("select", {}, ...entries.map(([code, text]) => option(String(code), text, String(code) === String(value ?? ""))));
  select.addEventListener("change", () => take(select.value));
  return select;
}

function makeText(value, take, more = {}) {
  const input = element("input", { type: "text", autocomplete: "off", value, ...more });
  input.addEventListener("input", () => take(input.value));
  return input;
}

function makeZone(draft, doubt) {
  const offered = offerZones();
  const other = element("input", { type: "text", autocomplete: "off", "aria-label": say("bring.other_clock"), placeholder: say("bring.clock_form"), hidden: true });
  const known = draft.zone === null || offered.some(([code]) => code === draft.zone);
  const select = makeSelect([["", say("bring.not_told")], ...offered, [OTHER, say("bring.another")]], known ? draft.zone ?? "" : OTHER, (code) => {
    other.hidden = code !== OTHER;
    draft.zone = code === OTHER ? other.value.trim() || null : code || null;
  });
  other.hidden = known;
  if (!known) other.value = draft.zone;
  other.addEventListener("input", () => { draft.zone = other.value.trim() || null; });
  const field = makeField("zone", say("bring.zone"), select, { doubt });
  field.row.insertBefore(other, field.row.children[2]);
  return field;
}

function makeTicked(field, draft) {
  if (draft.confirmed[field.key]) return field;
  const tick = element("input", { type: "checkbox", id: `told-${field.key}-seen` });
  tick.addEventListener("change", () => { draft.confirmed[field.key] = tick.checked; });
  field.row.append(element("label", { class: "tick", for: tick.id }, tick, say("bring.seen")));
  return field;
}

function makeTimes(draft, columns, doubtOf) {
  const names = columns.map((name, place) => [place + 1, `${place + 1}. ${name}`]);
  const take = (spot) => (code) => {
    const chosen = [0, 1, 2].map((each) => (each === spot ? Number(code) : draft.time[each] ?? 0));
    draft.time = chosen.filter((column) => column > 0);
  };
  const many = draft.time.length > 2 ? 3 : 2;
  return ["time", "clock", "third"].slice(0, many).map((key, spot) => makeField(key, HOW[key],
    makeSelect([[0, spot === 0 ? say("bring.not_told") : say("bring.none")], ...names], draft.time[spot] ?? 0, take(spot)), { doubt: doubtOf(key) }));
}

function makeColumns(draft, columns, doubtOf) {
  const names = columns.map((name, place) => [place + 1, `${place + 1}. ${name}`]);
  return ["speed", "gust", "direction", "flag"].map((key) => {
    const first = key === "speed" ? [["", say("bring.not_told")]] : [...(draft[key] === null ? [["", say("bring.not_told")]] : []), [0, say("bring.none")]];
    return makeField(key, HOW[key], makeSelect([...first, ...names], draft[key] ?? "", (code) => {
      draft[key] = code === "" ? null : Number(code);
    }), { doubt: doubtOf(key) });
  });
}

function makeChoices(draft, { separators, units }, doubtOf) {
  const choose = (key, label, entries, isAsked = true) => makeField(key, label, makeSelect(
    [...(isAsked ? [["", say("bring.not_told")]] : []), ...entries], draft[key], (code) => { draft[key] = code || null; }), { doubt: doubtOf(key) });
  return [
    choose("unit", say("bring.unit"), units.map((unit) => [unit, unit])),
    choose("date_order", say("bring.date_order"), [...Object.entries(DATE_ORDERS), ["by_file", say("bring.by_file")]]),
    makeZone(draft, doubtOf("zone")),
    choose("stamp", say("bring.stamp"), Object.entries(STAMPS)),
    choose("separator", say("bring.separator"), Object.entries(separators), false),
    choose("decimal", say("bring.decimal"), Object.entries(DECIMALS), false),
  ];
}

/** The whole form over a draft that it changes; `fields` tell problems by key. */
export function makeMapping(draft, proposal, set, name) {
  const doubts = new Map(proposal.doubts.map(({ key, sentence }) => [key, sentence]));
  const doubtOf = (key) => doubts.get(key) ?? "";
  const fields = [
    ...makeTimes(draft, proposal.columns, doubtOf), ...makeColumns(draft, proposal.columns, doubtOf),
    ...makeChoices(draft, proposal, doubtOf),
    makeField("height_m", say("bring.height", { unit: unitOf("length", set) }),
      makeText(draft.height, (text) => { draft.height = text; }, { inputmode: "decimal" }), { doubt: doubtOf("height_m") }),
    makeTicked(makeField("good_flags", say("bring.good_flags"), makeText(draft.good_flags, (text) => { draft.good_flags = text; }),
      { doubt: doubtOf("good_flags"), hint: say("bring.flags_hint", { bar: "|" }) }), draft),
    makeTicked(makeField("missing", say("bring.missing"), makeText(draft.missing, (text) => { draft.missing = text; }),
      { doubt: doubtOf("missing"), hint: say("bring.missing_hint") }), draft),
    makeField("first_line", say("bring.first_line"), makeText(String(draft.first_line), (text) => { draft.first_line = Number(text) || 0; }, { inputmode: "numeric" })),
    makeField("name", say("bring.name"), makeText(name, () => {}, { maxlength: "60" })),
  ];
  return { fields, rows: fields.map(({ row }) => row), tell: (problems) => {
    let first = null;
    for (const field of fields) {
      field.tell(problems[field.key] ?? "");
      if (problems[field.key] && first === null) first = field;
    }
    first?.input.focus();
    return first !== null;
  } };
}
