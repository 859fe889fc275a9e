"""Sums of any stretches of days equal the days that they sum, however stretches are cut."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select

from bondtrail.results import (
    DAY_COUNTERS,
    DAY_COUNTS,
    DAY_HISTOGRAMS,
    DAY_SUMS,
    DaySums,
    StationResults,
)
from store import PartSums, Store, open_store, rollups, schema
from store.dayrows import bins_of_texts, bins_text
from tests.store.conftest import BACKENDS
from tests.store.keeping import Kept

FIRST = dt.date(2023, 11, 20)
DAYS = 500
"""From one year over a whole one, a leap year, into a third."""
SHIFTS = ("", "early", "night")


def day(number: int) -> dt.date:
    return FIRST + dt.timedelta(days=number)


def sums(station: str, number: int, salt: int, shift: str | None = None) -> DaySums:
    """Return sums that differ from day to day; seconds are quarters, so that they add up."""
    seed = number * 7 + salt * 13 + len(shift or "")
    return DaySums(
        station,
        day(number),
        shift,
        **{name: (seed + n) % 6 for n, name in enumerate(DAY_COUNTS)},
        **{
            name: 0.25 * ((seed + n) % 9)
            for n, name in enumerate(DAY_SUMS)
            if name not in DAY_COUNTS
        },
        **{
            counter: {name: 1 + (seed + n) % 3 for n, name in enumerate(names) if (seed + n) % 2}
            for counter, names in DAY_COUNTERS.items()
        },
        time_to_bond={(seed * step) % 702: step for step in range(1, seed % 5)},
        time_to_stop={seed % 702: 2} if seed % 3 else {},
    )


def has_work(number: int) -> bool:
    """Tell whether a day has: all of the first weeks, later those around a new month and a few."""
    return number < 45 or not number % 5 or day(number - 2).month != day(number + 2).month


def results(station: str, first: int, end: int, salt: int) -> StationResults:
    """Return sums of days and shifts; some days have no work, some no shift."""
    numbers = [n for n in range(first, end) if (n + salt) % 11 and has_work(n)]
    return StationResults(
        station,
        days=tuple(sums(station, n, salt) for n in numbers),
        shifts=tuple(
            sums(station, n, salt, shift)
            for n in numbers
            for place, shift in enumerate(SHIFTS)
            if (n + place) % 4
        ),
    )


def save(store: Store, station: str, first: int, end: int | None, salt: int) -> None:
    """Save results as an analysis does: the days of a window are replaced."""
    store.save_results(
        results(station, first, DAYS if end is None else end, salt),
        since=0,
        since_day=day(first),
        until=None if end is None else 1,
        until_day=None if end is None else day(end),
    )


def added(days: Iterable[DaySums]) -> dict[str, Any]:
    """Return the sum of days, part by part, the plain way."""
    parts: dict[str, Any] = dict.fromkeys(DAY_SUMS, 0)
    parts |= {name: Counter() for name in (*DAY_COUNTERS, *DAY_HISTOGRAMS)}
    for each in days:
        for name in DAY_SUMS:
            parts[name] += getattr(each, name)
        for name in (*DAY_COUNTERS, *DAY_HISTOGRAMS):
            parts[name].update(getattr(each, name))
    return parts


def expected(days: Sequence[DaySums], edges: Sequence[dt.date]) -> list[PartSums]:
    """Return what the sums of stretches of the days are, the plain way."""
    found = []
    for station, shift in sorted({(each.station, each.shift or "") for each in days}):
        mine = [each for each in days if (each.station, each.shift or "") == (station, shift)]
        for part, (start, end) in enumerate(pairwise(edges)):
            inside = [each for each in mine if start <= each.day < end]
            if inside:
                sums = DaySums(station, start, inside[0].shift, **added(inside))
                found.append(PartSums(part, sums))
    return found


@dataclass(frozen=True)
class Filled:
    """A store that nobody changes any more, and its days: by shift where the key is true."""

    store: Store
    days: dict[bool, list[DaySums]]

    @classmethod
    def of(cls, store: Store) -> Filled:
        return cls(store, {False: store.days(), True: store.shift_days()})


def check(filled: Filled, edges: Sequence[dt.date], stations: Sequence[str] | None = None) -> None:
    for shifts, days in filled.days.items():
        held = [each for each in days if stations is None or each.station in stations]
        asked = filled.store.summaries.sums(edges, stations=stations, shifts=shifts)
        assert asked == expected(held, edges)


@pytest.fixture(scope="module", params=BACKENDS)
def filled(request: pytest.FixtureRequest, tmp_path_factory: Any) -> Iterator[Filled]:
    """A store with sums of three stations, which no test changes."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path_factory.mktemp('filled') / 'store.db'}"
    else:
        url = request.getfixturevalue("postgres").new_database()
    with open_store(url) as store:
        for salt, station in enumerate(("a", "b", "c")):
            save(store, station, salt, None, salt)
        save(store, "a", 60, 90, 9)
        yield Filled.of(store)


def days_of_months(first: dt.date, months: int) -> list[dt.date]:
    edges = [first]
    for _ in range(months):
        edges.append(rollups.month_after(edges[-1]))
    return edges


EDGES = {
    "one-stretch": [day(0), day(DAYS)],
    "one-day": [day(77), day(78)],
    "a-year": [dt.date(2024, 1, 1), dt.date(2025, 1, 1)],
    "two-years": [dt.date(2023, 1, 1), dt.date(2024, 1, 1), dt.date(2025, 1, 1)],
    "months": days_of_months(dt.date(2023, 12, 1), 16),
    "months-cut": [day(3), *days_of_months(dt.date(2023, 12, 1), 13), dt.date(2025, 1, 17)],
    "weeks": [day(n) for n in range(0, 140, 7)],
    "days": [day(n) for n in range(91)],
    "days-and-more": [day(0), day(1), day(2), day(40)],
    "all-of-time": [dt.date.min, dt.date.max],
    "leap-day": [dt.date(2024, 2, 29), dt.date(2024, 3, 1)],
    "beyond-on-both-sides": [dt.date(1, 1, 1), day(250), dt.date(9999, 12, 31)],
    "at-the-very-end": [dt.date(9999, 12, 1), dt.date(9999, 12, 9), dt.date.max],
    "before-all": [dt.date(2000, 1, 1), dt.date(2000, 2, 1)],
}


@pytest.mark.parametrize("edges", EDGES.values(), ids=EDGES)
def test_sums_of_stretches_equal_their_days(filled: Filled, edges: list[dt.date]) -> None:
    check(filled, edges)


@pytest.mark.parametrize(
    "stations", [[], ["b"], ["a", "c"], ["c", "a", "nobody"], ["nobody"]], ids=str
)
def test_sums_of_some_stations(filled: Filled, stations: list[str]) -> None:
    check(filled, [day(3), day(400)], stations)


@pytest.mark.parametrize(
    "edges",
    [[], [day(0)], [day(0), day(0)], [day(1), day(0)], [day(0), day(5), day(5)]],
    ids=["none", "one", "empty-stretch", "backwards", "an-empty-stretch-more"],
)
def test_edges_that_do_not_rise_are_refused(store: Store, edges: list[dt.date]) -> None:
    with pytest.raises(ValueError, match="edges: expected two or more dates"):
        store.summaries.sums(edges)


def test_days_without_shifts_have_no_sums_by_shift(store: Store) -> None:
    plain = StationResults("a", days=(sums("a", 1, 0),))
    store.save_results(plain, since=0, since_day=day(0))
    assert len(store.summaries.sums([day(0), day(9)])) == 1
    assert store.summaries.sums([day(0), day(9)], shifts=True) == []


@pytest.mark.parametrize("months", [1, 3, 12], ids=["a-month", "a-quarter", "a-year"])
@pytest.mark.parametrize("shift", [None, "night"])
def test_unknown_flow_and_bypass_add_up_too(store: Store, months: int, shift: str | None) -> None:
    told = tuple(
        DaySums(
            "a", dt.date(2024, month, 9), shift, flow_unknown_s=1.5 * month, bypass_unknown_s=0.25
        )
        for month in range(1, 13)
    )
    results = StationResults("a", shifts=told) if shift else StationResults("a", days=told)
    store.save_results(results, since=0, since_day=dt.date.min)
    edges = days_of_months(dt.date(2024, 1, 1), months)
    (found,) = store.summaries.sums([edges[0], edges[-1]], shifts=shift is not None)
    assert found.sums.flow_unknown_s == 1.5 * sum(range(1, months + 1))
    assert found.sums.bypass_unknown_s == 0.25 * months


def rolled_up(store: Store) -> dict[str, list[Any]]:
    """Return what is summed ahead, as rows."""
    with store._db.reading() as tx:
        return {
            name: sorted(map(tuple, tx.conn.execute(select(schema.METADATA.tables[name]))))
            for name in ("month", "year", "shift_month", "shift_year")
        }


def test_what_is_summed_ahead_does_not_tell_how_it_was_saved(store: Store) -> None:
    for first in range(0, DAYS, 45):
        save(store, "a", first, min(first + 45, DAYS), 5)
    in_pieces = rolled_up(store)
    with store._db.writing() as tx:
        for name in in_pieces:
            tx.conn.execute(delete(schema.METADATA.tables[name]))
    save(store, "a", 0, None, 5)
    assert rolled_up(store) == in_pieces
    assert {name: len(rows) > 0 for name, rows in in_pieces.items()} == dict.fromkeys(
        in_pieces, True
    )


def test_nothing_is_left_summed_ahead_of_what_is_gone(store: Store) -> None:
    save(store, "a", 0, 70, 1)
    store.save_results(StationResults("a"), since=0, since_day=dt.date.min)
    assert not any(rolled_up(store).values())


numbers = st.integers(0, DAYS)
spans = st.tuples(numbers, numbers).map(sorted).filter(lambda span: span[0] < span[1])
windows = st.tuples(
    st.sampled_from(["a", "b"]),
    st.one_of(spans, st.tuples(st.integers(0, DAYS - 1), st.none())),
    st.integers(0, 6),
)
cuts = st.lists(st.integers(-40, DAYS + 40), min_size=2, max_size=9, unique=True).map(sorted)


@settings(max_examples=8)
@given(saves=st.lists(windows, min_size=1, max_size=4), asked=st.lists(cuts, max_size=3))
def test_any_cut_of_days_stations_and_shifts_adds_up(
    kept_file: Kept, saves: list[Any], asked: list[list[int]]
) -> None:
    store = kept_file.empty()
    for station, (first, end), salt in saves:
        save(store, station, first, end, salt)
    filled = Filled.of(store)
    for cut in asked:
        edges = [day(number) for number in cut]
        check(filled, edges)
        adds_up(store, edges)


def adds_up(store: Store, edges: Sequence[dt.date]) -> None:
    """Compare the whole with what the parts of it add up to, each asked for by itself."""
    for shifts in (False, True):
        whole = store.summaries.sums([edges[0], edges[-1]], shifts=shifts)
        parts = [
            each.sums
            for start, end in pairwise(edges)
            for station in ("a", "b", "c")
            for each in store.summaries.sums([start, end], stations=[station], shifts=shifts)
        ]
        assert added(parts) == added(each.sums for each in whole)


def test_any_cut_adds_up_on_either_database(filled: Filled) -> None:
    adds_up(
        filled.store, [day(0), day(1), day(43), dt.date(2024, 3, 1), dt.date(2024, 8, 9), day(DAYS)]
    )


@pytest.mark.parametrize(
    ("histogram", "text"),
    [
        pytest.param({}, "", id="none"),
        pytest.param({0: 3}, "0:3", id="the-lowest"),
        pytest.param({701: 1, 9: 2}, "9:2 701:1", id="in-order"),
        pytest.param({5: 0, 6: 1}, "6:1", id="nothing-counted"),
    ],
)
def test_a_histogram_is_kept_as_text(histogram: dict[int, int], text: str) -> None:
    assert bins_text(histogram) == text
    assert bins_of_texts([text]) == [{k: n for k, n in histogram.items() if n}]


@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        pytest.param([], [], id="none"),
        pytest.param(["", " "], [{}, {}], id="empty"),
        pytest.param(["3:1 3:2  0:5"], [{0: 5, 3: 3}], id="added-up"),
        pytest.param(["", "3:1", "", "3:4 1:1"], [{}, {3: 1}, {}, {1: 1, 3: 4}], id="apart"),
        pytest.param(["7:9007199254740992"], [{7: 2**53}], id="the-most"),
        pytest.param(["1:1"] * 1030, [{1: 1}] * 1030, id="many"),
    ],
)
def test_histograms_are_read_from_texts(
    texts: list[str], expected: list[Mapping[int, int]]
) -> None:
    assert bins_of_texts(texts) == expected


@pytest.mark.parametrize(
    "groups",
    [
        pytest.param({"all": ["a", "b", "c"]}, id="all"),
        pytest.param({"one": ["b"], "two": ["c", "a"]}, id="apart"),
        pytest.param({"none": [], "gone": ["z"]}, id="without-sums"),
        pytest.param({}, id="no-groups"),
    ],
)
@pytest.mark.parametrize(
    "edges",
    [
        pytest.param([day(3), day(480)], id="one-stretch"),
        pytest.param(days_of_months(dt.date(2023, 12, 1), 14), id="months"),
        pytest.param([day(n) for n in range(3, 40, 7)], id="weeks"),
        pytest.param([day(9000), day(9001)], id="no-days"),
    ],
)
def test_stations_of_a_group_are_added_up_under_its_name(
    filled: Filled, edges: list[dt.date], groups: dict[str, list[str]]
) -> None:
    names = {station: name for name, members in groups.items() for station in members}
    for shifts, days in filled.days.items():
        held = [
            replace(each, station=names[each.station]) for each in days if each.station in names
        ]
        told = filled.store.summaries.sums(edges, groups=groups, shifts=shifts)
        assert told == expected(held, edges)


def test_the_stations_with_sums(filled: Filled) -> None:
    assert filled.store.summaries.stations() == ["a", "b", "c"]
