"""What is encoded as an edge node would, a host takes as it was.

Sections beside tests are those of the Sparkplug specification 3.0.0 (ISO/IEC 20237); their titles
are from memory.
"""

from __future__ import annotations

import math

import pytest

from bondtrail.site import parse_site
from ingest.live.messages import Message
from ingest.live.sparkplug import SparkplugHost
from ingest.live.sparkplug.encoding import Edge, Encoded, asks_for_births
from ingest.live.sparkplug.payloads import rebirth
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from tests.ingest.live.sparkplug.edge import SITE, Heard, T, metric, ns

STATIONS = parse_site(
    """
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"
"""
    + "".join(
        f"""
[[station]]
id = "rail-{number}"
name = "Rail spot {number}"
kind = "rail_tank_car"
[station.points]
resistance = {{ unit = "kohm" }}
status = {{}}
permissive = {{}}
"""
        for number in range(3)
    )
)


def send(host: SparkplugHost, *messages: Encoded, at: int = 0) -> Heard:
    """What a host makes of messages, all together."""
    takens = [host.take(Message(topic, payload, ns(T + at))) for topic, payload in messages]
    whole = takens[0]
    for taken in takens[1:]:
        whole.readings += taken.readings
        whole.refused += taken.refused
        whole.publish += taken.publish
    return Heard(whole)


@pytest.fixture
def edge() -> Edge:
    return Edge("quay", "gate", STATIONS.stations, session=3)


def test_stations_are_devices(edge: Edge) -> None:
    # Section "Birth Message (DBIRTH)".
    assert [topic for topic, _ in edge.births(ns(T))] == [
        "spBv1.0/quay/NBIRTH/gate",
        "spBv1.0/quay/DBIRTH/gate/rail-0",
        "spBv1.0/quay/DBIRTH/gate/rail-1",
        "spBv1.0/quay/DBIRTH/gate/rail-2",
    ]


def test_aliases_are_unique_in_the_node(edge: Edge) -> None:
    # Section "Metric".
    aliases = [
        item.alias
        for topic, payload in edge.births(ns(T))
        if "DBIRTH" in topic
        for item in Payload.FromString(payload).metrics
    ]
    assert sorted(aliases) == list(range(9))


def test_births_without_readings_bring_none(edge: Edge) -> None:
    heard = send(SparkplugHost(STATIONS), *edge.births(ns(T)))
    assert (heard.rows, heard.faults, heard.asked) == ([], [], [])


def test_readings_arrive_as_they_were(edge: Edge) -> None:
    host = SparkplugHost(STATIONS)
    send(host, *edge.births(ns(T)))
    points = ["rail-0.resistance", "rail-0.status", "rail-0.permissive"] * 2
    values = [2.5, 3.0, 1.0, math.inf, 0.0, 0.0]
    qualities = [0, 1, 2, 2, 0, 0]
    times = [ns(T + n) for n in range(6)]
    heard = send(host, edge.data("rail-0", points, times, values, qualities, ns(T + 6)), at=6)
    kept = [2500.0, *values[1:]]
    assert heard.rows == list(zip(points, range(6), kept, qualities, strict=True))
    assert not heard.faults


def test_births_tell_the_newest_readings(edge: Edge) -> None:
    edge.data("rail-2", ["rail-2.status"], [ns(T + 5)], [1.0], [0], ns(T + 5))
    edge.data("rail-2", ["rail-2.status"], [ns(T + 3)], [0.0], [0], ns(T + 6))
    heard = send(SparkplugHost(STATIONS), *edge.births(ns(T + 9)), at=9)
    assert heard.rows == [("rail-2.status", 5, 1.0, 0)]


def test_death_is_that_of_the_births(edge: Edge) -> None:
    # Section "Death Message (NDEATH)".
    host = SparkplugHost(STATIONS)
    send(host, *edge.births(ns(T)))
    send(host, edge.data("rail-0", ["rail-0.status"], [ns(T)], [1.0], [0], ns(T)))
    topic, payload = edge.death(ns(T + 4))
    assert topic == "spBv1.0/quay/NDEATH/gate"
    # Published: an NDEATH has no seq, and bdSeq is its only metric.
    death = Payload.FromString(payload)
    assert not death.HasField("seq")
    assert [(item.name, item.long_value) for item in death.metrics] == [("bdSeq", 3)]
    assert send(host, (topic, payload), at=4).rows == [("rail-0.status", 4, 1.0, 2)]


def test_numbers_go_on_over_devices_and_round(edge: Edge) -> None:
    # Section "Payload".
    host = SparkplugHost(STATIONS)
    send(host, *edge.births(ns(T)))
    for n in range(600):
        station = ("rail-0", "rail-2")[n % 2]
        told = edge.data(station, [f"{station}.status"], [ns(T + n)], [1.0], [0], ns(T + n))
        heard = send(host, told, at=n)
        assert (len(heard.rows), heard.faults) == (1, [])


def test_request_for_births_is_told_from_other_commands() -> None:
    # Section "Command (NCMD)".
    assert asks_for_births(rebirth(ns(T)))
    other = Payload(metrics=[metric("Node Control/Reboot", boolean_value=True)])
    assert not asks_for_births(other.SerializeToString())
    assert not asks_for_births(b"\xff")


def test_lists_that_are_not_of_one_length_are_an_error() -> None:
    edge = Edge("quay", "gate", SITE.stations)
    with pytest.raises(ValueError, match="argument"):
        edge.data("rail-1", ["rail-1.flow"], [], [1.0], [0], ns(T))
