"""A job's settings put together from what people entered: lawn of the site, sprayer and meter, target and wind limit.

SI, degrees for polygons. What no card says stays as the saved settings have it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.core.entered import Stated, in_si
from server.core.errors import EntryError
from server.core.productcard import ProductCard
from server.core.recipe import choose_zones
from server.core.setup import FlowMeter, Setup, Sprayer, Treatment, Zone
from server.core.sitecard import SiteCard
from server.core.sprayercard import SprayerCard
from server.core.tables import mapping_from_setup, setup_from_mapping
from server.core.treatmentcard import TreatmentCard
from server.core.windlimit import rank_limits


@dataclass(frozen=True, slots=True)
class Sheets:
    """The cards of a job, read: `zones` empty means those of the treatment, or all; `fill` None a full tank."""

    site: SiteCard | None = None
    zones: tuple[str, ...] = ()
    sprayer: SprayerCard | None = None
    treatment: TreatmentCard | None = None
    products: tuple[ProductCard, ...] = ()
    fill: Stated | None = None


def assemble_setup(base: Setup, sheets: Sheets) -> Setup:
    """A job's settings: those saved, with what the cards say in their place.

    Parameters
    ----------
    base
        The settings that were saved, or the job's own.
    sheets
        The cards.

    Returns
    -------
    Setup
        Checked as a settings file is.

    Raises
    ------
    EntryError
        If a zone is not at the site, none is left, or more is filled in than the tank holds.
    SetupError
        If cards and settings do not go together.

    References
    ----------
    Derivation: the fields of the cards in SI.

    Examples
    --------
    >>> base = Setup(Sprayer(1.0), FlowMeter(450.0), Treatment(0.04))
    >>> small = SprayerCard("Small one", Stated(60, "cm"), (500.0,), tank=Stated(2, "gal"))
    >>> made = assemble_setup(base, Sheets(sprayer=small))
    >>> made.sprayer.swath_m, made.flow_meter.pulses_per_l, round(made.sprayer.tank_l, 3)
    (0.6, 500.0, 7.571)
    """
    found = base
    if sheets.site is not None:
        found = replace(found, zones=zones_from_card(sheets.site, sheets.zones, sheets.treatment))
    if sheets.sprayer is not None:
        found = replace(found, sprayer=sprayer_from_card(sheets.sprayer), flow_meter=meter_from_card(sheets.sprayer))
    if sheets.treatment is not None:
        found = replace(found, treatment=_treat(base.treatment, sheets.treatment, sheets.products))
    if sheets.fill is not None:
        found = replace(found, sprayer=replace(found.sprayer, tank_l=_check_fill(found.sprayer.tank_l, sheets.fill)))
    return setup_from_mapping(mapping_from_setup(found))


def zones_from_card(site: SiteCard, named: Sequence[str], treatment: TreatmentCard | None = None) -> tuple[Zone, ...]:
    """The polygons of a job: the zones that were named, and every keep-out of the site.

    Parameters
    ----------
    site
        The site.
    named
        Zones by name; empty: the treatment's, else all.
    treatment
        What is planned there.

    Returns
    -------
    tuple of Zone
        In the site's order; empty for a site that has no shape yet.

    Raises
    ------
    EntryError
        If the site has no zone of a name, the treatment is not for it, or none is left to treat.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> from server.core.sitecard import ZoneCard
    >>> ring = ((8.0, 50.0), (8.001, 50.0), (8.001, 50.001), (8.0, 50.0))
    >>> kinds = {"Front": "zone", "Back": "zone", "Pond": "keep_out"}
    >>> home = SiteCard("Home", zones=tuple(ZoneCard(name, kind, (ring,)) for name, kind in kinds.items()))
    >>> [zone.name for zone in zones_from_card(home, ["Back"])]
    ['Back', 'Pond']
    >>> zones_from_card(home, ["Side"])
    Traceback (most recent call last):
    server.core.errors.EntryError: zones: 'Side' is no zone of Home: there is Front, Back
    """
    planned = () if treatment is None else treatment.zones
    choose_zones(site, planned)
    chosen, keep_outs = choose_zones(site, named or planned)
    for name in named:
        if treatment is not None and planned and name not in planned:
            raise EntryError("zones", f"{treatment.name} is planned for {', '.join(planned)}, not for {name}")
    if site.zones and not chosen:
        raise EntryError("zones", f"no zone is left to treat at {site.name}: it has keep-outs only")
    wanted = (*chosen, *keep_outs)
    return tuple(Zone(zone.name, zone.kind, zone.rings) for zone in site.zones if zone in wanted)


def sprayer_from_card(card: SprayerCard) -> Sprayer:
    """A sprayer's settings.

    Parameters
    ----------
    card
        As it was entered.

    Returns
    -------
    Sprayer
        The same in SI.

    References
    ----------
    Derivation: unit conversions of `server.core.quantity`.

    Examples
    --------
    >>> sprayer_from_card(SprayerCard("Walk-behind", Stated(4, "ft"), (300.0,), delay_s=0.5)).swath_m
    1.2192
    """

    def metres(stated: Stated | None, measures: str) -> float | None:
        return None if stated is None else in_si(stated, measures=measures)

    return Sprayer(
        swath_m=in_si(card.swath, measures="swath"),
        pattern=card.pattern,
        pattern_top_m=metres(card.pattern_top, "swath"),
        nozzle_forward_m=metres(card.nozzle_forward, "offset") or 0.0,
        nozzle_right_m=metres(card.nozzle_right, "offset") or 0.0,
        delay_s=card.delay_s,
        tank_l=in_si(card.tank, measures="tank"),
    )


def meter_from_card(card: SprayerCard) -> FlowMeter:
    """The settings of a sprayer's flow meter.

    Parameters
    ----------
    card
        The sprayer as it was entered.

    Returns
    -------
    FlowMeter
        One figure of pulses per litre, or a table over the flow.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> meter_from_card(SprayerCard("One", Stated(1, "m"), (450.0,))).pulses_per_l
    450.0
    """
    if not card.flow_l_per_min:
        return FlowMeter(card.pulses_per_l[0], None, card.meter_sd_percent)
    return FlowMeter(card.pulses_per_l, card.flow_l_per_min, card.meter_sd_percent)


def check_site(treatment: TreatmentCard, *, site_number: int, site_name: str, own_name: str) -> None:
    """Refuse a treatment that is planned for another site.

    Parameters
    ----------
    treatment
        What is planned.
    site_number
        The job's site [number of its card].
    site_name
        Its name.
    own_name
        Name of the site that the treatment is planned for.

    Raises
    ------
    EntryError
        If they are not the same.

    References
    ----------
    Definition of this project.

    Examples
    --------
    >>> plan = TreatmentCard("Feed", 1, Stated(1, "gal/1000 ft2"))
    >>> check_site(plan, site_number=2, site_name="Away", own_name="Home")
    Traceback (most recent call last):
    server.core.errors.EntryError: treatment: Feed is planned for Home, not for Away
    """
    if treatment.site != site_number:
        raise EntryError("treatment", f"{treatment.name} is planned for {own_name}, not for {site_name}")


def _treat(base: Treatment, card: TreatmentCard, products: Sequence[ProductCard]) -> Treatment:
    """Target, directions, wind limit of a treatment; without a limit the saved one stays, and its alarm with it."""
    target = in_si(card.target, measures="carrier rate")
    found = replace(base, target_l_per_m2=target, directions=2.0 if card.directions == 2 else None)
    limits = rank_limits(card, products)
    if not limits:
        return found
    limit = limits[0]
    notice = base.wind_notice_mps
    return replace(
        found,
        wind_limit_mps=limit.mps,
        wind_limit_stated=limit.words,
        wind_averaging_s=limit.averaging_s,
        wind_reference_height_m=limit.height_m,
        wind_notice_mps=notice if notice is not None and notice <= limit.mps else None,
    )


def _check_fill(tank_l: float, fill: Stated) -> float:
    """What is filled in, in litres; refused where the tank does not hold it."""
    litres = in_si(fill, measures="tank")
    if litres > tank_l * (1.0 + 1e-9):
        raise EntryError("fill", f"{fill.value:g} {fill.unit} does not go into a tank of {tank_l:.4g} L")
    return litres
