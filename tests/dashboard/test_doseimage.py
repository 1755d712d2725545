"""A dose that is painted piece by piece as it comes looks like one that is painted at once."""

from playwright.sync_api import Browser

PAINT = """async ([scale, ratio]) => {
  const {DoseImage} = await import('/draw/doseimage.js');
  const {emptyDose, patchDose} = await import('/core/dose.js');
  const frame = {x0_m: -1.3, y0_m: 0.7, cell_m: 0.1, nx: 60, ny: 50};
  const ink = {scheme: 'light', paper: '#ffffff'};
  const view = {px_per_m: scale, left_px: 30.3, top_px: 290.7};
  const makeContext = () => {
    const canvas = Object.assign(document.createElement('canvas'), {width: 300 * ratio, height: 300 * ratio});
    const context = canvas.getContext('2d');
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    return context;
  };
  const read = (context) => context.getImageData(0, 0, 300 * ratio, 300 * ratio).data;
  const [piecewise, whole] = [makeContext(), makeContext()];
  const growing = new DoseImage();
  let dose = patchDose(emptyDose(), {reset: true, ...frame, cells: [], l_per_m2: []});
  for (let step = 0; step < 40; step += 1) {
    const cells = [], l_per_m2 = [];
    for (let k = 0; k < 70; k += 1) {
      const cell = (step % 12) * 3 + (k % 10) + 60 * (step + Math.floor(k / 10));
      cells.push(cell);
      l_per_m2.push((dose.l_per_m2[cell] ?? 0) + 0.013);
    }
    dose = patchDose(dose, {reset: false, ...frame, cells, l_per_m2});
    if (step % 3 === 1) continue;
    piecewise.clearRect(0, 0, 300, 300);
    growing.draw(piecewise, view, dose, 0.02, ink);
  }
  new DoseImage().draw(whole, view, dose, 0.02, ink);
  const [a, b] = [read(piecewise), read(whole)];
  let differing = 0, painted = 0;
  const colours = new Set();
  for (let at = 0; at < a.length; at += 4) {
    painted += b[at + 3] > 0;
    colours.add(b.slice(at, at + 3).join());
    differing += [0, 1, 2, 3].some((part) => Math.abs(a[at + part] - b[at + part]) > 2);
  }
  return {differing, painted, colours: colours.size};
}"""


def test_a_dose_painted_piece_by_piece_looks_like_one_painted_at_once(browser: Browser, files: str) -> None:
    page = browser.new_page()
    page.goto(f"{files}/help/")
    for scale, ratio in ((37.0, 1), (7.31, 1), (43.7, 2)):
        found = page.evaluate(PAINT, [scale, ratio])
        assert found["differing"] == 0, found
        assert found["painted"] > 500
        assert found["colours"] > 3
