"""The wind limits of a treatment: whose, how much in its own words, over how long, at which height.

Metres per second, seconds, metres.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from server.core.entered import Stated, in_si
from server.core.limit import read_limit
from server.core.productcard import ProductCard
from server.core.treatmentcard import TreatmentCard


@dataclass(frozen=True, slots=True)
class WindLimit:
    """A wind limit that holds for a mix: whose, how much, over how long averaged, at which height; None: not said."""

    subject: str
    stated: Stated
    averaging_s: float | None = None
    height: Stated | None = None

    @property
    def words(self) -> str:
        """The limit as the label states it."""
        return f"{self.stated.value:.6f}".rstrip("0").rstrip(".") + f" {self.stated.unit}"

    @property
    def mps(self) -> float:
        """The limit in m/s, read back from its words, so that both are the same to the last digit."""
        return read_limit(self.words)

    @property
    def height_m(self) -> float | None:
        """The height in m that it is meant for."""
        return None if self.height is None else in_si(self.height, measures="height")


def rank_limits(treatment: TreatmentCard, products: Sequence[ProductCard]) -> tuple[WindLimit, ...]:
    """The wind limits of a treatment, the strictest first; of two that are the same the one averaged over less time.

    Parameters
    ----------
    treatment
        With a limit of its own, or none.
    products
        Its products.

    Returns
    -------
    tuple of WindLimit
        The first one holds [m/s]; empty where nothing states a limit.

    References
    ----------
    Definition of this project: where two labels disagree, the stricter holds.

    Examples
    --------
    >>> rate = Stated(3, "fl oz/1000 ft2")
    >>> one = ProductCard("One", rate, wind_limit=Stated(10, "mph"), wind_averaging_s=60.0)
    >>> other = ProductCard("Other", rate, wind_limit=Stated(5, "m/s"))
    >>> found = rank_limits(TreatmentCard("Both", 1, Stated(1, "gal/1000 ft2")), [other, one])
    >>> [(each.subject, each.words, each.mps, each.averaging_s) for each in found]
    [('One', '10 mph', 4.4704, 60.0), ('Other', '5 m/s', 5.0, None)]
    """
    limits = [
        WindLimit(card.name, card.wind_limit, card.wind_averaging_s, card.wind_height)
        for card in products
        if card.wind_limit is not None
    ]
    if treatment.wind_limit is not None:
        limits.append(WindLimit("your own limit", treatment.wind_limit))
    return tuple(sorted(limits, key=lambda limit: (limit.mps, limit.averaging_s or float("inf"))))
