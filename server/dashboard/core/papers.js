// What jobs rest on, in words: the cards of the next one, and jobs that a swap of the sprayer parted.

import { sayLitres } from "./fill.js";
import { formatQuantity } from "./format.js";
import { say } from "./say.js";

const ROLES = ["site", "sprayer", "treatment", "operator", "customer"];

/** Whether no card is chosen for the next job. */
export function isNothingChosen({ problem, papers }) {
  return !problem && ROLES.every((role) => !papers?.[role]);
}

/** What is chosen for the next job, in two or three sentences. */
export function describeNext({ problem, papers, setup, due }, set) {
  if (problem) return [say("papers.does_not_go", { problem })];
  if (ROLES.every((role) => !papers[role])) return [say("papers.nothing")];
  const name = (role) => papers[role]?.name;
  const zones = papers.zones.length > 0 ? ` (${papers.zones.join(", ")})` : "";
  const ground = name("site") ? `${name("site")}${zones}` : null;
  const what = [name("treatment"), ground && name("treatment") ? say("papers.on_site", { site: ground }) : ground].filter(Boolean).join(" ");
  const sprayer = setup.sprayer;
  const figures = say("papers.figures", { swath: formatQuantity(sprayer.swath_m, "length", set), tank: formatQuantity(sprayer.tank_l, "volume", set) });
  const limit = setup.treatment.wind_limit_stated;
  return [
    what ? `${what}, ${formatQuantity(setup.treatment.target_l_per_m2, "rate", set)}${limit ? say("papers.wind_limit", { limit }) : ""}.` : null,
    name("sprayer") ? say("papers.with_sprayer", { sprayer: name("sprayer"), figures }) : null,
    due?.is_due ? sayLitres(due.sentence, set) : null,
    name("operator") ? say("papers.by", { operator: name("operator"), whom: name("customer") ? say("papers.for", { customer: name("customer") }) : "" }) : null,
  ].filter(Boolean);
}

/** A choice from papers, so that a form begins with them. */
export function choiceOf(papers) {
  const choice = Object.fromEntries(ROLES.filter((role) => papers[role]).map((role) => [role, papers[role].number]));
  if (papers.zones?.length > 0) choice.zones = papers.zones;
  if (papers.fill) choice.fill = papers.fill;
  return choice;
}

/** The zones that can be chosen: those of the site, and only the treatment's where it names some. */
export function zonesToChoose(site, treatment) {
  const all = (site?.card.zones ?? []).filter(({ kind }) => kind === "zone").map(({ name }) => name);
  const planned = treatment?.card.zones ?? [];
  return planned.length > 0 ? all.filter((name) => planned.includes(name)) : all;
}

/** The jobs, the newest first, later parts under the job that they belong to. */
export function groupParts(jobs) {
  const numbers = new Set(jobs.map(({ id }) => id));
  const isLater = (job) => job.part_of !== null && job.part_of !== undefined && numbers.has(job.part_of);
  const partsOf = (id) => jobs.filter((job) => isLater(job) && job.part_of === id).sort((a, b) => a.id - b.id);
  return jobs.filter((job) => !isLater(job)).flatMap((job) => [{ job, isPart: false }, ...partsOf(job.id).map((part) => ({ job: part, isPart: true }))]);
}

/** That the next job, with the same treatment, is chosen with another sprayer than the sheet is made for. */
export function tellOtherSprayer(sheet, papers, treatment) {
  const next = papers?.sprayer?.name;
  if (!next || next === sheet.sprayer || papers.treatment?.number !== treatment) return "";
  return say("papers.other_sprayer", { sprayer: sheet.sprayer, next });
}
