"""What a hostile publisher can make a host keep is bounded, and the others are still heard."""

from __future__ import annotations

import pytest

from ingest.live.sparkplug import known
from ingest.live.sparkplug.known import MOST_HELD
from ingest.live.sparkplug.reasons import Wrong
from tests.ingest.live.sparkplug.edge import DOUBLE, FLOW, Talk, born, metric, told

FLO = "rail-1.flow"


def test_nodes_that_are_not_alive_make_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "MOST_NODES", 3)
    talk = Talk()
    talk.births()
    for n in range(10):
        assert talk.say("NDATA", metric(alias=1), seq=0, node=f"n{n}").faults[0][0] == Wrong.UNBORN
    assert talk.ddata(told(FLOW, 2.0), seq=2, at=1).rows == [(FLO, 1, 2.0, 0)]


def test_more_living_nodes_than_are_followed_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "MOST_NODES", 3)
    talk = Talk()
    faults = [talk.nbirth(node=f"n{n}").faults for n in range(5)]
    assert faults == [[], [], [], [(Wrong.NODES, 1)], [(Wrong.NODES, 1)]]
    assert talk.ndeath(node="n9").faults == [(Wrong.NODES, 1)]
    talk.ndeath(node="n1")
    assert not talk.nbirth(node="n4").faults


def test_more_devices_than_are_followed_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "MOST_DEVICES", 3)
    talk = Talk()
    talk.births()
    assert not talk.dbirth(seq=2, device="m2").faults
    assert talk.dbirth(seq=3, device="m3").faults == [(Wrong.DEVICES, 1)]
    assert talk.ddata(told(FLOW, 2.0), seq=4, at=1).rows == [(FLO, 1, 2.0, 0)]


def test_birth_of_more_metrics_than_are_followed_is_taken_in_part(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(known, "MOST_METRICS", 4)
    talk = Talk()
    talk.nbirth()
    strangers = [metric(f"s{n}", n, datatype=DOUBLE) for n in range(3)]
    heard = talk.dbirth(*strangers, born(FLOW, 1.0), *strangers)
    assert heard.rows == [(FLO, 0, 1.0, 0)]
    assert (Wrong.METRICS, 3) in heard.faults


def test_metrics_of_all_births_are_bounded_and_given_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "MOST_NAMED", 4)
    talk = Talk()
    talk.nbirth()  # bdSeq is one
    strangers = [metric(f"s{n}", n, datatype=DOUBLE) for n in range(3)]
    assert (Wrong.METRICS, 1) not in talk.dbirth(*strangers).faults
    assert (Wrong.METRICS, 1) in talk.dbirth(born(FLOW, 1.0), seq=2, device="m2").faults
    talk.say("DDEATH", seq=3)
    assert not talk.dbirth(born(FLOW, 1.0), seq=4, device="m2", at=1).faults


def test_messages_that_wait_are_bounded_over_all_nodes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "MOST_WAITING", 10)
    talk = Talk()
    for node in ("a", "b"):
        talk.nbirth(node=node)
        talk.dbirth(born(FLOW, 1.0), node=node)
    waiting = [
        talk.ddata(told(FLOW, 1.0), seq=5 + n, node=node).asked
        for n in range(6)
        for node in ("a", "b")
    ]
    assert [bool(asked) for asked in waiting] == [False] * 10 + [True] + [True]


def test_bytes_that_wait_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "MOST_WAITING_BYTES", 10_000)
    talk = Talk()
    talk.births()
    long = metric("FT-1", string_value="x" * 6000)
    assert not talk.ddata(long, seq=5).asked
    assert talk.ddata(long, seq=6).asked


def test_what_waited_is_counted_off() -> None:
    talk = Talk()
    talk.births()
    for round_ in range(3):
        at = 10_000 * (round_ + 1)
        talk.ddata(told(FLOW, 1.0), seq=50, at=at)
        talk.tick(at + 3000)
        talk.births(at=at + 4000)
    assert talk.host._known.waiting == (0, 0)


def test_kept_data_of_one_device_are_bounded() -> None:
    talk = Talk()
    talk.births()
    talk.ddata(told(FLOW, 1.0), seq=50)
    talk.tick(3000)
    faults = [
        talk.ddata(told(FLOW, 1.0), seq=(51 + n) % 256, at=3000 + n).faults
        for n in range(MOST_HELD + 5)
    ]
    assert faults[MOST_HELD - 2 :] == [[]] + [[(Wrong.LOST, 1)]] * 6
