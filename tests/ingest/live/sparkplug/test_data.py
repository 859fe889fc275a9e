"""Data and births: which point, which time, which value, which quality.

Sections beside tests are those of the Sparkplug specification 3.0.0 (ISO/IEC 20237); their titles
are from memory.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from bondtrail.site import parse_site
from ingest.faults import Fault
from ingest.live.sparkplug.reasons import Wrong
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from tests.ingest.live.sparkplug.edge import (
    BOOLEAN,
    DATETIME,
    DOUBLE,
    FLOAT,
    FLOW,
    INT8,
    INT16,
    INT32,
    INT64,
    OHM,
    SITE,
    STRING,
    UINT8,
    UINT16,
    UINT32,
    UINT64,
    T,
    Talk,
    born,
    metric,
    told,
)

RES, FLO, PERM = "rail-1.resistance", "rail-1.flow", "rail-1.permissive"


POINTS = {"Bond/Ohm": RES, "FT-1": FLO, "PRM-1": PERM, "STATE-1": "rail-1.status"}


@pytest.fixture
def talk() -> Talk:
    made = Talk()
    made.births()
    return made


# Published: NBIRTH, DBIRTH, NDATA, DDATA; an alias stands for the name that a birth gave it.


def test_births_give_values_in_the_units_that_are_kept() -> None:
    # Section "Birth Message (DBIRTH)".
    talk = Talk()
    assert talk.nbirth(metric("KEY-1", datatype=BOOLEAN, boolean_value=True)).rows == [
        ("rail-1.bypass", 0, 1.0, 0)
    ]
    heard = talk.dbirth(born(OHM, 2.5), born(FLOW, 80.0), at=5)
    assert heard.rows == [(RES, 5, 2500.0, 0), (FLO, 5, 80.0, 0)]


def test_data_by_alias_go_to_the_point_of_the_birth(talk: Talk) -> None:
    # Section "Data Message (DDATA)".
    heard = talk.ddata(told(FLOW, 3.0), told(OHM, 4.0), seq=2, at=1000)
    assert heard.rows == [(FLO, 1000, 3.0, 0), (RES, 1000, 4000.0, 0)]
    assert not heard.faults
    assert not heard.asked


def test_node_has_data_of_its_own(talk: Talk) -> None:
    # Section "Data Message (NDATA)".
    talk.nbirth(metric("KEY-1", 0, datatype=BOOLEAN, boolean_value=True), at=10)
    heard = talk.say("NDATA", metric(alias=0, boolean_value=False), seq=1, at=20)
    assert heard.rows == [("rail-1.bypass", 20, 0.0, 0)]


def test_alias_nought_is_an_alias() -> None:
    # Section "Metric".
    talk = Talk()
    talk.nbirth()
    talk.dbirth(metric("FT-1", 0, datatype=DOUBLE, double_value=1.0))
    assert talk.ddata(metric(alias=0, double_value=2.0), seq=2, at=9).rows == [(FLO, 9, 2.0, 0)]


def test_births_without_aliases_are_followed_by_names() -> None:
    # Section "Metric".
    talk = Talk()
    talk.nbirth()
    talk.dbirth(metric("FT-1", datatype=INT32, int_value=1))
    heard = talk.ddata(metric("FT-1", int_value=2**32 - 5), seq=2, at=9)
    assert heard.rows == [(FLO, 9, -5.0, 0)]


def test_a_later_birth_changes_what_an_alias_stands_for(talk: Talk) -> None:
    # Section "Birth Message (DBIRTH)".
    swapped = [(OHM[0], FLOW[1], DOUBLE), (FLOW[0], OHM[1], DOUBLE)]
    talk.dbirth(*[born(what, 7.0) for what in swapped], seq=2, at=100)
    heard = talk.ddata(metric(alias=FLOW[1], double_value=1.0), seq=3, at=200)
    assert heard.rows == [(RES, 200, 1000.0, 0)]


def test_one_alias_at_two_devices_is_told_apart_by_the_topic() -> None:
    # Section "Metric".
    # The standard has aliases unique in a node; where they are not, the topic still tells (ours).
    talk = Talk()
    talk.nbirth()
    talk.dbirth(metric("FT-1", 1, datatype=DOUBLE, double_value=1.0))
    talk.dbirth(metric("FT-2", 1, datatype=DOUBLE, double_value=1.0), seq=2, device="m2")
    heard = talk.ddata(metric(alias=1, double_value=2.0), seq=3, device="m2", at=5)
    assert heard.rows == [("rail-2.flow", 5, 2.0, 0)]


def test_alias_that_stands_twice_in_a_birth_is_of_neither() -> None:
    # Section "Metric".
    talk = Talk()
    talk.nbirth()
    heard = talk.dbirth(born(OHM, 1.0), born(("FT-1", OHM[1], DOUBLE), 2.0))
    assert heard.faults == [(Wrong.SAME_ALIAS, 1)]
    assert [row[0] for row in heard.rows] == [RES, FLO]
    heard = talk.ddata(told(OHM, 5.0), seq=2)
    assert (heard.rows, heard.faults, heard.asked) == ([], [(Wrong.SAME_ALIAS, 1)], [])


def test_alias_that_no_birth_named_is_refused_and_a_birth_asked_for(talk: Talk) -> None:
    # Section "Command (NCMD)".
    heard = talk.ddata(metric(alias=99, double_value=1.0), told(FLOW, 2.0), seq=2, at=7)
    assert heard.rows == [(FLO, 7, 2.0, 0)]
    assert heard.faults == [(Wrong.UNKNOWN_ALIAS, 1)]
    assert heard.asked == ["spBv1.0/plant/NCMD/gate"]


# Times


@pytest.mark.parametrize(
    ("stamp", "sent", "expected"),
    [
        pytest.param(T + 300, T + 500, (300, 0), id="of-the-metric"),
        pytest.param(None, T + 500, (500, 0), id="of-the-message"),
        pytest.param(None, None, (700, 1), id="arrival-then-uncertain"),
    ],
)
def test_time_is_that_of_the_metric_else_message_else_arrival(
    talk: Talk, stamp: int | None, sent: int | None, expected: tuple[int, int]
) -> None:
    # Section "Timestamps in Sparkplug".
    heard = talk.ddata(told(FLOW, 2.0, timestamp=stamp), seq=2, sent=sent, at=700)
    assert heard.rows == [(FLO, expected[0], 2.0, expected[1])]


@pytest.mark.parametrize(
    ("stamp", "fault"),
    [
        pytest.param(0, Fault.EARLY, id="1970"),
        pytest.param(946_684_799_999, Fault.EARLY, id="last-ms-of-1999"),
        pytest.param(946_684_800_000, None, id="2000"),
        pytest.param(T + 3_600_000, None, id="an-hour-ahead"),
        pytest.param(T + 3_600_001, Fault.AHEAD, id="more-than-an-hour-ahead"),
        pytest.param(2**64 - 1, Fault.AHEAD, id="beyond-64-bits-of-ns"),
    ],
)
def test_times_that_no_clock_shows_are_refused(talk: Talk, stamp: int, fault: Fault | None) -> None:
    heard = talk.ddata(told(FLOW, 2.0, timestamp=stamp), seq=2)
    assert [found for found, _ in heard.faults] == ([fault] if fault else [])
    assert len(heard.rows) == (fault is None)


# Values. Codes 3, 4, 7 to 13 as published; 1, 2, 5, 6 and two's complement from memory.

VALUES: list[Any] = [
    pytest.param(INT8, {"int_value": 0xFE}, -2.0, id="int8-in-8-bits"),
    pytest.param(INT8, {"int_value": 2**32 - 2}, -2.0, id="int8-in-32-bits"),
    pytest.param(INT16, {"int_value": 0xFFFE}, -2.0, id="int16"),
    pytest.param(INT32, {"int_value": 2**32 - 2}, -2.0, id="int32"),
    pytest.param(INT32, {"int_value": 2**31 - 1}, 2.0**31 - 1, id="int32-largest"),
    pytest.param(INT64, {"long_value": 2**64 - 2}, -2.0, id="int64"),
    pytest.param(UINT8, {"int_value": 0xFE}, 254.0, id="uint8"),
    pytest.param(UINT16, {"int_value": 0xFFFE}, 65534.0, id="uint16"),
    pytest.param(UINT32, {"int_value": 2**32 - 1}, 2.0**32 - 1, id="uint32"),
    pytest.param(UINT32, {"long_value": 2**32 - 1}, 2.0**32 - 1, id="uint32-as-long"),
    pytest.param(UINT64, {"long_value": 2**63}, 2.0**63, id="uint64"),
    pytest.param(FLOAT, {"float_value": -0.5}, -0.5, id="float"),
    pytest.param(DOUBLE, {"double_value": 0.1}, 0.1, id="double"),
]


@pytest.mark.parametrize(("datatype", "value", "expected"), VALUES)
def test_numbers_mean_what_their_type_says(
    datatype: int, value: dict[str, Any], expected: float
) -> None:
    # Section "DataType Details".
    talk = Talk()
    talk.nbirth()
    rows = talk.dbirth(metric("FT-1", 1, datatype=datatype, **value)).rows
    assert rows == [(FLO, 0, expected, 0)]
    # Data need not say the type again.
    assert talk.ddata(metric(alias=1, **value), seq=2).rows == rows


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        pytest.param("PRM-1", {"boolean_value": True}, (PERM, 1.0), id="contact"),
        pytest.param("PRM-1", {"int_value": 0}, (PERM, 0.0), id="contact-as-number"),
        pytest.param("PRM-1", {"string_value": "closed"}, (PERM, 1.0), id="contact-as-word"),
        pytest.param("STATE-1", {"int_value": 3}, ("rail-1.status", 3.0), id="status"),
        pytest.param("STATE-1", {"boolean_value": True}, ("rail-1.status", 1.0), id="status-bool"),
        pytest.param(
            "STATE-1", {"string_value": "not bonded"}, ("rail-1.status", 0.0), id="status-word"
        ),
        pytest.param("Bond/Ohm", {"string_value": "OL"}, (RES, math.inf), id="over-range"),
        pytest.param("Bond/Ohm", {"double_value": math.inf}, (RES, math.inf), id="infinity"),
        pytest.param("Bond/Ohm", {"is_null": True}, (RES, math.inf), id="null-resistance-is-open"),
    ],
)
def test_values_are_read_by_their_role(
    talk: Talk, name: str, value: dict[str, Any], expected: tuple[str, float]
) -> None:
    # Section "DataType Details".
    heard = talk.ddata(metric(name, **value), seq=2, at=3)
    assert heard.rows == [(expected[0], 3, expected[1], 0)]


@pytest.mark.parametrize(
    ("name", "value", "fault"),
    [
        pytest.param("Bond/Ohm", {"double_value": -1.0}, Fault.NEGATIVE, id="negative-resistance"),
        pytest.param("Bond/Ohm", {"double_value": math.nan}, Fault.NAN, id="nan"),
        pytest.param("Bond/Ohm", {"boolean_value": True}, Fault.NUMBER, id="resistance-as-bool"),
        pytest.param("FT-1", {"boolean_value": True}, Fault.NUMBER, id="flow-as-bool"),
        pytest.param("FT-1", {"double_value": math.inf}, Fault.INFINITE, id="endless-flow"),
        pytest.param("FT-1", {"string_value": "much"}, Fault.NUMBER, id="flow-as-word"),
        pytest.param("FT-1", {"string_value": "9" * 100}, Fault.NUMBER, id="long-text"),
        pytest.param("FT-1", {"is_null": True}, Fault.EMPTY, id="null-flow"),
        pytest.param("FT-1", {}, Fault.EMPTY, id="no-value"),
        pytest.param("PRM-1", {"int_value": 2}, Fault.CONTACT, id="contact-of-two"),
        pytest.param("STATE-1", {"int_value": 4}, Fault.STATUS, id="status-four"),
        pytest.param("FT-1", {"bytes_value": b"1"}, Wrong.KIND, id="bytes"),
        pytest.param("FT-1", {"dataset_value": b""}, Wrong.KIND, id="data-set"),
        pytest.param("FT-1", {"template_value": b""}, Wrong.KIND, id="template"),
        pytest.param("FT-1", {"extension_value": b""}, Wrong.KIND, id="extension"),
        pytest.param("FT-1", {"long_value": T, "datatype": DATETIME}, Fault.NUMBER, id="moment"),
    ],
)
def test_values_that_are_none_are_refused_and_the_rest_is_taken(
    talk: Talk, name: str, value: dict[str, Any], fault: Fault | Wrong
) -> None:
    heard = talk.ddata(metric(name, **value), told(FLOW, 1.0), seq=2, at=3)
    assert heard.rows == [(FLO, 3, 1.0, 0)]
    assert heard.faults == [(str(fault).partition(":")[0], 1)]
    assert heard.taken.refused[0].point == POINTS[name]


def test_text_that_is_not_utf8_is_refused(talk: Talk) -> None:
    topic = "spBv1.0/plant/DDATA/gate/m1"
    raw = b"\x18\x02" + b"\x12\x05\x0a\x03FT\xff" + b"\x12\x08\x10\x0b\x7a\x01\xff\x18\x80\x01"
    heard = talk.raw(topic, raw)
    assert [fault for fault, _ in heard.faults] == [Wrong.NAMELESS, Fault.NUMBER]


# Quality: 0 bad, 192 good, 500 stale and absent as published; the rest by OPC's top two bits.


@pytest.mark.parametrize(
    ("code", "quality"),
    [
        (None, 0),
        (192, 0),
        (0, 2),
        (500, 2),
        (216, 0),
        (64, 1),
        (84, 1),
        (24, 2),
        (128, 2),
        (255, 0),
        (256, 1),
        (2**32 - 1, 1),
    ],
)
def test_property_quality(talk: Talk, code: int | None, quality: int) -> None:
    # Section "Quality Codes".
    heard = talk.ddata(told(FLOW, 1.0, quality=code), seq=2, at=3)
    assert heard.rows == [(FLO, 3, 1.0, quality)]


@pytest.mark.parametrize(
    "properties",
    [
        pytest.param({"keys": ["Quality"]}, id="without-a-value"),
        pytest.param(
            {"keys": ["Quality"], "values": [{"type": STRING, "string_value": "fine"}]}, id="text"
        ),
    ],
)
def test_quality_that_cannot_be_read_is_uncertain(talk: Talk, properties: Any) -> None:
    heard = talk.ddata(told(FLOW, 1.0, properties=properties), seq=2, at=3)
    assert heard.rows == [(FLO, 3, 1.0, 1)]


def test_other_properties_say_nothing_of_quality(talk: Talk) -> None:
    # Section "PropertySet".
    unit = {"keys": ["engUnit"], "values": [{"type": STRING, "string_value": "L/min"}]}
    heard = talk.ddata(told(FLOW, 1.0, properties=unit), seq=2, at=3)
    assert heard.rows == [(FLO, 3, 1.0, 0)]


def test_null_of_bad_quality_says_that_what_was_known_is_unknown(talk: Talk) -> None:
    heard = talk.ddata(
        told(FLOW, None, quality=0),
        told(OHM, None, quality=500),
        metric("PRM-1", is_null=True, quality=0),
        seq=2,
        at=3,
    )
    assert heard.rows == [(FLO, 3, 100.0, 2), (RES, 3, 1000.0, 2)]  # of PRM-1 nothing was known
    assert not heard.faults


# History: published, it must not overwrite what holds now.


def test_historical_data_are_taken_at_their_own_time(talk: Talk) -> None:
    # Section "Metric".
    heard = talk.ddata(
        told(FLOW, 5.0, timestamp=T - 60_000, is_historical=True), told(FLOW, 6.0), seq=2, at=50
    )
    assert sorted(heard.rows) == [(FLO, -60_000, 5.0, 0), (FLO, 50, 6.0, 0)]
    assert sorted(heard.live) == [False, True]


def test_history_without_a_time_is_refused(talk: Talk) -> None:
    heard = talk.ddata(told(FLOW, 5.0, is_historical=True), seq=2, sent=None)
    assert (heard.rows, heard.faults) == ([], [(Wrong.HISTORY, 1)])


@pytest.mark.parametrize(
    ("flags", "live"),
    [({}, True), ({"is_repeat": True}, False), ({"is_prompt": False}, False)],
)
def test_what_waited_says_nothing_of_clocks(talk: Talk, flags: dict[str, bool], live: bool) -> None:
    assert talk.ddata(told(FLOW, 5.0), seq=2, **flags).live == [live]


def test_births_say_nothing_of_clocks() -> None:
    talk = Talk()
    talk.nbirth()
    assert talk.dbirth(born(FLOW, 1.0, timestamp=T - 9_000_000)).live == [False]


# Before a birth


def test_data_by_alias_before_a_birth_are_refused_and_a_birth_is_asked_for() -> None:
    # Section "Command (NCMD)".
    talk = Talk()
    heard = talk.ddata(told(FLOW, 1.0), told(OHM, 1.0), seq=9)
    assert (heard.rows, heard.faults) == ([], [(Wrong.UNBORN, 2)])
    (topic, raw) = heard.taken.publish[0]
    assert topic == "spBv1.0/plant/NCMD/gate"
    command = Payload.FromString(raw)
    assert command.timestamp == T
    assert [(m.name, m.datatype, m.boolean_value) for m in command.metrics] == [
        ("Node Control/Rebirth", BOOLEAN, True)
    ]
    assert not command.HasField("seq")


def test_data_by_name_before_a_birth_are_uncertain() -> None:
    heard = Talk().ddata(metric("FT-1", double_value=1.0), seq=9, at=4)
    assert heard.rows == [(FLO, 4, 1.0, 1)]
    assert not heard.faults


def test_birth_of_a_device_before_its_node_is_taken_as_uncertain() -> None:
    # Section "Device Session Establishment".
    talk = Talk()
    heard = talk.dbirth(born(FLOW, 1.0), at=4)
    assert heard.rows == [(FLO, 4, 1.0, 1)]
    assert heard.faults == [(Wrong.EARLY_BIRTH, 1)]
    assert heard.asked == ["spBv1.0/plant/NCMD/gate"]
    assert talk.ddata(told(FLOW, 2.0), seq=2).faults == [(Wrong.UNBORN, 1)]


def test_device_is_not_born_by_the_birth_of_its_node() -> None:
    # Section "Device Session Establishment".
    talk = Talk()
    talk.births()
    talk.nbirth(at=1000)
    heard = talk.ddata(told(FLOW, 2.0), seq=1, at=2000)
    assert (heard.rows, heard.faults) == ([], [(Wrong.UNBORN, 1)])


# Names


def test_whole_path_goes_before_the_bare_name() -> None:
    talk = Talk()
    talk.nbirth()
    assert talk.dbirth(metric("KEY-1", boolean_value=True)).faults == [(Wrong.UNKNOWN, 1)]
    heard = talk.dbirth(metric("Bond/Ohm", double_value=1.0), seq=2, device="m2", at=1)
    assert [row[0] for row in heard.rows] == ["rail-2.resistance"]


def test_points_own_name_is_a_name_too(talk: Talk) -> None:
    assert talk.ddata(metric("rail-2.flow", double_value=2.0), seq=2, at=1).rows == [
        ("rail-2.flow", 1, 2.0, 0)
    ]


def test_unknown_metrics_are_told_once_for_a_device() -> None:
    talk = Talk()
    controls = [metric("Node Control/Next Server", boolean_value=False)]
    assert not talk.nbirth(*controls).faults
    strangers = [metric(f"strange {n}", n, datatype=DOUBLE, double_value=1.0) for n in range(3)]
    heard = talk.dbirth(*strangers, born(FLOW, 1.0))
    assert heard.faults == [(Wrong.UNKNOWN, 3)]
    assert heard.taken.refused[0].message.payload == b"strange 0"
    heard = talk.ddata(metric(alias=1, double_value=1.0), metric("new", int_value=1), seq=2)
    assert (heard.rows, heard.faults, heard.asked) == ([], [], [])


def test_second_device_of_one_bare_name_is_refused(talk: Talk) -> None:
    heard = talk.dbirth(born(FLOW, 9.0), seq=2, device="m2")
    assert (heard.rows, heard.faults) == ([], [(Wrong.CLAIMED, 1)])
    assert "GROUP/NODE/DEVICE/METRIC" in heard.taken.refused[0].reason
    assert talk.ddata(told(FLOW, 8.0), seq=3, device="m2").faults == [(Wrong.CLAIMED, 1)]
    assert talk.ddata(told(FLOW, 7.0), seq=4, at=1).rows == [(FLO, 1, 7.0, 0)]


def test_device_that_no_longer_names_a_metric_leaves_it_to_others(talk: Talk) -> None:
    talk.dbirth(born(OHM, 1.0), seq=2, at=1)
    assert talk.dbirth(born(FLOW, 9.0), seq=3, device="m2", at=2).rows == [(FLO, 2, 9.0, 0)]


def test_bare_name_of_a_dead_device_is_free_for_the_next_that_lives(talk: Talk) -> None:
    talk.dbirth(born(FLOW, 9.0), seq=2, device="m2")  # refused: m1 has the point
    talk.say("DDEATH", seq=3, at=1)
    assert talk.ddata(told(FLOW, 8.0), seq=4, device="m2", at=2).rows == [(FLO, 2, 8.0, 0)]
    heard = talk.dbirth(born(FLOW, 7.0), seq=5, at=3)
    assert (heard.rows, heard.faults) == ([], [(Wrong.CLAIMED, 1)])
    assert talk.say("DDEATH", seq=6, at=4).rows == []  # the point is no longer of m1


def test_bare_name_of_a_dead_node_is_free_for_another(talk: Talk) -> None:
    other = Talk(talk.host)
    other.nbirth(node="gate-2")
    other.dbirth(born(FLOW, 9.0), node="gate-2")
    talk.ndeath(at=1)
    heard = other.ddata(told(FLOW, 8.0), seq=2, node="gate-2", at=2)
    assert heard.rows == [(FLO, 2, 8.0, 0)]
    # What the dead one says by name is no longer taken for the point.
    late = talk.ddata(metric("FT-1", double_value=5.0), seq=2, at=3)
    assert (late.rows, late.faults) == ([], [(Wrong.CLAIMED, 1)])


def test_dead_device_has_its_point_again_where_nobody_took_it(talk: Talk) -> None:
    talk.say("DDEATH", seq=2, at=1)
    late = talk.ddata(metric("FT-1", double_value=5.0), seq=3, at=2)
    assert late.rows == [(FLO, 2, 5.0, 1)]
    again = talk.dbirth(born(FLOW, 7.0), seq=4, at=3)
    assert (again.rows, again.taken.given) == ([(FLO, 3, 7.0, 0)], [])


def test_another_site_file_leaves_the_name_of_a_dead_device_free(talk: Talk) -> None:
    talk.dbirth(born(FLOW, 9.0), seq=2, device="m2")
    talk.say("DDEATH", seq=3, at=1)
    talk.host.follow(parse_site(SITE.text.replace("Quay (invented)", "Quay")))
    assert talk.ddata(told(FLOW, 8.0), seq=4, device="m2", at=2).rows == [(FLO, 2, 8.0, 0)]


def test_device_that_no_longer_names_a_point_does_not_mark_that_of_another(talk: Talk) -> None:
    talk.dbirth(born(OHM, 1.0), seq=2, at=1)
    talk.dbirth(born(FLOW, 9.0), seq=3, device="m2", at=2)
    assert [row[0] for row in talk.say("DDEATH", seq=4, at=3).rows] == [RES]


def test_second_name_of_a_point_at_one_device_is_told_as_that(talk: Talk) -> None:
    heard = talk.ddata(metric("rail-1.resistance", double_value=1.0), seq=2)
    assert (heard.rows, heard.faults) == ([], [(Wrong.TWO_NAMES, 1)])


def test_whole_path_takes_a_point_from_the_bare_name() -> None:
    elsewhere = Talk(group="other")
    elsewhere.nbirth()
    own_name = metric("rail-1.resistance", 5, datatype=DOUBLE, double_value=1.0)
    assert elsewhere.dbirth(own_name).rows == [(RES, 0, 1000.0, 0)]
    talk = Talk(elsewhere.host)
    talk.births()
    heard = elsewhere.ddata(metric(alias=5, double_value=2.0), seq=2)
    assert (heard.rows, heard.faults) == ([], [(Wrong.CLAIMED, 1)])
    assert talk.ddata(told(OHM, 3.0), seq=2, at=1).rows == [(RES, 1, 3000.0, 0)]


def test_metric_without_name_and_alias_is_refused(talk: Talk) -> None:
    assert talk.ddata(metric(double_value=1.0), seq=2).faults == [(Wrong.NAMELESS, 1)]


# Topics


@pytest.mark.parametrize(
    "topic",
    [
        "spBv1.0/STATE/the-host",
        "spBv1.0/plant/NCMD/gate",
        "spBv1.0/plant/DCMD/gate/m1",
    ],
)
def test_what_is_for_others_is_left_in_peace(talk: Talk, topic: str) -> None:
    # Section "Message Type Element".
    heard = talk.raw(topic, b'{"online": true}')
    assert (heard.rows, heard.faults, heard.asked) == ([], [], [])


@pytest.mark.parametrize(
    "topic",
    [
        "spBv1.0",
        "spBv1.0/plant",
        "spBv1.0/plant/DDATA/gate",
        "spBv1.0/plant/NDATA/gate/m1",
        "spBv1.0/plant/DDATA/gate/m1/more",
        "spBv1.0//DDATA/gate/m1",
        "spBv1.0/plant/data/gate",
        "spAv1.0/plant/NDATA/gate",
    ],
)
def test_topic_of_no_known_form_is_refused(talk: Talk, topic: str) -> None:
    # Section "Topic Namespace Elements".
    assert talk.raw(topic, b"").faults == [(Wrong.TOPIC, 1)]


@pytest.mark.parametrize(
    ("payload", "flags", "fault"),
    [
        pytest.param(b'{"t": 1}', {}, Wrong.PAYLOAD, id="json"),
        pytest.param(b"", {"is_retained": True}, Wrong.RETAINED, id="retained"),
        pytest.param(bytes((1 << 20) + 1), {}, Fault.SIZE, id="huge"),
    ],
)
def test_message_that_cannot_be_read_is_refused_whole(
    talk: Talk, payload: bytes, flags: dict[str, bool], fault: str
) -> None:
    # Section "Google Protocol Buffer Schema".
    heard = talk.raw("spBv1.0/plant/DDATA/gate/m1", payload, **flags)
    assert [found.split(":")[0] for found, _ in heard.faults] == [str(fault).split(":")[0]]


def test_another_site_file_is_followed(talk: Talk) -> None:
    text = SITE.text.replace('unit = "kohm"', 'unit = "ohm"').replace("FT-1", "FT-9")
    talk.host.follow(parse_site(text))
    assert talk.tick(0).asked == ["spBv1.0/plant/NCMD/gate"]
    heard = talk.ddata(told(OHM, 3.0), told(FLOW, 2.0), seq=2, at=1)
    assert heard.rows == [(RES, 1, 3.0, 0)]


def test_empty_payload_is_a_message_without_metrics() -> None:
    # Section "Payload".
    heard = Talk().raw("spBv1.0/plant/NDATA/gate", b"")
    assert (heard.rows, heard.faults, heard.asked) == ([], [], [])
