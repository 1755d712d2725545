// Bringing a table of readings along: choose, look at its head, say what it does not, import, read what became of it.

import { HEAD_BYTES, describeProgress, describeReport, draftOf, mappingOf, nameOf, openKeys, refuseFile } from "../core/readings.js";
import { element, setText } from "./element.js";
import { makeHead, makeMapping } from "./mapping.js";

const TICK_MS = 500;

function makeReport(report, set) {
  const told = describeReport(report, set);
  const list = (sentences) => element("ul", {}, ...sentences.map((sentence) => element("li", {}, sentence)));
  return element("div", { class: "told", tabindex: "-1" },
    element("h3", {}, `${report.name}: done`), element("p", {}, told.head), element("p", {}, element("strong", {}, told.check)),
    told.notes.length > 0 ? element("h4", {}, "Left out or put right") : null, told.notes.length > 0 ? list(told.notes) : null,
    element("h4", {}, "How it was read"), list(told.taken));
}

/** Send the file and tell how far it is; gives the report. */
async function sendFile({ feed, file, mapping, name, say }) {
  let [sent, sentAt_ms] = [0, performance.now()];
  const tell = () => say(describeProgress({ sent, size: file.size, since_s: (performance.now() - sentAt_ms) / 1000 }));
  const clock = setInterval(tell, TICK_MS);
  tell();
  try {
    const query = new URLSearchParams({ mapping: JSON.stringify(mapping), name });
    return await feed.send(`/history?${query}`, file, { onSent: (count) => {
      if (count >= file.size && sent < file.size) sentAt_ms = performance.now();
      sent = count;
    } });
  } finally {
    clearInterval(clock);
  }
}

/** The part of the page; `done(report)` hears of an import, `stop` leaves it. */
export function makeBringing({ store, feed, done }) {
  const input = element("input", { type: "file", id: "readings", accept: ".csv,.tsv,.txt,.dat,.log,.gz,text/*" });
  const said = element("p", { class: "said", role: "status" });
  const place = element("div", { class: "bring-place" });
  const say = (text) => setText(said, text);
  let isLeft = false;
  let isBusy = false;

  const begin = async (file) => {
    const refusal = refuseFile(file);
    if (refusal !== "") return say(refusal);
    say(`Looking at ${file.name} …`);
    try {
      const proposal = await feed.ask("/history/proposal", { method: "POST", raw: file.slice(0, HEAD_BYTES) });
      if (!isLeft && input.files[0] === file) showForm(file, proposal);
    } catch (problem) {
      say(`${file.name} is not read: ${problem.detail ?? problem.message}.`.replace(/\.\.$/, "."));
    }
    return null;
  };
  const showForm = (file, proposal) => {
    const draft = draftOf(proposal);
    const set = store.units; // heights are typed in these units, whatever is chosen meanwhile
    const form = makeMapping(draft, proposal, set, nameOf(file));
    const button = element("button", { type: "submit", class: "main" }, "Bring them along");
    const importIt = async (event) => {
      event.preventDefault();
      if (isBusy) return;
      const open = openKeys(draft);
      if (form.tell(open)) return say(`Not sent: ${Object.keys(open).length} still to be told, see the marked fields.`);
      isBusy = button.disabled = input.disabled = true;
      try {
        const name = form.fields.find(({ key }) => key === "name").input.value.trim() || nameOf(file);
        const report = await sendFile({ feed, file, mapping: mappingOf(draft, set), name, say });
        if (isLeft) return null;
        say("");
        const told = makeReport(report, store.units);
        place.replaceChildren(told);
        told.focus();
        input.value = "";
        done(report);
      } catch (problem) {
        say(`Nothing was imported. ${problem.detail ?? problem.message}`);
        if (problem.key) form.tell({ [problem.key]: problem.detail ?? problem.message });
      } finally {
        isBusy = button.disabled = input.disabled = false;
      }
      return null;
    };
    say(proposal.doubts.length === 0 ? "" : `${proposal.doubts.length} things the file does not say, or not for sure: they are marked with a question mark.`);
    place.replaceChildren(makeHead(proposal), element("form", { novalidate: true, onsubmit: importIt },
      element("fieldset", {}, element("legend", {}, "How is it to be read?"), ...form.rows), button));
  };
  input.addEventListener("change", () => {
    place.replaceChildren();
    say("");
    if (input.files.length > 0) begin(input.files[0]);
  });
  const part = element("section", { class: "part" }, element("h2", {}, "Bring readings along"),
    element("p", {}, "A table of times and wind speeds from any logger or station, as text (CSV and the like) or packed with gzip. "
      + "It goes to the rig's own board and nowhere else."),
    element("label", { for: "readings" }, "The file"), input, said, place);
  return { part, stop: () => { isLeft = true; } };
}
