// Bringing shapes along from a GeoJSON file: looked at first, each shape with its area or why it is not taken.

import { say } from "../core/say.js";
import { KINDS, describeFile, describeProposal } from "../core/shapewords.js";
import { element, option, setText } from "./element.js";

/** The part; `lay({offered, marks})` shows them on the drawing and where they are wrong, `add(zones)` takes the chosen ones. */
export function makeShapeFile({ feed, store }, { lay, add }) {
  const input = element("input", { type: "file", id: "shape-file", accept: ".geojson,.json,application/geo+json,application/json" });
  const said = element("p", { class: "said", role: "status" });
  const place = element("div");
  const leave = (words) => {
    place.replaceChildren();
    input.value = "";
    lay({ offered: [], marks: [] });
    setText(said, words);
  };
  const makeRow = (row, at) => {
    if (row.zone === null) return { line: element("li", { class: "refused" }, describeProposal(row, store.units)), read: () => null };
    const taken = element("input", { type: "checkbox", id: `shape-${at}`, checked: true });
    const kind = element("select", { "aria-label": say("site.what_is", { name: row.name }) }, ...Object.entries(KINDS).map(([value, words]) => option(value, words, value === row.zone.kind)));
    const line = element("li", {}, element("label", { for: `shape-${at}` }, taken, " ", describeProposal(row, store.units)), kind);
    return { line, read: () => (taken.checked ? { ...row.zone, kind: kind.value } : null) };
  };
  const show = (rows) => {
    const made = rows.map(makeRow);
    const take = () => {
      const zones = made.map(({ read }) => read()).filter(Boolean);
      if (zones.length === 0) return setText(said, say("site.none_ticked"));
      leave(say("site.taken_over", { n: zones.length }));
      return add(zones);
    };
    const isAny = rows.some(({ zone }) => zone !== null);
    const refused = rows.filter(({ zone }) => zone === null);
    lay({ offered: rows.flatMap(({ rings }) => rings), marks: refused.flatMap(({ flaws }) => flaws).filter(({ lon }) => lon !== null).map(({ lon, lat }) => [lon, lat]) });
    place.replaceChildren(element("p", {}, describeFile(rows)), element("ul", { class: "entries" }, ...made.map(({ line }) => line)),
      element("div", { class: "button-line" }, isAny ? element("button", { type: "button", class: "main", onclick: take }, say("site.take_over")) : null,
        element("button", { type: "button", onclick: () => leave("") }, say("site.leave_it"))));
  };
  input.addEventListener("change", async () => {
    const file = input.files[0];
    if (!file) return;
    setText(said, say("bring.looking_at", { file: file.name }));
    try {
      show(await feed.ask("/sites/proposal", { method: "POST", raw: file }));
      setText(said, "");
    } catch (problem) {
      leave(say("site.file_refused", { file: file.name, why: (problem.detail ?? problem.message).replace(/^file: /, "") }).replace(/\.\.$/, "."));
    }
  });
  return element("details", { class: "shape-way" }, element("summary", {}, say("site.from_file")),
    element("p", {}, say("site.file_kind")),
    element("label", { for: "shape-file", class: "unseen" }, say("site.file")), input, said, place);
}
