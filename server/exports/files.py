"""All files of a job's results, by name."""

import os
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path

from server.core.measured import gather_measured
from server.core.results import JobResult
from server.core.setup import Setup
from server.core.tables import digest_setup
from server.errors import StoreError
from server.exports import tables
from server.exports.geojson import findings_object
from server.exports.geopackage import write_geopackage
from server.exports.grid import write_grid
from server.exports.job_json import job_object, plain, write_json
from server.exports.layers import geojson_object, map_layers
from server.exports.touchup import TOUCHUP_COLUMNS, touchup_object, touchup_rows

NAMES = (
    "job.json", "passes.csv", "pairs.csv", "findings.geojson", "touchup.csv", "touchup.geojson", "track.csv",
    "wind.csv", "dose.npz", "job.geojson", "job.gpkg", "measured.json",
)  # fmt: skip
"""The files of a review."""
RECORD_NAMES = ("record.html", "record.pdf", "record.csv", "record-dictionary.csv", "record.json")
"""The files of a record, made when they are asked for."""


def software_name() -> str:
    """What made the results."""
    return f"calmpass {version('calmpass')}"


def result_files(result: JobResult, setup: Setup, log_digest: str) -> dict[str, bytes]:
    """Every file's bytes."""
    job = job_object(result, software=software_name(), setup_digest=digest_setup(setup), log_digest=log_digest)
    layers = map_layers(result, setup)
    return {
        "job.json": write_json(job),
        "passes.csv": tables.write_table(tables.PASS_COLUMNS, tables.pass_rows(result)),
        "pairs.csv": tables.write_table(tables.PAIR_COLUMNS, tables.pair_rows(result)),
        "findings.geojson": write_json(findings_object(result)),
        "touchup.csv": tables.write_table(TOUCHUP_COLUMNS, touchup_rows(result)),
        "touchup.geojson": write_json(touchup_object(result)),
        "track.csv": tables.write_table(tables.TRACK_COLUMNS, tables.track_rows(result)),
        "wind.csv": tables.write_table(tables.WIND_COLUMNS, tables.wind_rows(result)),
        "dose.npz": write_grid(result),
        "job.geojson": write_json(geojson_object(layers)),
        "job.gpkg": write_geopackage(layers, utc=result.end_utc),
        "measured.json": write_json(plain(asdict(gather_measured(result, setup)))),
    }


def write_files(files: dict[str, bytes], folder: Path) -> None:
    """Write files whole or not at all; raises StoreError where the disk refuses."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            part = folder / f".{name}.part"
            with part.open("wb") as out:
                out.write(content)
                out.flush()
                os.fsync(out.fileno())
            part.replace(folder / name)
    except OSError as error:
        raise StoreError(
            f"{folder}: cannot be written ({error.strerror}): is there room, and the right to write?"
        ) from error
