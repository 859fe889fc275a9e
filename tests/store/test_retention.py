"""Readings are removed for good: whole segments of them, and none that somebody needs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from sqlalchemy import func, select, update

from bondtrail.results import (
    RULES_VERSION,
    DaySums,
    Finding,
    Kind,
    Review,
    Severity,
    StationResults,
    Transfer,
)
from bondtrail.samples import Samples
from store import NEVER, Floor, Removed, Store, layout, retention
from store.schema import arrival, damaged_segment, point, segment
from tests.store.keeping import Kept

S = 10**9
HOUR = 3600 * S
DAY = 24 * HOUR
T0 = 1_767_225_600 * S
"""2026-01-01 at midnight UTC."""
FLOW, OTHER = "rail-1.flow", "rail-2.flow"
A_DAY = 24
"""Readings of a point a day: one an hour."""


@pytest.fixture(autouse=True)
def a_segment_a_day(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, size in {"FULL": A_DAY, "CLOSED": 18, "LARGEST": 36, "REGION": 96}.items():
        monkeypatch.setattr(layout, name, size)


def days(first: int, count: int, value: float = 1.0) -> Samples:
    time = T0 + first * DAY + HOUR * np.arange(count * A_DAY)
    return Samples.of(time, np.full(time.size, value))


def fill(store: Store, count: int = 10, points: Sequence[str] = (FLOW, OTHER)) -> None:
    """Have a segment a day, each of its own commit."""
    for number in range(count):
        store.write(dict.fromkeys(points, days(number, 1)), arrived=T0 + (number + 1) * DAY)
        store.fold()


@pytest.fixture
def store(kept_store: Kept) -> Store:
    """A store with ten days of two points, a segment a day."""
    return kept_store.holding("ten days", fill)


def floor_at(day: float, station: str = "rail-1", *, at: int = T0 + 99 * DAY) -> Floor:
    moment = T0 + round(day * DAY)
    date = dt.date(2026, 1, 1) + dt.timedelta(days=int(day))
    return Floor(station, date, moment - 9, moment - 99, moment - 999, at)


def remove(store: Store, day: float) -> Removed:
    floor = floor_at(day)
    store.save_results(  # what was analysed: nothing waits
        StationResults("rail-1"), since=T0 + 98 * DAY, since_day=dt.date.max,
        touch=store.touched().get("rail-1"),
    )  # fmt: skip
    return store.retention.remove(floor, before=floor.kept, settled=T0 + round(day * DAY))


def finding(start: float, end: float, transfer: str | None = None) -> Finding:
    """Return a finding of rail-1; times in days."""
    return Finding(
        kind=Kind.CHATTERING, severity=Severity.MINOR, station="rail-1", transfer=transfer,
        start=T0 + round(start * DAY), end=T0 + round(end * DAY), summary="Seen.", evidence={},
        limits={}, rules=RULES_VERSION,
    )  # fmt: skip


def transfer(start: float, end: float) -> Transfer:
    return Transfer(
        station="rail-1", start=T0 + round(start * DAY), end=T0 + round(end * DAY), flow_s=1.0,
        volume=None, unit=None, batch=None, product=None, operator=None, compliant=True,
        not_bonded_s=0.0, no_data_s=0.0, bypassed_s=0.0, not_bonded_volume=None,
        no_data_volume=None, bypassed_volume=None, trips=0, time_to_bond_s=None,
        bond_lead_s=None, findings=(),
    )  # fmt: skip


def found(store: Store, *findings: Finding, transfers: Sequence[Transfer] = ()) -> None:
    results = StationResults("rail-1", findings=findings, transfers=tuple(transfers))
    store.save_results(results, since=T0 - 99 * DAY, since_day=dt.date.min)


def left(store: Store, name: str = FLOW) -> list[int]:
    """Return the days of which readings are left, whole days of them."""
    back = store.read(name)
    number, count = np.unique((back.time - T0) // DAY, return_counts=True)
    assert set(count.tolist()) == {A_DAY}
    [told] = [each for each in store.points() if each.point == name]
    assert (told.samples, told.first, told.last) == (len(back), back.time[0], back.time[-1])
    return [int(each) for each in number]


def test_whole_segments_go_and_what_tells_of_them(store: Store) -> None:
    assert store.floors() == {}
    assert remove(store, 4.5) == Removed(samples=4 * A_DAY)
    assert left(store) == [4, 5, 6, 7, 8, 9]
    assert left(store, OTHER) == list(range(10))
    assert store.floors() == {"rail-1": replace(floor_at(4.5), removed=4 * A_DAY)}
    assert store.check() == []


def test_removing_again_removes_nothing_more(store: Store) -> None:
    remove(store, 4.5)
    held = store.floors()
    assert remove(store, 4.5) == Removed()
    assert store.floors() == held
    assert remove(store, 3.0) == Removed()  # nor does a floor ever come down
    assert store.floors() == held
    assert remove(store, 6.0) == Removed(samples=2 * A_DAY)
    assert store.floors()["rail-1"] == replace(floor_at(6.0), removed=6 * A_DAY)


def test_without_anything_to_remove_no_floor_is_set(store: Store) -> None:
    assert remove(store, 0.5) == Removed()
    assert store.floors() == {}


def test_the_newest_segment_stays_whatever_its_age(store: Store) -> None:
    assert remove(store, 50) == Removed(samples=9 * A_DAY)
    assert left(store) == [9]
    assert store.points()[0].value == 1.0


def test_it_goes_some_segments_at_a_time(kept_store: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    store = kept_store.empty()
    monkeypatch.setattr(retention, "AT_ONCE", 2)
    monkeypatch.setattr(
        retention, "_OLD", {t.name: retention._asked(t) for t in (segment, damaged_segment)}
    )
    fill(store, 10, [FLOW, "rail-1.resistance"])
    store.holds.add("rail-1", T0 + 2 * DAY, T0 + 2 * DAY + 1, why="w", author="a", at=T0)
    expected = Removed(samples=2 * 6 * A_DAY, kept_for_holds=2 * A_DAY)
    assert remove(store, 7.5) == expected
    assert left(store) == left(store, "rail-1.resistance") == [2, 7, 8, 9]
    assert store.floors()["rail-1"].removed == 2 * 6 * A_DAY


@pytest.mark.parametrize(
    ("start", "end", "kept"),
    [
        pytest.param(2.0, 3.0, [2], id="a-day"),
        pytest.param(2.5, 3.5, [2, 3], id="across-midnight"),
        pytest.param(1 + 23 / 24, 2.0, [1], id="its-last-reading"),
        pytest.param(1 + 23.5 / 24, 2.0, [], id="after-its-last-reading"),
        pytest.param(0.0, 99.0, [0, 1, 2, 3], id="all"),
        pytest.param(5.0, 6.0, [], id="what-stays-anyway"),
    ],
)
def test_what_a_hold_in_force_covers_stays(
    store: Store, start: float, end: float, kept: list[int]
) -> None:
    place = T0 + round(start * DAY), T0 + round(end * DAY)
    store.holds.add("rail-1", *place, why="Claim 7.", author="A. Reed", at=T0)
    store.holds.add("rail-2", T0, T0 + 99 * DAY, why="Another station.", author="A. Reed", at=T0)
    gone = Removed((4 - len(kept)) * A_DAY, kept_for_holds=len(kept) * A_DAY)
    assert remove(store, 4.5) == gone
    assert left(store) == [*kept, 4, 5, 6, 7, 8, 9]


def test_what_a_released_hold_covered_goes_the_next_time(store: Store) -> None:
    placed = store.holds.add("rail-1", T0, T0 + DAY, why="Claim 7.", author="A. Reed", at=T0)
    remove(store, 4.5)
    assert left(store) == [0, 4, 5, 6, 7, 8, 9]
    store.holds.release(placed.number, "B. Moss", "Settled.", T0)
    assert remove(store, 4.5) == Removed(samples=A_DAY)
    assert left(store) == [4, 5, 6, 7, 8, 9]
    assert store.floors()["rail-1"].removed == 4 * A_DAY


@pytest.mark.parametrize(
    ("one", "around", "kept"),
    [
        pytest.param(finding(3.5, 3.6), [], [2, 3, 4], id="a-day-on-each-side"),
        pytest.param(finding(3.5, 3.5), [], [2, 3, 4], id="a-moment"),
        pytest.param(finding(3.0, 5.0), [], [2, 3, 4, 5], id="longer-than-a-day"),
        pytest.param(
            finding(3.5, 3.6, transfer(1.5, 3.6).id), [transfer(1.5, 3.6)],
            [0, 1, 2, 3, 4], id="with-its-transfer",
        ),
        pytest.param(
            finding(9.5, 9.6, transfer(2.5, 9.6).id), [transfer(2.5, 9.6)],
            [1, 2, 3, 4, 5, 6], id="of-which-only-the-transfer-is-old",
        ),
        pytest.param(finding(7.5, 7.6), [], [6], id="whose-margin-alone-is-old"),
        pytest.param(finding(9.5, 9.6), [], [], id="of-now"),
    ],
)  # fmt: skip
def test_what_an_open_finding_refers_to_stays(
    store: Store, one: Finding, around: list[Transfer], kept: list[int]
) -> None:
    found(store, one, transfers=around)
    gone = Removed((7 - len(kept)) * A_DAY, kept_for_findings=len(kept) * A_DAY)
    assert remove(store, 7.5) == gone
    assert left(store) == [*kept, 7, 8, 9]


@pytest.mark.parametrize(
    ("states", "is_kept"),
    [
        pytest.param([], True, id="not-reviewed"),
        pytest.param(["open"], True, id="open"),
        pytest.param(["confirmed"], False, id="confirmed"),
        pytest.param(["explained"], False, id="explained"),
        pytest.param(["rejected"], False, id="rejected"),
        pytest.param(["rejected", "open"], True, id="opened-again"),
        pytest.param(["open", "explained"], False, id="closed-at-last"),
    ],
)
@pytest.mark.parametrize("is_there", [True, False], ids=["still-found", "no-longer-found"])
def test_the_latest_review_tells_whether_a_finding_is_open(
    store: Store, states: list[str], is_kept: bool, is_there: bool
) -> None:
    one = finding(3.5, 3.6)
    found(store, one)
    for number, state in enumerate(states):
        store.reviews.add(one, state, "Looked at.", "A. Reed", T0 + number)
    if not is_there:
        found(store)
        is_kept = is_kept and bool(states)  # nobody ever said anything of what is gone
    remove(store, 7.5)
    assert left(store) == [*([2, 3, 4] if is_kept else []), 7, 8, 9]


def test_a_review_follows_a_finding_that_another_analysis_moved(store: Store) -> None:
    found(store, finding(3.5, 3.6))
    store.reviews.add(finding(3.5, 3.6), "explained", "Seen.", "A. Reed", T0)
    found(store, finding(3.4, 3.7))
    remove(store, 7.5)
    assert left(store) == [7, 8, 9]


def test_a_hold_counts_before_a_finding(store: Store) -> None:
    found(store, finding(3.5, 3.6))
    store.holds.add("rail-1", T0 + 3 * DAY, T0 + 4 * DAY, why="w", author="a", at=T0)
    assert remove(store, 7.5) == Removed(4 * A_DAY, A_DAY, 2 * A_DAY)


def test_when_readings_arrived_is_forgotten_with_them_alone(store: Store) -> None:
    late = Samples.of([T0 + 30 * S, T0 + 5 * DAY + 30 * S], [2.0, 2.0])
    store.write({FLOW: late}, arrived=T0 + 50 * DAY)
    store.fold()
    kept = store.read(FLOW, T0 + 4 * DAY, T0 + 10 * DAY).time
    before = store.arrivals(FLOW, kept)
    remove(store, 4.5)
    after = store.arrivals(FLOW, kept)
    assert (after.first.tolist(), after.last.tolist()) == (
        before.first.tolist(), before.last.tolist(),
    )  # fmt: skip
    with store._db.reading() as tx:
        of_flow = select(point.c.id).where(point.c.name == FLOW).scalar_subquery()
        rows = select(func.count()).select_from(arrival).where(arrival.c.point_id == of_flow)
        # Days 4 to 9, and what came late: a part of it is left.
        assert tx.conn.execute(rows).scalar() == 7
    assert NEVER not in after.first.tolist()


def test_what_was_replaced_stays_for_good(store: Store) -> None:
    store.write({FLOW: Samples.of([T0, T0 + 9 * DAY], [7.0, 7.0])}, arrived=T0 + 50 * DAY)
    store.fold()
    before = store.replaced(FLOW)
    assert remove(store, 4.5).samples == 4 * A_DAY
    assert store.replaced(FLOW) == before
    assert store.replacements() == {FLOW: 2}


def test_what_waits_in_the_journal_counts_as_left(store: Store) -> None:
    store.write({FLOW: Samples.of([T0 + 30 * S], [5.0])})
    remove(store, 4.5)
    [told, _] = store.points()
    assert (told.first, told.samples) == (T0 + 30 * S, 6 * A_DAY + 1)
    assert len(store.read(FLOW)) == told.samples
    store.fold()
    assert remove(store, 4.5) == Removed(samples=1)
    assert left(store) == [4, 5, 6, 7, 8, 9]


def test_a_segment_that_is_damaged_and_old_goes_like_any_other(store: Store) -> None:
    with store._db.writing() as tx:
        tx.conn.execute(update(segment).where(segment.c.first_ns < T0 + DAY).values(checksum=1))
    store.write({FLOW: Samples.of([T0 + 30 * S], [5.0])})
    store.fold()  # which sets the damaged one aside
    assert len(store.check()) == 2
    assert remove(store, 4.5) == Removed(samples=4 * A_DAY + 1)
    assert [each.point for each in store.check()] == [OTHER]
    assert left(store) == [4, 5, 6, 7, 8, 9]


def test_nothing_goes_while_something_before_waits_to_be_judged(store: Store) -> None:
    floor = floor_at(4.5)
    asked = {"before": floor.kept, "settled": T0 + 5 * DAY}
    assert store.retention.remove(floor, **asked) == Removed()
    assert (left(store), store.floors()) == (list(range(10)), {})
    remove(store, 4.5)
    store.touch("rail-1", T0)
    later = floor_at(6.0)
    asked = {"before": later.kept, "settled": T0 + 6 * DAY}
    assert store.retention.remove(later, **asked) == Removed()
    assert store.floors()["rail-1"].since == floor.since


def test_what_is_judged_again_must_keep_its_readings(store: Store) -> None:
    with pytest.raises(ValueError, match="are kept"):
        store.retention.remove(floor_at(4), before=floor_at(4).kept + 1, settled=T0)


# Below the floor.


def sums(day: int) -> DaySums:
    return DaySums(station="rail-1", day=dt.date(2026, 1, 1) + dt.timedelta(days=day), hookups=day)


def test_results_below_the_floor_are_neither_taken_away_nor_added_to(store: Store) -> None:
    results = StationResults(
        "rail-1",
        transfers=(transfer(1.0, 1.1), transfer(6.0, 6.1)),
        days=(sums(1), sums(4), sums(6)),
    )
    store.save_results(results, since=T0, since_day=dt.date.min)
    remove(store, 4.0)
    everything = {"since": T0 - 99 * DAY, "since_day": dt.date.min}
    store.save_results(StationResults("rail-1"), **everything)
    assert store.transfers() == [transfer(1.0, 1.1)]
    assert store.days() == [sums(1)]
    other = StationResults(
        "rail-1",
        transfers=(transfer(2.0, 2.1), transfer(7.0, 7.1)),
        findings=(finding(2.0, 2.1), finding(7.0, 7.1)),
        days=(sums(3), sums(5)),
    )
    store.save_results(other, **everything)
    assert store.transfers() == [transfer(1.0, 1.1), transfer(7.0, 7.1)]
    assert store.findings() == [finding(7.0, 7.1)]
    assert store.days() == [sums(1), sums(5)]
    store.save_results(
        StationResults("rail-1"), **everything, until=T0 + 3 * DAY, until_day=dt.date(2026, 1, 4)
    )
    assert len(store.transfers()) == 2
    [whole] = store.summaries.sums([dt.date(2025, 1, 1), dt.date(2027, 1, 1)])
    assert whole.sums.hookups == 1 + 5


def test_older_rules_below_the_floor_are_no_reason_to_judge_again(store: Store) -> None:
    old = replace(finding(1.0, 1.1), rules="0.9")
    found(store, old, finding(6.0, 6.1))
    assert store.rules_of_findings() == {"0.9", RULES_VERSION}
    store.reviews.add(old, "explained", "Seen.", "A. Reed", T0)
    assert remove(store, 4.0).samples
    assert store.rules_of_findings() == {RULES_VERSION}


@pytest.mark.parametrize(
    ("day", "since", "late"),
    [
        pytest.param(1.01, None, 1, id="below"),
        pytest.param(6.01, 6.01, 0, id="above"),
        pytest.param(4.01, 4.01, 0, id="just-above"),
    ],
)
def test_what_comes_late_for_below_the_floor_is_kept_and_touches_nothing(
    store: Store, day: float, since: float | None, late: int
) -> None:
    remove(store, 4.0)
    at = T0 + round(day * DAY)
    store.write({FLOW: Samples.of([at], [3.0])})
    assert len(store.read(FLOW, at, at + 1)) == 1
    marks = {name: mark.since for name, mark in store.touched().items() if name == "rail-1"}
    assert marks == ({} if since is None else {"rail-1": T0 + round(since * DAY)})
    assert store.floors()["rail-1"].late == late


def test_of_what_comes_late_on_both_sides_only_the_upper_part_is_judged(store: Store) -> None:
    remove(store, 4.0)
    both = Samples.of([T0 + S, T0 + 2 * S, T0 + 5 * DAY + S], [3.0, 3.0, 3.0])
    store.write({FLOW: both, "rail-1.status": both})
    assert store.touched()["rail-1"].since == T0 + 5 * DAY + S
    assert store.floors()["rail-1"].late == 4
    store.write({FLOW: both})
    assert store.floors()["rail-1"].late == 4
    store.fold()
    assert remove(store, 4.0).samples == 2  # the others are in the newest segment of their point
    assert store.floors()["rail-1"].late == 0


def test_a_review_is_as_it_was(store: Store) -> None:
    one = finding(1.0, 1.1)
    found(store, one)
    said: Review = store.reviews.add(one, "explained", "Seen.", "A. Reed", T0)
    remove(store, 4.0)
    found(store)
    assert store.reviews.current(store.findings()) == {one.id: said}
    assert store.reviews.orphaned() == []
