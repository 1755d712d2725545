"""What to measure an amount with.

Litres and kilograms.
"""

from dataclasses import dataclass

GOOD_SHARE = 0.05
"""Half a step of the tool may be this share of the amount: the rate itself is to be within 5 %."""


@dataclass(frozen=True, slots=True)
class Tool:
    """What an amount is measured with, its step [L or kg], and whether even it is too coarse."""

    name: str
    step: float
    is_too_coarse: bool = False


_FOR_VOLUME = (Tool("jug", 0.1), Tool("cup", 0.01), Tool("syringe", 0.001), Tool("fine syringe", 0.0002))
_FOR_MASS = (Tool("scale", 0.01), Tool("kitchen scale", 0.001), Tool("fine scale", 0.0001))
"""Steps of usual household tools (common practice, no source)."""


def choose_tool(amount: float, *, is_mass: bool = False) -> Tool:
    """The coarsest tool with which an amount is still measured to 5 %.

    Parameters
    ----------
    amount
        What is to be measured [L], or [kg] if it is a mass; above 0.
    is_mass
        Whether it is weighed.

    Returns
    -------
    Tool
        From a jug (0.1 L) to a fine syringe (0.2 mL), or from a scale (10 g) to a fine one (0.1 g). `is_too_coarse`
        below 2 mL or 1 g, where not even that will do.

    Raises
    ------
    ValueError
        If the amount is not above 0.

    References
    ----------
    Derivation: half a step over the amount against 5 %; the tools' steps are common practice, no source.

    Examples
    --------
    >>> [choose_tool(litres).name for litres in (1.5, 0.15, 0.02, 0.004)]
    ['jug', 'cup', 'syringe', 'fine syringe']
    >>> choose_tool(0.0005, is_mass=True).is_too_coarse
    True
    """
    if not amount > 0.0:
        raise ValueError(f"an amount above 0 is wanted, not {amount:g}")
    tools = _FOR_MASS if is_mass else _FOR_VOLUME
    for tool in tools:
        if tool.step / 2.0 <= GOOD_SHARE * amount * (1.0 + 1e-9):
            return tool
    return Tool(tools[-1].name, tools[-1].step, True)
