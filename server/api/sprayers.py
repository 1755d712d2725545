"""Sprayers, each with its own measures."""

from server.api.cards import make_router
from server.kinds import SPRAYER

router = make_router("sprayers", SPRAYER)
