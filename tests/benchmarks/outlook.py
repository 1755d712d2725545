"""Will it stay calm: chances scored on recorded winds against plain baselines, and the fit of what is shipped.

Run: python tests/benchmarks/outlook.py (scores; --days 1 4 14 60, --part earlier, --minutes 10 60, --json FILE), or
python tests/benchmarks/outlook.py --fit (prints the shipped coefficients and writes server/core/calmprior.py anew;
--dry-run only prints). The recordings lie in the folder that CALMPASS_RECORDINGS names.

Of each series the later two fifths are scored, moment by moment, with fits on the days before only; the sizes in
`server.core.outlook` were chosen on the earlier three fifths (--part earlier). What a place's shared coefficients come
from never includes that place: the two towers in Massachusetts are one place, and so are the two masts in Alabama.
Cases are moments whose last 10-min mean is at or under the limit. Baselines, all fitted on the same days of the same
place: the share by hour of day; raw persistence (it stays calm, always); calibrated persistence (logistic regression on
the root of the latest 10-min mean), and the same fitted on all days before, however few the program is given.
"""

import argparse
import csv
import gzip
import json
import os
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from server.core.logit import fit_logit, logistic, score_brier
from server.core.outlook import HORIZONS_MIN, CalmCases, bound_columns, fit_calm, gather_cases, tell_chances
from server.core.windpast import DAY_S, NAMES, WindPast, lay_past, mean_before, solar_hour

ROOT = Path(__file__).resolve().parents[2]
RECORDINGS = Path(os.environ.get("CALMPASS_RECORDINGS", ROOT.parent / "shared/recordings"))
LIMITS = {
    "orchard": (1.0, 1.5, 2.0),
    "tower": (1.5, 2.0, 3.0),
    "oklahoma": (2.0, 3.0, 4.0, 5.0),
    "alabama M1": (1.5, 2.0, 2.5, 3.0),
    "alabama S13": (0.8, 1.0, 1.25),
    "colorado": (1.5, 2.0, 3.0, 4.0),
}
"""Limits that the shared coefficients are learnt from."""
ASKED_MPS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0)
"""Limits scored, wherever each outcome has at least a twentieth of the cases, and 100 cases are there."""
LEVEL_START, SHAPE_START = 0.01, 5.0
EARLIER = 0.6
DAYS = (1.0, 4.0, 14.0, 60.0)
Arrays = dict[str, np.ndarray]


@dataclass(frozen=True)
class Series:
    """One recorded wind, with its place (what lies near each other is one) and longitude."""

    name: str
    place: str
    lon_deg: float
    past: WindPast


def read_tower(file: str) -> WindPast:
    """10-min means stamped in Eastern Standard Time."""
    with gzip.open(RECORDINGS / f"macleish_10min/{file}_2015_jan_aug7.csv.gz", "rt") as lines:
        rows = list(csv.DictReader(lines))
    utc = [datetime.fromisoformat(row["when"]).replace(tzinfo=UTC).timestamp() + 5 * 3600 for row in rows]
    return lay_past(np.array(utc), np.array([number(row["wind_speed"]) for row in rows]), step_s=600.0)


def read_mast(file: str) -> WindPast:
    """1-min means with a quality flag; flagged ones are missing."""
    with (RECORDINGS / f"arm_met_1min/{file}.csv").open() as lines:
        rows = list(csv.DictReader(lines))
    good = [float(row["qc_wspd_arith_mean"] or 0) == 0 for row in rows]
    speed = np.where(good, [number(row["wspd_arith_mean"]) for row in rows], np.nan)
    return lay_past(np.array([float(row["epoch_utc"]) for row in rows]), speed, step_s=60.0)


def read_colorado() -> WindPast:
    """1-min means of one day at 3 m, Mountain Standard Time."""
    with (RECORDINGS / "nrel_3m_1min/midc_20181018_wind3m.csv").open() as lines:
        rows = list(csv.DictReader(lines))
    begin = datetime(2018, 10, 18, 7, tzinfo=UTC).timestamp()
    minutes = [int(row["MST"]) // 100 * 60 + int(row["MST"]) % 100 for row in rows]
    speed = np.array([number(row["Avg Wind Speed @ 3m [m/s]"]) for row in rows])
    return lay_past(begin + 60.0 * np.array(minutes), speed, step_s=60.0)


def number(text: str) -> float:
    """A reading, NaN where there is none."""
    try:
        return float(text)
    except ValueError:
        return float("nan")


def load_series() -> list[Series]:
    """All recorded winds. Longitudes of the stations from memory, good to 0.1°."""
    return [
        Series("orchard", "massachusetts", -72.7, read_tower("orchard")),
        Series("tower", "massachusetts", -72.7, read_tower("whately")),
        Series("oklahoma", "oklahoma", -97.5, read_mast("sgp_E13_20190101_07")),
        Series("alabama M1", "alabama", -87.3, read_mast("bnfmetM1_20250619")),
        Series("alabama S13", "alabama", -87.3, read_mast("bnfmetwxtS13_20250619")),
        Series("colorado", "colorado", -105.2, read_colorado()),
    ]


def average_past(past: WindPast) -> WindPast:
    """10-min means of a row of 1-min means, missing where more than two minutes are."""
    means = mean_before(past, 10)
    whole = np.convolve(np.isfinite(past.mean_mps), np.ones(10))[: len(means)] >= 8
    chosen = np.round(past.ends) % 600 == 0
    return lay_past(past.ends[chosen], np.where(whole, means, np.nan)[chosen], step_s=600.0)


def fit_start(series: list[Series], minutes: int, step_s: float, *, without: str = "") -> tuple[np.ndarray, list[str]]:
    """Shared coefficients from all places but one, and the names of the series they come from.

    Those for 1-min means start from those for 10-min means, of which there are months.
    """
    used = [one for one in series if one.place != without and one.past.step_s <= step_s]
    centre = np.zeros(len(bound_columns(step_s)))
    if step_s < 600.0:
        long, names = fit_start(series, minutes, 600.0, without=without)
        centre = np.insert(long, NAMES.index("latest"), 0.0)
    else:
        names = [one.name for one in used]
    parts = []
    for one in used:
        past = one.past if one.past.step_s == step_s else average_past(one.past)
        for limit in LIMITS[one.name]:
            cases = gather_cases(past, limit_mps=limit, minutes=minutes, lon_deg=one.lon_deg)
            known = cases.is_asked & np.isfinite(cases.outcomes)
            weights = cases.weights[known] / len(LIMITS[one.name])
            parts.append((cases.rows[known], cases.outcomes[known], weights))
    rows, outcomes, weights = (np.concatenate(column) for column in zip(*parts, strict=True))
    stiffness = np.full(len(centre), SHAPE_START)
    stiffness[0] = LEVEL_START
    highest = bound_columns(step_s)
    found = fit_logit(rows, outcomes, weights, centre=centre, stiffness=stiffness, highest=highest)
    return found.coefficients, names


def write_start(series: list[Series], *, is_dry: bool) -> None:
    """The shipped module, with its origin in it."""
    lines = []
    for step_s in (60, 600):
        for minutes in HORIZONS_MIN:
            found, _ = fit_start(series, minutes, step_s)
            numbers = [f"{value + 0.0:.3f}" for value in np.round(found, 3)]
            halves = [", ".join(half) for half in (numbers[:8], numbers[8:])]
            lines.append(f"    ({step_s}, {minutes}): (\n        {halves[0]},\n        {halves[1]},\n    ),")
    days = sum(float(np.isfinite(one.past.mean_mps).sum()) * one.past.step_s / DAY_S for one in series)
    text = HEAD.format(days=days) + "\n".join(lines) + "\n}\n"
    print(text)
    if not is_dry:
        (ROOT / "server/core/calmprior.py").write_text(text)


HEAD = '''"""What all places share about calm that lasts: coefficients before a place has a past of its own.

Pure numbers, in the order of `server.core.windpast.NAMES`, by length of the means [s] and horizon [min]. Written by
`tests/benchmarks/outlook.py --fit`; not by hand.

Origin: {days:.0f} station-days of six recorded winds. 10-min means, January to August 2015, of a sheltered orchard
field (10 m) and a tower (25 m) in Massachusetts (MacLeish Field Station, package macleish, CC0); 1-min means of seven
days in Oklahoma and one day at two masts in Alabama, 10 m (Atmospheric Radiation Measurement, DOI 10.5439/1786358 and
10.5439/1455447), and of one day at 3 m in Colorado (National Renewable Energy Laboratory's Measurement and
Instrumentation Data Center, from the tests of pvlib, BSD-3). Limits learnt from: between 0.8 and 5 m/s. Those for
1-min means start from those for 10-min means, since only ten station-days of them are there. Few places, all in North
America: a place's own days soon count for more.
"""

# fmt: off
PRIOR: dict[tuple[int, int], tuple[float, ...]] = {{
'''


def fit_root(roots: np.ndarray, outcomes: np.ndarray) -> np.ndarray:
    """Calibrated persistence: log-odds straight in the root of the latest 10-min mean over the limit."""
    rows = np.column_stack((np.ones(len(roots)), roots))
    flat = np.full(2, np.inf)
    found = fit_logit(rows, outcomes, np.ones(len(roots)), centre=np.zeros(2), stiffness=np.full(2, 0.1), highest=flat)
    return found.coefficients


def share_by_hour(hours: np.ndarray, outcomes: np.ndarray, asked: np.ndarray) -> np.ndarray:
    """How often calm lasted by hour of day, each hour helped out by one case of the whole day's share."""
    whole = (outcomes.sum() + 0.5) / (len(outcomes) + 1.0)
    place = hours.astype(int) % 24
    sums, counts = np.bincount(place, outcomes, 24), np.bincount(place, minlength=24)
    return ((sums + whole) / (counts + 1.0))[asked.astype(int) % 24]


def pick_asked(cases: CalmCases, chosen: np.ndarray) -> CalmCases:
    """Some of the cases."""
    return replace(
        cases,
        at=cases.at[chosen],
        rows=cases.rows[chosen],
        outcomes=cases.outcomes[chosen],
        weights=cases.weights[chosen],
        is_asked=cases.is_asked[chosen],
    )


def walk_series(cases: CalmCases, lon_deg: float, start: np.ndarray, days: float, part: str) -> Arrays:
    """What program and baselines said at each moment of one part of a series, and what came of it."""
    past = cases.past
    length = past.ends[-1] - past.begin
    begin, end = past.begin + EARLIER * length, past.ends[-1] + 1.0
    if part == "earlier":
        begin, end = past.begin + min(days, EARLIER / 2 * length / DAY_S) * DAY_S, begin
    block = DAY_S * (7.0 if days >= 14.0 else 1.0) * (1.0 if past.step_s == 600.0 else 0.25)
    asked = pick_asked(cases, cases.is_asked & np.isfinite(cases.outcomes))
    roots = np.sqrt(np.interp(asked.at, past.ends, np.nan_to_num(mean_before(past, 10))) / cases.limit_mps)
    hours = solar_hour(asked.at, lon_deg=lon_deg)
    found: list[Arrays] = []
    while begin < end:
        now = (asked.at >= begin) & (asked.at < min(begin + block, end))
        before = asked.at + cases.minutes * 60.0 <= begin
        own = before & (asked.at >= begin - days * DAY_S)
        if now.any():
            model = fit_calm(cases, until=begin, memory_days=days, start=start)
            chance, low, high = tell_chances(model, asked.rows[now])
            rows = np.column_stack((np.ones(int(now.sum())), roots[now]))
            said = {"said": chance, "low": low, "high": high, "came": asked.outcomes[now]}
            said["calibrated"] = logistic(rows @ fit_root(roots[own], asked.outcomes[own]))
            said["calibrated on all"] = logistic(rows @ fit_root(roots[before], asked.outcomes[before]))
            said["hour"] = share_by_hour(hours[own], asked.outcomes[own], hours[now])
            said["raw"] = np.ones(int(now.sum()))
            found.append(said)
        begin += block
    return {name: np.concatenate([one[name] for one in found]) for name in found[0]} if found else {}


BASELINES = ("calibrated", "calibrated on all", "hour", "raw")


@dataclass(frozen=True)
class Cell:
    """One series, limit, horizon and length of history, scored."""

    series: str
    limit_mps: float
    minutes: int
    days: float
    said: Arrays

    @property
    def skills(self) -> dict[str, float]:
        """Brier skill against each baseline."""
        own = score_brier(self.said["said"], self.said["came"])
        return {name: 1.0 - own / score_brier(self.said[name], self.said["came"]) for name in BASELINES}

    @property
    def is_telling(self) -> bool:
        """Whether both outcomes are there often enough for a score to mean something."""
        share = self.said["came"].mean()
        return len(self.said["came"]) >= 100 and 0.05 <= share <= 0.95


def score_series(
    series: list[Series], days: tuple[float, ...], *, part: str, minutes: tuple[int, ...] = HORIZONS_MIN
) -> list[Cell]:
    """All cells that tell something."""
    cells = []
    for one in series:
        length = (one.past.ends[-1] - one.past.begin) / DAY_S
        for ahead in minutes:
            start, _ = fit_start(series, ahead, one.past.step_s, without=one.place)
            for limit in ASKED_MPS:
                cases = gather_cases(one.past, limit_mps=limit, minutes=ahead, lon_deg=one.lon_deg)
                known = cases.outcomes[cases.is_asked & np.isfinite(cases.outcomes)]
                if len(known) < 100 or not 0.03 <= known.mean() <= 0.97:
                    continue
                for own in (day for day in days if day <= length * EARLIER + 0.5):
                    said = walk_series(cases, one.lon_deg, start, own, part)
                    cell = Cell(one.name, limit, ahead, own, said)
                    cells += [cell] if said and cell.is_telling else []
    return cells


def print_cells(cells: list[Cell]) -> None:
    """One line a cell: cases, share that stayed calm, Brier score, skills."""
    print(f"{'series':12s} limit  min days  cases stayed  Brier | skill against " + ", ".join(BASELINES))
    for cell in cells:
        came = cell.said["came"]
        score = score_brier(cell.said["said"], came)
        skills = "  ".join(f"{cell.skills[name]:+.3f}" for name in BASELINES)
        head = f"{cell.series:12s} {cell.limit_mps:5.2f} {cell.minutes:4d} {cell.days:4.0f}"
        print(f"{head} {len(came):6d} {came.mean():6.3f} {score:6.4f} | {skills}")


def print_summary(cells: list[Cell]) -> None:
    """By days of history: mean and least skills, what 0.9 and more came to, how often ranges held, reliability."""
    for days in sorted({cell.days for cell in cells}):
        chosen = [cell for cell in cells if cell.days == days]
        print(f"\n{days:.0f} days of own history, {len(chosen)} cells")
        for name in BASELINES:
            skills = np.array([cell.skills[name] for cell in chosen])
            print(f"  against {name:18s} mean {skills.mean():+.3f}  least {skills.min():+.3f}")
        said, came = (np.concatenate([cell.said[name] for cell in chosen]) for name in ("said", "came"))
        print(
            f"  said 0.9 or more: {(said >= 0.9).sum()} times, stayed calm {came[said >= 0.9].mean():.3f}; by minutes:"
        )
        print("    " + "  ".join(tell_sure([c for c in chosen if c.minutes == m], f"{m} min") for m in HORIZONS_MIN))
        least = [tell_sure([c], f"{c.series} {c.limit_mps:g} m/s {c.minutes} min") for c in chosen if is_below(c)]
        print(f"    cells of 50 times or more under 0.93: {'; '.join(least) or 'none'}")
        print(f"  90 % ranges held their tenth's share in {100 * held_share(chosen):.0f} % of rows of 50 cases or more")
        print("  said in 10:  " + " ".join(f"{k:6d}" for k in range(11)))
        tenths = np.round(10 * said).astype(int)
        print("  times:       " + " ".join(f"{(tenths == k).sum():6d}" for k in range(11)))
        shares = [came[tenths == k].mean() if (tenths == k).any() else float("nan") for k in range(11)]
        print("  stayed calm: " + " ".join(f"{share:6.3f}" for share in shares))


def tell_sure(cells: list[Cell], name: str) -> str:
    """Of the times that 0.9 or more was said, how often it stayed calm."""
    came = np.concatenate([cell.said["came"][cell.said["said"] >= 0.9] for cell in cells] or [np.zeros(0)])
    return f"{name} {came.mean():.3f} ({len(came)})" if len(came) else f"{name} –"


def is_below(cell: Cell) -> bool:
    """Whether 0.9 or more was said often and held too seldom."""
    sure = cell.said["said"] >= 0.9
    return bool(sure.sum() >= 50 and cell.said["came"][sure].mean() < 0.93)


def held_share(cells: list[Cell]) -> float:
    """In which share of rows (a cell's tenth with 50 cases or more) the mean range held what came."""
    held = []
    for cell in cells:
        tenths = np.round(10 * cell.said["said"]).astype(int)
        for k in np.unique(tenths):
            row = tenths == k
            if row.sum() >= 50:
                share = cell.said["came"][row].mean()
                held.append(cell.said["low"][row].mean() <= share <= cell.said["high"][row].mean())
    return float(np.mean(held)) if held else float("nan")


def main() -> None:
    """Fit or score."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--dry-run", action="store_true")
    parser.add_argument("--days", type=float, nargs="+", default=DAYS)
    parser.add_argument("--minutes", type=int, nargs="+", default=HORIZONS_MIN)
    parser.add_argument("--part", choices=("earlier", "later"), default="later")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    series = load_series()
    if options.fit:
        write_start(series, is_dry=options.dry_run)
        return
    begun = time.perf_counter()
    cells = score_series(series, tuple(options.days), part=options.part, minutes=tuple(options.minutes))
    for place in dict.fromkeys(one.place for one in series):
        others = [one.name for one in series if one.place != place]
        print(f"shared coefficients for {place} come from: {', '.join(others)}")
    print_cells(cells)
    print_summary(cells)
    print(f"\n{time.perf_counter() - begun:.0f} s")
    if options.json:
        rows = [(c.series, c.limit_mps, c.minutes, c.days, len(c.said["came"]), c.skills) for c in cells]
        options.json.write_text(json.dumps(rows))


if __name__ == "__main__":
    main()
