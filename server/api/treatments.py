"""Treatments: what is planned where."""

from server.api.cards import make_router
from server.kinds import TREATMENT

router = make_router("treatments", TREATMENT)
