"""Site files, work windows, tickets and rejects."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import pytest

from bondtrail.results import Reject, StationResults, Ticket, WorkWindow
from bondtrail.samples import Samples
from store import Store, Touch, Written
from store.touches import BEGINNING

S = 10**9
T0 = 1_767_225_600 * S

WORK = WorkWindow("dryer", T0, T0 + 3600 * S, "clean-down")
TICKET = Ticket("rail-1", T0, T0 + 60 * S, "B-7", "toluene", "Ana")
REJECT = Reject("readings.csv", "line 7", "no number", "x,y,z", T0)


def site(text: str) -> SimpleNamespace:
    """Stand in for a site: the store looks at its text and its stations' ids only."""
    return SimpleNamespace(text=text, stations=[SimpleNamespace(id="rail-1")])


def test_a_site_file_holds_from_a_time_on(store: Store) -> None:
    assert store.sites() == []
    assert store.put_site(site("one"), T0)
    assert store.put_site(site("two"), T0 + 9)
    assert store.put_site(site("zero — µΩ"), T0 - 9)
    assert store.sites() == [(T0 - 9, "zero — µΩ"), (T0, "one"), (T0 + 9, "two")]


@pytest.mark.parametrize(
    ("text", "at", "kept"),
    [
        pytest.param("one", 0, False, id="the-same-then"),
        pytest.param("one", 5, False, id="the-same-later"),
        pytest.param("two", 5, True, id="another-later"),
        pytest.param("two", 0, True, id="another-instead"),
        pytest.param("one", -5, True, id="the-same-but-earlier"),
        pytest.param("one", 20, True, id="back-to-the-first"),
    ],
)
def test_a_site_file_that_is_in_force_is_not_kept_twice(
    store: Store, text: str, at: int, kept: bool
) -> None:
    store.put_site(site("one"), T0)
    store.put_site(site("other"), T0 + 10)
    before = dict(store.sites())
    assert store.put_site(site(text), T0 + at) is kept
    assert dict(store.sites()) == (before | {T0 + at: text} if kept else before)


def test_another_site_file_touches_its_stations_and_those_with_samples(store: Store) -> None:
    store.write({"gone-2.flow": Samples.of([T0 + 9 * S], [1.0])})
    store.put_site(site("one"), T0 + S)
    expected = {"gone-2": Touch(T0 + S, 2), "rail-1": Touch(BEGINNING, 1)}
    assert store.touched() == expected
    store.put_site(site("one"), T0 + 2 * S)
    assert store.touched() == expected


NAMES_RAIL_1 = '[[station]]\nid = "rail-1"'


@pytest.mark.parametrize(
    ("at", "since"),
    [
        pytest.param(T0 + 9 * S, T0 + 9 * S, id="another-named-it-before"),
        pytest.param(T0 - 9 * S, BEGINNING, id="now-the-first-to-name-it"),
        pytest.param(T0, BEGINNING, id="in-place-of-the-first"),
    ],
)
def test_the_first_file_to_name_a_station_has_all_before_it_judged_again(
    store: Store, at: int, since: int
) -> None:
    store.put_site(site(NAMES_RAIL_1), T0)
    mark = store.touched()["rail-1"]
    store.save_results(StationResults("rail-1"), since=0, since_day=dt.date.min, touch=mark)
    assert store.touched() == {}
    store.put_site(site(f"# another\n{NAMES_RAIL_1}"), at)
    assert store.touched()["rail-1"].since == since


def test_work_windows_are_kept_once(store: Store) -> None:
    other = replace(WORK, what="filter change")
    assert store.put_work([WORK, other, WORK]) == Written(new=2, repeated=1)
    assert store.put_work([WORK]) == Written(repeated=1)
    assert store.work() == store.work("dryer") == [WORK, other]
    assert store.work("rail-1") == []


@pytest.mark.parametrize("change", [{"end": T0 + 70 * S}, {"product": "heptane"}, {"operator": ""}])
def test_a_ticket_again_takes_the_place_of_the_first(
    store: Store, change: dict[str, object]
) -> None:
    store.put_tickets([TICKET])
    changed = replace(TICKET, **change)
    assert store.put_tickets([TICKET]) == Written(repeated=1)
    assert store.put_tickets([changed]) == Written(replaced=1)
    assert store.tickets() == store.tickets("rail-1") == [changed]


@pytest.mark.parametrize("change", [{"station": "rail-2"}, {"start": T0 + S}, {"batch": "B-8"}])
def test_another_ticket_is_another(store: Store, change: dict[str, object]) -> None:
    assert store.put_tickets([TICKET, replace(TICKET, **change)]) == Written(new=2)
    assert len(store.tickets()) == 2


def test_a_ticket_twice_in_one_file_is_the_last(store: Store) -> None:
    last = replace(TICKET, operator="Rui")
    assert store.put_tickets([TICKET, last]) == Written(new=1, replaced=1)
    assert store.tickets() == [last]


@pytest.mark.parametrize(
    ("start", "end", "found"),
    [
        pytest.param(TICKET.start - S, TICKET.start, 0, id="ends-where-it-begins"),
        pytest.param(TICKET.start - S, TICKET.start + 1, 1, id="over-its-beginning"),
        pytest.param(TICKET.end - 1, TICKET.end + S, 1, id="over-its-end"),
        pytest.param(TICKET.end, TICKET.end + S, 0, id="begins-where-it-ends"),
        pytest.param(None, TICKET.start, 0, id="all-before-it"),
        pytest.param(TICKET.start, None, 1, id="from-it-on"),
    ],
)
def test_tickets_are_found_by_what_they_overlap(
    store: Store, start: int | None, end: int | None, found: int
) -> None:
    store.put_tickets([TICKET])
    assert len(store.tickets("rail-1", start, end)) == found


def test_work_and_tickets_touch_their_stations(store: Store) -> None:
    store.put_work([replace(WORK, start=T0 + S), WORK])
    store.put_tickets([TICKET])
    assert store.touched() == {"dryer": Touch(T0, 1), "rail-1": Touch(T0, 1)}
    store.put_work([WORK])
    store.put_tickets([TICKET])
    assert store.touched() == {"dryer": Touch(T0, 1), "rail-1": Touch(T0, 1)}
    store.put_tickets([replace(TICKET, operator="Rui")])
    assert store.touched()["rail-1"] == Touch(T0, 2)


def test_the_same_reject_again_is_one_row(store: Store) -> None:
    store.put_rejects([REJECT, REJECT])
    store.put_rejects([replace(REJECT, at=T0 + S)])
    assert store.rejects() == [REJECT]


@pytest.mark.parametrize("field", ["source", "where", "reason", "raw"])
def test_another_reject_is_another_row(store: Store, field: str) -> None:
    other = replace(REJECT, **{field: "another"})
    store.put_rejects([REJECT, other])
    assert store.rejects() == [REJECT, other]


@pytest.mark.parametrize(("again", "count"), [(3, 5), (9, 9)])
def test_a_reject_keeps_its_largest_count(store: Store, again: int, count: int) -> None:
    for each in (5, again):
        store.put_rejects([replace(REJECT, count=each)])
    assert [each.count for each in store.rejects()] == [count]


def test_rejects_are_chosen(store: Store) -> None:
    several = [replace(REJECT, where=f"line {n}", at=T0 + n) for n in range(5)]
    other = replace(REJECT, source="bondtrail/x", where="topic", at=T0 + 2)
    store.put_rejects([*several, other])
    assert store.rejects("readings.csv") == several
    assert store.rejects(start=T0 + 1, end=T0 + 3) == [*several[1:3], other]
    assert store.rejects("readings.csv", limit=2) == several[-2:]


def test_rejects_that_would_have_been_readings_are_found_by_their_time(store: Store) -> None:
    flow = [
        replace(REJECT, where=f"line {n}", point="rail-1.flow", time=T0 + n * S)
        for n in (3, 1, 2, 4)
    ]
    other = replace(REJECT, where="line 9", point="rail-2.flow", time=T0 + S)
    no_time = replace(REJECT, where="line 8")
    store.put_rejects([*flow, other, no_time])
    assert store.rejects() == [*flow, other, no_time]
    assert store.rejected("rail-1.flow", T0 + S, T0 + 4 * S) == [flow[1], flow[2], flow[0]]
    assert store.rejected("rail-1.flow", T0 + 5 * S, T0 + 9 * S) == []
    assert store.rejected("rail-3.flow", T0, T0 + 9 * S) == []


@pytest.mark.parametrize(
    ("raw", "kept"),
    [
        pytest.param("a\0b", "a\\x00b", id="nul"),
        pytest.param("a\udcffb", "a\\udcffb", id="lone-surrogate"),
        pytest.param("x" * 9000, "x" * 4096, id="4-KiB"),
        pytest.param("é" * 9000, "é" * 2048, id="4-KiB-of-two-bytes-each"),
        pytest.param("x" + "é" * 9000, "x" + "é" * 2047, id="not-through-a-character"),
    ],
)
def test_hostile_text_is_kept_as_far_as_it_can_be(store: Store, raw: str, kept: str) -> None:
    store.put_rejects([replace(REJECT, raw=raw)])
    assert [each.raw for each in store.rejects()] == [kept]
    store.put_rejects([replace(REJECT, raw=raw)])
    assert len(store.rejects()) == 1


def test_hostile_text_in_a_ticket_is_kept_once(store: Store) -> None:
    odd = replace(TICKET, batch="B\0'; drop table ticket; --")
    assert store.put_tickets([odd]) == Written(new=1)
    assert store.put_tickets([odd]) == Written(repeated=1)
    assert store.tickets()[0].batch == "B\\x00'; drop table ticket; --"


def test_what_only_still_holds_does_not_wait(store: Store) -> None:
    store.write({"rail-1.flow": Samples.of([T0, T0 + 10 * S], [1.0, 0.0])})
    mark = store.waiting()["rail-1"]
    held = T0 + 10 * S + 1
    found = StationResults("rail-1")
    store.save_results(found, since=0, since_day=dt.date.min, touch=mark, still_since=held)
    assert store.touched()["rail-1"].since == held
    assert store.waiting() == store.waiting(held_by=held - 1) == {}
    assert store.waiting(held_by=held) == store.touched()
    store.write({"rail-1.flow": Samples.of([T0 + 11 * S], [0.0])})
    assert store.waiting()["rail-1"].since == held


def test_a_station_without_readings_does_not_wait(store: Store) -> None:
    store.touch("rail-9", T0)
    assert (list(store.touched()), store.waiting(held_by=T0)) == (["rail-9"], {})
