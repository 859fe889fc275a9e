"""Sums and counts per day."""

from __future__ import annotations

import datetime as dt

import pytest

from analytics.core.days import added, counted, day_sums, measured, plus
from analytics.core.quantiles import histogram
from analytics.core.shifts import Cells
from analytics.core.station import Verdict, examine, judge
from bondtrail.results import DaySums
from bondtrail.site import Role
from tests.analytics.core.build import (
    GAP,
    OPEN,
    S,
    Stretch,
    held,
    moments,
    ns,
    station,
    told,
)
from tests.reference.scripts import ZONE

Told = dict[str, list[Stretch]]
DAYS = [dt.date(2026, 3, 1) + dt.timedelta(days=n) for n in range(3)]


def judged(reported: Told, until_s: float, **limits: float) -> Verdict:
    signals = told(**reported)
    return examine(station(*signals, **limits), signals, (0, ns(until_s)))


def short_days(*edges_s: float) -> Cells:
    """Days that are seconds long."""
    count = len(edges_s) - 1
    return Cells(moments(*edges_s), DAYS[:count], [None] * count)


def sums(reported: Told, edges_s: list[float], **limits: float) -> list[DaySums]:
    verdict = judged(reported, edges_s[-1], **limits)
    return day_sums(verdict.case, verdict.episodes, short_days(*edges_s))


def test_seconds_and_volumes_are_split_where_a_day_ends() -> None:
    first, second = sums(
        {
            "resistance": [(5, OPEN), (10, 40.0), (20, 2.0), (5, GAP), (20, OPEN)],
            "flow": [(10, 0), (20, 60), (30, 0)],
        },
        [0, 20, 60],
    )
    assert (first.flow_s, first.volume) == (10.0, 10.0)
    assert (second.flow_s, second.volume) == (10.0, 10.0)
    assert (first.open_s, first.high_s, first.low_s) == (5.0, 10.0, 5.0)
    assert (second.open_s, second.high_s, second.low_s) == (20.0, 0.0, 15.0)
    assert (first.known_s, first.unknown_s) == (20.0, 0.0)
    assert (second.known_s, second.unknown_s) == (35.0, 5.0)
    # Verified from 16 s on; flow began at 10 s.
    assert (first.not_bonded_s, second.not_bonded_s) == (6.0, 0.0)


def test_an_episode_counts_on_the_day_it_began() -> None:
    first, second = sums(
        {"resistance": [(5, OPEN), (45, 2.0), (10, OPEN)], "flow": [(8, 0), (30, 60), (22, 0)]},
        [0, 20, 60],
    )
    assert (first.transfers, first.compliant_transfers, first.hookups) == (1, 1, 1)
    assert (second.transfers, second.compliant_transfers, second.hookups) == (0, 0, 0)
    assert first.time_to_bond == histogram([1.0])
    assert second.time_to_bond == {}


def test_what_begins_as_a_day_begins_counts_on_it() -> None:
    reported: Told = {
        "resistance": [(60, 2.0)],
        "flow": [(20, 0), (30, 60), (10, 0)],
    }
    assert [day.transfers for day in sums(reported, [0, 20, 60])] == [0, 1]
    assert [day.transfers for day in sums(reported, [0, 21, 60])] == [1, 0]


def test_what_went_wrong_is_counted_by_name() -> None:
    first, second, third = sums(
        {
            "resistance": [(30, 2.0), (20, OPEN), (1, 300.0), (4, OPEN), (5, 300.0), (40, OPEN)],
            "permissive": [(32, 1), (68, 0)],
            "bypass": [(10, 0), (1, 1), (89, 0)],
            "flow": [(33, 60), (67, 0)],
        },
        [0, 40, 70, 100],
    )
    assert first.trips == {"genuine/clamp_off": 1}
    assert first.alarms == {"bond_lost": 1, "bypass_on": 1}
    assert (first.findings, first.bypassed_s) == ({}, 1.0)
    assert second.findings == {"failed_hookup": 1}
    assert (second.touches, second.hookups, second.failed_hookups) == (1, 1, 1)
    assert (third.trips, third.alarms, third.findings, third.touches) == ({}, {}, {}, 0)
    assert third.open_s == 30.0


def test_a_day_without_data_is_all_nothing() -> None:
    (day,) = sums({"flow": []}, [0, 60])
    assert day == DaySums("spot", DAYS[0], flow_unknown_s=60.0, unknown_s=60.0)


@pytest.mark.parametrize(
    ("reported", "expected"),
    [
        pytest.param({"flow": [(20, 0), (10, GAP), (30, 60)]}, (5.0, 5.0), id="meter"),
        pytest.param({"running": [(10, GAP), (15, 1), (35, GAP)]}, (10.0, 35.0), id="contact"),
        pytest.param({"flow": [(60, 0)]}, (0.0, 0.0), id="known-throughout"),
        pytest.param({"flow": []}, (25.0, 35.0), id="never-heard"),
        pytest.param(
            {"flow": [(20, 0), (40, GAP)], "running": [(50, 0), (10, GAP)]}, (5.0, 35.0), id="both"
        ),
        pytest.param(
            {"flow": [(20, 0), (40, GAP)], "running": [(30, 0), (30, 1)]},
            (5.0, 5.0),
            id="running-while-the-meter-is-silent",
        ),
        pytest.param({"resistance": [(60, 2.0)]}, (0.0, 0.0), id="not-recorded"),
    ],
)
def test_unknown_flow_is_time_of_the_history(reported: Told, expected: tuple[float, float]) -> None:
    found = sums(reported, [0, 25, 60])
    assert tuple(day.flow_unknown_s for day in found) == expected


@pytest.mark.parametrize(
    ("bypass", "bypassed", "unknown"),
    [
        pytest.param([(60, 0)], (0.0, 0.0), (0.0, 0.0), id="known-off"),
        pytest.param([(60, 1)], (10.0, 30.0), (0.0, 0.0), id="known-on"),
        pytest.param(
            [(15, 0), (15, GAP), (10, 1), (20, GAP)], (0.0, 10.0), (5.0, 20.0), id="silent-in-flow"
        ),
        pytest.param([(5, GAP), (55, 0)], (0.0, 0.0), (0.0, 0.0), id="silent-without-flow"),
        pytest.param([], (0.0, 0.0), (10.0, 30.0), id="never-heard"),
        pytest.param(None, (0.0, 0.0), (10.0, 30.0), id="not-recorded"),
    ],
)
def test_unknown_bypass_is_flow_of_transfers(
    bypass: list[Stretch] | None, bypassed: tuple[float, float], unknown: tuple[float, float]
) -> None:
    reported: Told = {"flow": [(10, 0), (40, 60), (10, 0)], "resistance": [(60, 2.0)]}
    if bypass is not None:
        reported["bypass"] = bypass
    found = sums(reported, [0, 20, 60])
    assert tuple(day.flow_s for day in found) == (10.0, 30.0)
    assert tuple(day.bypassed_s for day in found) == bypassed
    assert tuple(day.bypass_unknown_s for day in found) == unknown


def test_flow_too_short_for_a_transfer_counts_for_no_bypass() -> None:
    (day,) = sums({"flow": [(10, 0), (9, 60), (41, 0)]}, [0, 60])
    assert (day.flow_s, day.bypass_unknown_s) == (0.0, 0.0)


def test_days_are_of_the_site_and_one_may_have_23_hours() -> None:
    # Clocks in Lisbon go forward on 2026-03-29 at 01:00 UTC; midnight there is 00:00 UTC then.
    start = 1_774_742_400  # 2026-03-29T00:00Z
    signals = {Role.RESISTANCE: held((24 * 3600, 2.0), start=start, every_s=60)}
    place = station(Role.RESISTANCE, stale_s=60)
    first, second = judge(place, signals, zone=ZONE).days
    assert (first.day, second.day) == (dt.date(2026, 3, 29), dt.date(2026, 3, 30))
    assert (first.low_s, second.low_s) == (23 * 3600, 3600)
    assert S * start == min(signals[Role.RESISTANCE].time)


def test_parts_of_a_day_add_up() -> None:
    day = DAYS[0]
    first = DaySums(
        "spot",
        day,
        transfers=2,
        flow_s=1.5,
        trips={"genuine/clamp_off": 1},
        time_to_bond={0: 1, 40: 2},
    )
    second = DaySums(
        "spot",
        day,
        transfers=1,
        flow_s=0.5,
        trips={"genuine/clamp_off": 2, "nuisance/no_loss_seen": 1},
        alarms={"bypass_on": 1},
        time_to_bond={40: 3, 41: 1},
        time_to_stop={7: 4},
    )
    whole = DaySums(
        "spot",
        day,
        transfers=3,
        flow_s=2.0,
        trips={"genuine/clamp_off": 3, "nuisance/no_loss_seen": 1},
        alarms={"bypass_on": 1},
        time_to_bond={0: 1, 40: 5, 41: 1},
        time_to_stop={7: 4},
    )
    assert plus(first, second) == plus(second, first) == whole


def test_an_empty_part_adds_nothing() -> None:
    nothing = DaySums("spot", DAYS[0])
    something = DaySums("spot", DAYS[0], transfers=2, findings={"chattering": 1})
    assert plus(nothing, something) == plus(something, nothing) == something


def test_a_day_judged_in_parts_is_the_day() -> None:
    reported: Told = {
        "resistance": [(12, OPEN), (18, 2.0), (30, OPEN)],
        "bypass": [(25, 0), (35, 1)],
        "flow": [(8, 0), (30, 77), (22, 0)],
    }
    (whole,) = sums(reported, [0, 60])
    morning, evening = sums(reported, [0, 23, 60])
    joined = plus(morning, evening)
    for name in ("flow_s", "not_bonded_s", "bypassed_s", "low_s", "open_s", "volume"):
        assert getattr(joined, name) == pytest.approx(getattr(whole, name))
    assert joined.transfers == whole.transfers


def test_an_alarm_counts_where_it_began_however_long_it_lasts() -> None:
    first, second = sums({"bypass": [(10, 0), (40, 1), (10, 0)]}, [0, 20, 60])
    assert (first.alarms, second.alarms) == ({"bypass_on": 1}, {})


def test_cells_of_one_day_and_shift_are_one_row() -> None:
    verdict = judged(
        {
            "resistance": [(5, OPEN), (45, 2.0), (10, OPEN)],
            "flow": [(8, 0), (30, 60), (22, 0)],
            "bypass": [(2, 1), (48, 0), (10, 1)],
        },
        60,
    )
    first, second = DAYS[:2]
    parts = Cells(
        moments(0, 10, 20, 30, 60),
        [first, first, first, second],
        ["night", "", "night", "night"],
    )
    found = day_sums(verdict.case, verdict.episodes, parts)
    assert [(row.day, row.shift) for row in found] == [
        (first, ""),
        (first, "night"),
        (second, "night"),
    ]
    assert [row.flow_s for row in found] == [10.0, 12.0, 8.0]
    assert [row.volume for row in found] == [10.0, 12.0, 8.0]
    assert [(row.transfers, row.hookups) for row in found] == [(0, 0), (1, 1), (0, 0)]
    assert [row.alarms for row in found] == [{}, {"bypass_on": 1}, {"bypass_on": 1}]


def test_a_cell_in_which_nothing_began_counts_nothing() -> None:
    verdict = judged({"resistance": [(5, OPEN), (55, 2.0)]}, 60)
    (row,) = counted("spot", verdict.episodes, short_days(0, 20, 60))
    assert (row.day, row.hookups, row.low_s) == (DAYS[0], 1, 0.0)


def test_what_is_measured_is_told_of_every_cell_even_of_an_empty_one() -> None:
    verdict = judged({"resistance": [(5, OPEN), (55, 2.0)]}, 60)
    found = list(measured(verdict.case, short_days(0, 20, 20, 60)))
    assert [(row.open_s, row.low_s, row.hookups) for row in found] == [
        (5.0, 15.0, 0),
        (0.0, 0.0, 0),
        (0.0, 40.0, 0),
    ]


def test_volumes_of_many_parts_add_up_to_the_whole() -> None:
    # No part of it is a whole number of anything.
    reported: Told = {"resistance": [(60, 2.0)], "flow": [(60, 20 + 1 / 7)]}
    (whole,) = sums(reported, [0, 60])
    verdict = judged(reported, 60)
    edges = [0, *(n + 0.37 for n in range(59)), 60]
    parts = Cells(moments(*edges), [DAYS[0]] * 60, [f"{n % 7}" for n in range(60)])
    found = day_sums(verdict.case, verdict.episodes, parts)
    assert len(found) == 7
    assert sum(row.volume for row in found) == pytest.approx(whole.volume, rel=0, abs=1e-6)


def test_nothing_added_is_nothing() -> None:
    assert added([]) == []
