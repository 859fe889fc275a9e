"""Whatever comes: no crash, and never a value at a point that it was not sent for."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import given, settings
from hypothesis import strategies as st

from bondtrail.samples import Quality
from ingest.live.messages import Message
from ingest.live.sparkplug import SparkplugHost
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from tests.ingest.live.sparkplug.edge import DOUBLE, SITE, Heard, T, bd_seq, metric, ns

DEVICES = {
    "m1": {"FT-1": "rail-1.flow", "rail-1.resistance": "rail-1.resistance"},
    "m2": {"FT-2": "rail-2.flow", "Bond/Ohm": "rail-2.resistance"},
}
STEP = 2000  # ms from one message to the next: more than the jitter that is allowed for
SCALE = {"rail-1.resistance": 1000.0}


@dataclass
class Edge:
    """An edge node that remembers what it sent: every value once, each birth with its aliases."""

    now: int = T
    session: int = -1
    seq: int = 0
    values: int = 0
    aliases: int = 0
    maps: dict[str, dict[str, int]] = field(default_factory=dict)
    sent: dict[tuple[str, int], float] = field(default_factory=dict)
    stream: list[tuple[bool, str, bytes]] = field(default_factory=list)
    """Whether it may be lost or late, topic, payload."""

    def connect(self) -> None:
        self.session = (self.session + 1) % 256
        self.bear()

    def bear(self) -> None:
        self.seq = 0
        self._say("NBIRTH", "", [bd_seq(self.session)], may_stray=False)
        for device in DEVICES:
            self.bear_device(device, is_new=True)

    def bear_device(self, device: str, *, is_new: bool) -> None:
        if is_new or device not in self.maps:
            # What stood for the last metric stands for the first one now; no map comes back.
            self.aliases += 1
            self.maps[device] = {
                name: self.aliases + place for place, name in enumerate(DEVICES[device])
            }
        metrics = [
            metric(name, alias, datatype=DOUBLE, double_value=self._value(device, name))
            for name, alias in self.maps[device].items()
        ]
        self._say("DBIRTH", device, metrics)

    def tell(self, device: str) -> None:
        metrics = [
            metric(alias=alias, double_value=self._value(device, name))
            for name, alias in self.maps[device].items()
        ]
        self._say("DDATA", device, metrics)

    def die_device(self, device: str) -> None:
        self._say("DDEATH", device, [])

    def die(self) -> None:
        payload = Payload(metrics=[bd_seq(self.session)])
        self.stream.append((False, "spBv1.0/plant/NDEATH/gate", payload.SerializeToString()))
        self.connect()

    def _value(self, device: str, name: str) -> float:
        self.values += 1
        point = DEVICES[device][name]
        self.sent[point, self.now] = self.values * SCALE.get(point, 1.0)
        return float(self.values)

    def _say(
        self, kind: str, device: str, metrics: list[Payload.Metric], *, may_stray: bool = True
    ) -> None:
        payload = Payload(timestamp=self.now, metrics=metrics, seq=self.seq)
        topic = f"spBv1.0/plant/{kind}/gate" + (f"/{device}" if device else "")
        self.stream.append((may_stray, topic, payload.SerializeToString()))
        self.seq = (self.seq + 1) % 256
        self.now += STEP


DOINGS = st.lists(
    st.sampled_from(["tell m1", "tell m2", "renew m1", "again m2", "bear", "die", "end m1"]),
    max_size=25,
)


def acted(doings: list[str]) -> Edge:
    edge = Edge()
    edge.connect()
    for doing in doings:
        what, _, device = doing.partition(" ")
        if what == "tell":
            edge.tell(device)
        elif what == "end":
            edge.die_device(device)
            edge.bear_device(device, is_new=True)
        elif what == "bear":
            edge.bear()
        elif what == "die":
            edge.die()
        else:
            edge.bear_device(device, is_new=what == "renew")
    return edge


@settings(max_examples=100, derandomize=True)
@given(doings=DOINGS, data=st.data())
def test_stream_that_is_lossy_late_and_doubled_never_puts_a_value_at_a_wrong_point(
    doings: list[str], data: st.DataObject
) -> None:
    # A birth or death of the node comes when it is sent, and everything else any time later, or
    # never, or twice. Where a node's birth itself is lost, the standard has nothing to tell it by.
    edge = acted(doings)
    fates = st.lists(st.integers(0, 12), max_size=2)
    deliveries = []
    for place, (may_stray, topic, payload) in enumerate(edge.stream):
        delays = data.draw(fates) if may_stray else [0]
        deliveries += [(place + delay, place, topic, payload) for delay in delays]
    host = SparkplugHost(SITE)
    rows = []
    now = T
    for at, _, topic, payload in sorted(deliveries, key=lambda item: item[:2]):
        now = max(now, T + at * STEP)
        rows += Heard(host.take(Message(topic, payload, ns(now)))).rows
        rows += Heard(host.tick(ns(now + STEP // 2))).rows
    rows += Heard(host.tick(ns(now + 100_000))).rows
    check(edge, rows)
    # And once born again, it is heard again.
    edge.now = now + 200_000
    before = len(edge.stream)
    edge.bear()
    edge.tell("m1")
    edge.tell("m2")
    last = []
    for _, topic, payload in edge.stream[before:]:
        last += Heard(host.take(Message(topic, payload, ns(edge.now)))).rows
    check(edge, last)
    assert len([row for row in last if row[3] == Quality.GOOD]) == 8


def check(edge: Edge, rows: list[tuple[str, int, float, int]]) -> None:
    """Every value was sent for its point; a good one at its time."""
    for point, at, value, quality in rows:
        if quality == Quality.GOOD:
            assert edge.sent[point, T + at] == value
        else:
            assert value in [sent for (name, _), sent in edge.sent.items() if name == point]


@settings(max_examples=25, derandomize=True)
@given(doings=DOINGS)
def test_stream_that_comes_as_it_was_sent_is_taken_whole(doings: list[str]) -> None:
    edge = acted(doings)
    host = SparkplugHost(SITE)
    rows = []
    for _, topic, payload in edge.stream:
        sent = Payload.FromString(payload).timestamp or edge.now
        heard = Heard(host.take(Message(topic, payload, ns(sent))))
        assert not heard.faults
        assert not heard.asked
        rows += heard.rows
    good = {(point, T + at): value for point, at, value, quality in rows if not quality}
    assert good == edge.sent


KINDS = ["NBIRTH", "NDEATH", "NDATA", "DBIRTH", "DDEATH", "DDATA", "NCMD", "STATE", "x", ""]
TOPICS = st.one_of(
    st.builds(
        lambda kind, node, device: f"spBv1.0/plant/{kind}/{node}{device}",
        st.sampled_from(KINDS),
        st.sampled_from(["gate", "yard"]),
        st.sampled_from(["", "/m1", "/m2"]),
    ),
    st.text(max_size=30),
)
NUMBERS = st.integers(0, 2**64 - 1) | st.integers(0, 300)
METRICS = st.builds(
    Payload.Metric,
    name=st.none() | st.sampled_from(["FT-1", "Bond/Ohm", "bdSeq", "PRM-1", "", "?"]),
    alias=st.none() | NUMBERS,
    timestamp=st.none() | NUMBERS | st.integers(T - 10_000, T + 10_000),
    datatype=st.none() | st.integers(0, 40),
    is_historical=st.none() | st.booleans(),
    is_null=st.none() | st.booleans(),
    long_value=st.none() | NUMBERS,
)
PAYLOADS = st.one_of(
    st.binary(max_size=60),
    st.builds(
        lambda *parts: Payload(timestamp=parts[0], seq=parts[1], metrics=parts[2]),
        st.none() | NUMBERS | st.integers(T - 10_000, T + 10_000),
        st.none() | NUMBERS,
        st.lists(METRICS, max_size=4),
    ).map(lambda payload: payload.SerializeToString()),
)


@settings(max_examples=60, derandomize=True)
@given(
    messages=st.lists(
        st.tuples(TOPICS, PAYLOADS, st.integers(-5000, 100_000), st.booleans()), max_size=30
    ),
    cut=st.integers(0, 60),
)
def test_nothing_that_comes_is_a_crash(
    messages: list[tuple[str, bytes, int, bool]], cut: int
) -> None:
    host = SparkplugHost(SITE)
    known = {point.name for point in SITE.points()}
    for topic, payload, at, is_cut in messages:
        raw = payload[:cut] if is_cut else payload
        heard = Heard(host.take(Message(topic, raw, ns(T + at))))
        late = Heard(host.tick(ns(T + 2 * at)))
        for part in (*heard.taken.readings, *late.taken.readings):
            assert known.issuperset(part.points)
            assert all(-(2**63) <= time < 2**63 for time in part.times)
            assert set(part.qualities) <= {0, 1, 2}
            assert all(value == value for value in part.values)
