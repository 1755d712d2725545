"""Scenarios by name, all invented, on open ocean: what the lawn, the operator, the sprayer and the wind are like."""

from dataclasses import dataclass, field

from firmware_sim.sensors.anemometer import Cup, SpeedMeter, Vane
from firmware_sim.sensors.flow_meter import FlowMeter
from firmware_sim.sensors.gnss import Receiver
from firmware_sim.world.lawn import Lawn, Point, rectangle, regular
from firmware_sim.world.operator import Plan
from firmware_sim.world.sprayer import Sprayer
from firmware_sim.world.wind import OPEN, SHELTERED, Change, Gust, WindPlan

UTC_START = 1778743800.0
"""When a scenario begins unless told otherwise: 2026-05-14 07:30:00 UTC."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything that a scenario is made of; `pace` is how many times real time it is meant to be watched at."""

    name: str
    about: str
    lawn: Lawn
    plan: Plan
    sprayer: Sprayer = field(default_factory=Sprayer)
    wind: WindPlan = field(default_factory=WindPlan)
    meter: FlowMeter = field(default_factory=FlowMeter)
    cup: Cup = field(default_factory=Cup)
    speed_meter: SpeedMeter | None = None
    vane: Vane | None = None
    receiver: Receiver = field(default_factory=Receiver)
    wind_limit_mps: float = 4.5
    pace: float = 1.0
    temperature_c: float = 15.0
    humidity_percent: float = 68.0
    target_l_per_m2: float = field(init=False)

    def __post_init__(self) -> None:
        """The rate aimed at is what the sprayer gives at the planned pace."""
        flow = self.sprayer.flow_l_per_min / 60.0
        if self.sprayer.pump == "hand":
            root = 0.5 * (self.sprayer.top_bar**0.5 + self.sprayer.low_bar**0.5)
            flow *= root / self.sprayer.pressure_bar**0.5
        target = round(flow / (self.plan.pace_mps * self.plan.spacing_m), 6)
        object.__setattr__(self, "target_l_per_m2", target)


HEADING = 20.0


def strip_lawn(lines: int, length_m: float, spacing_m: float = 1.0) -> Lawn:
    """A rectangular lawn that so many strips fill."""
    zone = rectangle(
        "Lawn", "zone", corner=(4.0, 4.0), along_m=length_m, across_m=lines * spacing_m, heading_deg=HEADING
    )
    return Lawn((zone,))


def plan_strips(lines: int, spacing_m: float = 1.0, **more: object) -> Plan:
    """Up and down that lawn, line by line."""
    plan = Plan(
        corner=(4.0, 4.0),
        heading_deg=HEADING,
        lines=lines,
        spacing_m=spacing_m,
        first_line_m=0.5 * spacing_m,
        peg=(2.0, 2.0),
    )
    return _with(plan, **more)


def _with(plan: Plan, **more: object) -> Plan:
    return Plan(**{**{name: getattr(plan, name) for name in Plan.__slots__}, **more})


def _inner(lawn: Lawn, inset_m: float) -> tuple[Point, ...]:
    """The corners of a rectangular lawn drawn in by so much, in the order corner, ahead, across, back."""
    ring = lawn.polygons[0].ring_m
    (ax, ay), (bx, by), _, (dx, dy) = ring
    across = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    along = ((dx - ax) ** 2 + (dy - ay) ** 2) ** 0.5
    inner = rectangle(
        "inner",
        "zone",
        corner=(
            ax + inset_m * ((bx - ax) / across + (dx - ax) / along),
            ay + inset_m * ((by - ay) / across + (dy - ay) / along),
        ),
        along_m=along - 2.0 * inset_m,
        across_m=across - 2.0 * inset_m,
        heading_deg=HEADING,
    ).ring_m
    return inner[0], inner[3], inner[2], inner[1]


def _demo() -> Scenario:
    zone = rectangle("Lawn", "zone", corner=(4.0, 4.0), along_m=26.0, across_m=9.0, heading_deg=HEADING)
    bed = regular("Round bed", "keep_out", centre=(12.7, 16.2), radius_m=1.7)
    return Scenario(
        "demo",
        "A small lawn with a bed: one strip missed, one doubled, a refill at the peg, wind rising above the limit.",
        Lawn((zone, bed)),
        plan_strips(9, missed=(3,), doubled=(6,), refill_after=(4,), overrun={1: 1.5}),
        wind=WindPlan(2.2, 235.0, 0.2, slow_sd=0.05, changes=(Change(205.0, 6.6, 25.0, from_deg=255.0),)),
        wind_limit_mps=4.0,
        pace=4.0,
    )


def _gusts(name: str, about: str, plan: WindPlan) -> Scenario:
    return Scenario(name, about, strip_lawn(9, 30.0), plan_strips(9), wind=plan)


def _make() -> tuple[Scenario, ...]:
    paddock, edge = strip_lawn(9, 40.0), strip_lawn(9, 26.0)
    return (
        Scenario("paddock_morning", "The plain job: nine passes, spray off in turns.", paddock, plan_strips(9)),
        _demo(),
        Scenario(
            "hand_pump",
            "A hand-pumped sprayer: pressure falls from 55 to 25 psi, then it is pumped up again.",
            strip_lawn(6, 22.0),
            plan_strips(6, pace_mps=1.0),
            sprayer=Sprayer(pump="hand", flow_l_per_min=0.76, delay_s=0.15),
        ),
        Scenario(
            "spray_on_turns",
            "The trigger stays pressed through the turns.",
            strip_lawn(8, 30.0),
            plan_strips(8, spray_on_turns=True, inset_m=0.7, turn_radius_m=0.5),
        ),
        Scenario(
            "perimeter_first",
            "A lap round the edge, then up and down inside it.",
            edge,
            plan_strips(7, first_line_m=1.5, inset_m=1.0, perimeter=_inner(edge, 0.5), turn_room_m=0.0),
        ),
        Scenario(
            "slips",
            "Spray left on in a turn, let run off the lawn, a missed strip, a doubled strip, a pause.",
            strip_lawn(9, 25.0),
            plan_strips(9, spray_in_turn=(1,), overrun={2: 3.0}, missed=(4,), doubled=(6,), pause_after={2: 20.0}),
        ),
        Scenario(
            "dropouts",
            "Corrections lost twice, the sky lost twice.",
            paddock,
            plan_strips(9),
            receiver=Receiver(dropouts=((90.0, 100.0), (200.0, 226.0)), downgrades=((130.0, 165.0), (270.0, 290.0))),
        ),
        Scenario(
            "lever_arm",
            "The nozzle 0.6 m ahead and 0.3 m left of the antenna, a triangle pattern, liquid 0.3 s late.",
            strip_lawn(6, 25.0),
            plan_strips(6),
            sprayer=Sprayer(pattern="triangle", nozzle_forward_m=0.6, nozzle_right_m=-0.3, delay_s=0.3),
        ),
        Scenario(
            "tank_empty",
            "The tank runs dry on the way and is refilled only afterwards.",
            strip_lawn(6, 25.0),
            plan_strips(6, refill_after=(2,)),
            sprayer=Sprayer(tank_l=1.1),
        ),
        _gusts("sheltered", "Light, puffy air among hedges and houses.", SHELTERED),
        _gusts("open", "Steady wind near the limit on open ground.", OPEN),
        _gusts("gusty", "A gusty day near the limit.", WindPlan(3.6, 250.0, 0.35, "von_karman")),
        _gusts(
            "wind_step",
            "The mean wind steps from 3 to 5.5 m/s at 150 s.",
            WindPlan(3.0, 250.0, 0.15, slow_sd=0.02, meander_deg=5.0, changes=(Change(150.0, 5.5),)),
        ),
        _gusts(
            "gust_three_seconds",
            "Light wind with one gust of 3 s at 8.5 m/s, 200 s in.",
            WindPlan(2.5, 250.0, 0.10, slow_sd=0.02, meander_deg=5.0, gusts=(Gust(200.0, 3.0, 8.5),)),
        ),
        _gusts(
            "gust_one_second",
            "Light wind with one gust of 1 s at 6 m/s, 200 s in.",
            WindPlan(2.5, 250.0, 0.10, slow_sd=0.02, meander_deg=5.0, gusts=(Gust(200.0, 1.0, 6.0),)),
        ),
        Scenario("straight", "One straight pass of 30 m.", strip_lawn(1, 30.0), plan_strips(1, scatter_m=0.0)),
        Scenario(
            "long_hour",
            "An hour of work on a large lawn, for measuring speed.",
            strip_lawn(60, 58.0),
            plan_strips(60, refill_after=tuple(range(9, 59, 10))),
        ),
    )


PRACTICE = Scenario(
    "practice",
    "Water only, over and over: a squeeze over the bucket, strips of ten steps, in light air.",
    strip_lawn(1, 8.0),
    plan_strips(1, pace_mps=1.0),
    wind=WindPlan(1.8, 235.0, 0.2, slow_sd=0.05),
)
"""What is walked is a `PracticePlan`; of the lawn only its place on the globe counts."""

SCENARIOS: dict[str, Scenario] = {scenario.name: scenario for scenario in _make()}
