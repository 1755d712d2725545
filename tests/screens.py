"""Screens to look at pages on, and what is measured on them: contrast, sizes of what is pressed, width."""

SIZES = {"phone": (390, 844), "laptop": (1440, 900)}
MEASURE = """() => {
  const rgb = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
  const light = ([r, g, b]) => {
    const part = (v) => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  };
  const ground = (node) => {
    for (let at = node; at; at = at.parentElement) {
      const colour = rgb(getComputedStyle(at).backgroundColor);
      if (colour.length === 3 || colour[3] > 0.99) return colour;
    }
    return [255, 255, 255];
  };
  const faint = [], small = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || !node.checkVisibility({checkVisibilityCSS: true})) continue;
    if (node.closest('[disabled], [aria-disabled="true"], script, style, option')) continue;
    const style = getComputedStyle(node);
    const [a, b] = [light(rgb(style.color)), light(ground(node))].sort((x, y) => y - x);
    const wanted = parseFloat(style.fontSize) >= 24 ? 3 : 4.5;
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < wanted) faint.push(`${node.textContent.slice(0, 30)} ${ratio.toFixed(2)}`);
  }
  for (const node of document.querySelectorAll('button, select, input, nav a')) {
    const box = node.getBoundingClientRect();
    const what = `${node.tagName} ${node.textContent.slice(0, 20)} ${box.width}x${box.height}`;
    if (box.width > 0 && (box.height < 47.5 || box.width < 47.5)) small.push(what);
  }
  return {faint, small, wide: document.documentElement.scrollWidth - innerWidth};
}"""
