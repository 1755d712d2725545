"""passes.csv, pairs.csv, track.csv and wind.csv: columns fixed by name, empty where not known."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np

from server.core.geodesy import degrees_from_plane
from server.core.results import JobResult
from server.exports.job_json import plain

PASS_COLUMNS = (
    "pass", "boot", "start_utc", "end_utc", "start_mono", "end_mono", "length_m", "heading_deg", "speed_mps",
    "volume_l", "area_m2", "dose_l_per_m2", "dose_sd_l_per_m2", "percent_of_target", "wind_mean_mps", "wind_sd_mps",
    "wind_gust_mps", "wind_from_deg", "wind_verdict", "receiver",
)  # fmt: skip
PAIR_COLUMNS = (
    "pass_a", "pass_b", "spacing_m", "spacing_sd_m", "from_m", "to_m", "verdict", "probability",
)  # fmt: skip
TRACK_COLUMNS = (
    "boot", "utc", "mono", "east_m", "north_m", "sd_east_m", "sd_north_m", "lat", "lon", "speed_mps", "heading_deg",
    "spraying",
)  # fmt: skip
WIND_COLUMNS = (
    "boot", "utc", "mono", "apparent_mps", "true_mps", "true_sd_mps", "mean_60s_mps", "mean_60s_sd_mps", "from_deg",
    "from_sd_deg", "mean_2min_mps", "gust_3s_mps", "p_above_limit", "alarm", "smooth_mps", "smooth_sd_mps",
)  # fmt: skip

Rows = list[dict[str, Any]]


def pass_rows(result: JobResult) -> Rows:
    """The passes."""
    return [
        {name: plain(found.number if name == "pass" else getattr(found, name)) for name in PASS_COLUMNS}
        for found in result.passes
    ]


def pair_rows(result: JobResult) -> Rows:
    """The judged stretches."""
    return [{name: plain(getattr(found, name)) for name in PAIR_COLUMNS} for found in result.pairs]


def track_rows(result: JobResult) -> Iterator[dict[str, Any]]:
    """The nozzle's way."""
    track = result.track
    lat, lon = degrees_from_plane(track.east_m, track.north_m, plane=result.plane)
    speed = np.hypot(track.velocity_east_mps, track.velocity_north_mps)
    columns = (
        _names(result, track.boot), _rounded(track.utc, 3), _rounded(track.mono, 6), _rounded(track.east_m, 4),
        _rounded(track.north_m, 4), _rounded(track.sd_east_m, 4), _rounded(track.sd_north_m, 4), _rounded(lat, 9),
        _rounded(lon, 9), _rounded(speed, 4), _rounded(track.heading_deg, 2), result.is_spraying.astype(int).tolist(),
    )  # fmt: skip
    return _zip_rows(TRACK_COLUMNS, columns)


def wind_rows(result: JobResult) -> Iterator[dict[str, Any]]:
    """The wind."""
    wind = result.wind
    values = [list(wind.alarm) if name == "alarm" else _rounded(getattr(wind, name), 4) for name in WIND_COLUMNS[3:]]
    columns = (_names(result, wind.boot), _rounded(wind.utc, 3), _rounded(wind.mono, 6), *values)
    return _zip_rows(WIND_COLUMNS, columns)


def write_table(columns: Sequence[str], rows: Iterable[dict[str, Any]]) -> bytes:
    """Rows as a CSV file's bytes."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow(["" if row[name] is None else row[name] for name in columns])
    return text.getvalue().encode()


def _zip_rows(names: Sequence[str], columns: Iterable[list[Any]]) -> Iterator[dict[str, Any]]:
    for values in zip(*columns, strict=True):
        yield dict(zip(names, values, strict=True))


def _names(result: JobResult, boots: Any) -> list[str]:
    return [result.boots[int(place)] for place in boots.tolist()]


def _rounded(values: Any, digits: int) -> list[float | None]:
    """Numbers as printed; None where not known."""
    rounded = np.round(np.asarray(values, dtype=float), digits) + 0.0
    return [None if value != value else value for value in rounded.tolist()]
