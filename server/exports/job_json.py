"""job.json: the whole job in one object, keys in a fixed order, null for what is not known."""

import json
from dataclasses import asdict
from math import isfinite
from typing import Any

from server.core.results import JobResult, WindStory

DIGITS = 9
"""Significant digits printed: more than any figure is worth, few enough that no noise of the last bit shows."""


def job_object(result: JobResult, *, software: str, setup_digest: str, log_digest: str) -> dict[str, Any]:
    """The job as plain values."""
    totals = asdict(result.totals)
    wind = asdict(result.wind_summary)
    verdicts = [found.wind_verdict for found in result.passes]
    found: dict[str, Any] = {
        **totals,
        "receiver_class": result.receiver_class,
        "track_sd_m": result.track_sd_m,
        "wind": {name: wind[name] for name in ("mean_mps", "max_2min_mps", "gust_mps", "from_deg", "sd_mps")},
        "passes": len(result.passes),
        "passes_above_limit": verdicts.count("above") if any(verdicts) else None,
        "passes_unsure": verdicts.count("unsure") if any(verdicts) else None,
        "rig": result.rig,
        "start_utc": result.start_utc,
        "end_utc": result.end_utc,
        "software": software,
        "setup_digest": setup_digest,
        "log_digest": log_digest,
        "climate": {name: result.climate.get(name) for name in ("start", "end")},
        "messages": {**result.messages, "missing": result.missing.total},
        "notes": list(result.notes),
        "boots": list(result.boots),
        "lat0": result.plane.lat0_deg,
        "lon0": result.plane.lon0_deg,
        "missing_by_stream": result.missing.by_stream,
        "cup_shield": asdict(result.cup_shield) if result.cup_shield is not None else None,
        "wind_story": _story_object(result.wind_story),
    }
    cleaned = plain(found)
    assert isinstance(cleaned, dict)
    return cleaned


def _story_object(story: WindStory | None) -> dict[str, Any] | None:
    """What was told of the wind and what is known now, less the second-by-second column."""
    if story is None:
        return None
    return {
        "changes": [asdict(change) for change in story.changes],
        "exceedances": [asdict(found) for found in story.exceedances],
        "unwarned_passes": list(story.unwarned_passes),
    }


def plain(value: Any) -> Any:
    """Floats rounded to the digits printed, NaN as None, all the way down."""
    if isinstance(value, float):
        if not isfinite(value):
            return None
        return float(f"{value:.{DIGITS}g}") if abs(value) < 1e8 else round(value, 3)
    if isinstance(value, dict):
        return {name: plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    return value


def write_json(value: Any) -> bytes:
    """An object as its file's bytes."""
    return (json.dumps(value, indent=1, ensure_ascii=False) + "\n").encode()
