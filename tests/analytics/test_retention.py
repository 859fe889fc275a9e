"""Old readings go, and what was found stays as it is: above the floor it is found again."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics import runs
from analytics.history import floor_midnight
from analytics.retention import Retained, retain
from analytics.runs import analyse
from bondtrail.results import Finding, Ticket
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from bondtrail.times import day_start
from store import Floor, Store, layout, open_store
from tests.analytics.core.build import OPEN, ns
from tests.analytics.workdays import DAY, HOUR, MINUTE, MONDAY, Results, site, told, workdays
from tests.reference.scripts import SHIFTS

POINTS = ("spot.resistance", "spot.flow")
MIXED = [2.0, 12.0, 2.0, OPEN, 2.0, 2.0, 12.0, 2.0, 2.0, 2.0, OPEN, 2.0]
GOOD = [2.0] * 12


@pytest.fixture(autouse=True)
def three_segments_a_day(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, size in {"FULL": 480, "CLOSED": 360, "LARGEST": 720, "REGION": 1920}.items():
        monkeypatch.setattr(layout, name, size)


def keeping(days: int | None, **how: Any) -> Site:
    """Return a site file that keeps readings for some days."""
    text = site("spot", **how).text
    return parse_site(text if days is None else f"{text}\n[retention]\nreadings_days = {days}\n")


def at(day: float) -> int:
    """Return a moment, given in days after the first midnight. [ns]"""
    return ns(MONDAY + round(day * DAY))


def ready(store: Store, ohms: Sequence[float], days: int | None) -> int:
    """Analyse a day for each resistance; return when that is: an hour after the last."""
    store.put_site(keeping(days), 0)
    for number, ohm in enumerate(ohms):
        store.write(workdays(ohm, start=MONDAY + number * DAY))
    now = at(len(ohms)) + ns(HOUR)
    heard(store, now)
    store.fold()
    analyse(store, now=now)
    return now


def heard(store: Store, now: int) -> None:
    """Have another point report now: no clock is ahead of what is heard."""
    store.write({"elsewhere.flow": Samples.of([now], [0.0])})


def below(found: Results, floor: Floor) -> Results:
    """Return what began below a floor, but for drifts, which are of all time."""
    return _part(found, lambda moment: moment < floor.since, lambda day: day < floor.day)


def above(found: Results, floor: Floor) -> Results:
    return _part(found, lambda moment: moment >= floor.since, lambda day: day >= floor.day)


def _part(
    found: Results, is_in: Callable[[int], bool], has_day: Callable[[dt.date], bool]
) -> Results:
    episodes = [
        [one for one in part if is_in(getattr(one, "start", getattr(one, "time", None)))]
        for part in found[:5]
    ]
    days = [[one for one in part if has_day(one.day)] for part in found[5:]]
    return Results(*episodes, *days)  # type: ignore[arg-type]


def readings(store: Store) -> dict[str, Samples]:
    return {point: store.read(point) for point in POINTS}


def dismiss(store: Store, findings: Iterable[Finding], state: str = "explained") -> None:
    for one in findings:
        store.reviews.add(one, state, "Looked at.", "A. Reed", at(0))


# What goes and what stays.


@pytest.mark.parametrize("days", [None, 13, 36_500], ids=["not-asked", "not-that-old", "a-century"])
def test_nothing_is_removed(store: Store, days: int | None) -> None:
    now = ready(store, GOOD, days)
    before = readings(store)
    assert retain(store, now=now) == Retained()
    assert (readings(store), store.floors()) == (before, {})


def test_a_store_without_a_site_file_is_left_alone(store: Store) -> None:
    store.write(workdays(2.0))
    assert retain(store, now=at(900)) == Retained()


def test_what_is_old_goes_by_whole_segments_and_points_say_so(store: Store) -> None:
    now = ready(store, GOOD, 5)
    before = readings(store)
    done = retain(store, now=now)
    [floor] = store.floors().values()
    assert (floor.station, floor.day, floor.at) == ("spot", dt.date(2026, 3, 9), now)
    assert floor.kept <= floor.context <= floor.since < at(7)
    assert floor.kept == at(6) + ns(9 * HOUR - MINUTE)  # the clamp that is off came off then
    assert done == Retained(stations=1, samples=floor.removed)
    left = 0
    for point, samples in readings(store).items():
        kept = before[point].between(int(samples.time[0]), at(99))
        assert samples == kept  # without a gap from its first reading on
        assert at(6) < samples.time[0] <= floor.kept
        left += len(samples)
        [row] = [each for each in store.points() if each.point == point]
        assert (row.samples, row.first) == (len(samples), samples.time[0])
    assert done.samples == sum(map(len, before.values())) - left
    assert store.check() == []


def test_a_second_run_removes_nothing_more(store: Store) -> None:
    now = ready(store, MIXED, 5)
    first = retain(store, now=now)
    assert first.samples
    assert first.kept_for_findings
    state = readings(store), store.floors(), told(store)
    assert retain(store, now=now) == replace(first, stations=0, samples=0)
    assert (readings(store), store.floors(), told(store)) == state


def test_days_go_as_they_come(store: Store) -> None:
    ready(store, GOOD[:8], 5)
    removed = []
    for number in range(8, 12):
        store.write(workdays(2.0, start=MONDAY + number * DAY))
        now = at(number + 1) + ns(HOUR)
        heard(store, now)
        analyse(store, now=now)
        removed.append(retain(store, now=now).samples)
    assert removed[0] == 2 * (3 * 1440 + 480)
    assert removed[1:] == [2 * 1440] * 3
    assert store.floors()["spot"].removed == sum(removed)


def test_what_waits_to_be_judged_stays_until_it_is(store: Store) -> None:
    now = ready(store, GOOD, 5)
    store.write({"spot.flow": Samples.of([at(1) + 1], [0.0])})
    assert retain(store, now=now) == Retained()
    analyse(store, now=now)
    assert retain(store, now=now).stations == 1
    heard(store, now + ns(2 * DAY))
    assert retain(store, now=now + ns(2 * DAY)).samples  # time passes, nothing waits
    store.write({"spot.flow": Samples.of([at(9) + 1], [0.0])})
    before = store.floors()["spot"].day
    heard(store, now + ns(4 * DAY))
    retain(store, now=now + ns(4 * DAY))
    assert store.floors()["spot"].day == before


def test_what_was_judged_by_older_rules_is_judged_by_these_first(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = ready(store, MIXED, 5)
    monkeypatch.setattr("analytics.retention.RULES_VERSION", "99")
    assert retain(store, now=now) == Retained()


def test_a_clock_that_is_ahead_makes_no_reading_old(store: Store) -> None:
    now = ready(store, GOOD, 5)
    in_time = retain(store, now=now)
    left = readings(store)
    assert retain(store, now=now + ns(30 * 365 * DAY)) == replace(in_time, stations=0, samples=0)
    assert readings(store) == left


def test_a_longer_time_to_keep_stops_removal(store: Store) -> None:
    now = ready(store, MIXED, 5)
    placed = store.holds.add("spot", at(4), at(6), why="w", author="a", at=now)
    retain(store, now=now)
    store.put_site(keeping(9), now)
    analyse(store, now=now)
    store.holds.release(placed.number, "a", "w", now)
    dismiss(store, store.findings())
    before = readings(store)
    after = retain(store, now=now)
    assert after.samples  # what was older than nine days and is no longer needed
    assert readings(store)["spot.flow"] == before["spot.flow"].between(at(3), at(99))
    assert store.floors()["spot"].day == dt.date(2026, 3, 9)


def test_a_floor_waits_for_a_quiet_moment(store: Store) -> None:
    """There is none while a transfer goes on, over six midnights."""
    store.put_site(keeping(5), 0)
    minutes = at(0) + ns(MINUTE) * np.arange(12 * 1440)
    flows = (minutes > at(2)) & (minutes < at(8.5))
    is_on = (minutes > at(1.9)) & (minutes < at(8.6))
    is_on |= (minutes > at(1 / 3)) & (minutes < at(3 / 8))
    store.write(
        {
            "spot.flow": Samples.of(minutes, np.where(flows, 60.0, 0.0)),
            "spot.resistance": Samples.of(minutes, np.where(is_on, 2.0, np.inf)),
        }
    )
    now = at(12) + ns(HOUR)
    heard(store, now)
    store.fold()
    analyse(store, now=now)
    found = told(store)
    assert len(found.transfers) == 1
    retain(store, now=now)
    [floor] = store.floors().values()
    assert floor.since < at(2)
    assert floor.day == dt.date(2026, 3, 9)
    analyse(store, now=now, everything=True)
    assert told(store) == found


# What is found.


Change = Callable[[Store, pytest.MonkeyPatch], None]


def another_file(store: Store, _: pytest.MonkeyPatch) -> None:
    store.put_site(keeping(5, limit_ohm=5.0, resume_within_s=60), at(0))


def another_file_for_all_time(store: Store, _: pytest.MonkeyPatch) -> None:
    store.put_site(keeping(5, hookup_min_s=30), 0)


def shifts(store: Store, _: pytest.MonkeyPatch) -> None:
    store.put_site(keeping(5, roster=SHIFTS["three a day"]), 0)


def other_rules(_: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(runs, "RULES_VERSION", "99")


def the_station_gone(store: Store, _: pytest.MonkeyPatch) -> None:
    store.put_site(site("other"), at(11))


def late_readings(store: Store, _: pytest.MonkeyPatch) -> None:
    store.write(workdays(OPEN, start=MONDAY + 1 * DAY + 30))


def a_late_ticket(store: Store, _: pytest.MonkeyPatch) -> None:
    store.put_tickets([Ticket("spot", at(1), at(2), "B-7", "toluene", "Ana")])


def later_days(store: Store, _: pytest.MonkeyPatch) -> None:
    store.write(workdays(12.0, 2.0, start=MONDAY + 12 * DAY))


@pytest.mark.parametrize("how", ["everything", "by_present_limits"])
@pytest.mark.parametrize(
    "change",
    [
        another_file, another_file_for_all_time, shifts, other_rules, the_station_gone,
        late_readings, a_late_ticket, later_days,
    ],
)  # fmt: skip
def test_nothing_below_the_floor_changes_whatever_comes(
    store: Store, monkeypatch: pytest.MonkeyPatch, change: Change, how: str
) -> None:
    now = ready(store, MIXED, 5)
    dismiss(store, store.findings())
    assert retain(store, now=now).samples
    [floor] = store.floors().values()
    before = below(told(store), floor)
    assert (len(before.transfers), len(before.days)) == (6, 7)  # the seventh ends in a loss
    change(store, monkeypatch)
    analyse(
        store,
        now=now + ns(3 * DAY),
        everything=how == "everything",
        by_present_limits=how != "everything",
    )
    assert below(told(store), floor) == before
    analyse(store, now=now + ns(3 * DAY))
    assert below(told(store), floor) == before


def test_it_is_the_same_on_postgresql(store: Store, postgres_url: str) -> None:
    with open_store(postgres_url) as other:
        for each in (store, other):
            now = ready(each, MIXED, 5)
            each.holds.add("spot", at(3.2), at(3.4), why="w", author="a", at=now)
            dismiss(each, each.findings(kind="failed_hookup"))
        found = told(store)
        assert retain(other, now=now) == retain(store, now=now)
        assert readings(other) == readings(store)
        assert (other.floors(), other.points()) == (store.floors(), store.points())
        analyse(other, now=now, everything=True)
        assert told(other) == found
        assert retain(other, now=now).samples == 0


def test_shifts_that_go_stay_told_below_the_floor(store: Store) -> None:
    store.put_site(keeping(5, roster=SHIFTS["three a day"]), 0)
    now = ready_again(store)
    retain(store, now=now)
    [floor] = store.floors().values()
    before = below(told(store), floor)
    assert len(before.shifts) == 7 * 3
    store.put_site(keeping(5), 0)
    analyse(store, now=now)
    assert below(told(store), floor) == before
    assert above(told(store), floor).shifts == []


def ready_again(store: Store) -> int:
    store.write(workdays(*GOOD))
    now = at(len(GOOD)) + ns(HOUR)
    heard(store, now)
    store.fold()
    analyse(store, now=now)
    return now


def test_older_rules_below_the_floor_ask_for_no_analysis(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = ready(store, [12.0, 12.0, *GOOD], 5)
    dismiss(store, store.findings())
    retain(store, now=now)
    monkeypatch.setattr(runs, "RULES_VERSION", "99")
    assert analyse(store, now=now).stations == 0


def test_a_drift_over_all_of_history_is_found_though_its_readings_are_gone(store: Store) -> None:
    now = ready(store, [4.0 + 0.15 * day for day in range(24)], 5)
    [drift] = store.findings(kind="resistance_drift")
    dismiss(store, store.findings())
    assert retain(store, now=now).samples
    analyse(store, now=now, everything=True)
    assert store.findings(kind="resistance_drift") == [drift]


def test_late_readings_below_the_floor_are_kept_until_the_next_run(store: Store) -> None:
    now = ready(store, GOOD, 5)
    retain(store, now=now)
    late = Samples.of([at(1) + 1, at(2) + 1], [1.0, 1.0])
    store.write({"spot.flow": late})
    assert store.waiting() == {}
    assert store.read("spot.flow", at(1), at(2) + 2) == late
    assert store.floors()["spot"].late == 2
    assert retain(store, now=now).samples == 2
    assert store.floors()["spot"].late == 0


def test_a_floor_is_at_a_midnight_of_the_clock_that_the_site_has_now() -> None:
    lisbon, auckland = (site("spot").zone, parse_site(
        site("spot").text.replace("Europe/Lisbon", "Pacific/Auckland")
    ).zone)  # fmt: skip
    midnight = day_start(dt.date(2026, 3, 9), lisbon)
    floor = Floor("spot", dt.date(2026, 3, 9), midnight - 5, midnight - 50, midnight - 500, 0)
    assert floor_midnight(floor, lisbon) == midnight
    # Its midnight of the 9th was 13 hours before: of that day not all readings are left.
    assert floor_midnight(floor, auckland) == day_start(dt.date(2026, 3, 10), auckland)


# Anything.


days_of_any_kind = st.lists(
    st.sampled_from([2.0, 2.0, 2.0, 9.0, 12.0, 40_000.0, OPEN]), min_size=4, max_size=9
)
hours = st.integers(0, 9 * 24)


@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    ohms=days_of_any_kind,
    cuts=st.lists(st.integers(1, 8), min_size=1, max_size=3),
    held=st.lists(st.tuples(hours, st.integers(1, 30)), max_size=2),
    reviewed=st.lists(st.sampled_from(["explained", "open", None]), max_size=12),
)
def test_what_was_found_stays_and_what_is_needed_too(
    empty_store: Path,
    tmp_path: Path,
    ohms: list[float],
    cuts: list[int],
    held: list[tuple[int, int]],
    reviewed: list[str | None],
) -> None:
    shutil.copy(empty_store, tmp_path / "any.db")
    with open_store(f"sqlite:///{tmp_path}/any.db") as store:
        now = ready(store, ohms, None)
        found, before = told(store), readings(store)
        for hour, length in held:
            span = at(hour / 24), at((hour + length) / 24)
            store.holds.add("spot", *span, why="w", author="a", at=now)
        for one, state in zip(found.findings, reviewed, strict=False):
            if state is not None:
                dismiss(store, [one], state)
        for days in cuts:
            store.put_site(keeping(days), now)
            analyse(store, now=now)
            retain(store, now=now)
            assert told(store) == found
            must_be_there(store, before, found)
            analyse(store, now=now, everything=True)
            assert told(store) == found
            kept = readings(store), store.floors()
            assert retain(store, now=now).samples == 0
            assert (readings(store), store.floors()) == kept


def must_be_there(store: Store, before: dict[str, Samples], found: Results) -> None:
    """What a hold covers or an open finding refers to is as it was, and points say what is left."""
    spans = [(hold.start, hold.end) for hold in store.holds.all()]
    said = store.reviews.current(found.findings)
    by_id = {transfer.id: transfer for transfer in found.transfers}
    for one in found.findings:
        if one.id not in said or said[one.id].state == "open":
            of = [one, by_id[one.transfer]] if one.transfer else [one]
            spans += [(each.start - ns(DAY), each.end + ns(DAY)) for each in of]
    for point, samples in before.items():
        for start, end in spans:
            assert store.read(point, start, end) == samples.between(start, end)
    for row in store.points():
        left = store.read(row.point)
        assert (row.samples, row.first, row.last) == (len(left), left.time[0], left.time[-1])
