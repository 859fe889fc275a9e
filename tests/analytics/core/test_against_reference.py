"""The fast rules say what the slow evaluator of the tests says, whatever happens at a station."""

from __future__ import annotations

from functools import reduce

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics.core.days import plus
from analytics.core.station import judge
from bondtrail.results import DAY_COUNTERS, DAY_COUNTS, DAY_HISTOGRAMS, DAY_SUMS
from tests.reference.compare import day_differences, differences
from tests.reference.evaluate import evaluate
from tests.reference.scripts import ZONE, Roster, Script, histories, rosters, scripts

SEARCH = settings(
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


@settings(SEARCH, max_examples=200)
@given(scripts(), rosters())
def test_every_script_is_judged_as_by_the_reference(
    script: Script, worked: tuple[Roster, ...]
) -> None:
    station, signals, work, tickets = script
    fast = judge(station, signals, zone=ZONE, work=work, tickets=tickets, rosters=worked)
    slow = evaluate(station, script.series, zone=ZONE, work=work, tickets=tickets, rosters=worked)
    found = differences(fast, slow) or day_differences(fast, slow)
    assert not found, "\n".join(found)


@settings(SEARCH, max_examples=60)
@given(scripts(), st.integers(0, 1000))
def test_nothing_is_said_of_what_comes_after_the_end(script: Script, thousandths: int) -> None:
    station, signals, work, tickets = script
    moments = [samples.time[at] for samples in signals.values() for at in (0, -1) if len(samples)]
    if not moments:
        return
    first, last = int(min(moments)), int(max(moments))
    end = first + 250_000_000 + (last - first) * thousandths // 1000 // 250_000_000 * 250_000_000
    past = {role: samples.between(first, end) for role, samples in signals.items()}
    fast = judge(station, past, zone=ZONE, work=work, tickets=tickets, end=end)
    cut = Script(station, past, work, tickets)
    slow = evaluate(station, cut.series, zone=ZONE, work=work, tickets=tickets, end=end)
    found = differences(fast, slow) or day_differences(fast, slow)
    assert not found, "\n".join([f"end {end}", *found])


@settings(SEARCH, max_examples=50)
@given(scripts())
def test_every_histogram_adds_up(script: Script) -> None:
    station, signals, work, tickets = script
    results = judge(station, signals, zone=ZONE, work=work, tickets=tickets)
    bonded = [hookup for hookup in results.hookups if hookup.time_to_bond_s is not None]
    stopped = [trip for trip in results.trips if trip.stop_s is not None]
    assert sum(sum(day.time_to_bond.values()) for day in results.days) == len(bonded)
    assert sum(sum(day.time_to_stop.values()) for day in results.days) == len(stopped)


@settings(SEARCH, max_examples=50)
@given(histories(), rosters())
def test_the_shifts_of_a_day_add_up_to_it(script: Script, worked: tuple[Roster, ...]) -> None:
    station, signals, work, tickets = script
    results = judge(station, signals, zone=ZONE, work=work, tickets=tickets, rosters=worked)
    if not any(roster for _, roster in worked):
        assert results.shifts == ()
        return
    for day in results.days:
        total = reduce(plus, (part for part in results.shifts if part.day == day.day))
        for name in (*DAY_COUNTS, *DAY_COUNTERS, *DAY_HISTOGRAMS):
            assert getattr(total, name) == getattr(day, name)
        for name in DAY_SUMS:
            assert getattr(total, name) == pytest.approx(getattr(day, name), rel=0, abs=1e-6)
