"""What a place's past teaches about calm: regressions, how often such chances came true, hours that are usually calm.

Made by a program of its own, `calmpass outlook`, and read back from what it prints.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from server.calm.past import count_days, read_place
from server.core.calmhours import CalmHours, count_hours
from server.core.calmrecord import CalmRecord, SaidBefore, keep_record, refit_times
from server.core.outlook import HORIZONS_MIN, MEMORY_DAYS, CalmModel, fit_calm, gather_cases
from server.core.windpast import DAY_S, WindPast, lay_past
from server.snapshot import known

SOONEST_S, LATEST_S = 3600.0, DAY_S
GROWN_BY = 0.15
"""The past is looked through again when it has grown by so much, between an hour and a day later."""


@dataclass(frozen=True, slots=True)
class Question:
    """Which limit at which height, where (longitude, NaN: not known), and what counts as now."""

    limit_mps: float
    height_m: float
    lon_deg: float
    now_utc: float


@dataclass(frozen=True, slots=True)
class Fits:
    """What the past taught at one moment; one model, record and count of hours for each of the horizons."""

    question: Question
    step_s: float
    from_utc: float
    days: float
    models: tuple[CalmModel, ...]
    records: tuple[CalmRecord, ...]
    hours: tuple[CalmHours, ...]
    left_out: tuple[str, ...] = ()

    @property
    def due_utc(self) -> float:
        """When the past is to be looked through again."""
        now = self.question.now_utc
        return now + min(max(GROWN_BY * (now - self.from_utc), SOONEST_S), LATEST_S)


def choose_horizon(minutes: float) -> int:
    """The place of the shortest horizon that covers so many minutes, else of the longest."""
    return next((k for k, horizon in enumerate(HORIZONS_MIN) if horizon >= minutes), len(HORIZONS_MIN) - 1)


def share_fits(question: Question) -> Fits:
    """What all places share, for a place without a past."""
    return _fit(question, lay_past(np.zeros(0), np.zeros(0), step_s=60.0), ())


def fit_place(connection: Any, question: Question) -> Fits:
    """Learn from what is stored of the last three months."""
    begin = question.now_utc - MEMORY_DAYS * DAY_S
    place = read_place(connection, height_m=question.height_m, from_utc=begin, to_utc=question.now_utc)
    return _fit(question, place.best, place.left_out)


def _fit(question: Question, past: WindPast, left_out: tuple[str, ...]) -> Fits:
    """Each horizon, one after the other: the cases of one take tens of megabytes."""
    limit, lon, now = question.limit_mps, question.lon_deg, question.now_utc
    is_empty = len(past.mean_mps) == 0
    begin = now if is_empty else past.begin - past.step_s
    # A model is fitted at the moments at which the record says that it was.
    until = float(refit_times(past.begin, now)[-1])
    models, records, hours = [], [], []
    for minutes in HORIZONS_MIN:
        cases = gather_cases(past, limit_mps=limit, minutes=minutes, lon_deg=lon)
        models.append(fit_calm(cases, until=until))
        records.append(keep_record(cases, until=now))
        hours.append(count_hours(past, limit_mps=limit, minutes=minutes, lon_deg=lon, until=now))
    days = count_days(past)
    return Fits(question, past.step_s, begin, days, tuple(models), tuple(records), tuple(hours), left_out)


def lay_out_fits(fits: Fits) -> dict[str, Any]:
    """Plain values for JSON."""
    question = fits.question
    return {
        "question": {
            "limit_mps": question.limit_mps, "height_m": question.height_m, "lon_deg": known(question.lon_deg, 6),
            "now_utc": question.now_utc,
        },
        "step_s": fits.step_s, "from_utc": fits.from_utc, "days": fits.days, "left_out": list(fits.left_out),
        "models": [
            {
                "minutes": model.minutes, "coefficients": model.coefficients.tolist(),
                "covariance": model.covariance.tolist(), "days": model.days, "cases": model.cases, "until": model.until,
            }
            for model in fits.models
        ],
        "records": [
            {
                "days": record.days, "brier": known(record.brier, 5),
                "rows": [[row.tenths, row.said, row.came_true] for row in record.rows],
            }
            for record in fits.records
        ],
        "hours": [
            {
                "shares": [known(share, 4) for share in hours.shares.tolist()], "days": hours.days.tolist(),
                "missing": hours.missing,
            }
            for hours in fits.hours
        ],
    }  # fmt: skip


def read_fits(found: dict[str, Any]) -> Fits:
    """The same back from JSON; raises ValueError, KeyError or TypeError where it is nothing of the kind."""
    told = found["question"]
    lon = float("nan") if told["lon_deg"] is None else told["lon_deg"]
    question = Question(told["limit_mps"], told["height_m"], lon, told["now_utc"])
    models = tuple(
        CalmModel(
            question.limit_mps, each["minutes"], np.array(each["coefficients"]), np.array(each["covariance"]),
            each["days"], each["cases"], each["until"],
        )
        for each in found["models"]
    )  # fmt: skip
    records = tuple(
        CalmRecord(
            question.limit_mps, minutes, tuple(SaidBefore(*row) for row in each["rows"]), each["days"],
            float("nan") if each["brier"] is None else each["brier"],
        )
        for minutes, each in zip(HORIZONS_MIN, found["records"], strict=True)
    )  # fmt: skip
    hours = tuple(
        CalmHours(
            question.limit_mps, minutes, np.array(each["shares"], dtype=np.float64), np.array(each["days"]),
            each["missing"],
        )
        for minutes, each in zip(HORIZONS_MIN, found["hours"], strict=True)
    )  # fmt: skip
    days, left_out = found["days"], tuple(found["left_out"])
    return Fits(question, found["step_s"], found["from_utc"], days, models, records, hours, left_out)
