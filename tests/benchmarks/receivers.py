"""The help page's plots and tables of what each class of receiver tells, from measured runs.

Run: python tests/benchmarks/receivers.py, which reads beside it receivers.jsonl, that `accuracy.py --json` wrote for
several swaths, and mower.jsonl, that `mower.py --json` wrote. Writes the plots, by day and by night, both tables
between their marks in the dashboard's help page, and what the dashboard says of a receiver before the job.
"""

import io
import json
import re
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure

HELP = Path(__file__).resolve().parents[2] / "server/dashboard/help"
HERE = Path(__file__).resolve().parent
TOLD = HELP.parent / "core/receivers.js"
RUNS, MOWER = HERE / "receivers.jsonl", HERE / "mower.jsonl"
FOOT_M = 0.3048
CLASSES = {
    "poor": "plain, poor sky",
    "ordinary": "plain, ordinary",
    "clean": "plain, clean velocity",
    "differential": "differential",
    "float": "float",
    "fixed": "fixed",
}
"""The simulator's classes as the help page calls them."""
VERDICTS = {"gap": "told as missed", "unsure": "told as not sure", "even": "wrongly told as even"}


@dataclass(frozen=True)
class Look:
    """Colours of one scheme: paper, ink, rule, and one for each verdict."""

    paper: str
    ink: str
    rule: str
    gap: str
    unsure: str
    even: str


LOOKS = {
    "day": Look("#faf7ef", "#14201f", "#b9b5a4", "#0b4a63", "#f1ecdd", "#7d1a0c"),
    "night": Look("#111918", "#f3efe2", "#43504d", "#a7d3e8", "#1d2725", "#ffb39f"),
}
HATCHES = {"gap": "", "unsure": "..", "even": "xx"}


def read_runs(file: Path) -> dict[tuple[str, float], dict[str, Any]]:
    """The runs by class and swath."""
    rows = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return {(row["class"], row["swath_m"]): row for row in rows}


def share_of(row: dict[str, Any], verdict: str) -> float:
    """The share of strips left out that got a verdict; a doubled one counts as wrongly even."""
    counts, kind = row["counts"], "planned gap"
    words = ("even", "doubled") if verdict == "even" else (verdict,)
    return float(sum(counts[f"{kind}: {word}"] for word in words) / counts[kind])


def draw_strips(runs: dict[tuple[str, float], dict[str, Any]], look: Look) -> Figure:
    """For each class a panel, for each swath a bar: what is said of strips that were left out."""
    sheet = Figure(figsize=(5.0, 6.4), layout="constrained", facecolor=look.paper)
    panels = sheet.subplots(3, 2, sharex=True, sharey=True).flat
    for axes, (klass, name) in zip(panels, CLASSES.items(), strict=True):
        swaths = sorted(swath for other, swath in runs if other == klass)
        floor = [0.0] * len(swaths)
        for verdict in VERDICTS:
            tall = [100.0 * share_of(runs[klass, swath], verdict) for swath in swaths]
            axes.bar(
                range(len(swaths)),
                tall,
                bottom=floor,
                color=getattr(look, verdict),
                edgecolor=look.ink,
                hatch=HATCHES[verdict],
                linewidth=0.6,
                label=VERDICTS[verdict],
            )
            floor = [low + more for low, more in zip(floor, tall, strict=True)]
        axes.set_xticks(range(len(swaths)), [f"{swath:g}" for swath in swaths])
        axes.set_title(name, fontsize=10, color=look.ink)
        dress(axes, look)
    sheet.supxlabel("swath, m", fontsize=10, color=look.ink)
    sheet.supylabel("strips left out, %", fontsize=10, color=look.ink)
    handles, labels = sheet.axes[0].get_legend_handles_labels()
    sheet.legend(handles, labels, loc="outside upper center", ncols=2, fontsize=9, frameon=False, labelcolor=look.ink)
    return sheet


def draw_spacings(runs: dict[tuple[str, float], dict[str, Any]], look: Look) -> Figure:
    """How far the told distance of neighbouring passes is off, class by class, beside what a verdict needs."""
    sheet = Figure(figsize=(5.0, 3.2), layout="constrained", facecolor=look.paper)
    axes = sheet.subplots()
    for place, klass in enumerate(CLASSES):
        row = runs[klass, 1.0]
        axes.barh(place, 100.0 * row["spacing_rms_m"], color=look.gap, edgecolor=look.ink, linewidth=0.6)
        axes.text(100.0 * row["spacing_rms_m"] + 1.0, place, f"{100.0 * row['spacing_rms_m']:.0f}", va="center",
                  fontsize=9, color=look.ink)  # fmt: skip
    axes.set_yticks(range(len(CLASSES)), list(CLASSES.values()))
    axes.invert_yaxis()
    axes.set_xlabel("error of the distance between passes, rms, cm", fontsize=10, color=look.ink)
    dress(axes, look)
    return sheet


def dress(axes: Axes, look: Look) -> None:
    """Give a panel the page's colours."""
    axes.set_facecolor(look.paper)
    axes.tick_params(colors=look.ink, labelsize=9)
    for side in axes.spines.values():
        side.set_color(look.rule)


def save_svg(sheet: Figure) -> bytes:
    """The plot as an SVG whose words are text, the same bytes each time."""
    picture = io.BytesIO()
    # Words as text: the reader's fonts draw them, and a search finds them.
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": "calmpass", "font.family": "sans-serif"}):
        sheet.savefig(picture, format="svg", metadata={"Date": None, "Creator": None}, facecolor=sheet.get_facecolor())
    return picture.getvalue()


def write_table(runs: dict[tuple[str, float], dict[str, Any]]) -> str:
    """The table's rows: for each swath and class missed strips found, not sure, wrongly even; false alarms a job."""
    rows = []
    for swath in sorted({swath for _, swath in runs}):
        tried = runs["fixed", swath]["counts"]["planned gap"]
        head = f"Swath {swath:g} m ({swath / FOOT_M:.1f} ft): {tried} strips a class"
        rows.append(f'<tr class="group"><th scope="rowgroup" colspan="5">{head}</th></tr>')
        for klass, name in CLASSES.items():
            row = runs[klass, swath]
            cells = [f"{100.0 * share_of(row, verdict):.0f}\u00a0%" for verdict in VERDICTS]
            cells.append(f"{row['counts']['false gaps'] / row['jobs']:.2f}")
            rows.append(f'<tr><th scope="row">{escape(name)}</th>{write_cells(cells)}</tr>')
    return "\n".join(rows)


def write_told(runs: dict[tuple[str, float], dict[str, Any]]) -> str:
    """The dashboard's module: by class and swath how many of the strips left out were told."""
    lines = [
        "// Of strips left out in simulated jobs, how many were told: by class and swath in metres, [told, tried].",
        "// Written by tests/benchmarks/receivers.py from the runs behind the help page; not by hand.",
        "",
        "export const TOLD = {",
    ]
    for klass in CLASSES:
        cells = []
        for swath in sorted(swath for other, swath in runs if other == klass):
            counts = runs[klass, swath]["counts"]
            cells.append(f"[{swath:g}, {counts['planned gap: gap']}, {counts['planned gap']}]")
        lines.append(f"  {klass}: [{', '.join(cells)}],")
    return "\n".join([*lines, "};", ""])


def write_mower_table(file: Path) -> str:
    """The rows of the recorded way: what was said where a strip was missed and where none was; distances off."""
    rows = []
    for line in file.read_text(encoding="utf-8").splitlines():
        row = json.loads(line)
        missed, half, beside = (
            {word: row["counts"].get(f"{kind}: {word}", 0) for word in ("gap", "unsure", "even", "doubled")}
            for kind in ("missed", "between", "beside")
        )
        cells = [
            f"{missed['gap']} / {missed['unsure']} / {missed['even'] + missed['doubled']}",
            f"{half['gap']} / {half['unsure']} / {half['even'] + half['doubled']}",
            f"{beside['even'] + beside['doubled']} / {beside['unsure']} / {beside['gap']}",
            f"{100.0 * row['median_error_m']:.0f}\u00a0cm",
        ]
        rows.append(f'<tr><th scope="row">{escape(CLASSES[row["class"]])}</th>{write_cells(cells)}</tr>')
    return "\n".join(rows)


def write_cells(cells: list[str]) -> str:
    """A row's cells."""
    return "".join(f"<td>{cell}</td>" for cell in cells)


def put_between(page: str, mark: str, text: str) -> str:
    """The page with what stands between two marks replaced."""
    found, count = re.subn(
        rf"(<!-- {mark} -->\n).*?(<!-- end of {mark} -->)", lambda part: f"{part[1]}{text}\n{part[2]}", page, flags=re.S
    )
    if count != 1:
        raise ValueError(f"the help page must have the marks of {mark} once")
    return found


def main() -> None:
    """Read the runs, write plots and table."""
    runs = read_runs(RUNS)
    for scheme, look in LOOKS.items():
        (HELP / f"strips-{scheme}.svg").write_bytes(save_svg(draw_strips(runs, look)))
        (HELP / f"spacings-{scheme}.svg").write_bytes(save_svg(draw_spacings(runs, look)))
    TOLD.write_text(write_told(runs), encoding="utf-8")
    page = HELP / "index.html"
    text = put_between(page.read_text(encoding="utf-8"), "table", write_table(runs))
    page.write_text(put_between(text, "mower", write_mower_table(MOWER)), encoding="utf-8")


if __name__ == "__main__":
    main()
