"""Figures of merit: each figure with its count, exposure and interval."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from analytics.core.merits import (
    NUISANCE_TRIPS,
    FiguresOfMerit,
    figures_of_merit,
    nuisance_trips,
)
from analytics.core.quantiles import histogram, quantile
from analytics.core.rates import Rate, poisson_rate
from analytics.core.shares import Share, TimeShare, wilson
from bondtrail.results import DAY_COUNTERS, DaySums

TRIPS = {"genuine/clamp_off": 4, "nuisance/no_loss_seen": 2, "nuisance/monitor_fault": 1}


def sums(**figures: Any) -> DaySums:
    return DaySums("spot", dt.date(2026, 3, 1), **figures)


def merits(**figures: Any) -> FiguresOfMerit:
    (found,) = figures_of_merit([sums(**figures)])
    return found


@some.composite
def any_sums(draw: some.DrawFn) -> DaySums:
    transfers, hookups = draw(some.integers(0, 60)), draw(some.integers(0, 60))
    flow_s = draw(some.integers(0, 86_400_000)) / 1000
    times = some.lists(some.floats(0, 200), max_size=5)
    return sums(
        transfers=transfers,
        compliant_transfers=draw(some.integers(0, transfers)),
        hookups=hookups,
        failed_hookups=draw(some.integers(0, hookups)),
        flow_s=flow_s,
        bypassed_s=draw(some.floats(0, 1)) * flow_s,
        known_s=draw(some.floats(0, 86_400)),
        unknown_s=draw(some.floats(0, 86_400)),
        trips=draw(
            some.dictionaries(some.sampled_from(DAY_COUNTERS["trips"]), some.integers(1, 9))
        ),
        time_to_bond=histogram(draw(times)),
        time_to_stop=histogram(draw(times)),
    )


def test_nothing_gives_no_figure() -> None:
    assert merits() == FiguresOfMerit(
        compliance=Share(None, None, None, 0, 0),
        failed_hookup_share=Share(None, None, None, 0, 0),
        nuisance_per_100_transfers=Rate(None, None, None, 0, 0),
        nuisance_per_1000_flow_h=Rate(None, None, None, 0, 0.0),
        bypass_share=TimeShare(None, None, None, 0.0, 0.0),
        coverage=None,
        time_to_bond_p50_s=None,
        time_to_bond_p95_s=None,
        time_to_stop_p50_s=None,
        time_to_stop_p95_s=None,
    )


def test_no_sums_give_no_figures() -> None:
    assert figures_of_merit([]) == []


def test_shares_are_of_transfers_and_hookups() -> None:
    found = merits(transfers=263, compliant_transfers=81, hookups=148, failed_hookups=15)
    # R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, method 3.
    assert found.compliance.low == pytest.approx(0.2553, abs=0.00005)
    assert found.compliance.high == pytest.approx(0.3662, abs=0.00005)
    assert found.failed_hookup_share.low == pytest.approx(0.0624, abs=0.00005)
    assert found.failed_hookup_share.high == pytest.approx(0.1605, abs=0.00005)
    assert (found.failed_hookup_share.count, found.failed_hookup_share.of) == (15, 148)


def test_nuisance_trips_are_told_per_transfers_and_per_flow_hours() -> None:
    found = merits(transfers=400, flow_s=7.2e6, trips={"nuisance/no_loss_seen": 15})
    per_transfers, per_hours = found.nuisance_per_100_transfers, found.nuisance_per_1000_flow_h
    # 15 in 400: R's exact Poisson interval, as the tests of statsmodels quote it.
    assert per_transfers.value == pytest.approx(3.75)
    assert (per_transfers.low, per_transfers.high) == pytest.approx((2.098847, 6.185055), abs=1e-6)
    assert (per_transfers.count, per_transfers.of) == (15, 400)
    assert (per_hours.value, per_hours.count, per_hours.of) == (7.5, 15, 2000.0)


def test_only_trips_without_a_real_loss_are_nuisance() -> None:
    assert nuisance_trips(sums(trips=TRIPS)) == 3
    assert merits(transfers=10, trips=TRIPS).nuisance_per_100_transfers.count == 3
    assert set(NUISANCE_TRIPS) == {
        "nuisance/brief_contact_loss",
        "nuisance/monitor_fault",
        "nuisance/no_loss_seen",
    }
    assert set(NUISANCE_TRIPS) < set(DAY_COUNTERS["trips"])


def test_a_nuisance_trip_without_a_transfer_is_counted_without_a_rate() -> None:
    # A transfer counts on the day it began, its trip perhaps on the next.
    found = merits(trips={"nuisance/no_loss_seen": 2})
    assert found.nuisance_per_100_transfers == Rate(None, None, None, 2, 0)


@pytest.mark.parametrize(
    ("figures", "expected"),
    [
        pytest.param({"known_s": 75.0, "unknown_s": 25.0}, 0.75, id="some"),
        pytest.param({"known_s": 75.0}, 1.0, id="all"),
        pytest.param({"unknown_s": 25.0}, 0.0, id="none"),
        pytest.param({}, None, id="no-record"),
    ],
)
def test_coverage(figures: dict[str, float], expected: float | None) -> None:
    assert merits(**figures).coverage == expected


def test_bypass_is_a_share_of_the_time_with_flow() -> None:
    found = merits(flow_s=1000.0, bypassed_s=250.0).bypass_share
    assert found == TimeShare(0.25, None, None, 250.0, 1000.0)


@pytest.mark.parametrize(
    ("figures", "value", "of"),
    [
        pytest.param({"bypassed_s": 250.0, "bypass_unknown_s": 500.0}, 0.5, 500.0, id="some"),
        pytest.param({"bypassed_s": 250.0, "bypass_unknown_s": 750.0}, 1.0, 250.0, id="rest-on"),
        pytest.param({"bypass_unknown_s": 1000.0}, None, 0.0, id="all"),
        pytest.param({"bypass_unknown_s": 1000.0 + 1e-10}, None, 0.0, id="all-but-for-rounding"),
        pytest.param({"bypass_unknown_s": 1000.0 - 1e-10}, None, 0.0, id="all-and-rounding"),
    ],
)
def test_flow_of_which_bypass_is_unknown_counts_for_no_share(
    figures: dict[str, float], value: float | None, of: float
) -> None:
    found = merits(flow_s=1000.0, **figures).bypass_share
    assert (found.value, found.of) == (value, of)


def test_the_interval_of_shares_is_chosen() -> None:
    of = sums(transfers=263, compliant_transfers=81, hookups=148, failed_hookups=15)
    (score,), (exact,) = (
        figures_of_merit([of]),
        figures_of_merit([of], interval="clopper-pearson"),
    )
    # R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, method 5, from memory.
    assert exact.compliance.low == pytest.approx(0.2527, abs=0.00005)
    assert exact.compliance.high == pytest.approx(0.3676, abs=0.00005)
    assert exact.failed_hookup_share.low == pytest.approx(0.0578, abs=0.00005)
    assert exact.failed_hookup_share.high == pytest.approx(0.1617, abs=0.00005)
    assert exact.compliance.value == score.compliance.value == 81 / 263
    assert exact.nuisance_per_100_transfers == score.nuisance_per_100_transfers


@given(some.lists(any_sums(), max_size=8))
def test_many_at_once_are_each_as_by_itself(rows: list[DaySums]) -> None:
    found = figures_of_merit(rows)
    assert len(found) == len(rows)
    for one, told in zip(rows, found, strict=True):
        nuisances = nuisance_trips(one)
        assert_same(told.compliance, wilson(one.compliant_transfers, one.transfers))
        assert_same(told.failed_hookup_share, wilson(one.failed_hookups, one.hookups))
        assert told.nuisance_per_100_transfers == poisson_rate(nuisances, one.transfers, 100)
        hours = one.flow_s / 3600
        assert told.nuisance_per_1000_flow_h == poisson_rate(nuisances, hours, 1000)
        assert told.time_to_bond_p50_s == quantile(one.time_to_bond, 0.5)
        assert told.time_to_bond_p95_s == quantile(one.time_to_bond, 0.95)
        assert told.time_to_stop_p50_s == quantile(one.time_to_stop, 0.5)
        assert told.time_to_stop_p95_s == quantile(one.time_to_stop, 0.95)


def assert_same(found: Share, expected: Share) -> None:
    assert (found.count, found.of) == (expected.count, expected.of)
    assert (found.value, found.low, found.high) == pytest.approx(
        (expected.value, expected.low, expected.high), abs=1e-15
    )


def test_figures_are_plain_numbers() -> None:
    found = merits(transfers=9, compliant_transfers=9, flow_s=3600.0, known_s=1.0, trips=TRIPS)
    assert type(found.compliance.value) is float
    assert type(found.compliance.low) is float
    assert type(found.compliance.count) is int
    assert type(found.nuisance_per_100_transfers.of) is int
    assert type(found.nuisance_per_1000_flow_h.of) is float
    assert type(found.bypass_share.of) is float
    assert type(found.coverage) is float
