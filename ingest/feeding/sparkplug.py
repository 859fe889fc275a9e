"""Readings as Sparkplug B: one edge node whose devices are the stations.

Births and data go with QoS 0 and the death with QoS 1, as the specification demands
(ISO/IEC 20237, from memory). A broker reads a connection in order, so that it has all that came
before the death once it acknowledges that.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence

import numpy as np

from bondtrail.site import Point, Site
from ingest.feeding.messages import Outgoing
from ingest.feeding.stretches import Stretch
from ingest.live.sparkplug.encoding import Edge, Encoded, asks_for_births
from ingest.live.sparkplug.topics import topic_of

SESSIONS = 256
NODE = "feed"
"""The edge node's name."""


class SparkplugEncoder:
    """Turns readings into the messages of an edge node.

    Parameters
    ----------
    site : Site
        Its id is the group, its stations are the devices, and a point's own name is its metric.
    points : sequence of Point
        Those that the numbers in a `Stretch` stand for.
    most : int
        Readings in one message at most.
    """

    def __init__(self, site: Site, points: Sequence[Point], most: int) -> None:
        # Not always the same number: the late death of an earlier feed must not be this one's.
        self._edge = Edge(site.id, NODE, site.stations, session=secrets.randbelow(SESSIONS))
        self._names = [point.name for point in points]
        self._stations = [point.station for point in points]
        places = {station.id: place for place, station in enumerate(site.stations)}
        self._place = np.array([places[name] for name in self._stations], np.int64)
        self._most = most
        self.commands = topic_of("NCMD", site.id, NODE)

    def will(self, now: int) -> Outgoing:
        """Return the death that the broker tells if the connection breaks; ``now`` is in ns."""
        return _outgoing(self._edge.death(now), qos=1)

    def opening(self, now: int) -> Iterator[Outgoing]:
        """Yield the births."""
        return (_outgoing(each) for each in self._edge.births(now))

    def messages(self, stretch: Stretch, now: int) -> Iterator[Outgoing]:
        """Yield the data of some readings: station by station, each in its order."""
        place = self._place[stretch.point]
        order = np.argsort(place, kind="stable")
        begins = np.flatnonzero(np.diff(place[order], prepend=-1))
        for rows in np.split(order, begins[1:]):
            for at in range(0, rows.size, self._most):
                yield self._data(stretch.part(rows[at : at + self._most]), now)

    def _data(self, few: Stretch, now: int) -> Outgoing:
        numbers = few.point.tolist()
        data = self._edge.data(
            self._stations[numbers[0]],
            [self._names[number] for number in numbers],
            few.time.tolist(),
            few.value.tolist(),
            few.quality.tolist(),
            now,
        )
        return _outgoing(data, len(few))

    def answer(self, payload: bytes, now: int) -> Iterator[Outgoing]:
        """Yield the births again if that is what a command asks for."""
        if asks_for_births(payload):
            yield from self.opening(now)

    def closing(self, now: int) -> Iterator[Outgoing]:
        """Yield the death."""
        yield self.will(now)


def _outgoing(encoded: Encoded, readings: int = 0, qos: int = 0) -> Outgoing:
    topic, payload = encoded
    return Outgoing(topic, payload, readings, qos)
