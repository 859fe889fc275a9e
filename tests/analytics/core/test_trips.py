"""Trips: which stop of flow is one, and what was behind it."""

from __future__ import annotations

import pytest

from analytics.core.transfers import flow_runs
from analytics.core.trips import (
    FlowStop,
    cause_of_loss,
    cause_without_loss,
    is_marginal,
    loss_behind,
    stops_by,
    verified_losses,
)
from bondtrail.results import CLASS_OF, TripCause, TripClass
from bondtrail.site import Limits
from tests.analytics.core.build import (
    OPEN,
    Pair,
    Stretch,
    contact,
    held,
    moments,
    ns,
    spans,
)


@pytest.mark.parametrize(
    ("triggers", "expected"),
    [
        pytest.param([], [], id="no-trigger"),
        pytest.param([195], [195], id="soon-before"),
        pytest.param([190], [190], id="exactly-the-window-before"),
        pytest.param([189.999], [], id="a-moment-too-early"),
        pytest.param([200], [200], id="as-flow-goes-off"),
        pytest.param([200.001], [], id="after-flow-went-off"),
        pytest.param([192, 196], [196], id="the-latest"),
        pytest.param([196, 201], [196], id="the-latest-before-the-stop"),
    ],
)
def test_a_trigger_ends_a_run_that_flowed_from_100_to_200(
    triggers: list[float], expected: list[float]
) -> None:
    (transfer,) = flow_runs(contact("off 100 on 100 off 9"), 0, 0)
    found = stops_by(moments(*triggers), transfer, ns(10))
    assert found == [FlowStop(ns(100), ns(time), ns(200)) for time in expected]


def test_a_trigger_before_its_run_began_stops_nothing() -> None:
    (transfer,) = flow_runs(contact("off 100 on 4 off 9"), 0, 0)
    assert stops_by(moments(99), transfer, ns(10)) == []
    assert len(stops_by(moments(100), transfer, ns(10))) == 1


def test_each_run_may_be_tripped() -> None:
    (transfer,) = flow_runs(contact("on 50 off 10 on 40 ? 5"), ns(60), 0)
    # The second run goes unknown: nobody saw it stop.
    assert stops_by(moments(49, 99), transfer, ns(10)) == [FlowStop(0, ns(49), ns(50))]


@pytest.mark.parametrize(
    ("low", "losses", "expected"),
    [
        pytest.param([], [], [], id="none"),
        pytest.param([(0, 1)], [(1, 5)], [], id="hold-just-not-served"),
        pytest.param([(0, 1.001)], [(1.001, 5)], [1.001], id="hold-served"),
        pytest.param([(0, 5)], [(8, 9)], [8], id="unknown-between"),
        pytest.param([(0, 9), (12, 12.5)], [(9, 12), (12.5, 20)], [9], id="each-by-its-own"),
    ],
)
def test_verified_losses(low: list[Pair], losses: list[Pair], expected: list[float]) -> None:
    found = verified_losses(spans(*losses), spans(*low), ns(1))
    assert found.tolist() == moments(*expected).tolist()


STOP = FlowStop(ns(0), ns(100), ns(110))
"""Flowing since 0 s, tripped at 100 s, off at 110 s: the evidence begins at 95 s."""


@pytest.mark.parametrize(
    ("not_low", "expected"),
    [
        pytest.param([], None, id="no-loss"),
        pytest.param([(80, 95)], None, id="over-as-the-evidence-begins"),
        pytest.param([(80, 95.001)], (80, 95.001), id="reaches-into-the-evidence"),
        pytest.param([(110, 120)], (110, 120), id="begins-as-flow-goes-off"),
        pytest.param([(110.001, 120)], None, id="begins-after-flow-went-off"),
        pytest.param([(90, 96), (97, 99)], (97, 99), id="precedes-most-closely"),
        pytest.param([(98, 99), (101, 105)], (98, 99), id="before-it-rather-than-after"),
        pytest.param([(100, 105)], (100, 105), id="at-the-trip-itself-precedes-it"),
        pytest.param([(98, 99), (100, 105)], (100, 105), id="at-the-trip-rather-than-before"),
        pytest.param([(101, 102), (104, 109)], (101, 102), id="else-the-first-after-it"),
        pytest.param([(60, 70), (101, 102)], (101, 102), id="one-long-over-does-not-count"),
        pytest.param([(50, 400)], (50, 400), id="lasts-beyond-both"),
    ],
)
def test_loss_behind(not_low: list[Pair], expected: Pair | None) -> None:
    found = loss_behind(STOP, spans(*not_low))
    assert found == (None if expected is None else (ns(expected[0]), ns(expected[1])))


@pytest.mark.parametrize(
    ("loss", "open_spans", "expected"),
    [
        pytest.param((0, 9), [(0, 9)], TripCause.CLAMP_OFF, id="open-throughout"),
        pytest.param((0, 2), [(0, 2)], TripCause.CLAMP_OFF, id="open-for-exactly-brief"),
        pytest.param((0, 1.999), [(0, 1.999)], TripCause.BRIEF_CONTACT_LOSS, id="just-shorter"),
        pytest.param((0, 9), [], TripCause.HIGH_RESISTANCE, id="never-open"),
        pytest.param((0, 2), [], TripCause.HIGH_RESISTANCE, id="high-for-exactly-brief"),
        pytest.param((0, 1.999), [], TripCause.BRIEF_CONTACT_LOSS, id="high-just-shorter"),
        pytest.param(
            (0, 9), [(1, 2.5), (4, 5.5)], TripCause.HIGH_RESISTANCE, id="opens-do-not-add-up"
        ),
        pytest.param((0, 9), [(1, 2), (4, 6)], TripCause.CLAMP_OFF, id="the-longest-open-counts"),
        pytest.param((0, 1), [(20, 90)], TripCause.BRIEF_CONTACT_LOSS, id="open-elsewhere"),
    ],
)
def test_cause_of_loss(loss: Pair, open_spans: list[Pair], expected: TripCause) -> None:
    assert cause_of_loss((ns(loss[0]), ns(loss[1])), spans(*open_spans), ns(2)) is expected


@pytest.mark.parametrize(
    ("faulty", "low", "expected"),
    [
        pytest.param([], [(0, 999)], TripCause.NO_LOSS_SEEN, id="low-throughout"),
        pytest.param([], [(95, 110)], TripCause.NO_LOSS_SEEN, id="low-for-just-the-evidence"),
        pytest.param([], [(95, 109.9)], TripCause.NO_DATA, id="unknown-at-the-last"),
        pytest.param([], [(95, 100), (101, 110)], TripCause.NO_DATA, id="unknown-between"),
        pytest.param([], [], TripCause.NO_DATA, id="unknown-throughout"),
        pytest.param([(99, 100)], [(0, 999)], TripCause.MONITOR_FAULT, id="fault-beside-low"),
        pytest.param([(90, 95)], [(0, 999)], TripCause.NO_LOSS_SEEN, id="fault-over-before-it"),
        pytest.param(
            [(110, 120)], [(0, 999)], TripCause.MONITOR_FAULT, id="fault-as-flow-goes-off"
        ),
        pytest.param([(110.001, 120)], [(0, 999)], TripCause.NO_LOSS_SEEN, id="fault-afterwards"),
    ],
)
def test_cause_without_loss(faulty: list[Pair], low: list[Pair], expected: TripCause) -> None:
    assert cause_without_loss(STOP, spans(*faulty), spans(*low)) is expected


@pytest.mark.parametrize(
    ("ohms", "expected"),
    [
        pytest.param([], False, id="no-readings"),
        pytest.param([(9, 15.0)], True, id="exactly-marginal"),
        pytest.param([(4, 12.0), (1, 15.01), (4, 12.0)], False, id="one-reading-above"),
        pytest.param([(4, 12.0), (1, OPEN)], False, id="open-at-the-last"),
        pytest.param([(4, 12.0), (5, 12.0), (9, OPEN)], True, id="what-comes-after-does-not-count"),
    ],
)
def test_is_marginal(ohms: list[Stretch], expected: bool) -> None:
    assert is_marginal((0, ns(9)), held(*ohms), Limits()) is expected


def test_every_cause_has_a_class() -> None:
    assert {cause: CLASS_OF[cause] for cause in TripCause} == {
        TripCause.CLAMP_OFF: TripClass.GENUINE,
        TripCause.HIGH_RESISTANCE: TripClass.GENUINE,
        TripCause.BRIEF_CONTACT_LOSS: TripClass.NUISANCE,
        TripCause.MONITOR_FAULT: TripClass.NUISANCE,
        TripCause.NO_LOSS_SEEN: TripClass.NUISANCE,
        TripCause.NO_DATA: TripClass.UNDETERMINED,
    }
