"""Which figures of a transfer its readings tell."""

from __future__ import annotations

import dataclasses

import pytest

from analytics.core.comparable import Comparable, comparable
from bondtrail.results import Hookup, Outcome
from bondtrail.site import Role
from tests.analytics.core.build import BAD, GAP, OPEN, Stretch, ns, station, told
from tests.analytics.made import a_transfer

TRANSFER = dataclasses.replace(a_transfer("spot", ns(10)), end=ns(50))
WHOLE: dict[str, list[Stretch]] = {
    "resistance": [(60, 3.0), (40, OPEN)],
    "flow": [(10, 0), (40, 800), (50, 0)],
    "bypass": [(100, 0)],
}


def found(end_s: float | None = 60, **other: list[Stretch]) -> Comparable:
    signals = WHOLE | other
    roles = [Role(name) for name, stretches in signals.items() if stretches]
    verified = Outcome.VERIFIED
    hookups = [] if end_s is None else [Hookup("spot", 0, ns(end_s), verified, 1.0, 3.0, 3.0, None)]
    return comparable(station(*roles), told(**signals), TRANSFER, hookups, (0, ns(100)))


def test_a_whole_record_tells_all() -> None:
    assert found() == Comparable()


@pytest.mark.parametrize(
    "flow",
    [
        pytest.param([(10, 0), (20, 800), (1, GAP), (69, 0)], id="silent"),
        pytest.param([(10, 0), (20, 800), (1, BAD), (69, 0)], id="bad"),
        pytest.param([], id="no-point"),
    ],
)
def test_a_volume_needs_a_meter_that_tells_throughout(flow: list[Stretch]) -> None:
    assert found(flow=flow) == Comparable(volume=False)


def test_what_is_missing_beside_the_transfer_does_not_matter() -> None:
    assert found(flow=[(10, GAP), (40, 800), (50, GAP)]).volume


@pytest.mark.parametrize(
    "bypass", [pytest.param([(20, 0), (80, GAP)], id="silent"), pytest.param([], id="no-point")]
)
def test_a_bypass_that_is_not_known_is_not_off(bypass: list[Stretch]) -> None:
    assert found(bypass=bypass) == Comparable(bypass=False)


@pytest.mark.parametrize(
    ("end_s", "bond"),
    [
        pytest.param(60, {"resistance": [(60, 3.0), (5, GAP), (35, OPEN)]}, id="fell-silent"),
        pytest.param(60, {"resistance": [(60, 3.0), (40, BAD)]}, id="became-bad"),
        pytest.param(
            60, {"resistance": [], "status": [(60, 1), (5, 3), (35, 0)]}, id="monitor-off"
        ),
        pytest.param(60, {"resistance": [], "status": [(60, 1), (5, 2), (35, 0)]}, id="in-fault"),
        pytest.param(60, {"resistance": []}, id="nothing-tells"),
        pytest.param(None, {}, id="no-hookup"),
        pytest.param(100, {"resistance": [(100, 3.0)]}, id="still-on"),
    ],
)
def test_a_clamp_that_nobody_saw_come_off(
    end_s: float | None, bond: dict[str, list[Stretch]]
) -> None:
    assert found(end_s, **bond) == Comparable(clamp_off=False)


def test_a_clamp_that_a_status_saw_come_off() -> None:
    assert found(60, resistance=[], status=[(60, 1), (40, 0)]) == Comparable()


def test_the_bond_of_a_fixed_item_does_not_lead() -> None:
    fixed = station(Role.RESISTANCE, kind="fixed_item")
    assert comparable(fixed, told(**WHOLE), TRANSFER, [], (0, ns(100))).lead is False
