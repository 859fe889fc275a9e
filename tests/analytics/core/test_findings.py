"""Every rule asked in turn: what is found, where, how bad, and on which transfer."""

from __future__ import annotations

from typing import Any

import pytest

from analytics.core.findings import disagreements, find_all
from analytics.core.station import find_trips
from bondtrail.results import Finding, WorkWindow
from tests.analytics.core.build import BAD, GAP, OPEN, Stretch, case, ns, pairs, told

Told = dict[str, list[Stretch]]
Row = tuple[str, str, float, float]
"""Kind, severity, start and end in seconds."""

DRYER = "fixed_item"


def found(reported: Told, until: float = 60, *, work: Any = (), **how: Any) -> list[Finding]:
    told_case = case(told(**reported), until=until, **how)
    return find_all(told_case, find_trips(told_case), work)


def rows(findings: list[Finding]) -> list[Row]:
    return [(str(f.kind), str(f.severity), f.start / 1e9, f.end / 1e9) for f in findings]


@pytest.mark.parametrize(
    ("reported", "expected"),
    [
        pytest.param({}, [], id="no-points"),
        pytest.param({"resistance": [], "flow": []}, [], id="no-samples"),
        pytest.param(
            {"resistance": [(5, OPEN), (45, 2.0), (10, OPEN)], "flow": [(8, 0), (30, 60), (22, 0)]},
            [],
            id="a-good-transfer",
        ),
        pytest.param(
            {"resistance": [(60, OPEN)], "flow": [(10, 0), (30, 60), (20, 0)]},
            [("no_bond_transfer", "critical", 10, 40)],
            id="no-bond-at-all",
        ),
        pytest.param(
            {"resistance": [(60, GAP)], "flow": [(10, 0), (30, 60), (20, 0)]},
            [("unverifiable_flow", "major", 10, 40)],
            id="all-of-it-unknown-is-not-no-bond",
        ),
        pytest.param(
            {"resistance": [(20, OPEN), (40, GAP)], "flow": [(10, 0), (30, 60), (20, 0)]},
            [("no_bond_transfer", "critical", 10, 40), ("unverifiable_flow", "major", 20, 40)],
            id="partly-unknown-and-never-bonded",
        ),
        pytest.param(
            # The bond comes just as flow ends: it was never verified while flowing.
            {"resistance": [(39, OPEN), (21, 2.0)], "flow": [(10, 0), (30, 60), (20, 0)]},
            [("no_bond_transfer", "critical", 10, 40)],
            id="verified-only-as-flow-ends",
        ),
        pytest.param(
            {"resistance": [(20, OPEN), (40, 2.0)], "flow": [(10, 0), (30, 60), (20, 0)]},
            [("unbonded_start", "major", 10, 21)],
            id="unbonded-start",
        ),
        pytest.param(
            {"resistance": [(20, 2.0), (40, 40.0)], "flow": [(10, 0), (30, 60), (20, 0)]},
            [("bond_lost_in_flow", "critical", 20, 40)],
            id="lost-in-flow",
        ),
        pytest.param(
            {"resistance": [(15, 2.0), (10, GAP), (35, 2.0)], "flow": [(40, 60), (20, 0)]},
            [],
            id="unknown-for-exactly-the-allowance",
        ),
        pytest.param(
            {"resistance": [(15, 2.0), (11, BAD), (34, 2.0)], "flow": [(40, 60), (20, 0)]},
            [("unverifiable_flow", "major", 15, 26)],
            id="bad-data-for-longer-than-the-allowance",
        ),
        pytest.param(
            {"resistance": [(60, 2.0)], "bypass": [(15, 0), (1, 1), (44, 0)], "flow": [(60, 60)]},
            [],
            id="bypassed-for-exactly-the-allowance",
        ),
        pytest.param(
            {"resistance": [(60, 2.0)], "bypass": [(15, 0), (2, 1), (43, 0)], "flow": [(60, 60)]},
            [("bypassed_flow", "major", 15, 17)],
            id="bypassed-for-longer",
        ),
        pytest.param(
            {"resistance": [(5, OPEN), (20, 300.0), (35, OPEN)]},
            [("failed_hookup", "minor", 5, 25)],
            id="failed-hookup",
        ),
        pytest.param(
            # Two seconds of flow are no transfer, but flow they are.
            {
                "resistance": [(5, OPEN), (20, 300.0), (35, OPEN)],
                "flow": [(9, 0), (2, 60), (49, 0)],
            },
            [("failed_hookup", "major", 5, 25)],
            id="failed-hookup-while-flow-ran",
        ),
        pytest.param(
            {
                "resistance": [(60, 2.0)],
                "permissive": [(30, 1), (30, 0)],
                "flow": [(32, 60), (28, 0)],
            },
            [("nuisance_trip", "minor", 30, 32), ("permissive_withheld", "minor", 30, 60)],
            id="tripped-for-no-reason",
        ),
        pytest.param(
            {"resistance": [(5, 2.0), (1, OPEN)] * 3 + [(42, 2.0)]},
            [("chattering", "minor", 5, 17)],
            id="chattering",
        ),
        pytest.param(
            {"resistance": [(20, 2.0), (40, OPEN)], "permissive": [(25, 1), (35, 0)]},
            [("permissive_without_bond", "critical", 20, 25)],
            id="permissive-without-bond",
        ),
        pytest.param(
            {"permissive": [(30, 0), (30, 1)], "flow": [(29, 0), (31, 60)]},
            [],
            id="a-permissive-that-is-the-bond-never-disagrees",
        ),
    ],
)
def test_find_all(reported: Told, expected: list[Row]) -> None:
    assert rows(found(reported)) == expected


@pytest.mark.parametrize(
    ("reported", "expected"),
    [
        pytest.param({"resistance": [(60, 2.0)]}, [], id="bonded"),
        pytest.param({"resistance": [(20, 2.0), (9, OPEN), (31, 2.0)]}, [], id="too-short"),
        pytest.param(
            {"resistance": [(20, 2.0), (10, OPEN), (30, 2.0)], "running": [(60, 0)]},
            [("item_isolated", "major", 20, 30)],
            id="isolated-at-rest",
        ),
        pytest.param(
            {"resistance": [(20, 2.0), (10, 40.0), (30, 2.0)], "running": [(29, 0), (31, 1)]},
            [("item_isolated", "critical", 20, 30)],
            id="isolated-and-started",
        ),
        pytest.param(
            {"resistance": [(20, 2.0), (10, 40.0), (30, 2.0)], "running": [(30, 0), (30, 1)]},
            [("item_isolated", "major", 20, 30)],
            id="started-just-as-it-was-bonded-again",
        ),
    ],
)
def test_fixed_items(reported: Told, expected: list[Row]) -> None:
    limits = {"isolated_s": 10, "start_allowance_s": 60, "stop_allowance_s": 60}
    assert rows(found(reported, kind=DRYER, **limits)) == expected


def test_a_spot_is_not_an_item_that_can_be_isolated() -> None:
    assert rows(found({"resistance": [(60, OPEN)]}, isolated_s=10)) == []


@pytest.mark.parametrize(
    ("wait_s", "expected"),
    [
        pytest.param(0, [], id="no-wait-asked-for"),
        pytest.param(5, [], id="off-exactly-when-allowed"),
        pytest.param(6, [("early_release", "minor", 45, 46)], id="off-too-soon"),
    ],
)
def test_early_release(wait_s: float, expected: list[Row]) -> None:
    reported: Told = {"resistance": [(45, 2.0), (15, OPEN)], "flow": [(40, 60), (20, 0)]}
    assert rows(found(reported, release_wait_s=wait_s)) == expected


def test_one_clamp_off_is_released_early_once_for_the_last_of_two_transfers() -> None:
    reported: Told = {
        "resistance": [(45, 2.0), (15, OPEN)],
        "flow": [(20, 60), (5, 0), (15, 60), (20, 0)],
    }
    findings = found(reported, release_wait_s=30, resume_within_s=1)
    assert rows(findings) == [("early_release", "minor", 45, 70)]
    assert findings[0].transfer == "spot/19700101T000025.000Z"


def test_a_finding_on_flow_carries_the_numbers_behind_it() -> None:
    reported: Told = {
        "resistance": [(20, 2.0), (5, 40.0), (5, 700.0), (30, OPEN)],
        "bypass": [(39, 0), (21, 1)],
        "flow": [(10, 0), (30, 60), (20, 0)],
    }
    (lost,) = found(reported)
    assert lost.evidence == {
        "flow_s": 20.0,
        "not_bonded_s": 20.0,
        "no_data_s": 0.0,
        "bypassed_s": 1.0,
        "volume": 20.0,
        "unit": "L",
        "lowest_ohm": 40.0,
        "highest_ohm": 700.0,
    }
    assert lost.transfer == "spot/19700101T000010.000Z"
    assert lost.id == "spot/bond_lost_in_flow/19700101T000020.000Z"


def test_an_open_circuit_alone_has_no_resistance_to_tell() -> None:
    (never,) = found({"resistance": [(60, OPEN)], "flow": [(10, 0), (30, 60), (20, 0)]})
    assert (never.evidence["lowest_ohm"], never.evidence["highest_ohm"]) == (None, None)


def test_unmeasured_flow_has_no_volume() -> None:
    (never,) = found({"resistance": [(60, OPEN)], "running": [(10, 0), (30, 1), (20, 0)]})
    assert (never.evidence["volume"], never.evidence["unit"]) == (None, None)


@pytest.mark.parametrize(
    ("work_s", "expected"),
    [
        pytest.param([], False, id="no-work"),
        pytest.param([(0, 10)], True, id="soon-after-work"),
        pytest.param([(30, 40)], False, id="before-work"),
    ],
)
def test_isolation_after_work(work_s: list[tuple[float, float]], expected: bool) -> None:
    work = [WorkWindow("spot", ns(a), ns(b), "clean-down") for a, b in work_s]
    reported: Told = {"resistance": [(20, 2.0), (40, OPEN)]}
    (isolated,) = found(reported, kind=DRYER, isolated_s=10, work=work)
    assert isolated.evidence["after_work"] is expected


def test_findings_are_in_order_of_start_then_kind() -> None:
    reported: Told = {
        "resistance": [(60, OPEN)],
        "permissive": [(60, 1)],
        "bypass": [(60, 1)],
        "flow": [(10, 0), (30, 60), (20, 0)],
    }
    assert [(f.kind, f.start) for f in found(reported)] == [
        ("permissive_without_bond", 0),
        ("bypassed_flow", ns(10)),
        ("no_bond_transfer", ns(10)),
    ]


def test_disagreements_are_nowhere_without_a_permissive() -> None:
    told_case = case(told(resistance=[(60, OPEN)]), until=60)
    assert [len(part) for part in disagreements(told_case)] == [0, 0]


def test_disagreements_of_both_sorts() -> None:
    signals = told(resistance=[(30, OPEN), (30, 2.0)], permissive=[(10, 1), (50, 0)])
    without, withheld = disagreements(case(signals, until=60))
    assert (pairs(without), pairs(withheld)) == ([(0, 10)], [(31, 60)])
