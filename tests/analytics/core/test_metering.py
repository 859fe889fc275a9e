"""What the meter told of a flow, and what it did not."""

from __future__ import annotations

import pytest

from analytics.core.metering import Metering, told_throughout
from analytics.core.situation import situation
from bondtrail.site import Point, Role
from tests.analytics.core.build import BAD, GAP, Pair, Stretch, held, moments, ns, pairs, station
from tests.analytics.core.build import told as samples_of

SPAN = (0, ns(60))


def metering(signals: dict[str, list[Stretch]], span: tuple[int, int] = SPAN) -> Metering:
    where, samples = station(*map(Role, signals)), samples_of(**signals)
    found = Metering.of(where, samples, situation(where, samples, SPAN), span)
    assert found is not None
    return found


RUNNING: list[Stretch] = [(10, 0), (40, 1), (10, 0)]


@pytest.mark.parametrize(
    ("signals", "measured", "missed", "unsure", "words"),
    [
        pytest.param({"flow": [(60, 0)]}, [], [], [], "", id="no-flow"),
        pytest.param({"flow": [(10, 0), (50, 800)]}, [(10, 60)], [], [], "", id="all-of-it"),
        pytest.param(
            {"flow": [(20, 800), (26, GAP), (14, 800)]},
            [(0, 20), (46, 60)],
            [],
            [(20, 46)],
            "the meter told nothing for 26 s in which it may have flowed",
            id="silent: flow-is-unknown",
        ),
        pytest.param(
            {"flow": [(10, 0), (10, 800), (20, BAD), (10, 800), (10, 0)], "running": RUNNING},
            [(10, 20), (40, 50)],
            [(20, 40)],
            [],
            "the meter told nothing for 20 s of the flow",
            id="bad-while-it-runs",
        ),
        pytest.param(
            {"flow": [(10, 0), (30, 800), (20, GAP)], "running": RUNNING},
            [(10, 40)],
            [(40, 50)],
            [(50, 60)],
            "the meter told nothing for 10 s of the flow and for 10 s in which it may have flowed",
            id="both",
        ),
        pytest.param(
            {"flow": [(60, GAP)], "running": RUNNING},
            [],
            [(10, 50)],
            [(0, 10), (50, 60)],
            "the meter told nothing of the flow",
            id="never-heard",
        ),
        pytest.param(
            {"flow": [(60, 2)], "running": RUNNING}, [(10, 50)], [], [], "", id="a-trickle-is-told"
        ),
    ],
)
def test_what_the_meter_told(
    signals: dict[str, list[Stretch]],
    measured: list[Pair],
    missed: list[Pair],
    unsure: list[Pair],
    words: str,
) -> None:
    found = metering(signals)
    assert [pairs(each) for each in (found.measured, found.missed, found.unsure)] == [
        measured,
        missed,
        unsure,
    ]
    assert found.words == words
    assert found.is_whole is (words == "")
    assert found.is_none is (not measured and words != "")


def test_only_what_lies_in_the_span_counts() -> None:
    silent: dict[str, list[Stretch]] = {"flow": [(20, 800), (26, GAP), (14, 800)]}
    found = metering(silent, (ns(15), ns(30)))
    assert (pairs(found.measured), pairs(found.unsure)) == ([(15, 20)], [(20, 30)])
    part = metering(silent).part(ns(15), ns(30))
    assert (pairs(part.measured), pairs(part.unsure)) == ([(15, 20)], [(20, 30)])


def test_what_was_measured_so_far() -> None:
    found = metering({"flow": [(10, 0), (10, GAP), (20, 800), (20, 0)], "running": RUNNING})
    at = moments(5, 10, 15, 20, 25, 55)
    not_all, nothing = found.so_far(0, at)
    assert not_all.tolist() == [False, False, True, True, True, True]
    assert nothing.tolist() == [False, False, True, True, False, False]
    not_all, nothing = found.so_far(ns(20), at)
    assert not not_all.any()
    assert not nothing.any()


def test_without_a_meter_nothing_is_said_of_it() -> None:
    where, samples = station(Role.RUNNING), samples_of(running=[(60, 1)])
    assert Metering.of(where, samples, situation(where, samples, SPAN), SPAN) is None


@pytest.mark.parametrize(
    ("stretches", "expected"),
    [
        pytest.param([(60, 1)], True, id="throughout"),
        pytest.param([(20, 1), (2, GAP), (38, 1)], False, id="silent"),
        pytest.param([(20, 1), (2, BAD), (38, 1)], False, id="bad"),
        pytest.param([], False, id="never"),
    ],
)
def test_a_point_that_told_throughout(stretches: list[Stretch], expected: bool) -> None:
    point = Point(station="spot", role=Role.BYPASS, stale_after_s=1)
    assert told_throughout(point, held(*stretches), SPAN) is expected
