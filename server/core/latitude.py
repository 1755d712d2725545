"""How much room the labels of a treatment leave: carrier rates that all of them allow, and how far below the most."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite

from server.core.entered import Stated, in_si
from server.core.productcard import ProductCard
from server.core.quantity import convert


@dataclass(frozen=True, slots=True)
class Latitude:
    """Carrier range that all labels allow [L/m²] and how many times the planned rate; None: not told."""

    carrier_l_per_m2: tuple[float, float] | None
    most_times: float | None
    strictest: str = ""


def join_labels(planned: Sequence[tuple[ProductCard, Stated]]) -> Latitude:
    """What all products' labels allow together: of two limits the stricter one wins.

    Parameters
    ----------
    planned
        Each product with the rate at which the treatment has it [as stated].

    Returns
    -------
    Latitude
        The range's ends are 0 and infinite where no label names them, the whole of it None where none names any.
        `most_times` is the least of label's most over planned rate, and `strictest` the product with that.

    Notes
    -----
    A rate per area against one per litre of mix cannot be compared without the carrier and is passed over.

    References
    ----------
    Derivation: intersection of ranges.

    Examples
    --------
    >>> feed = ProductCard("Feed", Stated(6, "fl oz/1000 ft2"), carrier_least=Stated(40, "L/ha"))
    >>> join_labels([(feed, Stated(3, "fl oz/1000 ft2"))])
    Latitude(carrier_l_per_m2=(0.004, inf), most_times=2.0, strictest='Feed')
    """
    least = [in_si(p.carrier_least, measures="carrier rate") for p, _ in planned if p.carrier_least is not None]
    most = [in_si(p.carrier_most, measures="carrier rate") for p, _ in planned if p.carrier_most is not None]
    times = [(_compare(product, rate), product.name) for product, rate in planned]
    fewest, strictest = min(times, default=(inf, ""))
    return Latitude(
        (max(least, default=0.0), min(most, default=inf)) if least or most else None,
        fewest if isfinite(fewest) else None,
        strictest if isfinite(fewest) else "",
    )


def _compare(product: ProductCard, rate: Stated) -> float:
    """The label's most over a rate; infinite where the two cannot be compared."""
    density = None if product.density is None else in_si(product.density, measures="density")
    try:
        most = convert(product.rate_most.value, product.rate_most.unit, into=rate.unit, density_kg_per_l=density)
    except ValueError:
        return inf
    return most / rate.value if rate.value > 0.0 else inf
