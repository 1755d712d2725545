"""What a rig sends that stands in the wind, given to a service at the pace of a rig."""

import time

from rig import wire
from server.intake import Fresh
from server.rawlog import Received

BOOT = "00ff00ff00ff00ff"
BEGIN = 1_750_000_020.0


def stand(minutes, mps, *, from_s=0, utc=True):
    """What a rig sends that stands in an even wind, once a second."""
    found = []
    for i in range(from_s, from_s + round(60 * minutes)):
        at = BEGIN + i if utc else None
        fix = (BOOT, i, float(i), "fixed", at, 52.0, 0.0, None, 0.0, 0.0, 9, 0.8, None, None)
        found.append(("position", wire.Position(*fix)))
        # An instrument that says the very same for a minute is held to be stuck.
        found.append(("wind", wire.Wind(BOOT, i, i + 0.1, None, None, None, mps + 0.01 * (i % 2))))
    return [Received(wire.topic_of("yard", s), BEGIN + m.mono, wire.encode(m)) for s, m in found]


def live_through(desk, messages):
    """Give the service messages at the pace at which a rig sends them that was switched on a minute ago."""
    switched_on = desk.__dict__.setdefault("switched_on", time.monotonic() - 60.0)

    def take():
        for message in messages:
            _, stream = wire.split_topic(message.topic)
            sample = wire.decode(stream, message.payload)
            desk.service._take(Fresh("yard", sample, switched_on + sample.mono, BEGIN + sample.mono))

    desk.portal.call(take)
