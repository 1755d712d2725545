"""Products as their labels have them."""

from server.api.cards import make_router
from server.kinds import PRODUCT

router = make_router("products", PRODUCT)
