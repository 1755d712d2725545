// What it got: the jobs, and of one job the totals, the dose, the findings, the passes and the traces.

import { say } from "../core/say.js";
import { formatInstant, formatQuantity } from "../core/format.js";
import { Choice } from "../core/choice.js";
import { wholeDose } from "../core/dose.js";
import { groupParts } from "../core/papers.js";
import { describeChange, describeExceedance, summariseStory, tellNote } from "../core/story.js";
import { Playhead } from "../core/playback.js";
import { makeBesideChoice } from "../draw/beside.js";
import { makeChosenBar } from "../draw/chosen.js";
import { makeDoseMap } from "../draw/dosemap.js";
import { element, renew, setText } from "../draw/element.js";
import { makeMaking } from "../draw/making.js";
import { makeMend } from "../draw/mend.js";
import { part } from "../draw/recordsheet.js";
import { makeStraight } from "../draw/straight.js";
import { makeFindings, makePairs, makePassTable, makeTotals } from "../draw/tables.js";
import { makeFlowTrace, makeWindTrace } from "../draw/traceparts.js";

const POLL_MS = 1000;
const FILES = {
  "job.json": say("got.file_totals"), "passes.csv": say("got.file_passes"), "pairs.csv": say("got.file_pairs"), "findings.geojson": say("got.file_findings"),
  "touchup.csv": say("got.file_mend"), "touchup.geojson": say("got.file_mend_drawn"), "track.csv": say("got.file_way"), "wind.csv": say("got.file_wind"),
  "dose.npz": say("got.file_dose"), "job.geojson": say("got.file_map"), "job.gpkg": say("got.file_map_doses"),
};
const PARTS = ["passes", "pairs", "findings", "track", "wind", "flow", "dose"];

function makeStory(story, set) {
  if (story === undefined) return null; // a review from before there were stories
  const changes = (story?.changes ?? []).map((change) => {
    const { head, text } = describeChange(change, set);
    return element("li", {}, element("strong", {}, head), ` ${text}`);
  });
  const times = (story?.exceedances ?? []).map((found) => element("li", {}, describeExceedance(found, set)));
  return part(say("got.how_told"), element("p", {}, summariseStory(story, set)),
    times.length > 0 ? element("h3", {}, say("got.story_above")) : null,
    times.length > 0 ? element("ul", { class: "findings" }, ...times) : null,
    changes.length > 0 ? element("h3", {}, say("got.story_told")) : null,
    changes.length > 0 ? element("ul", { class: "findings" }, ...changes) : null);
}

/** What to mend when it is there: what is left in the tank is read from the job's log, which may take a while. */
function makeMendLater(job, found, feed, set) {
  if (found.touchup !== undefined) return found.touchup === null ? null : makeMendPart(job, found, feed, set);
  const place = part(say("got.how_mend"), element("p", { role: "status" }, say("got.looking")));
  found.later.then((touchup) => {
    found.touchup = touchup;
    if (!place.isConnected) return; // somebody looks elsewhere by now
    if (touchup === null) place.remove();
    else place.replaceWith(makeMendPart(job, found, feed, set));
  });
  return place;
}

function makeMendPart(job, found, feed, set) {
  const ask = (left_l) => feed.ask(`/jobs/${job.id}/touchup?tank_left_l=${left_l}`);
  const made = part(say("got.how_mend"), ...makeMend(found.touchup, found, { set, ask }));
  made.classList.add("mend");
  return made;
}

function makeStraightPart(found, set, choice) {
  const made = makeWide(part(say("got.how_strips"), ...makeStraight(found, set, choice)));
  made.classList.add("strips-part");
  return made;
}

function makeWide(made) {
  made.classList.add("wide");
  return made;
}

function makeDownloads(job, feed, names) {
  const making = makeMaking();
  return part(say("got.take"), element("p", {}, element("a", { class: "place", href: `#record/${job.id}` }, say("got.to_record"))), element("ul", { class: "files" }, ...names.map((name) => element("li", {},
    element("a", { href: feed.fileAddress(job.id, name), download: name, onclick: making.tell(name) }, say("got.file", { what: FILES[name] ?? say("got.file_other"), name }))))), making.line);
}

function makeReport(job, found, { feed, set, recompute, choice, playhead }) {
  const { review } = found;
  const notes = review.notes?.length > 0 ? element("ul", {}, ...review.notes.map((note) => element("li", {}, tellNote(note, set))))
    : element("p", {}, say("got.no_notes"));
  return element("div", { class: "report" },
    part(say("got.how_much"), makeTotals(review, set)),
    part(say("got.how_where"), ...makeDoseMap(found, set, choice, playhead)),
    makeStraightPart(found, set, choice),
    part(say("got.how_wrong"), makeFindings(found.findings, set), makePairs(found.pairs, set)),
    makeMendLater(job, found, feed, set),
    makeWide(part(say("got.how_passes"), makePassTable(found.passes, set, choice))),
    makeWindTrace(found, set, { choice, playhead }), makeStory(review.wind_story, set), makeFlowTrace(found, set, { choice, playhead }),
    part(say("got.how_notes"), notes),
    makeDownloads(job, feed, review.files ?? Object.keys(FILES)),
    part(say("got.how_rely"), element("p", { class: "caution" }, say("got.caution")),
      element("button", { type: "button", onclick: recompute }, say("got.again"))),
    makeChosenBar(choice, found.passes, set));
}

/** How a review stands, whether the service says it as a word or with its progress. */
function stateOf(review) {
  return typeof review.state === "object" ? review.state : { state: review.state ?? "ready", ...review };
}

/** Build the page; `chosen` is the number of a job or null. Returns how to leave it. */
export function mountReview(root, { store, feed, chosen, open }) {
  const list = element("ul", { class: "jobs" });
  const proposals = element("div");
  const report = element("div", { class: "report-place" });
  const said = element("p", { class: "said", role: "status" }, say("got.looking"));
  const progress = element("progress", { max: 1, value: 0, hidden: true, "aria-label": say("got.progress") }); // not live: each second would be read out
  const title = element("h2", { class: "job-title", tabindex: "-1" });
  const rests = element("p", {}, chosen === null ? "" : element("a", { class: "place", href: `#papers/${chosen}` }, say("got.rests")));
  const beside = element("div");
  let timer = null;
  let shown = null;
  let looked = null;
  let isLeft = false;

  const complain = (problem) => setText(said, problem.message);
  const showJobs = async () => {
    const jobs = await feed.ask("/jobs");
    list.replaceChildren(...groupParts(jobs).map(({ job, isPart }) => element("li", { class: isPart ? "part-of" : null }, element("a",
      { href: `#got/${job.id}`, "aria-current": job.id === chosen ? "page" : null },
      element("strong", {}, job.name), element("span", {}, `${describeStart(job)}, ${job.state}`)))));
    list.scrollTop = (list.querySelector("[aria-current]")?.offsetTop ?? 0) - list.clientHeight / 2; // a long list scrolls by itself
    if (jobs.length === 0) said.replaceChildren(`${say("got.no_job")} `, element("a", { class: "place", href: "#lawn" }, say("got.press_start")));
    else if (chosen === null) open(jobs[0].id);
    beside.replaceChildren(...makeBesideChoice(jobs, chosen));
    return jobs;
  };
  const showProposals = async () => {
    const answer = await feed.ask("/jobs/proposals");
    const found = Array.isArray(answer) ? answer : answer.proposals ?? [];
    proposals.replaceChildren(...found.map((proposal) => element("p", { class: "proposal" },
      `${say("got.unclaimed", { when: formatInstant(proposal.start_utc), volume: formatQuantity(proposal.volume_l, "volume", store.units) })} `,
      element("button", { type: "button", onclick: () => adopt(proposal).catch(complain) }, say("got.adopt")))));
  };
  const adopt = async ({ rig, start, end, start_utc }) => {
    const made = await feed.ask("/jobs", { method: "POST", body: { name: say("got.new_name", { when: formatInstant(start_utc) }), rig, start, end } });
    open(made.id);
  };
  const recompute = () => {
    feed.ask(`/jobs/${chosen}/review`, { method: "POST" }).then(() => load(), complain);
  };
  const load = async () => {
    const review = await feed.ask(`/jobs/${chosen}/review`);
    const state = stateOf(review);
    if (isLeft) return;
    progress.hidden = true;
    if (state.state === "none") {
      setText(said, "");
      report.replaceChildren(element("p", {}, `${say("got.still_open")} `),
        element("button", { type: "button", onclick: recompute }, say("got.compute")));
      return;
    }
    if (state.state !== "ready" && state.state !== "failed") {
      setText(said, say("got.computing", { doing: state.doing || say("got.waiting") }));
      progress.hidden = false;
      progress.value = state.progress ?? 0;
      timer = setTimeout(() => load().catch(complain), POLL_MS);
      return;
    }
    if (state.state === "failed") {
      setText(said, say("got.failed", { problem: state.problem ?? state.detail ?? say("got.no_reason") }));
      report.replaceChildren(element("button", { type: "button", onclick: recompute }, say("got.again")));
      return;
    }
    setText(said, say("got.loading"));
    const answers = await Promise.all([...PARTS.map((name) => feed.ask(`/jobs/${chosen}/${name}`)), feed.ask(`/jobs/${chosen}`), zonesOf(review)]);
    const [passes, pairs, findings, track, wind, flow, dose, job, zones] = answers;
    const later = feed.ask(`/jobs/${chosen}/touchup`).catch(() => null); // a review from before there were plans has none
    shown = { job, found: { review, passes, pairs, findings, track, wind, flow, dose: wholeDose(dose), zones, later } };
    show();
  };
  const zonesOf = async (review) => review.zones ?? (await feed.ask(`/lawn?job=${chosen}`)).zones;
  const show = () => {
    if (shown === null || isLeft) return;
    setText(said, "");
    setText(title, shown.job.name);
    const choice = new Choice(shown.found.passes.map(({ pass }) => pass));
    if (looked !== null) choice.take(looked.pass); // other units are no reason to lose one's place
    looked = choice;
    const { t_s } = shown.found.track;
    const playhead = new Playhead(t_s[0] ?? 0, t_s.at(-1) ?? 0);
    renew(report, title, makeReport(shown.job, shown.found, { feed, set: store.units, recompute, choice, playhead }));
  };

  root.replaceChildren(element("div", { class: "review-page" }, element("h1", {}, say("got.title")),
    element("nav", { class: "job-list", "aria-label": say("got.jobs") }, list, proposals),
    element("div", { class: "job-report" }, title, rests, beside, said, progress, report)));
  store.addEventListener("units", show);
  const loaded = chosen === null ? Promise.resolve() : load().catch(complain);
  showJobs().then(() => loaded).then(showProposals).catch(complain); // looking through the log for them keeps the service busy
  return () => {
    isLeft = true;
    clearTimeout(timer);
    store.removeEventListener("units", show);
  };
}

function describeStart(job) {
  if (job.started_at) return formatInstant(Date.parse(job.started_at) / 1000);
  return formatInstant(job.start_utc ?? job.created_utc ?? null);
}
