"""map.png: what each piece of ground got, the passes that laid it, and where to look again."""

from typing import TYPE_CHECKING

import numpy as np

from server.core.coverage import COVERED_FRACTION
from server.core.log import Floats
from server.core.passes import PassSpan
from server.core.polygons import rings_from_zone
from server.core.results import DoseMap, JobResult, Pass
from server.core.seams import lay_seams
from server.core.setup import Setup
from server.exports.colours import ACCENT, INK, LAWN, PAPER, SOFT, TOP_SHARE, colour_shares
from server.exports.unitsets import UnitSet

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_CELLS = 900
"""Larger grids are averaged in blocks: a picture shows no more."""
UNSURE_SHARE = 0.3
"""A dose is marked as unsure where its standard deviation is more than this share of the target."""
MARGIN_SHARE = 0.06
HATCHES = {"missed": "||", "doubled": "xx", "off_target": "\\\\", "keep_out": "///"}
"""As on the page: upright lines, crosses and slants."""
WORDS = {
    "missed": "missed", "doubled": "doubled", "off_target": "off target", "keep_out": "on ground to keep dry",
}  # fmt: skip
_SCALE_BARS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)


def draw_map(sheet: "Figure", result: JobResult, setup: Setup, units: UnitSet) -> None:
    """Draw the map with its title, its legend and its scale."""
    axes = sheet.add_subplot()
    axes.set_facecolor(PAPER)
    _draw_ground(axes, result, setup)
    _draw_doses(axes, result.dose, setup)
    _draw_findings(axes, result)
    _draw_seams(axes, result, setup)
    _draw_passes(axes, result)
    _frame_map(axes, result, setup, units)
    _add_scale(sheet, axes, setup, units)
    _add_words(axes, result, setup, units)


def average_blocks(values: Floats, size: int) -> Floats:
    """Means over blocks of cells; those at the upper edges over what there is, NaN where a block has nothing known."""
    ny, nx = values.shape
    high, wide = -(-ny // size) * size, -(-nx // size) * size
    padded = np.full((high, wide), np.nan)
    padded[:ny, :nx] = values
    blocks = padded.reshape(high // size, size, wide // size, size)
    count = np.isfinite(blocks).sum(axis=(1, 3))
    sums = np.nansum(blocks, axis=(1, 3))
    return np.asarray(np.divide(sums, count, out=np.full(count.shape, np.nan), where=count > 0))


def _draw_ground(axes: "Axes", result: JobResult, setup: Setup) -> None:
    """The lawn and what in it is to be kept dry."""
    for zone in setup.zones:
        is_lawn = zone.kind == "zone"
        for ring in rings_from_zone(zone, plane=result.plane):
            axes.fill(ring[:, 0], ring[:, 1], facecolor=LAWN if is_lawn else PAPER, edgecolor="none", zorder=1)
            closed = np.concatenate([ring, ring[:1]])
            style = "solid" if is_lawn else (0, (4, 2))
            axes.plot(closed[:, 0], closed[:, 1], color=INK, linewidth=1.4, linestyle=style, zorder=6)


def _draw_doses(axes: "Axes", dose: DoseMap, setup: Setup) -> None:
    """Each block's dose in its colour, dotted where unsure; nothing where less than a tenth of the target lies."""
    target = setup.treatment.target_l_per_m2
    size = max(1, -(-max(dose.dose_l_per_m2.shape) // MOST_CELLS))
    share = average_blocks(dose.dose_l_per_m2 / target, size)
    doubt = average_blocks(dose.sd_l_per_m2 / target, size)
    ny, nx = share.shape
    step = size * dose.cell_m
    extent = (dose.x0_m, dose.x0_m + nx * step, dose.y0_m, dose.y0_m + ny * step)
    picture = np.concatenate([colour_shares(np.nan_to_num(share)), (share > COVERED_FRACTION)[..., None]], axis=2)
    axes.imshow(picture, origin="lower", extent=extent, interpolation="nearest", zorder=2)
    unsure = np.asarray(np.nan_to_num(doubt) > UNSURE_SHARE, dtype=float)
    if unsure.any() and min(unsure.shape) > 1:
        middles = [low + step * (np.arange(count) + 0.5) for low, count in ((dose.x0_m, nx), (dose.y0_m, ny))]
        marked = axes.contourf(*middles, unsure, levels=[0.5, 1.5], colors="none", hatches=[".."], zorder=3)
        marked.set_edgecolor(SOFT)
        marked.set_linewidth(0.0)


def _draw_findings(axes: "Axes", result: JobResult) -> None:
    """Missed, doubled and wrongly wetted ground, hatched."""
    for found in result.findings:
        axes.fill(
            found.ring_m[:, 0],
            found.ring_m[:, 1],
            facecolor="none",
            edgecolor=INK if found.kind != "off_target" else SOFT,
            hatch=HATCHES[found.kind],
            linewidth=0.7,
            zorder=4,
        )


def _draw_seams(axes: "Axes", result: JobResult, setup: Setup) -> None:
    """Strips: a missed one as a heavy line, a doubled one as heavy dashes, one that is not sure as dots."""
    spans = tuple(_span_of(one, result) for one in result.passes)
    for seam in lay_seams(result.track, spans, result.pairs, swath_m=setup.sprayer.swath_m):
        styles = {"gap": ("solid", 3.0), "doubled": ((0, (2, 1)), 3.0), "unsure": ((0, (1, 3)), 1.6)}
        if seam.pair.verdict in styles and len(seam.line_m) > 1:
            style, width = styles[seam.pair.verdict]
            axes.plot(*seam.line_m.T, color=ACCENT, linestyle=style, linewidth=width, zorder=7)


def _span_of(one: Pass, result: JobResult) -> PassSpan:
    """A pass as a span of the track."""
    i0, i1 = np.searchsorted(result.track.t, [one.start_t, one.end_t]).tolist()
    return PassSpan(one.start_t, one.end_t, one.heading_deg, i0, i1)


def _draw_passes(axes: "Axes", result: JobResult) -> None:
    """The ways, numbered near their beginnings; above the wind limit the number stands in a dark box."""
    track = result.track
    for one in result.passes:
        span = _span_of(one, result)
        inside = slice(span.i0, span.i1)
        axes.plot(track.east_m[inside], track.north_m[inside], color=SOFT, linewidth=0.6, zorder=5)
        known = np.flatnonzero(np.isfinite(track.east_m[inside])) + span.i0
        if not len(known):
            continue
        # Neighbours' numbers do not cover each other.
        place = known[int(len(known) * (0.03 + 0.05 * (one.number // 2 % 3)))]
        is_above = one.wind_verdict == "above"
        mark = {"above": "!", "unsure": "?"}.get(one.wind_verdict, "")
        axes.text(
            track.east_m[place],
            track.north_m[place],
            f"{one.number}{mark}",
            color=PAPER if is_above else INK,
            fontsize=7,
            ha="center",
            va="center",
            bbox={
                "boxstyle": "round,pad=0.2",
                "facecolor": INK if is_above else PAPER,
                "edgecolor": INK,
                "linewidth": 0.5,
            },
            zorder=8,
            clip_on=True,
        )


def find_limits(result: JobResult, setup: Setup) -> tuple[float, float, float, float]:
    """West, east, south and north of what there is to see, with a margin."""
    dose = result.dose
    rows, columns = np.nonzero(dose.dose_l_per_m2 > 0.0)
    corners = [ring for zone in setup.zones for ring in rings_from_zone(zone, plane=result.plane)]
    if len(rows):
        ends = np.array([[columns.min(), rows.min()], [columns.max() + 1, rows.max() + 1]])
        corners.append(np.array([dose.x0_m, dose.y0_m]) + dose.cell_m * ends)
    if not corners:
        ny, nx = dose.dose_l_per_m2.shape
        corners = [np.array([dose.x0_m, dose.y0_m]) + dose.cell_m * np.array([[0, 0], [nx, ny]])]
    low, high = np.concatenate(corners).min(axis=0), np.concatenate(corners).max(axis=0)
    margin = MARGIN_SHARE * float((high - low).max())
    return float(low[0] - margin), float(high[0] + margin), float(low[1] - margin), float(high[1] + margin)


def _frame_map(axes: "Axes", result: JobResult, setup: Setup, units: UnitSet) -> None:
    """Limits, a bar to measure by and north."""
    west, east, south, north = find_limits(result, setup)
    foot = 0.09 * (north - south)
    axes.set_xlim(west, east)
    axes.set_ylim(south - foot, north)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    per = units.length.per_si
    bar = max((each for each in _SCALE_BARS if each / per <= 0.35 * (east - west)), default=_SCALE_BARS[0])
    left, low = west + 0.04 * (east - west), south - 0.7 * foot
    axes.plot([left, left + bar / per], [low, low], color=INK, linewidth=2.5, solid_capstyle="butt")
    axes.text(left + bar / per, low, f"  {bar:g} {units.length.sign}", fontsize=8, va="center", color=INK)
    tip = east - 0.06 * (east - west)
    axes.annotate("N", (tip, south), (tip, low - 0.2 * foot), ha="center", fontsize=8, color=INK,
                  arrowprops={"arrowstyle": "-|>", "color": INK})  # fmt: skip


def _add_scale(sheet: "Figure", axes: "Axes", setup: Setup, units: UnitSet) -> None:
    """The colours, with doses beside them."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import ListedColormap, Normalize

    target = setup.treatment.target_l_per_m2
    ramp = ListedColormap(colour_shares(np.linspace(0.0, TOP_SHARE, 256)).tolist())
    shades = ScalarMappable(Normalize(0.0, TOP_SHARE), ramp)
    bar = sheet.colorbar(shades, ax=axes, shrink=0.7, pad=0.02, fraction=0.05)
    shares = (0.0, 0.5, 1.0, 1.5, 2.0)
    said = [units.rate.say(share * target, 3 if target * units.rate.per_si < 1.0 else 1) for share in shares]
    said[2] += "\n= target"
    bar.set_ticks(list(shares), labels=said)
    bar.ax.tick_params(labelsize=8, colors=INK)


def _add_words(axes: "Axes", result: JobResult, setup: Setup, units: UnitSet) -> None:
    """What the job came to above the map, what the signs mean below."""
    totals = result.totals
    day = np.datetime64(int(result.start_utc), "s") if np.isfinite(result.start_utc) else None
    when = "date not known" if day is None else f"{str(day).replace('T', ' ')[:16]} UTC"
    spread = totals.covered_area_sd_m2
    doubt = f" ± {units.area.say(spread, 0 if spread * units.area.per_si >= 1.0 else 1)}" if spread == spread else ""
    digits = 2 if totals.volume_l * units.volume.per_si < 100.0 else 1
    axes.set_title(
        f"{when} · {units.volume.say(totals.volume_l, digits)} · covered "
        f"{units.area.say(totals.covered_area_m2, 0)}{doubt}\n"
        f"target {units.rate.say(setup.treatment.target_l_per_m2, 2)} · receiver {result.receiver_class}",
        fontsize=9,
        loc="left",
        color=INK,
    )
    axes.legend(
        handles=_list_signs(), loc="upper center", bbox_to_anchor=(0.5, -0.01), ncols=3, fontsize=7, frameon=False
    )


def _list_signs() -> list["Artist"]:
    """One handle for each sign on the map."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    hatched = [
        Patch(facecolor="none", edgecolor=INK if kind != "off_target" else SOFT, hatch=hatch, label=WORDS[kind])
        for kind, hatch in HATCHES.items()
    ]
    return [
        *hatched,
        Patch(facecolor="none", edgecolor=SOFT, hatch="..", linewidth=0.0, label="dose unsure"),
        Line2D([], [], color=ACCENT, linewidth=3.0, label="strip missed"),
        Line2D([], [], color=ACCENT, linewidth=3.0, linestyle=(0, (2, 1)), label="strip doubled"),
        Line2D([], [], color=ACCENT, linewidth=1.6, linestyle=(0, (1, 3)), label="strip not sure"),
        Line2D([], [], color=INK, linewidth=1.4, linestyle=(0, (4, 2)), label="keep dry"),
        Patch(facecolor=INK, label="n! above the wind limit, n? not sure"),
    ]
