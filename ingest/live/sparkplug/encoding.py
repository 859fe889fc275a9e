"""A site's readings as Sparkplug B messages, as an edge node sends them: for feeding a broker.

A device is a station, and a metric is a point by its own name. Times are whole milliseconds: what
is finer is cut off.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bondtrail.samples import Quality
from bondtrail.site import Role, Station
from bondtrail.times import NS_PER_MS
from ingest.live.sparkplug.nodes import SEQ
from ingest.live.sparkplug.payloads import BD_SEQ, BOOLEAN, REBIRTH, parsed
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from ingest.live.sparkplug.topics import topic_of

_INT32, _INT64, _DOUBLE = 3, 4, 10
_CODES = {Quality.GOOD: 192, Quality.UNCERTAIN: 64, Quality.BAD: 0}
"""Of the property Quality: good and bad as published; 64 is uncertain by OPC's top two bits."""
_TYPES = {Role.RESISTANCE: _DOUBLE, Role.FLOW: _DOUBLE, Role.STATUS: _INT32}

Encoded = tuple[str, bytes]
"""A topic and a payload."""


@dataclass(slots=True)
class _Line:
    """A point on its way out: how it is encoded, and its newest reading."""

    name: str
    alias: int
    datatype: int
    time: int | None = None
    value: float = math.nan
    quality: int = Quality.BAD


class Edge:
    """One edge node: numbers its messages, and remembers what its next birth has to tell.

    Parameters
    ----------
    group, node : str
        Who it is.
    stations : iterable of Station
        Its devices.
    session : int
        Number of this connection (bdSeq), 0 to 255; the next one has the next number.
    """

    def __init__(
        self,
        group: str,
        node: str,
        stations: Iterable[Station],
        *,
        session: int = 0,
    ) -> None:
        self.group, self.node = group, node
        self._session = session % SEQ
        self._seq = 0
        self._devices: dict[str, dict[str, _Line]] = {}
        alias = 0
        for station in stations:
            lines = self._devices.setdefault(station.id, {})
            for role, point in station.points.items():
                datatype = _TYPES.get(role, BOOLEAN)
                lines[point.name] = _Line(point.name, alias, datatype)
                alias += 1

    @property
    def devices(self) -> list[str]:
        """The stations whose readings it sends."""
        return list(self._devices)

    def death(self, now: int) -> Encoded:
        """Return its NDEATH: the will of its connection, or what it publishes before it goes."""
        payload = Payload(timestamp=now // NS_PER_MS, metrics=[self._bd_seq(now)])
        return topic_of("NDEATH", self.group, self.node), payload.SerializeToString()

    def births(self, now: int) -> list[Encoded]:
        """Return its NBIRTH and the DBIRTH of every device, with their newest readings."""
        self._seq = 0
        ms = now // NS_PER_MS
        control = Payload.Metric(name=REBIRTH, timestamp=ms, datatype=BOOLEAN, boolean_value=False)
        born = [self._encoded("NBIRTH", "", [self._bd_seq(now), control], now)]
        for station, lines in self._devices.items():
            metrics = [_birth(line, ms) for line in lines.values()]
            born.append(self._encoded("DBIRTH", station, metrics, now))
        return born

    def data(
        self,
        station: str,
        points: Sequence[str],
        times: Sequence[int],
        values: Sequence[float],
        qualities: Sequence[int],
        now: int,
    ) -> Encoded:
        """Return a DDATA of readings of one station.

        Parameters
        ----------
        station : str
            Its id.
        points, times, values, qualities : sequences of one length
            Names of points, ns, values in the unit that the point's table names, codes of
            `Quality`.
        now : int
            When it is sent. [ns]
        """
        lines = self._devices[station]
        metrics = []
        for name, time, value, quality in zip(points, times, values, qualities, strict=True):
            line = lines[name]
            metric = Payload.Metric(alias=line.alias, timestamp=time // NS_PER_MS)
            _put(metric, line, value, quality)
            if line.time is None or time >= line.time:
                line.time, line.value, line.quality = time, value, quality
            metrics.append(metric)
        return self._encoded("DDATA", station, metrics, now)

    def _encoded(self, kind: str, device: str, metrics: list[Payload.Metric], now: int) -> Encoded:
        payload = Payload(timestamp=now // NS_PER_MS, metrics=metrics, seq=self._seq)
        self._seq = (self._seq + 1) % SEQ
        return topic_of(kind, self.group, self.node, device), payload.SerializeToString()

    def _bd_seq(self, now: int) -> Payload.Metric:
        return Payload.Metric(
            name=BD_SEQ, timestamp=now // NS_PER_MS, datatype=_INT64, long_value=self._session
        )


def asks_for_births(payload: bytes) -> bool:
    """Return whether an NCMD asks the node that it is sent to for its births."""
    found = parsed(payload)
    return found is not None and any(
        metric.name == REBIRTH and metric.boolean_value for metric in found.metrics
    )


def _birth(line: _Line, now_ms: int) -> Payload.Metric:
    """Return a metric of a birth; a point without a reading is null, and bad."""
    metric = Payload.Metric(name=line.name, alias=line.alias, datatype=line.datatype)
    metric.timestamp = now_ms if line.time is None else line.time // NS_PER_MS
    if line.time is None:
        metric.is_null = True
        _put_quality(metric, Quality.BAD)
    else:
        _put(metric, line, line.value, line.quality)
    return metric


def _put(metric: Payload.Metric, line: _Line, value: float, quality: int) -> None:
    """Put a value, and its quality where that is not good."""
    if math.isinf(value):
        metric.double_value = value  # an open circuit; null with bad quality would say: unknown
    elif line.datatype == BOOLEAN:
        metric.boolean_value = bool(value)
    elif line.datatype == _INT32:
        metric.int_value = int(value)
    else:
        metric.double_value = value
    if quality != Quality.GOOD:
        _put_quality(metric, quality)


def _put_quality(metric: Payload.Metric, quality: int) -> None:
    metric.properties.keys.append("Quality")
    metric.properties.values.add(type=_INT32, int_value=_CODES[Quality(quality)])
