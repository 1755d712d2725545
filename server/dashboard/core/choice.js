// The pass that is looked at: chosen in one drawing, seen in all of them.

/** Keeps the chosen pass of a job, or null; says "change" when it becomes another. */
export class Choice extends EventTarget {
  #passes;

  constructor(passes) {
    super();
    this.#passes = passes;
    this.pass = null;
  }

  /** How many passes there are to choose from. */
  get count() {
    return this.#passes.length;
  }

  /** Which of them is chosen, counted from one; 0 where none is. */
  get place() {
    return this.#passes.indexOf(this.pass) + 1;
  }

  /** Choose a pass; the one that is chosen already is let go, and so is one that there is not. */
  take(pass) {
    const wanted = this.#passes.includes(pass) && pass !== this.pass ? pass : null;
    if (wanted === this.pass) return;
    this.pass = wanted;
    this.dispatchEvent(new Event("change"));
  }

  /** Go so many passes on, from the first or the last where none is chosen; it stays within them. */
  step(by) {
    if (this.#passes.length === 0) return;
    const last = this.#passes.length - 1;
    const place = this.pass === null ? (by > 0 ? 0 : last) : Math.min(last, Math.max(0, this.#passes.indexOf(this.pass) + by));
    if (this.#passes[place] !== this.pass) this.take(this.#passes[place]);
  }
}
