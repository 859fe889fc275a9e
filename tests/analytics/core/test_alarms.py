"""The moments at which a station calls for its operator."""

from __future__ import annotations

import pytest

from analytics.core.alarms import alarm_starts, turned_on
from bondtrail.results import AlarmKind
from tests.analytics.core.build import (
    BAD,
    GAP,
    OPEN,
    Pair,
    Stretch,
    case,
    contact,
    moments,
    spans,
    told,
)


def alarms(
    reported: dict[str, list[Stretch]],
    transfers: list[Pair],
    disagreements: list[Pair],
    kind: str = "rail_tank_car",
) -> dict[str, list[float]]:
    """The seconds of each kind of alarm that there was, within 20 s."""
    told_case = case(told(**reported), until=20, kind=kind)
    found = alarm_starts(
        told_case.now,
        told_case.losses,
        spans(*transfers),
        spans(*disagreements),
        is_fixed=told_case.station.is_fixed,
    )
    assert set(found) == set(AlarmKind)
    return {str(kind): (at / 1e9).tolist() for kind, at in found.items() if at.size}


LOST = {"resistance": [(5, 2.0), (3, OPEN), (6, 2.0), (6, 40.0)]}


@pytest.mark.parametrize(
    ("reported", "transfers", "expected"),
    [
        pytest.param({}, [], {}, id="nothing-reported"),
        pytest.param({"resistance": [(20, 2.0)]}, [(0, 20)], {}, id="bonded-throughout"),
        pytest.param(LOST, [], {}, id="lost-outside-any-transfer"),
        pytest.param(LOST, [(0, 20)], {"bond_lost": [5, 14]}, id="lost-in-a-transfer"),
        pytest.param(LOST, [(0, 14)], {"bond_lost": [5]}, id="lost-as-a-transfer-ends-is-outside"),
        pytest.param(LOST, [(5, 9)], {"bond_lost": [5]}, id="lost-as-a-transfer-begins"),
        pytest.param(
            {"resistance": [(5, OPEN), (15, 2.0)]}, [(0, 20)], {}, id="never-there-is-not-lost"
        ),
        pytest.param(
            {"resistance": [(20, 2.0)], "status": [(4, 1.0), (2, 2.0), (5, 1.0), (9, BAD)]},
            [],
            {"monitor_fault": [4, 11]},
            id="fault-and-bad-data",
        ),
        pytest.param(
            {"bypass": [(4, 1.0), (4, 0.0), (4, 1.0), (4, GAP), (4, 1.0)]},
            [],
            {"bypass_on": [0, 8]},
            id="bypass-on-is-not-new-after-silence",
        ),
    ],
)
def test_alarm_starts(
    reported: dict[str, list[Stretch]], transfers: list[Pair], expected: dict[str, list[float]]
) -> None:
    assert alarms(reported, transfers, []) == expected


def test_a_fixed_item_alarms_on_its_bond_at_any_time_and_only_so() -> None:
    expected = {"item_bond_lost": [5, 14]}
    assert alarms(LOST, [(0, 20)], [], kind="fixed_item") == expected
    assert alarms(LOST, [], [], kind="fixed_item") == expected


def test_disagreements_are_told_in_order() -> None:
    assert alarms({}, [], [(9, 15), (2, 6)]) == {"disagreement": [2, 9]}


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        pytest.param("off 9", [], id="never"),
        pytest.param("? 9", [], id="unknown"),
        pytest.param("on 9", [0], id="on-from-the-first"),
        pytest.param("off 2 on 1 off 2 on 1", [2, 5], id="each-time"),
        pytest.param("on 2 ? 1 on 2", [0], id="still-on-after-silence"),
        pytest.param("off 2 ? 1 on 2", [3], id="found-on-after-silence"),
    ],
)
def test_turned_on(words: str, expected: list[float]) -> None:
    assert turned_on(contact(words)).tolist() == moments(*expected).tolist()
