"""A lawn of four strips as a review answers it, made up for the dashboard's tests. A double, clearly."""

from typing import Any

JOB = {"id": 2, "name": "North lawn", "state": "finished", "started_at": "2027-01-15T08:00:00+00:00"}
LAWN = [{"name": "lawn", "kind": "zone", "rings_m": [[[0, 0], [4, 0], [4, 20], [0, 20]]]}]
TARGET = 0.02
SWATH_M = 1.0
PASSES = 4
PASS_S = 20
TURN_S = 10
CELL_M = 0.25


def walk() -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """Up and down a lawn of 4 by 20 m at 1 m/s, the third line on the second."""
    track: dict[str, list[float]] = {"t_s": [], "east_m": [], "north_m": [], "spraying": [], "sd_m": []}
    flow: dict[str, list[float]] = {"t_s": [], "flow_l_per_min": [], "speed_mps": []}
    lines = (0.5, 1.5, 1.5, 3.5)
    for t in range(PASSES * (PASS_S + TURN_S)):
        number, at = divmod(t, PASS_S + TURN_S)
        along = min(at, PASS_S)
        row = (float(t), lines[number], float(PASS_S - along if number % 2 else along), int(at <= PASS_S), 0.3)
        for name, value in zip(track, row, strict=True):
            track[name].append(value)
        for name, value in zip(flow, (float(t), 60.0 * TARGET * SWATH_M * (at <= PASS_S), 1.0), strict=True):
            flow[name].append(value)
    return track, flow


def lay_dose() -> dict[str, Any]:
    """What such a walk leaves: once, twice, never, once."""
    nx, ny = int(4 / CELL_M), int(20 / CELL_M)
    rates = (1, 2, 0, 1)
    cells = [TARGET * rates[int(column * CELL_M)] for _ in range(ny) for column in range(nx)]
    return {"x0_m": 0.0, "y0_m": 0.0, "cell_m": CELL_M, "nx": nx, "ny": ny, "target_l_per_m2": TARGET,
            "pass_l_per_m2": TARGET, "under_fraction": 0.9, "over_fraction": 1.1, "swath_m": SWATH_M,
            "sd_tenths": "0" * (nx * ny), "l_per_m2": cells}  # fmt: skip


def list_passes() -> list[dict[str, Any]]:
    """The table's rows."""
    fixed = {"length_m": 20.0, "speed_mps": 1.0, "volume_l": 0.4, "dose_l_per_m2": TARGET, "dose_sd_l_per_m2": 0.001,
             "percent_of_target": 100.0, "wind_mean_mps": 2.0, "wind_sd_mps": 0.2, "wind_gust_mps": 3.0}  # fmt: skip
    starts = [number * float(PASS_S + TURN_S) for number in range(PASSES)]
    verdicts = ("within", "within", "unsure", "above")
    return [
        {**fixed, "pass": number, "start_s": start, "end_s": start + PASS_S, "start_utc": 1.8e9 + start,
         "heading_deg": 180.0 * ((number - 1) % 2), "wind_verdict": verdict}
        for number, (start, verdict) in enumerate(zip(starts, verdicts, strict=True), start=1)
    ]  # fmt: skip


def review_parts() -> dict[str, Any]:
    """The parts of a review that its strips are drawn from."""
    track, flow = walk()
    pair = {"pass_a": 3, "pass_b": 4, "spacing_m": 2.0, "spacing_sd_m": 0.1, "from_m": 0.0, "to_m": 20.0,
            "verdict": "gap", "probability": 0.97}  # fmt: skip
    wind = {"t_s": track["t_s"], "mean_60s_mps": [2.0 + t / 60.0 for t in track["t_s"]], "limit_mps": 3.0}
    return {"passes": list_passes(), "pairs": [pair], "track": track, "flow": flow,
            "wind": {**wind, "limit_stated": None}, "dose": lay_dose()}  # fmt: skip
