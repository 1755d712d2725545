"""What a column's name says: which figure it holds, and in what unit."""

import re

_WORDS = {
    "gust": r"gust|peak|max|böe|boe\b|spitze|rafale|r[aá]faga|raffica|windst[oö]t|wsmx|wspd ?max",
    "direction": r"dir|azimuth|bearing|richtung|direzione|winddir|wdir|\bwd\b|\bdd\b|rumbo",
    "flag": r"flag|\bqc\b|quality|qualit|status|g[uü]te|valid",
    "speed": r"speed|wspd|\bws\b|wind ?sp|velocity|geschw|vitesse|velocidad|velocit|snelheid|hastighe|\bff\b|\bwind\b",
}
_NOT_WIND = r"temp|rain|precip|humid|\brh\b|press|baro|solar|radiation|regen|feucht|std|dev|sigma|battery|volt"
_WITH_UNIT = re.compile(r"([-+]?\d[\d.,]*)\s*([^\d\s.,].*)")
_UNITS = (
    ("km/h", r"km[\s_]*/?[\s_]*h|kph|kmh"),
    ("mph", r"\bmph\b|mi(les?)?[\s_]*(/|per)[\s_]*h|_mph"),
    ("kn", r"\bkn\b|\bkts?\b|knots?|_kn\b|_kts?\b"),
    ("ft/min", r"f(ee)?t[\s_]*/[\s_]*min|fpm"),
    ("m/s", r"m[\s_]*/[\s_]*s(ec)?\b|\bmps\b|_mps|m[\s·.*]*s(\^|\*\*)?-1|meters?[\s_]*(/|per)[\s_]*s|_ms\b"),
)


def find_column(key: str, names: list[str], among: list[int]) -> list[int]:
    """The columns whose names speak for a figure, the plainest first."""
    found = [number for number in among if _speaks(key, re.sub(r"[\W_]+", " ", names[number].lower()))]
    if key != "flag":
        wind = [number for number in found if "wind" in names[number].lower()]
        found = wind or found
    # A mean of vectors says less of how strong it blew than the plain mean beside it.
    return sorted(found, key=lambda number: ("vec" in names[number].lower(), number))


def find_unit(name: str) -> str | None:
    """The unit that a name states, if it states just one."""
    found = [unit for unit, pattern in _UNITS if re.search(pattern, name.lower())]
    return found[0] if len(found) == 1 else None


def split_unit(text: str) -> tuple[str, str | None]:
    """A field's number and the unit of speed behind it, where there is one: 3.2 mph."""
    found = _WITH_UNIT.fullmatch(text)
    unit = None if found is None else find_unit(found[2])
    return (text, None) if found is None or unit is None else (found[1], unit)


def _speaks(key: str, name: str) -> bool:
    """Whether a name is that of a figure and of no other."""
    if not re.search(_WORDS[key], name) or (key != "flag" and re.search(_NOT_WIND, name)):
        return False
    if key == "speed":
        return not any(re.search(_WORDS[other], name) for other in ("gust", "direction", "flag"))
    if key in ("gust", "direction"):
        return not re.search(_WORDS["flag"], name) and not (key == "gust" and re.search(_WORDS["direction"], name))
    return True
