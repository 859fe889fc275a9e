"""Deaths: every point of a node or device is unknown from then on.

Published: a death marks the tags of the node, or of the device, stale; bdSeq of a death must be
that of the birth; an NDEATH has no seq and only bdSeq. When a mark stands, and what ends it, is
ours.

Sections beside tests are those of the Sparkplug specification 3.0.0 (ISO/IEC 20237); their titles
are from memory.
"""

from __future__ import annotations

import pytest

from ingest.live.sparkplug.host import KEEP_NS
from ingest.live.sparkplug.order import REORDER_NS
from ingest.live.sparkplug.reasons import Wrong
from tests.ingest.live.sparkplug.edge import (
    DOUBLE,
    FLOW,
    OHM,
    PERMISSIVE,
    T,
    Talk,
    born,
    metric,
    told,
)

RES, FLO, PERM = "rail-1.resistance", "rail-1.flow", "rail-1.permissive"
KEEP = KEEP_NS // 1_000_000


@pytest.fixture
def talk() -> Talk:
    made = Talk()
    made.births()
    return made


def test_death_of_a_node_marks_its_points_and_those_of_its_devices(talk: Talk) -> None:
    # Section "Edge Node Session Termination".
    talk.dbirth(metric("FT-2", 20, datatype=DOUBLE, double_value=2.0), seq=2, device="m2")
    talk.say("NDATA", metric("KEY-1", boolean_value=True), seq=3)
    heard = talk.ndeath(at=5000)
    assert sorted(heard.rows) == [
        ("rail-1.bypass", 5000, 1.0, 2),
        (FLO, 5000, 100.0, 2),
        (RES, 5000, 1000.0, 2),
        ("rail-2.flow", 5000, 2.0, 2),
    ]
    assert heard.live == [False]


def test_death_of_a_device_marks_its_points_alone(talk: Talk) -> None:
    # Section "Device Session Termination".
    talk.dbirth(metric("FT-2", 20, datatype=DOUBLE, double_value=2.0), seq=2, device="m2")
    heard = talk.say("DDEATH", seq=3, device="m2", at=7)
    assert heard.rows == [("rail-2.flow", 7, 2.0, 2)]
    assert talk.ddata(told(FLOW, 1.0), seq=4, at=8).rows == [(FLO, 8, 1.0, 0)]


def test_mark_stands_after_the_last_reading_where_clocks_differ(talk: Talk) -> None:
    talk.ddata(told(FLOW, 3.0, timestamp=1_772_400_000_000 + 9000), seq=2, at=100)
    assert (FLO, 9001, 3.0, 2) in talk.ndeath(at=5000).rows


def test_history_does_not_move_what_a_death_marks(talk: Talk) -> None:
    # Section "Metric".
    talk.ddata(told(FLOW, 3.0, timestamp=1_772_399_000_000, is_historical=True), seq=2)
    talk.ddata(told(FLOW, 4.0, timestamp=1_772_400_300_000, is_historical=True), seq=3)
    assert (FLO, 5000, 100.0, 2) in talk.ndeath(at=5000).rows


def test_points_that_were_not_heard_are_not_marked() -> None:
    talk = Talk()
    talk.nbirth()
    talk.dbirth(metric("FT-1", 1, datatype=DOUBLE, is_null=True, quality=0))
    assert talk.ndeath(at=5).rows == []


def test_second_death_marks_nothing_again(talk: Talk) -> None:
    # Section "Edge Node Session Termination".
    assert talk.say("DDEATH", seq=2, at=5).rows
    assert talk.ndeath(at=6).rows == []


def test_death_of_another_session_is_left_out(talk: Talk) -> None:
    # Section "Death Message (NDEATH)".
    heard = talk.ndeath(bd=7, at=5)
    assert (heard.rows, heard.faults) == ([], [(Wrong.OTHER_DEATH, 1)])
    assert talk.ddata(told(FLOW, 1.0), seq=2, at=8).rows == [(FLO, 8, 1.0, 0)]


def test_will_of_the_last_session_that_comes_after_the_new_birth_is_left_out(talk: Talk) -> None:
    # Section "Death Message (NDEATH)".
    talk.births(bd=1, at=1000)
    assert talk.ndeath(bd=0, at=1001).faults == [(Wrong.OTHER_DEATH, 1)]
    assert talk.ndeath(bd=1, at=1002).rows


@pytest.mark.parametrize("birth", [None, 255])
def test_session_numbers_that_are_not_told_do_not_keep_a_death_out(birth: int | None) -> None:
    talk = Talk()
    if birth is None:
        talk.say("NBIRTH", seq=0)
    else:
        talk.nbirth(bd=birth)
    talk.dbirth(born(FLOW, 1.0))
    heard = talk.ndeath(bd=4, at=5) if birth is None else talk.say("NDEATH", at=5)
    assert heard.rows == [(FLO, 5, 1.0, 2)]


def test_data_after_a_death_need_a_birth(talk: Talk) -> None:
    # Section "Edge Node Session Establishment".
    talk.ndeath(at=5)
    heard = talk.ddata(told(FLOW, 1.0), metric("Bond/Ohm", double_value=1.0), seq=2, at=8)
    assert heard.rows == [(RES, 8, 1000.0, 1)]
    assert heard.faults == [(Wrong.UNBORN, 1)]
    assert heard.asked


def test_device_that_died_needs_a_birth_of_its_own(talk: Talk) -> None:
    # Section "Device Session Establishment".
    talk.say("DDEATH", seq=2, at=5)
    assert talk.ddata(told(FLOW, 1.0), seq=3, at=8).faults == [(Wrong.UNBORN, 1)]
    talk.dbirth(born(FLOW, 6.0), seq=4, at=9)
    assert talk.ddata(told(FLOW, 7.0), seq=5, at=10).rows == [(FLO, 10, 7.0, 0)]


def test_value_of_a_birth_that_was_read_before_the_death_holds_again_from_the_birth(
    talk: Talk,
) -> None:
    # A contact that did not change keeps the time of its last change.
    talk.dbirth(born(PERMISSIVE, True), seq=2, at=10)
    assert (PERM, 5000, 1.0, 2) in talk.ndeath(at=5000).rows
    talk.nbirth(bd=1, at=6000)
    heard = talk.dbirth(born(PERMISSIVE, True, timestamp=1_772_400_000_010), at=6001)
    assert heard.rows == [(PERM, 10, 1.0, 0), (PERM, 6001, 1.0, 1)]
    again = talk.dbirth(born(PERMISSIVE, True, timestamp=1_772_400_000_010), seq=2, at=7000)
    assert again.rows == [(PERM, 10, 1.0, 0)]


def test_history_in_a_birth_does_not_end_a_death(talk: Talk) -> None:
    # Section "Metric".
    talk.ndeath(at=5000)
    talk.nbirth(bd=1, at=6000)
    past = born(FLOW, 3.0, timestamp=1_772_400_001_000, is_historical=True)
    assert talk.dbirth(past, at=6001).rows == [(FLO, 1000, 3.0, 0)]


def test_device_that_is_not_born_again_with_its_node_is_marked(talk: Talk) -> None:
    # Section "Edge Node Session Establishment".
    talk.nbirth(bd=1, at=1000)
    assert talk.tick(999 + KEEP).rows == []
    heard = talk.tick(1000 + KEEP)
    assert sorted(heard.rows) == [(FLO, 1000, 100.0, 2), (RES, 1000, 1000.0, 2)]
    assert talk.tick(2000 + KEEP).rows == []


def test_clock_that_is_set_back_does_not_keep_a_missing_device_alive(talk: Talk) -> None:
    talk.nbirth(bd=1, at=1000)
    assert talk.tick(-3_600_000).rows == []
    assert talk.tick(KEEP - 1 - 3_600_000).rows == []
    heard = talk.tick(KEEP - 3_600_000)
    # After the last that was heard, though the clock says that it is earlier.
    assert sorted(heard.rows) == [(FLO, 1, 100.0, 2), (RES, 1, 1000.0, 2)]


def test_device_that_is_born_again_with_its_node_is_not_marked(talk: Talk) -> None:
    # Section "Device Session Establishment".
    talk.births(bd=1, at=1000)
    assert talk.tick(1000 + KEEP).rows == []


def test_death_from_before_the_last_birth_of_a_device_is_left_out(talk: Talk) -> None:
    talk.dbirth(born(FLOW, 1.0), seq=2, at=10_000)
    assert talk.say("DDEATH", seq=1, at=5).faults == [(Wrong.OLD_DEATH, 1)]
    assert talk.ddata(told(FLOW, 7.0), seq=3, at=10_001).rows == [(FLO, 10_001, 7.0, 0)]


def test_what_waits_when_a_node_dies_is_taken_by_name_and_refused_by_alias(talk: Talk) -> None:
    talk.ddata(told(FLOW, 4.0), metric("Bond/Ohm", double_value=2.0), seq=4, at=4)
    heard = talk.ndeath(at=5)
    assert sorted(heard.rows) == [(FLO, 5, 100.0, 2), (RES, 4, 2000.0, 0), (RES, 5, 2000.0, 2)]
    assert heard.faults == [(Wrong.LOST, 1)]
    assert talk.tick(5 + REORDER_NS // 1_000_000).rows == []


def test_birth_of_a_session_that_died_does_not_wake_it(talk: Talk) -> None:
    talk.ndeath(at=5)
    heard = talk.nbirth(at=0)
    assert (heard.faults, len(heard.asked)) == ([(Wrong.OLD_BIRTH, 1)], 1)
    assert talk.ddata(told(OHM, 4.0), seq=2, at=6).rows == []
    # Asked for, it is a birth, whatever time it bears.
    assert not talk.nbirth(at=7, sent=T).faults


def test_death_of_a_node_that_is_not_known_is_nothing() -> None:
    heard = Talk().ndeath(at=5)
    assert (heard.rows, heard.faults, heard.asked) == ([], [], [])


def test_node_alone_can_die(talk: Talk) -> None:
    # Section "Edge Node Session Termination".
    other = Talk(talk.host)
    other.nbirth(metric("FT-2", datatype=DOUBLE, double_value=1.0), node="yard")
    assert other.ndeath(node="yard", at=5).rows == [("rail-2.flow", 5, 1.0, 2)]
    assert talk.ddata(told(FLOW, 7.0), seq=2, at=9).rows == [(FLO, 9, 7.0, 0)]
