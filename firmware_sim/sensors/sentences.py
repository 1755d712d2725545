"""NMEA 0183 sentences as a receiver writes them: checksums, degrees and minutes, empty fields for what is not known.

Field layouts and the checksum rule: E. S. Raymond, "NMEA Revealed" (2021). Field text from numbers, no rounding to 60
minutes.
"""

from datetime import UTC, datetime

QUALITY_CODE = {"none": 0, "single": 1, "differential": 2, "fixed": 4, "float": 5, "estimated": 6}
_MODE = {0: "N", 1: "A", 2: "D", 4: "R", 5: "F", 6: "E"}
KNOT_MPS = 1852.0 / 3600.0


def xor_bytes(text: bytes) -> int:
    """The exclusive or of all bytes: a sentence's checksum, by folding one big number in half again and again."""
    number = int.from_bytes(text, "big")
    for bits in (512, 256, 128, 64, 32, 16, 8):
        number ^= number >> bits
    return number & 0xFF


def frame_sentence(body: str) -> bytes:
    """Put `$`, checksum and line end round a sentence of at most 128 bytes."""
    raw = body.encode("ascii")
    return b"$%s*%02X\r\n" % (raw, xor_bytes(raw))


def format_angle(value_deg: float, *, places: int, degree_digits: int) -> str:
    """Degrees as (d)ddmm.mmmm without sign."""
    units = round(abs(value_deg) * 60.0 * 10**places)
    minutes = units % (60 * 10**places)
    degrees = units // (60 * 10**places)
    whole, part = divmod(minutes, 10**places)
    return f"{degrees:0{degree_digits}d}{whole:02d}.{part:0{places}d}"


def format_place(lat_deg: float, lon_deg: float, places: int) -> str:
    """The four fields of a position."""
    lat = format_angle(lat_deg, places=places, degree_digits=2)
    lon = format_angle(lon_deg, places=places, degree_digits=3)
    return f"{lat},{'N' if lat_deg >= 0 else 'S'},{lon},{'E' if lon_deg >= 0 else 'W'}"


def write_burst(
    utc: float,
    code: int,
    place: tuple[float, float],
    motion: tuple[float, float],
    sds: tuple[float, float],
    *,
    places: int,
    kinds: tuple[str, ...],
    sats: int,
    hdop: float,
) -> bytes:
    """Write one epoch: GGA, RMC, VTG, GST as asked for; `motion` is speed m/s and course degrees, `sds` east, north."""
    centis = round(utc * 100.0)
    moment = datetime.fromtimestamp(centis // 100, UTC)
    clock = f"{moment:%H%M%S}.{centis % 100:02d}"
    where = format_place(*place, places) if code else ",,,"
    knots = motion[0] / KNOT_MPS
    course = f"{motion[1] % 360.0:.2f}" if code and motion[0] >= 0.05 else ""
    course = "0.00" if course == "360.00" else course
    speed = f"{knots:.3f}" if code else ""
    mode = _MODE[code]
    bodies = {
        "GGA": f"GNGGA,{clock},{where},{code},{sats if code else 0:02d},{f'{hdop:.2f}' if code else ''},"
        + (f"12.0,M,45.0,M,{'1.0,0001' if code in (2, 4, 5) else ','}" if code else ",M,,M,,"),
        "RMC": f"GNRMC,{clock},{'A' if code else 'V'},{where},{speed},{course},{moment:%d%m%y},,,{mode}",
        "VTG": f"GNVTG,{course},T,,M,{speed},N,{f'{motion[0] * 3.6:.3f}' if code else ''},K,{mode}",
        "GST": f"GNGST,{clock},,,,," + (f"{sds[1]:.3f},{sds[0]:.3f},{1.6 * sds[1]:.3f}" if code else ",,"),
    }
    return b"".join(frame_sentence(bodies[kind]) for kind in kinds)
