"""The journal of work on each site."""

from server.api.cards import make_router
from server.kinds import WORK

router = make_router("works", WORK)
