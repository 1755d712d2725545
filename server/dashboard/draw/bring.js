// Bringing a table of readings along: choose, look at its head, say what it does not, import, read what became of it.

import { HEAD_BYTES, describeProgress, describeReport, draftOf, mappingOf, nameOf, openKeys, refuseFile } from "../core/readings.js";
import { element, setText } from "./element.js";
import { makeHead, makeMapping } from "./mapping.js";
import { say } from "../core/say.js";

const TICK_MS = 500;

function makeReport(report, set) {
  const told = describeReport(report, set);
  const list = (sentences) => element("ul", {}, ...sentences.map((sentence) => element("li", {}, sentence)));
  return element("div", { class: "told", tabindex: "-1" },
    element("h3", {}, say("bring.done", { name: report.name })), element("p", {}, told.head), element("p", {}, element("strong", {}, told.check)),
    told.notes.length > 0 ? element("h4", {}, say("bring.left_out")) : null, told.notes.length > 0 ? list(told.notes) : null,
    element("h4", {}, say("bring.how_read")), list(told.taken));
}

/** Send the file and tell how far it is; gives the report. */
async function sendFile({ feed, file, mapping, name, meter }) {
  let [sent, sentAt_ms] = [0, performance.now()];
  const tellProgress = () => setText(meter, describeProgress({ sent, size: file.size, since_s: (performance.now() - sentAt_ms) / 1000 }));
  const clock = setInterval(tellProgress, TICK_MS);
  tellProgress();
  try {
    const query = new URLSearchParams({ mapping: JSON.stringify(mapping), name });
    return await feed.send(`/history?${query}`, file, { onSent: (count) => {
      if (count >= file.size && sent < file.size) sentAt_ms = performance.now();
      sent = count;
    } });
  } finally {
    clearInterval(clock);
    setText(meter, "");
  }
}

/** The part of the page; `done(report)` hears of an import, `stop` leaves it. */
export function makeBringing({ store, feed, done }) {
  const input = element("input", { type: "file", id: "readings", accept: ".csv,.tsv,.txt,.dat,.log,.gz,text/*" });
  const said = element("p", { class: "said", role: "status" });
  const meter = element("p", { class: "small" }); // its seconds are not for a reader of the screen to speak
  const place = element("div", { class: "bring-place" });
  const tell = (text) => setText(said, text);
  let isLeft = false;
  let isBusy = false;

  const begin = async (file) => {
    const refusal = refuseFile(file);
    if (refusal !== "") return tell(refusal);
    tell(say("bring.looking_at", { file: file.name }));
    try {
      const proposal = await feed.ask("/history/proposal", { method: "POST", raw: file.slice(0, HEAD_BYTES) });
      if (!isLeft && input.files[0] === file) showForm(file, proposal);
    } catch (problem) {
      tell(say("bring.not_read", { file: file.name, why: problem.detail ?? problem.message }).replace(/\.\.$/, "."));
    }
    return null;
  };
  const showForm = (file, proposal) => {
    const draft = draftOf(proposal);
    const set = store.units; // heights are typed in these units, whatever is chosen meanwhile
    const form = makeMapping(draft, proposal, set, nameOf(file));
    const button = element("button", { type: "submit", class: "main" }, say("bring.bring"));
    const importIt = async (event) => {
      event.preventDefault();
      if (isBusy) return;
      const open = openKeys(draft);
      if (form.tell(open)) return tell(say("bring.not_sent", { n: Object.keys(open).length }));
      isBusy = button.disabled = input.disabled = true;
      try {
        const name = form.fields.find(({ key }) => key === "name").input.value.trim() || nameOf(file);
        tell(say("bring.at_work", { file: file.name }));
        const report = await sendFile({ feed, file, mapping: mappingOf(draft, set), name, meter });
        if (isLeft) return null;
        tell("");
        const told = makeReport(report, store.units);
        place.replaceChildren(told);
        told.focus();
        input.value = "";
        done(report);
      } catch (problem) {
        tell(say("bring.nothing", { why: problem.detail ?? problem.message }));
        if (problem.key) form.tell({ [problem.key]: problem.detail ?? problem.message });
      } finally {
        isBusy = button.disabled = input.disabled = false;
      }
      return null;
    };
    tell(proposal.doubts.length === 0 ? "" : say("bring.doubts", { n: proposal.doubts.length }));
    place.replaceChildren(makeHead(proposal), element("form", { novalidate: true, onsubmit: importIt },
      element("fieldset", {}, element("legend", {}, say("bring.how_to_read")), ...form.rows), button));
  };
  input.addEventListener("change", () => {
    place.replaceChildren();
    tell("");
    if (input.files.length > 0) begin(input.files[0]);
  });
  const part = element("section", { class: "part" }, element("h2", {}, say("bring.heading")),
    element("p", {}, say("bring.what")),
    element("label", { for: "readings" }, say("bring.file")), input, said, meter, place);
  return { part, stop: () => { isLeft = true; } };
}
