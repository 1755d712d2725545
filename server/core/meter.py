"""The flow right now, a message of the flow meter at a time, for the live picture.

Seconds of the device's clock, litres; flow shown in litres per minute from the periods between pulses.
"""

from dataclasses import dataclass, replace

from server.core.flow import GAP_PULSES, MIN_GAP_S, MIN_PULSES, litres_from_pulses
from server.core.setup import FlowMeter

SPAN_S = 1.0
"""The rate is that of the pulses of the last second."""
_KEPT = 16


@dataclass(frozen=True, slots=True)
class FlowMeterState:
    """What the meter has said so far in one boot; `litres` since the state's first message, or boot's start.

    `run_l_per_min` is the flow while it last ran: it does not sink while a silence begins.
    """

    litres: float = 0.0
    pulse_hz: float = 0.0
    flow_l_per_min: float = 0.0
    is_spraying: bool = False
    pulses: int | None = None
    mono: float = -1.0
    window_s: float = 0.2
    run_pulses: int = 0
    edges: tuple[tuple[float, int], ...] = ()
    run_l_per_min: float = 0.0


def step_flow(
    state: FlowMeterState, pulses: int, edge_mono: float | None, mono: float, meter: FlowMeter
) -> FlowMeterState:
    """Take in one count.

    Rate from the edges of about the last second, and never more than what the time since the last edge allows; spraying
    until no pulse has come for max(0.5 s, the sample's window, 3 periods), from the fourth pulse in a row.

    Parameters
    ----------
    state
        What was known before; `FlowMeterState(pulses=0)` for a boot followed from its start, `FlowMeterState()` for one
        joined later.
    pulses
        Cumulative count [pulses].
    edge_mono
        When the last counted edge came, on the device's clock [s]; None before the first.
    mono
        When the sample was taken, on the device's clock [s].
    meter
        Pulses per litre.

    Returns
    -------
    FlowMeterState
        What is known now; a message that is not later than the last changes nothing.

    References
    ----------
    Q [L/min] = 60 f / K, f by reciprocal counting.

    Examples
    --------
    >>> state = FlowMeterState(pulses=0)
    >>> for k in range(1, 11):
    ...     state = step_flow(state, 2 * k, 0.2 * k, 0.2 * k, FlowMeter(450.0))
    >>> round(state.flow_l_per_min, 3), state.is_spraying, round(state.litres, 4)
    (1.333, True, 0.0444)
    """
    if mono <= state.mono:
        return state
    if state.pulses is None:
        seen = () if edge_mono is None else ((edge_mono, pulses),)
        return replace(state, pulses=pulses, mono=mono, edges=seen)
    window = 0.8 * state.window_s + 0.2 * (mono - state.mono) if state.mono >= 0 else state.window_s
    fresh = max(0, pulses - state.pulses)
    edges, run = state.edges, state.run_pulses
    if fresh:
        edge = mono if edge_mono is None else min(edge_mono, mono)
        if edges and edge - edges[-1][0] > max(_patience(state.pulse_hz, window), mono - state.mono):
            edges, run = (), 0
        edges, run = (*_keep_recent(edges, edge), (edge, pulses)), run + fresh
    hertz, run_hz = _rate(edges, mono), _rate(edges, 0.0)
    silent = mono - edges[-1][0] if edges else float("inf")
    is_quiet = silent > _patience(run_hz, window)
    is_spraying = run >= MIN_PULSES and not is_quiet
    if not is_spraying and not fresh and is_quiet:
        hertz, run = 0.0, 0
    litres = float(litres_from_pulses(fresh, hertz, meter=meter)) if fresh else 0.0
    per_pulse = float(litres_from_pulses(1.0, hertz, meter=meter))
    return FlowMeterState(
        state.litres + litres,
        hertz,
        60.0 * hertz * per_pulse,
        is_spraying,
        max(pulses, state.pulses),
        mono,
        window,
        run,
        edges,
        60.0 * run_hz * float(litres_from_pulses(1.0, run_hz, meter=meter)),
    )


def _patience(pulse_hz: float, window_s: float) -> float:
    """How long without a pulse counts as still flowing."""
    return max(MIN_GAP_S, window_s, min(GAP_PULSES / pulse_hz, 5.0) if pulse_hz > 0 else 0.0)


def _keep_recent(edges: tuple[tuple[float, int], ...], now: float) -> tuple[tuple[float, int], ...]:
    """The edges of the last second, and one more if that leaves fewer than two."""
    recent = tuple(e for e in edges if now - e[0] <= SPAN_S)
    return (recent or edges[-1:])[-_KEPT:]


def _rate(edges: tuple[tuple[float, int], ...], now: float) -> float:
    """Pulses a second over the kept edges, no faster than the silence since the last allows."""
    if len(edges) < 2 or edges[-1][0] <= edges[0][0]:
        return 0.0
    hertz = (edges[-1][1] - edges[0][1]) / (edges[-1][0] - edges[0][0])
    silent = now - edges[-1][0]
    return min(hertz, 1.0 / silent) if silent > 0 else hertz
