// What of the wind's history is looked at: a period, a source, its steps. What is shown changes only with an answer.

import { besides, chooseStep, periodAround, stepsOf, zoneOf } from "./core/past.js";

const now_s = () => Date.now() / 1000;

export class Past extends EventTarget {
  period = periodAround("day", now_s());
  wanted = this.period; // asked for, and not yet shown
  sources = [];
  steps = [];
  #number = null;
  #feed;
  #roomOf;
  #asked = 0;
  #isNamed = true;
  #isFirst = true;
  #isLeft = false;

  /** `roomOf()` tells how many pixels wide the drawing is. */
  constructor(feed, roomOf) {
    super();
    this.#feed = feed;
    this.#roomOf = roomOf;
  }

  /** The source looked at, null where there is none. */
  get source() {
    return this.sources.find(({ id }) => id === this.#number) ?? null;
  }

  /** The last instant of which the source knows anything, else now. */
  get lastKnown_s() {
    return this.source?.to_utc ? this.source.to_utc - 1 : now_s();
  }

  /** Whether a period lies wholly before now. */
  get hasLater() {
    return this.wanted.to_s <= now_s();
  }

  /** Look at a period. */
  goTo(period) {
    this.wanted = period;
    this.#tell("wanted");
    return this.load();
  }

  /** Look at the period before (-1) or after (1). */
  step(direction) {
    return direction > 0 && !this.hasLater ? null : this.goTo(besides(this.wanted, direction));
  }

  /** Look at another source, where it knows something. */
  choose(number) {
    this.#number = number;
    this.#isFirst = false;
    const { source, wanted } = this;
    const isBeside = source !== null && (source.to_utc <= wanted.from_s || source.from_utc >= wanted.to_s);
    return isBeside ? this.goTo(periodAround(wanted.span, this.lastKnown_s)) : this.load();
  }

  /** Ask the service; tells `shown` when it has answered, `failed` with the problem when not. */
  async load() {
    const [number, period] = [this.#asked += 1, this.wanted];
    try {
      const answer = await this.#read(period, chooseStep(period, this.#roomOf()));
      if (number === this.#asked && !this.#isLeft) await this.#take(answer, period);
    } catch (problem) {
      if (number !== this.#asked || this.#isLeft) return;
      this.wanted = this.period;
      this.dispatchEvent(Object.assign(new Event("failed"), { problem }));
    }
  }

  /** Answers that still come are no longer wanted. */
  leave() {
    this.#isLeft = true;
  }

  async #take(answer, period) {
    this.sources = answer.sources;
    if (this.source === null) this.#number = [...this.sources].sort((a, b) => (b.to_utc ?? 0) - (a.to_utc ?? 0))[0]?.id ?? null;
    const isEmpty = this.source !== null && this.source.to_utc !== null && this.source.to_utc <= period.from_s;
    if (this.#isFirst && isEmpty) { // open where something is
      this.#isFirst = false;
      await this.goTo(periodAround(period.span, this.lastKnown_s));
      return;
    }
    if (this.source !== null) this.#isFirst = false;
    this.period = period;
    this.steps = stepsOf(answer.series.find(({ source }) => source === this.#number), period);
    this.#tell("shown");
  }

  async #read(period, step_s) {
    const query = new URLSearchParams({ from: period.from_s, to: period.to_s, step: step_s, zone: zoneOf(period.from_s, this.#isNamed) });
    try {
      return await this.#feed.ask(`/history?${query}`);
    } catch (problem) {
      if (problem.key !== "zone" || !this.#isNamed) throw problem;
      this.#isNamed = false; // the service's machine does not know the zone: the offset of that day will do
      return this.#read(period, step_s);
    }
  }

  #tell(what) {
    this.dispatchEvent(new Event(what));
  }
}
