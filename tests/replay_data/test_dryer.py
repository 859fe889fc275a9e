"""The dryer's fixed items: straps on, runs in order, and the strap that was left off."""

from __future__ import annotations

import itertools
from random import Random

import pytest

from bondtrail.site import Role
from replay_data import dryer, shifts
from replay_data.recording import BAD, OPEN, Reading, Signal
from replay_data.shifts import at, march


def played(item: str, *roles: Role) -> dict[Role, Signal]:
    signals = {role: Signal(role, Random(item), 10**9) for role in (Role.RESISTANCE, *roles)}
    dryer.play(item, signals)
    return signals


def opened(signal: Signal) -> list[tuple[int, int]]:
    changes = signal.changes
    return [
        (a.ms, b.ms) for a, b in itertools.pairwise(changes) if a.value == OPEN and a.quality != BAD
    ]


def test_two_batches_run_from_tuesday_to_friday_and_never_overlap() -> None:
    spans = [span for batch in dryer.campaigns() for span in (batch.bowl, batch.sieve)]
    assert {shifts.day(span.start).weekday() for span in spans} == {1, 2, 3, 4}
    bowls = [batch.bowl for batch in dryer.campaigns()]
    assert len(bowls) == 2 * (4 * 4 - 1)  # less Good Friday
    for batch in dryer.campaigns():
        assert batch.bowl.end < batch.sieve.start
    assert all(a.end < b.start for a, b in itertools.pairwise(bowls))


def test_clean_downs_are_on_saturdays() -> None:
    assert [shifts.day(span.start).weekday() for span in dryer.clean_downs()] == [5] * 4


@pytest.mark.parametrize("item", ["dryer-bowl", "dryer-chute"])
def test_an_ordinary_item_loses_its_strap_only_under_the_hose(item: str) -> None:
    signal = played(item)[Role.RESISTANCE]
    assert all(dryer.WASH_DOWN.holds(start) for start, _ in opened(signal))
    assert max(float(r.value) for r in signal.changes if r.value != OPEN) < 4


@pytest.mark.parametrize("item", dryer.WASHED)
def test_the_hose_shakes_straps_too_briefly_for_isolation_and_too_seldom_for_a_cluster(
    item: str,
) -> None:
    losses = [
        (start, end)
        for start, end in opened(played(item)[Role.RESISTANCE])
        if dryer.WASH_DOWN.holds(start)
    ]
    assert len(losses) >= 15
    assert all(end - start < 20_000 for start, end in losses)
    assert all(c[0] - a[0] > 60_000 for a, c in zip(losses, losses[2:], strict=False))


def test_the_dryer_stands_still_under_the_hose() -> None:
    running = [span for batch in dryer.campaigns() for span in (batch.bowl, batch.sieve)]
    assert not any(
        span.start < dryer.WASH_DOWN.end and dryer.WASH_DOWN.start < span.end for span in running
    )


@pytest.mark.parametrize("item", ["dryer-bowl", "dryer-sieve", "silo-2"])
def test_the_monitor_is_off_in_every_clean_down(item: str) -> None:
    off = [r.ms for r in played(item)[Role.RESISTANCE].changes if r.quality == BAD]
    assert [shifts.day(ms) for ms in off] == [shifts.day(w.start) for w in dryer.clean_downs()]


def test_the_sieve_is_isolated_from_the_clean_down_until_it_is_found_running() -> None:
    signals = played("dryer-sieve", Role.RUNNING)
    (left_off,) = (
        span for span in opened(signals[Role.RESISTANCE]) if span[0] < at(march(30), "00:00")
    )
    assert left_off == tuple(dryer.STRAP)
    running = [r for r in signals[Role.RUNNING].changes if shifts.day(r.ms) == march(24)]
    first, stopped, again, _ = running[:4]
    assert first.value == again.value == "1"
    assert first.ms < stopped.ms < dryer.STRAP.end < again.ms
    assert stopped == Reading(at(march(24), "11:16"), "0")


def test_the_filter_rattles_shorter_than_isolation() -> None:
    opens = opened(played("dryer-filter")[Role.RESISTANCE])
    losses = [span for span in opens if not dryer.WASH_DOWN.holds(span[0])]
    assert len(losses) == len(dryer.RATTLES)
    assert all(end - start < 60_000 for start, end in losses)


def test_the_silo_is_open_for_its_inspection() -> None:
    assert opened(played("silo-2")[Role.RESISTANCE]) == [tuple(dryer.INSPECTION)]
