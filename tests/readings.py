"""Tables of wind readings for tests: the plainest way to read one, and what a refusal says."""

from server.errors import ServiceError
from server.history.mapping import Mapping

PLAIN = Mapping(time=(1,), speed=2, unit="m/s", date_order="ymd", zone="UTC", stamp="begin", height_m=2.0, first_line=1)


def refusal_of(work):
    """What a refusal says; empty where the work is done. Any other error is a failure."""
    try:
        work()
    except ServiceError as error:
        return str(error)
    return ""
