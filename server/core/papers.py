"""What a job rests on besides its settings: which cards, in which versions, and of which job it is a part."""

from dataclasses import dataclass

from server.core.entered import Entered, Stated, entry


@dataclass(frozen=True, slots=True)
class Reference(Entered):
    """A card as it stood: its number and its version."""

    number: int
    version: int


@dataclass(frozen=True, slots=True)
class Papers(Entered):
    """A job's papers; `part_of` names the first job where a swap of the sprayer made this one, `fill` None: full."""

    site: Reference | None = None
    zones: tuple[str, ...] = ()
    sprayer: Reference | None = None
    treatment: Reference | None = None
    products: tuple[Reference, ...] = ()
    operator: Reference | None = None
    customer: Reference | None = None
    part_of: int | None = None
    fill: Stated | None = entry("Filled to", measures="tank", default=None)
