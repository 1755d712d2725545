"""The alarm as a state machine: when it goes on, when off, what it says."""

from dataclasses import dataclass
from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.alarm import AlarmState, step_alarm

LIMIT, NOTICE = 4.5, 3.6


@dataclass(frozen=True)
class Wind:
    """A second's wind as the alarm is told it."""

    p_limit: float = 0.0
    p_notice: float = 0.0
    mean: float = 2.0
    apparent: float = 2.0
    gust: float = 2.0
    sprays: bool = True
    known: bool = True


CALM = Wind()
STRONG = Wind(p_limit=0.9, p_notice=1.0, mean=5.2, apparent=5.0, gust=5.5)
LOST = Wind(nan, nan, nan, nan, nan, known=False)


def follow(*parts: tuple[Wind, int], state: AlarmState | None = None) -> list[AlarmState]:
    """The alarm after each second of stretches of wind."""
    state, found = state or AlarmState(), []
    for wind, seconds in parts:
        for _ in range(seconds):
            state = step_alarm(
                state,
                t=float(len(found)),
                p_above_limit=wind.p_limit,
                p_above_notice=wind.p_notice,
                mean_60s_mps=wind.mean,
                apparent_60s_mps=wind.apparent,
                gust_3s_mps=wind.gust,
                limit_mps=LIMIT,
                notice_mps=NOTICE,
                is_spraying=wind.sprays,
                is_wind_known=wind.known,
            )
            found.append(state)
    return found


def test_a_sure_mean_above_the_limit_stops_at_once() -> None:
    states = follow((CALM, 5), (STRONG, 1))
    assert [s.level for s in states] == ["none"] * 5 + ["stop"]
    assert states[-1].since_t == 5.0


def test_the_sentence_states_averaging_value_limit_and_what_to_do() -> None:
    reason = follow((STRONG, 1))[-1].reason
    assert reason == (
        "60-s mean wind 5.2 m/s, limit 4.5 m/s (90 % sure it is above): stop spraying and wait until the alarm is off."
    )
    assert follow((Wind(gust=7.0), 1))[-1].reason.startswith(
        "3-s gust 7.0 m/s, more than 1.5 times the limit of 4.5 m/s: "
    )


@pytest.mark.parametrize(
    ("p", "apparent", "level"), [(0.59, 4.4, "none"), (0.61, 4.4, "stop"), (0.31, 4.6, "stop"), (0.29, 4.6, "none")]
)
def test_a_likely_mean_counts_only_with_the_apparent_mean(p: float, apparent: float, level: str) -> None:
    assert follow((Wind(p_limit=p, apparent=apparent), 3))[-1].level == level


def test_it_goes_off_after_a_minute_below_and_no_sooner() -> None:
    states = follow((STRONG, 10), (CALM, 70))
    off = next(k for k, s in enumerate(states) if k > 10 and s.level == "none")
    assert off == 10 + 60


def test_a_minute_below_must_be_unbroken() -> None:
    states = follow((STRONG, 1), (CALM, 50), (Wind(p_limit=0.5), 1), (CALM, 55))
    assert all(s.level == "stop" for s in states)


def test_between_the_thresholds_it_stays_as_it_was() -> None:
    between = Wind(p_limit=0.6, p_notice=0.6)
    assert follow((between, 100))[-1].level == "none"
    assert follow((STRONG, 1), (between, 100))[-1].level == "stop"


def test_both_levels_follow_one_rule() -> None:
    states = follow((Wind(p_notice=0.9, mean=4.0), 1), (STRONG, 1), (Wind(p_notice=0.9), 61))
    assert [states[0].level, states[1].level, states[-1].level] == ["notice", "stop", "notice"]


def test_a_gust_stops_above_one_and_a_half_times_the_limit_only() -> None:
    assert follow((Wind(gust=6.76), 1))[-1].level == "stop"
    assert follow((Wind(gust=6.74), 1))[-1].level == "notice"
    assert follow((Wind(gust=5.3), 1))[-1].level == "none"


def test_unknown_wind_is_told_after_thirty_seconds_of_spraying() -> None:
    states = follow((LOST, 40))
    assert next(k for k, s in enumerate(states) if s.level == "notice") == 30
    assert states[-1].reason.startswith("The wind has not been known for 30 s while spraying")
    assert follow((LOST, 31), (CALM, 11))[-1].level == "none"


def test_unknown_wind_without_spraying_is_no_alarm() -> None:
    assert follow((Wind(nan, nan, nan, nan, nan, sprays=False, known=False), 100))[-1].level == "none"


def test_losing_the_wind_never_switches_an_alarm_off() -> None:
    assert follow((STRONG, 1), (LOST, 300))[-1].level == "stop"


def test_without_a_limit_only_unknown_wind_is_told() -> None:
    state = AlarmState()
    for t in range(60):
        state = step_alarm(
            state,
            t=float(t),
            p_above_limit=nan,
            p_above_notice=nan,
            mean_60s_mps=9.0,
            apparent_60s_mps=9.0,
            gust_3s_mps=15.0,
            limit_mps=nan,
            notice_mps=nan,
            is_spraying=True,
            is_wind_known=t < 20,
        )
        assert state.level == ("notice" if t >= 50 else "none")


chances = st.floats(0.0, 1.0) | st.just(nan)
winds = st.builds(
    Wind, chances, chances, st.floats(0, 9), st.floats(0, 9), st.floats(0, 9), st.booleans(), st.booleans()
)


@given(st.lists(st.tuples(winds, st.integers(1, 40)), min_size=1, max_size=12))
def test_stop_holds_at_least_a_minute_and_reasons_fit_the_wire(parts: list[tuple[Wind, int]]) -> None:
    states = follow(*parts)
    levels = [s.level for s in states]
    for state in states:
        assert (state.level == "none") == (state.reason == "")
        assert len(state.reason) <= 400
        assert (state.since_t == state.since_t) == (state.level != "none")
    starts = [k for k in range(len(levels)) if levels[k] == "stop" and (k == 0 or levels[k - 1] != "stop")]
    for start in starts:
        assert all(level == "stop" for level in levels[start : start + 60])
