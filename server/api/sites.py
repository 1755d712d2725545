"""Sites: lawns with their zones and keep-outs."""

from server.api.cards import make_router
from server.kinds import SITE

router = make_router("sites", SITE)
