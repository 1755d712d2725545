"""Shapes for tests: rings from metres at 45 N, 30 W, and a square of 20 m."""

LAT_M, LON_M = 1.0 / 111131.777, 1.0 / 78846.835
"""Degrees a metre at 45 N (physics.md G26, after WGS 84)."""


def ring(*corners):
    """A closed ring from metres."""
    places = [(-30.0 + x * LON_M, 45.0 + y * LAT_M) for x, y in corners]
    return (*places, places[0])


SQUARE = ring((0, 0), (20, 0), (20, 20), (0, 20))
