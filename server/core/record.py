"""The application record of a job: every item with its value and where it comes from, or why it is not known.

Parts of a job that a swap of the sprayer made stand under one record. Instants are UTC; `offset_s` is how far the
site's clocks are ahead of it, for the date.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from server.core.entered import in_si
from server.core.measured import Measured, total_of
from server.core.personcard import PersonCard
from server.core.productcard import ProductCard
from server.core.recordair import NO_REVIEW, air_items, way_items
from server.core.recorditem import Item, Value, fill_item, merge_typed, sort_of
from server.core.recordproduct import Planned, blank_items, product_items, reckon_applied
from server.core.regimes import REGIMES, Check, check_regime
from server.core.sitecard import SiteCard
from server.core.sprayercard import SprayerCard
from server.core.treatmentcard import TreatmentCard


@dataclass(frozen=True, slots=True)
class Part:
    """A job, or a part of one: number, name, what was measured, its sprayer's card with version and the card's day."""

    number: int
    name: str
    measured: Measured | None
    sprayer: SprayerCard | None = None
    sprayer_since: str = ""


@dataclass(frozen=True, slots=True)
class Sources:
    """All that a record is made of; `products` are the treatment's by number, `cards` names them with versions."""

    parts: tuple[Part, ...]
    site: SiteCard | None = None
    zones: tuple[str, ...] = ()
    treatment: TreatmentCard | None = None
    products: Mapping[int, ProductCard] = field(default_factory=lambda: MappingProxyType({}))
    operator: PersonCard | None = None
    customer: PersonCard | None = None
    cards: tuple[str, ...] = ()
    typed: Mapping[str, Value] = field(default_factory=lambda: MappingProxyType({}))
    offset_s: float = 0.0


def build_record(sources: Sources) -> tuple[Item, ...]:
    """Every item of a job's record.

    Parameters
    ----------
    sources
        What was measured and entered [SI].

    Returns
    -------
    tuple of Item
        In the order of `server.core.recorditem.SORTS`, rows of products, zones and parts together; None where
        something is not known, with the reason.

    Raises
    ------
    EntryError
        If something typed cannot be meant.

    References
    ----------
    Union of the field lists of `server.core.regimes`.

    Examples
    --------
    >>> items = build_record(Sources((Part(3, "Front", None),), typed={"applicator": "A. Grower"}))
    >>> [(item.key, item.value, item.source or item.missing) for item in items][:2]
    [('applicator', 'A. Grower', 'typed'), ('applicator_licence', None, 'no operator was chosen for this job')]
    """
    items = [
        *_people_items(sources),
        *_place_items(sources),
        *_time_items(sources),
        *_what_items(sources),
        *_gear_items(sources),
        *air_items([part.measured for part in sources.parts]),
        *way_items([part.measured for part in sources.parts]),
        *_origin_items(sources),
    ]
    for key in sources.typed:
        sort_of(key)
    return tuple(merge_typed(items, sources.typed))


def check_record(items: tuple[Item, ...]) -> dict[str, tuple[Check, ...]]:
    """The record held against every rule.

    Parameters
    ----------
    items
        Of `build_record` [SI].

    Returns
    -------
    dict
        Checks by the rule's key.

    References
    ----------
    `server.core.regimes`.

    Examples
    --------
    >>> checks = check_record(build_record(Sources((Part(3, "Front", None),))))
    >>> [each.is_met for each in checks["us_federal"]].count(True)
    1
    """
    known = {item.key for item in items if item.value is not None}
    present = [item.key for item in items]
    return {regime.key: check_regime(regime, known, present) for regime in REGIMES}


def _card(key: str, value: str | None, missing: str) -> Item:
    return fill_item(key, value, source="card", missing=missing)


def _people_items(sources: Sources) -> list[Item]:
    operator, customer = sources.operator, sources.customer
    nobody, none = "no operator was chosen for this job", "the operator's card holds none"
    unknown, empty = "no customer was chosen for this job or its site", "the customer's card holds none"
    licensed = [card.name for card in sources.products.values() if card.is_licence_needed]
    asked = f": {' and '.join(licensed)} asks for one" if licensed else ""
    why, who = (nobody, unknown) if operator is None else (none, unknown)
    whose = unknown if customer is None else empty
    return [
        _card("applicator", operator.name if operator else None, nobody),
        _card("applicator_licence", operator.licence if operator else None, why + asked),
        _card("business", operator.business if operator else None, why),
        Item("noncertified", None, missing="type who, or nobody"),
        _card("customer", customer.name if customer else None, who),
        _card("customer_address", customer.address if customer else None, whose),
        _card("owner", customer.name if customer else None, who),
    ]


def _place_items(sources: Sources) -> list[Item]:
    site, parts = sources.site, [part.measured for part in sources.parts]
    none = "no site was chosen for this job"
    wanted = ", ".join(dict.fromkeys(card.target for card in sources.products.values() if card.target))
    targetless = "no treatment was chosen for this job" if not sources.products else "no product's card says it"
    sd = [part.covered_sd_m2 for part in parts if part is not None and part.covered_sd_m2 is not None]
    area_sd = float(np.hypot.reduce(sd)) if len(sd) == len(parts) else None
    area = total_of(parts, "covered_m2")
    why = NO_REVIEW if None in parts else "nothing was sprayed, or nothing could be placed"
    return [
        _card("site", site.name if site else None, none),
        _card("address", site.address if site else None, none if site is None else "the site's card holds none"),
        Item("site_kind", "lawn", source="assumed"),
        _card("target", wanted, targetless),
        fill_item("area_m2", area, "m2", missing=why, sd=area_sd),
        *_zone_items(sources),
    ]


def _zone_items(sources: Sources) -> list[Item]:
    """A row a zone; of several parts, what each covered is added, at most the zone."""
    areas: dict[str, float] = {}
    covered: dict[str, float] = {}
    for part in sources.parts:
        for zone in part.measured.zones if part.measured is not None else ():
            areas[zone.name] = zone.area_m2
            covered[zone.name] = min(covered.get(zone.name, 0.0) + (zone.covered_m2 or 0.0), zone.area_m2)
    found: list[Item] = []
    for place, (name, area) in enumerate(areas.items(), start=1):
        head = f"zone.{place}."
        found.append(Item(head + "name", name, source="settings"))
        found.append(Item(head + "area_m2", area, "m2", "settings"))
        found.append(Item(head + "covered_m2", covered[name], "m2", "measured"))
    return found


def _time_items(sources: Sources) -> list[Item]:
    parts = [part.measured for part in sources.parts]
    starts = [part.start_utc for part in parts if part is not None and part.start_utc is not None]
    ends = [part.end_utc for part in parts if part is not None and part.end_utc is not None]
    why = NO_REVIEW if None in parts else "the receiver never gave a date"
    start, end = min(starts, default=None), max(ends, default=None)
    day = None if start is None else str(np.datetime64(int(start + sources.offset_s), "s").astype("datetime64[D]"))
    return [
        fill_item("date", day, missing=why),
        fill_item("start_utc", start, "s UTC", missing=why),
        fill_item("end_utc", end, "s UTC", missing=why),
    ]


def _what_items(sources: Sources) -> list[Item]:
    parts, treatment = [part.measured for part in sources.parts], sources.treatment
    mix, area = total_of(parts, "volume_l"), total_of(parts, "covered_m2")
    sds = [part.volume_sd_l for part in parts if part is not None and part.volume_sd_l is not None]
    mix_sd = float(np.hypot.reduce(sds)) if sds and len(sds) == len(parts) else None
    mean = mean_dose(parts)
    target = parts[0].target_l_per_m2 if parts and parts[0] is not None else None
    items: list[Item] = []
    planned = [] if treatment is None else _plan_products(sources, treatment)
    for place, each in enumerate(planned, start=1):
        applied = reckon_applied(each, mix_l=mix, mix_sd_l=mix_sd, mean_l_per_m2=mean)
        items += product_items(place, each, applied, missing=NO_REVIEW)
    rows = max(
        [1 if not planned else 0, *(int(key.split(".")[1]) for key in sources.typed if key.startswith("product."))]
    )
    why = "no treatment was chosen for this job" if treatment is None else "the treatment names no such product"
    for place in range(len(planned) + 1, rows + 1):
        items += blank_items(place, missing=why)
    return [
        *items,
        fill_item("mix_l", mix, "L", missing=NO_REVIEW, sd=mix_sd),
        fill_item("target_l_per_m2", target, "L/m2", "settings", missing=NO_REVIEW),
        fill_item("mean_l_per_m2", mean, "L/m2", missing=NO_REVIEW if area is None else "nothing could be placed"),
    ]


def mean_dose(parts: list[Measured | None]) -> float | None:
    """The mean of the mix on the ground that the parts of a job treated.

    Parameters
    ----------
    parts
        What was measured of each [SI]; None: not reviewed.

    Returns
    -------
    float or None
        The mean, each part counted with its area [L/m²]; None where a part does not know it.

    References
    ----------
    Derivation: a weighted mean.

    Examples
    --------
    >>> mean_dose([None]) is None
    True
    """
    area, sums = 0.0, 0.0
    for part in parts:
        if part is None or part.mean_l_per_m2 is None or part.covered_m2 is None:
            return None
        area += part.covered_m2
        sums += part.covered_m2 * part.mean_l_per_m2
    return sums / area if area > 0.0 else None


def _plan_products(sources: Sources, treatment: TreatmentCard) -> list[Planned]:
    target = in_si(treatment.target, measures="carrier rate")
    doses = [(sources.products.get(dose.product), dose.rate) for dose in treatment.doses]
    return [Planned(card, rate, target) for card, rate in doses if card is not None]


def _gear_items(sources: Sources) -> list[Item]:
    items: list[Item] = []
    for place, part in enumerate(sources.parts, start=1):
        head, card, found = f"part.{place}.", part.sprayer, part.measured
        none = "no sprayer was chosen for this job"
        bare = none if card is None else "the sprayer's card holds none"
        unplaced = NO_REVIEW if found is None else "not placed"
        swath_m, volume_l, sd_l, area_m2 = (
            getattr(found, name, None) for name in ("swath_m", "volume_l", "volume_sd_l", "covered_m2")
        )
        items += [
            _card(head + "sprayer", card.name if card else None, none),
            _card(head + "kind", card.kind.replace("_", " ") if card else None, none),
            _card(head + "nozzle", card.nozzle if card else None, bare),
            _calibration(head, part),
            fill_item(head + "swath_m", swath_m, "m", "settings", missing=NO_REVIEW),
            fill_item(head + "volume_l", volume_l, "L", missing=NO_REVIEW, sd=sd_l),
            fill_item(head + "area_m2", area_m2, "m2", missing=unplaced),
        ]
    return items


def _calibration(head: str, part: Part) -> Item:
    """K as the job was metered with, and since when the sprayer's card says so."""
    if part.measured is None:
        return Item(head + "calibration", None, missing=NO_REVIEW)
    pulses = " / ".join(f"{value:.6g}" for value in part.measured.pulses_per_l)
    since = f"; {part.sprayer_since}" if part.sprayer_since else "; the day of its calibration is not known"
    words = f"{pulses} pulses/L ± {part.measured.meter_sd_percent:g} %{since}"
    return Item(head + "calibration", words, source="settings")


def _origin_items(sources: Sources) -> list[Item]:
    names = "; ".join(f"{part.number} “{part.name}”" for part in sources.parts)
    receivers = dict.fromkeys(part.measured.receiver for part in sources.parts if part.measured is not None)
    return [
        Item("job", names, source="settings"),
        fill_item("receiver", ", ".join(filter(None, receivers)), missing=NO_REVIEW),
        _card("cards", "; ".join(sources.cards), "no card was chosen for this job"),
    ]
