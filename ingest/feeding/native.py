"""Readings as messages of Bondtrail's own form: a topic a point, JSON in it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import msgspec
import numpy as np

from bondtrail.site import Point, Site
from bondtrail.times import NS_PER_MS
from ingest.feeding.messages import Outgoing
from ingest.feeding.stretches import Stretch

_NS_PER_US = 1000
_LARGEST_WHOLE = 1e15
_Reading = dict[str, int | float | None]


class NativeEncoder:
    """Turns readings into messages on ``bondtrail/<site>/<station>/<role>``.

    Parameters
    ----------
    site : Site
        Its id is in the topics.
    points : sequence of Point
        Those that the numbers in a `Stretch` stand for.
    most : int
        Readings in one message at most. Of several, a message holds an array.
    """

    def __init__(self, site: Site, points: Sequence[Point], most: int) -> None:
        self._topics = [f"bondtrail/{site.id}/{point.station}/{point.role}" for point in points]
        self._most = most
        self._encode = msgspec.json.Encoder().encode

    commands = None
    """The topic of what others may ask of it: nothing."""

    def will(self, _: int) -> None:
        """Return nothing: these messages have no session that could break."""

    def opening(self, _: int) -> Iterator[Outgoing]:
        """Yield nothing: a message stands by itself."""
        return iter(())

    closing = opening

    def answer(self, _: bytes, __: int) -> Iterator[Outgoing]:
        """Yield nothing."""
        return iter(())

    def messages(self, stretch: Stretch, _: int) -> Iterator[Outgoing]:
        """Yield the messages of some readings: point by point, each in its order."""
        by_point = stretch.part(np.argsort(stretch.point, kind="stable"))
        columns = _epochs(by_point), by_point.value.tolist(), by_point.quality.tolist()
        readings = list(map(_object, *columns))
        points, begins = np.unique(by_point.point, return_index=True)
        ends = [*begins[1:].tolist(), len(by_point)]
        for number, begin, end in zip(points.tolist(), begins.tolist(), ends, strict=True):
            for at in range(begin, end, self._most):
                yield self._message(number, readings[at : min(at + self._most, end)])

    def _message(self, number: int, few: list[_Reading]) -> Outgoing:
        payload = self._encode(few[0] if len(few) == 1 else few)
        return Outgoing(self._topics[number], payload, len(few))


def _object(time: int, value: float, quality: int) -> _Reading:
    """Return one reading; JSON has no infinity, so an open circuit is null."""
    reading: _Reading = {"t": time, "v": _number(value)}
    if quality:
        reading["q"] = quality
    return reading


def _number(value: float) -> float | None:
    """Return what stands for a value: a contact reads better as 1 than as 1.0."""
    if math.isinf(value):
        return None
    return int(value) if abs(value) < _LARGEST_WHOLE and value.is_integer() else value


def _epochs(few: Stretch) -> list[int]:
    """Return the times in the coarsest of ms, us and ns that loses nothing."""
    for unit in (NS_PER_MS, _NS_PER_US):
        if not (few.time % unit).any():
            return list(map(int, few.time // unit))
    return list(map(int, few.time))
