// When words that change with the picture are read out: at once where they say another thing, seldom where only a figure moved.

const SPAN_MS = 20_000;
const MOST = 2; // so often in such a span: who listens has to hear what else is said
const FIGURES_MS = 60_000;
const FIGURE = /\d+([.,:]\d+)*/g;

/** Nothing was said yet. */
export function beginSpoken() {
  return { text: "", said_ms: [] };
}

/** What is said from now on; the same as before where the text has to wait or is said already. */
export function speak(spoken, text, now_ms) {
  const lately = spoken.said_ms.filter((at_ms) => now_ms - at_ms < SPAN_MS);
  if (text === spoken.text || lately.length >= MOST) return spoken;
  const isSame = text.replace(FIGURE, "") === spoken.text.replace(FIGURE, "");
  if (isSame && now_ms - spoken.said_ms.at(-1) < FIGURES_MS) return spoken;
  return { text, said_ms: [...lately, now_ms] };
}
