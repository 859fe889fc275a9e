"""When a station calls for its operator, and when the condition behind the call clears."""

from __future__ import annotations

import pytest

from analytics.core.alarms import alarms_of, last_known_on
from bondtrail.results import Alarm, AlarmKind
from tests.analytics.core.build import (
    BAD,
    GAP,
    OPEN,
    Pair,
    Stretch,
    case,
    contact,
    ns,
    pairs,
    spans,
    told,
)

Told = dict[str, list[Stretch]]


def alarms(
    reported: Told, disagreements: list[Pair] | None = None, **how: object
) -> dict[str, list[Pair]]:
    """The seconds from which and until which each kind of alarm was active, within 20 s."""
    limits = {"transfer_min_s": 0, "resume_within_s": 5, **how}
    found: dict[str, list[Pair]] = {}
    for alarm in alarms_of(
        case(told(**reported), until=20, **limits),  # type: ignore[arg-type]
        spans(*disagreements or []),
    ):
        found.setdefault(str(alarm.kind), []).append((alarm.start / 1e9, alarm.end / 1e9))
    return found


LOST: list[Stretch] = [(5, 2.0), (3, OPEN), (6, 2.0), (6, 40.0)]


@pytest.mark.parametrize(
    ("flow", "expected"),
    [
        pytest.param([(20, 0)], [], id="outside-any-transfer"),
        pytest.param([(20, 60)], [(5, 8), (14, 20)], id="until-it-is-back-or-history-ends"),
        pytest.param([(14, 60), (6, 0)], [(5, 8)], id="as-the-transfer-ends-is-outside"),
        pytest.param([(5, 0), (2, 60), (13, 0)], [(5, 7)], id="as-it-begins-until-flow-is-over"),
        pytest.param([(16, 60), (2, 0), (2, 60)], [(5, 8), (14, 20)], id="a-pause-is-no-end"),
        pytest.param([(6, 60), (6, 0), (8, 60)], [(5, 6), (14, 20)], id="two-transfers"),
    ],
)
def test_bond_lost(flow: list[Stretch], expected: list[Pair]) -> None:
    assert alarms({"resistance": LOST, "flow": flow}).get("bond_lost", []) == expected


@pytest.mark.parametrize(
    ("resistance", "expected"),
    [
        pytest.param([(20, 2.0)], [], id="never-lost"),
        pytest.param([(5, OPEN), (15, 2.0)], [], id="never-there-is-not-lost"),
        pytest.param([(5, 2.0), (5, GAP), (10, 2.0)], [], id="unknown-is-not-lost"),
        pytest.param([(5, 2.0), (3, OPEN), (12, GAP)], [(5, 20)], id="nor-is-it-back"),
        pytest.param(
            [(5, 2.0), (3, OPEN), (4, GAP), (4, 40.0), (4, 2.0)],
            [(5, 16)],
            id="one-loss-until-it-is-low",
        ),
        pytest.param(
            [(5, 2.0), (3, OPEN), (1, 2.0), (11, OPEN)], [(5, 8), (9, 20)], id="low-ends-it-at-once"
        ),
    ],
)
def test_the_bond_is_lost_until_it_is_low_again(
    resistance: list[Stretch], expected: list[Pair]
) -> None:
    found = alarms({"resistance": resistance, "flow": [(20, 60)]})
    assert found.get("bond_lost", []) == expected


def test_a_fixed_item_alarms_on_its_bond_at_any_time_and_only_so() -> None:
    expected = {"item_bond_lost": [(5, 8), (14, 20)]}
    assert alarms({"resistance": LOST}, kind="fixed_item") == expected
    assert alarms({"resistance": LOST, "flow": [(20, 60)]}, kind="fixed_item") == expected


def test_the_loss_of_an_item_ends_where_nothing_is_known_of_it() -> None:
    lost: Told = {"resistance": [(5, 2.0), (3, OPEN), (2, GAP), (10, 2.0)]}
    assert alarms(lost, kind="fixed_item") == {"item_bond_lost": [(5, 8)]}


def test_a_monitor_is_at_fault_while_it_says_so_or_its_data_are_bad() -> None:
    found = alarms(
        {"resistance": [(20, 2.0)], "status": [(4, 1), (2, 2), (5, 1), (3, BAD), (3, GAP), (3, 2)]}
    )
    assert found == {"monitor_fault": [(4, 6), (11, 14), (17, 20)]}


def test_bad_data_of_another_point_are_no_fault_of_the_monitor() -> None:
    assert alarms({"resistance": [(20, 2.0)], "flow": [(20, BAD)]}) == {}


def test_disagreements_are_told_in_order() -> None:
    assert alarms({}, [(9, 15), (2, 6)]) == {"disagreement": [(2, 6), (9, 15)]}


def test_nothing_reported_gives_no_alarm() -> None:
    assert alarms({}) == {}


def test_all_kinds_are_in_one_order_of_time_and_then_of_kind() -> None:
    reported = told(
        resistance=[(5, 2.0), (5, OPEN), (5, 2.0), (5, OPEN)],
        bypass=[(5, 0), (2, 1), (13, 0)],
        flow=[(20, 60)],
    )
    found = alarms_of(case(reported, until=20), spans((5, 9), (1, 2)))
    assert found == [
        Alarm("spot", AlarmKind.DISAGREEMENT, ns(1), ns(2)),
        Alarm("spot", AlarmKind.BOND_LOST, ns(5), ns(10)),
        Alarm("spot", AlarmKind.BYPASS_ON, ns(5), ns(7)),
        Alarm("spot", AlarmKind.DISAGREEMENT, ns(5), ns(9)),
        Alarm("spot", AlarmKind.BOND_LOST, ns(15), ns(20)),
    ]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        pytest.param("off 9", [], id="never"),
        pytest.param("? 9", [], id="unknown"),
        pytest.param("on 9", [(0, 9)], id="on-throughout"),
        pytest.param("off 2 on 1 off 2 on 1", [(2, 3), (5, 6)], id="each-time"),
        pytest.param("on 2 ? 1 on 2", [(0, 5)], id="still-on-across-silence"),
        pytest.param("on 2 ? 1 off 2", [(0, 3)], id="found-off-after-silence"),
        pytest.param("off 2 ? 1 on 2 ? 3", [(3, 8)], id="found-on-and-silent-again"),
    ],
)
def test_last_known_on(words: str, expected: list[Pair]) -> None:
    assert pairs(last_known_on(contact(words))) == expected
