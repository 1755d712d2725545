"""People whom records name."""

from server.api.cards import make_router
from server.kinds import PERSON

router = make_router("people", PERSON)
