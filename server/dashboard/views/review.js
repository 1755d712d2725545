// What it got: the jobs, and of one job the totals, the dose, the findings, the passes and the traces.

import { formatInstant, formatLimit, formatQuantity, formatSpeed } from "../core/format.js";
import { Choice } from "../core/choice.js";
import { groupParts } from "../core/papers.js";
import { alarmSpans, describeChange, describeExceedance, describeShield, summariseStory } from "../core/story.js";
import { Playhead } from "../core/playback.js";
import { passAtTime } from "../core/passway.js";
import { convert, unitOf } from "../core/units.js";
import { keepPainted, placeOn, readRoom } from "../draw/canvas.js";
import { makeChosenBar } from "../draw/chosen.js";
import { makeDoseMap } from "../draw/dosemap.js";
import { element, setText } from "../draw/element.js";
import { makeMend } from "../draw/mend.js";
import { makeStraight } from "../draw/straight.js";
import { makeFindings, makePairs, makePassTable, makeTotals } from "../draw/tables.js";
import { paintTraces, timeAt } from "../draw/traces.js";

const POLL_MS = 1000;
const FILES = { "job.json": "Totals", "passes.csv": "Passes", "pairs.csv": "Neighbouring passes", "findings.geojson": "Findings",
  "touchup.csv": "What to mend", "touchup.geojson": "What to mend, to draw", "track.csv": "Way of the nozzle",
  "wind.csv": "Wind, second by second", "dose.npz": "Dose grid", "job.geojson": "Map", "job.gpkg": "Map with doses" };
const PARTS = ["passes", "pairs", "findings", "track", "wind", "flow", "dose"];
const CAUTION = "These figures say what the meters saw, not that the work was safe or lawful. The product's label and the law "
  + "of your place decide on rate, wind, distance, protection and records: where they ask for more than this page, follow them.";

function part(title, ...children) {
  return element("section", { class: "part" }, element("h2", {}, title), ...children);
}

const BESIDE_S = 20; // a tap between two passes means the nearer one

function makeTrace(label, trace, { passes }, { choice, playhead }) {
  const canvas = element("canvas", { class: "trace", role: "img", "aria-label": label });
  const span = () => {
    const pass = passes.find((each) => each.pass === choice.pass);
    return Number.isFinite(pass?.start_s) ? [pass.start_s, pass.end_s] : null;
  };
  const painted = keepPainted(canvas, (context, width_px, height_px, ink) => paintTraces(context, width_px, height_px, ink, {
    ...trace, looked: span(), moment: playhead.t }));
  for (const what of [choice, playhead]) what.addEventListener("change", painted.ask);
  canvas.addEventListener("click", (event) => {
    const t = timeAt(placeOn(canvas, event)[0], readRoom(canvas).width_px, trace.t_s);
    const pass = t === null ? null : passAtTime(passes, t, BESIDE_S);
    if (pass !== null) choice.take(pass);
  });
  return canvas;
}

function makeWindTrace({ wind, review, passes }, set, looked) {
  const inSet = (values) => (values ?? []).map((value) => convert(value, "speed", set));
  const limit = convert(wind.limit_mps, "speed", set);
  const now_mps = wind.known_60s_mps ?? wind.mean_60s_mps;
  const known = now_mps.filter((value) => value !== null);
  const highest = known.length > 0 ? Math.max(...known) : null;
  const spans = limit === null ? [] : alarmSpans(wind.t_s, wind.alarm ?? []);
  const words = "Mean of 60 s as known now (thick), as known then (thin, with its error as a band), and gusts of 3 s (dots). "
    + `The highest mean was ${formatSpeed(highest, set)}; `
    + (limit === null ? "no limit is set." : `the limit, dashed, is ${formatLimit(wind.limit_mps, wind.limit_stated, set)}.`)
    + (spans.length > 0 ? " Along the foot: when the alarm said stop (full) or gave notice (crossed)." : "");
  const trace = { t_s: wind.t_s, unit: `Wind, ${unitOf("speed", set)}`, spans, lines: [
    { values: inSet(wind.gust_3s_mps), dash: [2, 3], width: 1.5 },
    { values: inSet(wind.mean_60s_mps), spread: inSet(wind.mean_60s_sd_mps), width: 1 },
    { values: inSet(now_mps), width: 3, isMain: true }],
  level: limit === null ? null : { value: limit, name: `limit ${formatLimit(wind.limit_mps, wind.limit_stated, set)}` } };
  const shield = describeShield(review.cup_shield);
  return part("How was the wind?", makeTrace(words, trace, { passes }, looked), element("p", { class: "small" }, words),
    shield === null ? null : element("p", { class: "caution" }, shield));
}

function makeStory(story, set) {
  if (story === undefined) return null; // a review from before there were stories
  const changes = (story?.changes ?? []).map((change) => {
    const { head, text } = describeChange(change, set);
    return element("li", {}, element("strong", {}, head), ` ${text}`);
  });
  const times = (story?.exceedances ?? []).map((found) => element("li", {}, describeExceedance(found, set)));
  return part("What was told of the wind, and was it right?", element("p", {}, summariseStory(story, set)),
    times.length > 0 ? element("h3", {}, "Above the limit, as known now") : null,
    times.length > 0 ? element("ul", { class: "findings" }, ...times) : null,
    changes.length > 0 ? element("h3", {}, "What the alarm told") : null,
    changes.length > 0 ? element("ul", { class: "findings" }, ...changes) : null);
}

function makeFlowTrace({ flow, passes }, set, looked) {
  const trace = (key, quantity, name) => ({ t_s: flow.t_s, unit: `${name}, ${unitOf(quantity, set)}`,
    lines: [{ values: flow[key].map((value) => convert(value, quantity, set)), isMain: true }] });
  const sprayed = flow.flow_l_per_min.filter((value) => value > 0);
  const mean = sprayed.length > 0 ? sprayed.reduce((sum, value) => sum + value, 0) / sprayed.length : null;
  const words = `While spraying, ${formatQuantity(mean, "flow", set)} flowed on average.`;
  return part("How did it flow, and at what pace?", makeTrace(words, trace("flow_l_per_min", "flow", "Flow"), { passes }, looked),
    flow.speed_mps ? makeTrace("Pace over time", trace("speed_mps", "speed", "Pace"), { passes }, looked) : null,
    element("p", { class: "small" }, words));
}

function makeMendPart(job, found, feed, set) {
  const ask = (left_l) => feed.ask(`/jobs/${job.id}/touchup?tank_left_l=${left_l}`);
  const made = part("What to mend?", ...makeMend(found.touchup, found, { set, ask }));
  made.classList.add("mend");
  return made;
}

function makeStraightPart(found, set, choice) {
  const made = makeWide(part("Strip by strip, as it was walked", ...makeStraight(found, set, choice)));
  made.classList.add("strips-part");
  return made;
}

function makeWide(made) {
  made.classList.add("wide");
  return made;
}

function makeDownloads(job, feed, names) {
  return part("Take it with you", element("p", {}, element("a", { class: "place", href: `#record/${job.id}` }, "The record of this job")), element("ul", { class: "files" }, ...names.map((name) => element("li", {},
    element("a", { href: feed.fileAddress(job.id, name), download: name }, `${FILES[name] ?? "File"} (${name})`)))));
}

function makeReport(job, found, { feed, set, recompute, choice, playhead }) {
  const { review } = found;
  const notes = review.notes?.length > 0 ? element("ul", {}, ...review.notes.map((note) => element("li", {}, note)))
    : element("p", {}, "No reservations.");
  return element("div", { class: "report" },
    part("How much, in all?", makeTotals(review, set)),
    part("Where did it go?", ...makeDoseMap(found, set, choice, playhead)),
    makeStraightPart(found, set, choice),
    part("What went wrong?", makeFindings(found.findings, set), makePairs(found.pairs, set)),
    found.touchup === null ? null : makeMendPart(job, found, feed, set),
    makeWide(part("Pass by pass", makePassTable(found.passes, set, choice))),
    makeWindTrace(found, set, { choice, playhead }), makeStory(review.wind_story, set), makeFlowTrace(found, set, { choice, playhead }),
    part("What can these figures not say?", notes),
    makeDownloads(job, feed, review.files ?? Object.keys(FILES)),
    part("Before you rely on it", element("p", { class: "caution" }, CAUTION),
      element("button", { type: "button", onclick: recompute }, "Compute it again")),
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
  const said = element("p", { class: "said", role: "status" }, "Looking…");
  const title = element("h2", { class: "job-title" });
  const rests = element("p", {}, chosen === null ? "" : element("a", { class: "place", href: `#papers/${chosen}` }, "What it rests on: site, sprayer, treatment, people"));
  let timer = null;
  let shown = null;
  let looked = null;
  let isLeft = false;

  const say = (problem) => setText(said, problem.message);
  const showJobs = async () => {
    const answer = await feed.ask("/jobs");
    const jobs = Array.isArray(answer) ? answer : answer.jobs;
    list.replaceChildren(...groupParts(jobs).map(({ job, isPart }) => element("li", { class: isPart ? "part-of" : null }, element("a",
      { href: `#got/${job.id}`, "aria-current": job.id === chosen ? "page" : null },
      element("strong", {}, job.name), element("span", {}, `${describeStart(job)}, ${job.state}`)))));
    if (jobs.length === 0) said.replaceChildren("There is no job yet. ", element("a", { class: "place", href: "#lawn" }, "Press Start on the lawn"));
    else if (chosen === null) open(jobs[0].id);
    return jobs;
  };
  const showProposals = async () => {
    const answer = await feed.ask("/jobs/proposals");
    const found = Array.isArray(answer) ? answer : answer.proposals ?? [];
    proposals.replaceChildren(...found.map((proposal) => element("p", { class: "proposal" },
      `Sprayed, but in no job: ${formatInstant(proposal.start_utc)}, ${formatQuantity(proposal.volume_l, "volume", store.units)} `,
      element("button", { type: "button", onclick: () => adopt(proposal).catch(say) }, "Make it a job"))));
  };
  const adopt = async ({ rig, start, end, start_utc }) => {
    const made = await feed.ask("/jobs", { method: "POST", body: { name: `Lawn, ${formatInstant(start_utc)}`, rig, start, end } });
    open(made.id);
  };
  const recompute = () => {
    feed.ask(`/jobs/${chosen}/review`, { method: "POST" }).then(() => load(), say);
  };
  const load = async () => {
    const review = await feed.ask(`/jobs/${chosen}/review`);
    const state = stateOf(review);
    if (isLeft) return;
    if (state.state === "none") {
      setText(said, "");
      report.replaceChildren(element("p", {}, "This job is still open. Finish it on the lawn, or see what it got so far: "),
        element("button", { type: "button", onclick: recompute }, "Compute it now"));
      return;
    }
    if (state.state !== "ready" && state.state !== "failed") {
      const share = Number.isFinite(state.progress) ? ` ${Math.round(state.progress * 100)} %` : "";
      setText(said, `Computing the review…${share} ${state.doing ?? ""}`);
      timer = setTimeout(() => load().catch(say), POLL_MS);
      return;
    }
    if (state.state === "failed") {
      setText(said, `The review failed: ${state.problem ?? state.detail ?? "no reason given"}`);
      return;
    }
    setText(said, "Loading the figures…");
    const answers = await Promise.all([...PARTS.map((name) => feed.ask(`/jobs/${chosen}/${name}`)), feed.ask(`/jobs/${chosen}`),
      zonesOf(review), feed.ask(`/jobs/${chosen}/touchup`).catch(() => null)]); // a review from before there were plans has none
    const [passes, pairs, findings, track, wind, flow, dose, job, zones, touchup] = answers;
    shown = { job, found: { review, passes, pairs, findings, track, wind, flow, dose, zones, touchup } };
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
    report.replaceChildren(makeReport(shown.job, shown.found, { feed, set: store.units, recompute, choice, playhead }));
  };

  root.replaceChildren(element("div", { class: "review-page" }, element("h1", {}, "What it got"),
    element("nav", { class: "job-list", "aria-label": "Jobs" }, list, proposals),
    element("div", { class: "job-report" }, title, rests, said, report)));
  store.addEventListener("units", show);
  showJobs().then(() => showProposals()).catch(say);
  if (chosen !== null) load().catch(say);
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
