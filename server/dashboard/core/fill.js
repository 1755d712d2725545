// The mix sheet and the tank in words and in the units that people chose; nothing here knows the page.

import { formatFixed, formatNumber, formatQuantity, formatSpan, formatSpeed, UNKNOWN } from "./format.js";
import { say } from "./say.js";
import { FIRST_SET, GALLON_L, convert, isCustomary, writeUnit } from "./units.js";

const POUND_KG = 0.45359237;
const SMALL = {
  metric: { volume: [["mL", 1000], ["L", 1]], mass: [["g", 1000], ["kg", 1]] },
  customary: { volume: [["fl oz", 128 / GALLON_L], ["gal", 1 / GALLON_L]], mass: [["oz", 16 / POUND_KG], ["lb", 1 / POUND_KG]] },
};
const TOOLS = {
  jug: say("fill.jug"), cup: say("fill.cup"), syringe: say("fill.syringe"), "fine syringe": say("fill.fine_syringe"), scale: say("fill.scale"),
  "kitchen scale": say("fill.kitchen_scale"), "fine scale": say("fill.fine_scale"),
};
const SEVERITIES = { refuse: say("fill.refuse"), ask: say("fill.ask"), tell: say("fill.tell") };

/** An amount to be measured out: three digits in the unit that people measure with. Litres, or kilograms of a mass. */
export function writeAmount(value, set, isMass = false) {
  if (value === null || value === undefined || !Number.isFinite(value)) return UNKNOWN;
  const units = SMALL[isCustomary(set) ? "customary" : "metric"][isMass ? "mass" : "volume"];
  const [unit, factor] = units.findLast(([, each]) => Number((value * each).toPrecision(3)) >= 1) ?? units[0];
  return `${formatNumber(Number((value * factor).toPrecision(3)))}\u00a0${unit}`;
}

function factorLike(litres, set) {
  const units = SMALL[isCustomary(set) ? "customary" : "metric"].volume;
  return (units.findLast(([, each]) => Number((litres * each).toPrecision(3)) >= 1) ?? units[0])[1];
}

const NUMBER = String.raw`-?\d[\d,]*(?:\.\d+)?`;
const REFUSED = [["L\\b(?!/)", "volume"], ["m²", "area"], ["L/min", "flow"]].map(([unit, quantity]) => [
  new RegExp(`(?:(${NUMBER}) to )?(${NUMBER}) ${unit}`, "g"), quantity]);

/** A sentence of the service with its litres as people measure them: 3.00 fl oz, 88.7 mL. */
export function sayLitres(sentence, set) {
  return sentence.replace(new RegExp(`(${NUMBER}) L\\b(?!/)`, "g"), (_, litres) => writeAmount(Number(litres.replaceAll(",", "")), set));
}

/** Why the service refused, its litres and areas in the chosen units, without the field's name before it. */
export function tellRefusal({ detail, message, key }, set) {
  const sentence = detail ?? message;
  const words = key && sentence.startsWith(`${key}: `) ? sentence.slice(key.length + 2) : sentence;
  const write = (number, quantity) => formatQuantity(Number(number.replaceAll(",", "")), quantity, set);
  const told = REFUSED.reduce((text, [pattern, quantity]) => text.replace(pattern, (_, least, most) =>
    least === undefined ? write(most, quantity) : say("cards.from_to", { from: write(least, quantity), to: write(most, quantity) })), words);
  return told.charAt(0).toUpperCase() + told.slice(1);
}

/** With what an amount is measured, and that it is too small for it. */
export function wordsOfTool(amount, set) {
  const tool = TOOLS[amount.tool] ?? amount.tool;
  const isFine = isCustomary(set) && /syringe|fine scale/.test(amount.tool); // these are marked in mL and g everywhere
  const marks = isFine ? FIRST_SET : set;
  const step = writeAmount(amount.tool_step, marks, amount.is_weighed).replace(/(\.\d*?)0+(?=\u00a0)/, "$1").replace(/\.(?=\u00a0)/, "");
  if (amount.is_too_coarse) return say("fill.too_small", { tool, step });
  if (!isFine) return say(amount.is_weighed ? "fill.weigh" : "fill.measure", { tool, step });
  const there = writeAmount(amount.is_weighed ? amount.mass_kg : amount.volume_l, marks, amount.is_weighed);
  return say(amount.is_weighed ? "fill.weigh_there" : "fill.measure_there", { tool, there, step });
}

/** One filling in the order of the work: half the water, each product, the rest of the water. */
export function stepsOf(load, set) {
  const water = (litres) => writeAmount(litres, set);
  if (load.amounts.length === 0) {
    return [{ what: say("fill.water"), figure: water(load.carrier_l), remark: say("fill.clean_only") }];
  }
  const products = load.amounts.map((amount, place) => ({
    what: amount.name,
    figure: writeAmount(amount.is_weighed ? amount.mass_kg : amount.volume_l, set, amount.is_weighed),
    remark: [wordsOfTool(amount, set), place === 0
      ? say("fill.concentrate") : say("fill.stir")].join(" "),
  }));
  return [
    { what: say("fill.half_water"), figure: water(load.first_carrier_l), remark: say("fill.hose") },
    ...products,
    { what: say("fill.rest_water"), figure: water(load.rest_carrier_l), remark: say("fill.shake") },
  ];
}

/** The loads of a sheet with their titles and numbers: full tanks together, the last one by itself. */
export function loadsOf(sheet) {
  const found = [];
  if (sheet.full !== null) {
    const numbers = Array.from({ length: sheet.full_count }, (_, place) => place + 1);
    const title = say("fill.full_tanks", { n: sheet.full_count });
    found.push({ title, load: sheet.full, numbers });
  }
  if (sheet.last !== null) {
    const number = sheet.full_count + 1;
    found.push({ title: sheet.full_count === 0 ? say("fill.one_tank") : say("fill.last_tank", { number }), load: sheet.last, numbers: [number] });
  }
  return found;
}

const VERDICTS = {
  walkable: "",
  "too slow": say("fill.too_slow"),
  "too fast": say("fill.too_fast"),
};

const ORIGINS = { typed: say("fill.as_typed"), catch: say("fill.by_catch"), nozzle: say("fill.by_nozzle") };

/** How to walk: the seconds for the course that people pace out, and what is said with it. */
export function tellWalk(sheet, set) {
  const { walk } = sheet;
  if (walk === null) return null;
  const seconds = isCustomary(set) ? walk.seconds_per_100_ft : walk.seconds_per_10_m;
  const flow = formatQuantity(walk.flow_l_per_min, "flow", set);
  const origin = ORIGINS[walk.flow_origin] ?? "";
  const ways = walk.directions === 2 ? ` ${say("fill.twice")}` : "";
  return {
    figure: `${formatFixed(seconds, 1)}\u00a0s`,
    what: isCustomary(set) ? say("fill.each_100_ft") : say("fill.each_10_m"),
    remark: `${say("fill.pace", { pace: formatSpeed(walk.pace_mps, set), flow, origin, swath: formatQuantity(walk.swath_m, "length", set) })}${ways}`,
    verdict: VERDICTS[walk.verdict] ?? walk.verdict,
  };
}

/** How many passes, and how many of them a full tank lasts. */
export function tellPasses(sheet) {
  if (sheet.passes === null) return "";
  const each = sheet.full_count >= 1 ? ` ${say("fill.passes_a_tank", { count: formatNumber(sheet.passes_a_tank, 2) })}` : "";
  return `${say("fill.passes", { n: sheet.passes })}${each}`;
}

/** Where the last tank would hardly be worth mixing: as many tanks, all alike; null where it is. */
export function evenOut(sheet) {
  if (!sheet.cautions.some(({ what }) => what === "a small last load")) return null;
  const count = sheet.full_count + 1;
  return { count, each_l: sheet.total.mix_l / count };
}

/** A caution of the mix in one sentence. */
export function tellCaution({ what, subject, value, least, most }, set) {
  const rate = (number) => formatQuantity(number, "rate", set);
  if (what === "a strong mix") return say("fill.strong_mix", { subject, percent: formatFixed(100 * value, 0) });
  if (what === "a small last load") return say("fill.small_last", { amount: writeAmount(value, set) });
  if (what === "too small to measure") return say("fill.too_little", { subject });
  if (what.includes("carrier")) return say("fill.carrier", { rate: rate(value), what, least: rate(least), most: rate(most) });
  return `${subject}: ${what}.`;
}

/** The word that stands before an objection. */
export function wordOfSeverity(severity) {
  return SEVERITIES[severity] ?? severity;
}

/** What is in the tank, how sure, and how far it goes. */
export function tellTank(tank, set) {
  const left = writeAmount(tank.left_l, set);
  const sd = tank.is_assumed ? "" : ` ± ${formatNumber(2 * tank.left_sd_l * factorLike(tank.left_l, set), 2)}`;
  const reach = formatQuantity(tank.treats_m2, "area", set);
  const undone = tank.area_left_m2 === null ? "" : ` ${say("fill.left_to_do", { area: formatQuantity(tank.area_left_m2, "area", set) })}`;
  const lines = [`${say("fill.enough", { area: reach })}${undone}`];
  if (tank.is_assumed) lines.push(say("fill.assumed"));
  if (tank.is_contradiction) lines.push(say("fill.contradiction"));
  return { figure: left.replace("\u00a0", `${sd}\u00a0`), lines };
}

/** What a live snapshot says of the tank, in the form of the service's own answer. */
export function tankOfSnapshot(snapshot) {
  const target = snapshot.target_l_per_m2;
  return {
    left_l: snapshot.tank_left_l, left_sd_l: snapshot.tank_left_sd_l ?? 0, is_assumed: snapshot.is_tank_assumed ?? false,
    is_contradiction: false, treats_m2: target > 0 ? snapshot.tank_left_l / target : null, area_left_m2: snapshot.area_left_m2 ?? null,
  };
}

/** A fill in one line. */
export function tellFill(fill, set) {
  const what = fill.added_l === undefined ? say("fill.holds", { amount: writeAmount(fill.holds_l, set) }) : say("fill.filled_in", { amount: writeAmount(fill.added_l, set) });
  return fill.load === undefined ? what : say("fill.tank_of_sheet", { what, number: fill.load });
}

function countLoads(mix) {
  return mix === null ? 0 : mix.full_count + (mix.last === null ? 0 : 1);
}

/** After a stop: the way with fewer fills, its lines, and the loads to mix with their titles. */
export function tellRest(rest, set) {
  const area = (value) => formatQuantity(value, "area", set);
  const amount = (mix) => writeAmount(mix.total.mix_l, set);
  const lines = [say("fill.rest_treats", { amount: writeAmount(rest.tank_left_l, set), area: area(rest.treats_m2), left: area(rest.area_left_m2) })];
  if (rest.sheet === null) {
    lines.push(rest.surplus_l > 0.005 ? say("fill.mix_no_more_over", { amount: writeAmount(rest.surplus_l, set) }) : say("fill.mix_no_more"));
    return { lines, loads: [] };
  }
  const isTopUp = rest.top_up !== null && 1 + countLoads(rest.after) <= countLoads(rest.sheet);
  const later = isTopUp ? rest.after : rest.sheet;
  if (!isTopUp) lines.push(say("fill.spray_then_mix", { amount: amount(later) }));
  else if (later === null) lines.push(say("fill.top_up_all", { amount: writeAmount(rest.top_up.mix_l, set) }));
  else lines.push(say("fill.top_up_later", { amount: writeAmount(rest.top_up.mix_l, set), later: amount(later) }));
  const loads = [[say("fill.top_up"), isTopUp ? rest.top_up : null], [say("fill.full_tanks_rest", { n: later?.full_count > 1 ? later.full_count : 1 }), later?.full ?? null],
    [say("fill.the_last_tank"), later?.last ?? null]].filter(([, load]) => load !== null);
  return { lines, loads: loads.map(([title, load]) => ({ title, load, numbers: [] })) };
}

/** The address of a sheet, from what was chosen; numbers are in SI already, null where nothing was typed. */
export function addressOfSheet(number, choice, today) {
  const query = new URLSearchParams({ today });
  for (const key of ["sprayer", "area_m2", "fill_l", "spare_l", "flow_l_per_min", "is_even"]) {
    if (![null, undefined, false].includes(choice[key])) query.set(key, String(choice[key]));
  }
  for (const zone of choice.zones ?? []) query.append("zones", zone);
  return `/treatments/${number}/sheet?${query}`;
}

/** Where the rest of a job's mix is asked for. */
export function addressOfRest(job) {
  return `/jobs/${job}/rest`;
}

/** How long the way on the passes takes at the pace told. */
export function tellTime(sheet) {
  return sheet.walk === null ? "" : say("fill.time", { span: formatSpan(sheet.way_m / sheet.walk.pace_mps) });
}

/** A wind limit of a mix in words. */
export function tellWindLimit(wind, set) {
  if (wind === null) return "";
  const how = [wind.averaging_s === null ? "" : say("fill.wind_over", { span: formatSpan(wind.averaging_s) }),
    wind.height_m === null ? "" : say("fill.wind_at", { height: formatQuantity(wind.height_m, "length", set) })].filter(Boolean).join(", ");
  return say(how === "" ? "fill.wind" : "fill.wind_how", { limit: wind.limit_stated, how, subject: wind.subject });
}

/** A quantity as it was entered. */
export function tellStated({ value, unit }) {
  return `${formatNumber(value, 4).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "")}\u00a0${writeUnit(unit)}`;
}

/** The ground of a sheet: its area, how sure, and which zones. */
export function tellGround(sheet, set) {
  const sd = sheet.area_sd_m2 > 0 ? ` ± ${formatQuantity(2 * sheet.area_sd_m2, "area", set, 2)}` : "";
  const names = sheet.zones.map(({ name }) => name).join(", ");
  const whole = convert(sheet.area_m2, "area", set) === null ? UNKNOWN : `${formatQuantity(sheet.area_m2, "area", set, 4)}${sd}`;
  return names === "" ? say("fill.ground_typed", { area: whole }) : `${whole}: ${names}`;
}
