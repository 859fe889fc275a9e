"""An edge node that tests talk for, and what a host makes of it.

Expected behaviour is that of the Sparkplug specification as the project's list of published values
gives it: layout of topics and payloads, seq and bdSeq, the property Quality, what a death marks,
that history does not overwrite, and that lost order leads to a request for a birth. What is marked
"from memory" is not on that list, and what is ours is marked as ours.
"""

from __future__ import annotations

from typing import Any

from bondtrail.site import parse_site
from ingest.live.messages import Message
from ingest.live.sparkplug import SparkplugHost, Taken
from ingest.live.sparkplug.sparkplug_pb2 import Payload

SITE = parse_site("""
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
[station.points]
resistance = { alias = ["plant/gate/m1/Bond/Ohm"], unit = "kohm" }
status = { alias = ["STATE-1"] }
permissive = { alias = ["PRM-1"] }
flow = { alias = ["FT-1"], unit = "L/min" }
bypass = { alias = ["plant/gate/KEY-1"] }
[[station]]
id = "rail-2"
name = "Rail spot 2"
kind = "rail_tank_car"
[station.points]
resistance = { alias = ["plant/gate/m2/Bond/Ohm"], unit = "ohm" }
flow = { alias = ["FT-2"], unit = "L/min" }
""")

T = 1_772_400_000_000
"""Where the tests' time begins. [ms]"""

INT8, INT16, INT32, INT64, UINT8, UINT16, UINT32, UINT64 = range(1, 9)
FLOAT, DOUBLE, BOOLEAN, STRING, DATETIME = range(9, 14)

OHM = ("Bond/Ohm", 10, DOUBLE)
FLOW = ("FT-1", 11, DOUBLE)
PERMISSIVE = ("PRM-1", 12, BOOLEAN)


def ns(ms: int) -> int:
    return ms * 1_000_000


def metric(name: str | None = None, alias: int | None = None, **fields: Any) -> Payload.Metric:
    """A metric; ``quality`` is its property of that name."""
    quality = fields.pop("quality", None)
    made = Payload.Metric(name=name, alias=alias, **fields)
    if quality is not None:
        made.properties.keys.append("Quality")
        made.properties.values.add(type=INT32, int_value=quality)
    return made


def born(what: tuple[str, int, int], value: Any = None, **fields: Any) -> Payload.Metric:
    """A metric of a birth; without a value it is null."""
    name, alias, datatype = what
    if value is None:
        fields["is_null"] = True
    elif datatype == BOOLEAN:
        fields["boolean_value"] = value
    else:
        fields["double_value"] = value
    return metric(name, alias, datatype=datatype, **fields)


def told(what: tuple[str, int, int], value: Any, **fields: Any) -> Payload.Metric:
    """A metric of data: by its alias alone."""
    made = born(what, value, **fields)
    made.ClearField("name")
    made.ClearField("datatype")
    return made


def bd_seq(number: int) -> Payload.Metric:
    return metric("bdSeq", datatype=INT64, long_value=number)


class Talk:
    """A host, and the messages of node ``gate`` of group ``plant`` to it.

    ``T`` plus ``at`` is when a message is sent and arrives, in ms; ``sent`` overrides the former.
    """

    def __init__(self, host: SparkplugHost | None = None, group: str = "plant") -> None:
        self.host = host or SparkplugHost(SITE)
        self.group = group

    def say(
        self,
        kind: str,
        *metrics: Payload.Metric,
        seq: int | None = None,
        at: int = 0,
        sent: int | None = -1,
        device: str = "m1",
        node: str = "gate",
        **flags: bool,
    ) -> Heard:
        moment = T + at if sent == -1 else sent
        payload = Payload(timestamp=moment, seq=seq, metrics=metrics)
        names = [node, device] if kind.startswith("D") else [node]
        topic = "/".join(["spBv1.0", self.group, kind, *names])
        return self.raw(topic, payload.SerializeToString(), at=at, **flags)

    def raw(self, topic: str, payload: bytes, *, at: int = 0, **flags: bool) -> Heard:
        return Heard(self.host.take(Message(topic, payload, ns(T + at), **flags)))

    def tick(self, at: int) -> Heard:
        return Heard(self.host.tick(ns(T + at)))

    def end(self, at: int) -> Heard:
        return Heard(self.host.close(ns(T + at)))

    def nbirth(self, *metrics: Payload.Metric, bd: int = 0, seq: int = 0, **about: Any) -> Heard:
        return self.say("NBIRTH", bd_seq(bd), *metrics, seq=seq, **about)

    def ndeath(self, bd: int = 0, **about: Any) -> Heard:
        return self.say("NDEATH", bd_seq(bd), **about)

    def dbirth(self, *metrics: Payload.Metric, seq: int = 1, **about: Any) -> Heard:
        return self.say("DBIRTH", *metrics, seq=seq, **about)

    def ddata(self, *metrics: Payload.Metric, seq: int, **about: Any) -> Heard:
        return self.say("DDATA", *metrics, seq=seq, **about)

    def births(self, *, at: int = 0, bd: int = 0) -> None:
        """The node is born, and device m1 with a bond of 1 kohm and a flow of 100 L/min."""
        assert not self.nbirth(at=at, bd=bd).faults
        assert not self.dbirth(born(OHM, 1.0), born(FLOW, 100.0), at=at).faults


class Heard:
    """What a host took."""

    def __init__(self, taken: Taken) -> None:
        self.taken = taken

    @property
    def rows(self) -> list[tuple[str, int, float, int]]:
        """Point, ms since `T`, value and quality, in the order in which they count."""
        return [
            (point, time // 1_000_000 - T, value, quality)
            for part in self.taken.readings
            for point, time, value, quality in zip(
                part.points, part.times, part.values, part.qualities, strict=True
            )
        ]

    @property
    def faults(self) -> list[tuple[str, int]]:
        """What is wrong, without what to do, and how often."""
        return [
            (item.reason.partition(":")[0].partition(", as ")[0], item.count)
            for item in self.taken.refused
        ]

    @property
    def asked(self) -> list[str]:
        """Topics of requests for a birth."""
        return [topic for topic, _ in self.taken.publish]

    @property
    def live(self) -> list[bool]:
        return [part.is_live for part in self.taken.readings]
