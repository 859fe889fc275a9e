"""Days cut by shifts, in zones whose clocks change by an hour, by half an hour, or not at all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core.shifts import Cells, cells, clock_moment, has_shifts, shift_span, whole_days
from bondtrail.site import Shift
from bondtrail.times import day_edges, days_from
from tests.reference.days import first_moment, parts_of
from tests.reference.scripts import SHIFTS, shift

LISBON = "Europe/Lisbon"
HOUR_NS = 3600 * 10**9
THREE_A_DAY = SHIFTS["three a day"]
Rosters = list[tuple[int, tuple[Shift, ...]]]
Row = tuple[str, str | None, float]


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def utc(text: str) -> int:
    return round(dt.datetime.fromisoformat(f"{text}Z").timestamp()) * 10**9


def rows(found: Cells) -> list[Row]:
    """The day of the month, the shift and the hours of each cell."""
    lengths = [(end - start) / HOUR_NS for start, end in pairwise(found.edges.tolist())]
    days = [f"{each:%d}" for each in found.days]
    return list(zip(days, found.shifts, lengths, strict=True))


def cut(first: str, last: str, rosters: Rosters, zone: str = LISBON) -> list[Row]:
    return rows(cells(day(first), day(last), ZoneInfo(zone), rosters))


def test_a_night_shift_is_cut_at_midnight() -> None:
    assert cut("2026-03-02", "2026-03-03", [(0, THREE_A_DAY)]) == [
        ("02", "night", 6),
        ("02", "early", 8),
        ("02", "late", 8),
        ("02", "night", 2),
        ("03", "night", 6),
        ("03", "early", 8),
        ("03", "late", 8),
        ("03", "night", 2),
    ]


@pytest.mark.parametrize(
    ("roster", "expected"),
    [
        pytest.param((), [("01", "", 24), ("02", "", 24)], id="no-shifts"),
        pytest.param(
            (shift("day", "08:00", "16:00"),),
            [
                *(("01", "", 8), ("01", "day", 8), ("01", "", 8)),
                *(("02", "", 8), ("02", "day", 8), ("02", "", 8)),
            ],
            id="time-outside-any-shift",
        ),
        pytest.param(
            (shift("day", "08:00", "16:00", "mon"),),
            [("01", "", 24), ("02", "", 8), ("02", "day", 8), ("02", "", 8)],
            id="on-mondays",
        ),
        pytest.param(
            (shift("night", "20:00", "04:00", "sat"),),
            [("01", "night", 4), ("01", "", 20), ("02", "", 24)],
            id="began-the-day-before",
        ),
        pytest.param(
            (shift("night", "20:00", "04:00", "mon"),),
            [("01", "", 24), ("02", "", 20), ("02", "night", 4)],
            id="ends-the-day-after",
        ),
        pytest.param(
            (shift("all", "00:00", "00:00"),),
            [("01", "all", 24), ("02", "all", 24)],
            id="whole-days",
        ),
        pytest.param(
            (shift("watch", "18:00", "18:00", "sun"),),
            [("01", "", 18), ("01", "watch", 6), ("02", "watch", 18), ("02", "", 6)],
            id="a-shift-of-24-hours",
        ),
    ],
)
def test_days_and_their_shifts(roster: tuple[Shift, ...], expected: list[Row]) -> None:
    # 2026-03-01 was a Sunday.
    assert cut("2026-03-01", "2026-03-02", [(0, roster)]) == expected


@pytest.mark.parametrize(
    ("zone", "date", "expected"),
    [
        pytest.param(LISBON, "2026-03-29", [5, 8, 8, 2], id="an-hour-forward"),
        pytest.param(LISBON, "2026-10-25", [7, 8, 8, 2], id="an-hour-back"),
        pytest.param("Australia/Lord_Howe", "2026-10-04", [5.5, 8, 8, 2], id="half-forward"),
        pytest.param("Australia/Lord_Howe", "2026-04-05", [6.5, 8, 8, 2], id="half-an-hour-back"),
        pytest.param("Australia/Adelaide", "2026-10-04", [5, 8, 8, 2], id="from-half-past"),
        pytest.param("Asia/Kolkata", "2026-03-29", [6, 8, 8, 2], id="no-change-at-half-past"),
        pytest.param("Asia/Beirut", "2026-03-29", [5, 8, 8, 2], id="forward-at-midnight"),
        pytest.param("America/Havana", "2026-11-01", [7, 8, 8, 2], id="back-to-midnight"),
    ],
)
def test_the_night_in_which_clocks_change_is_shorter_or_longer(
    zone: str, date: str, expected: list[float]
) -> None:
    """By the IANA time zone database."""
    found = cut(date, date, [(0, THREE_A_DAY)], zone)
    assert [hours for *_, hours in found] == expected
    assert [name for _, name, _ in found] == ["night", "early", "late", "night"]


CHANGES = (shift("a", "00:30", "01:15"), shift("b", "01:15", "01:45"), shift("c", "01:45", "02:30"))


@pytest.mark.parametrize(
    ("date", "expected"),
    [
        pytest.param(
            # 01:00 to 02:00 is never shown: b has no time at all, c what is left of it.
            "2026-03-29",
            [("29", "", 0.5), ("29", "a", 0.5), ("29", "c", 0.5), ("29", "", 21.5)],
            id="skipped-times-are-the-change",
        ),
        pytest.param(
            # 01:00 to 02:00 is shown twice: edges are the first of both.
            "2026-10-25",
            [
                ("25", "", 0.5),
                ("25", "a", 0.75),
                ("25", "b", 0.5),
                ("25", "c", 1.75),
                ("25", "", 21.5),
            ],
            id="repeated-times-are-the-first",
        ),
    ],
)
def test_shift_edges_as_clocks_change(date: str, expected: list[Row]) -> None:
    assert cut(date, date, [(0, CHANGES)]) == expected


@pytest.mark.parametrize(
    ("zone", "date", "clock", "expected"),
    [
        pytest.param(LISBON, "2026-07-01", "06:00", "2026-07-01T05:00", id="summer"),
        pytest.param(LISBON, "2026-03-29", "00:59", "2026-03-29T00:59", id="before-the-change"),
        pytest.param(LISBON, "2026-03-29", "01:00", "2026-03-29T01:00", id="the-change"),
        pytest.param(LISBON, "2026-03-29", "01:59", "2026-03-29T01:00", id="skipped"),
        pytest.param(LISBON, "2026-03-29", "02:00", "2026-03-29T01:00", id="first-after-it"),
        pytest.param(LISBON, "2026-10-25", "01:30", "2026-10-25T00:30", id="shown-twice"),
        pytest.param(LISBON, "2026-10-25", "02:00", "2026-10-25T02:00", id="after-both"),
        pytest.param("Asia/Kathmandu", "2026-01-01", "00:00", "2025-12-31T18:15", id="quarter"),
        pytest.param(
            "Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30", id="half-skipped"
        ),
        pytest.param("Pacific/Apia", "2011-12-30", "12:00", "2011-12-30T10:00", id="skipped-day"),
    ],
)
def test_clock_moment(zone: str, date: str, clock: str, expected: str) -> None:
    """By the IANA time zone database."""
    found = clock_moment(day(date), dt.time.fromisoformat(clock), ZoneInfo(zone))
    assert found == utc(expected)


def test_a_shift_span_ends_on_its_own_day_or_the_next() -> None:
    zone = ZoneInfo(LISBON)
    early, _, night = THREE_A_DAY
    assert shift_span(early, day("2026-03-02"), zone) == (
        utc("2026-03-02T06:00"),
        utc("2026-03-02T14:00"),
    )
    assert shift_span(night, day("2026-03-02"), zone) == (
        utc("2026-03-02T22:00"),
        utc("2026-03-03T06:00"),
    )


def test_a_day_that_a_zone_skipped_has_no_cells() -> None:
    # Samoa went from the 29th to the 31st of December 2011.
    found = cut("2011-12-29", "2011-12-31", [(0, THREE_A_DAY)], "Pacific/Apia")
    assert [(name, hours) for name, _, hours in found] == [
        *(("29", 6), ("29", 8), ("29", 8), ("29", 2)),
        *(("31", 6), ("31", 8), ("31", 8), ("31", 2)),
    ]


DAY_SHIFT = (shift("day", "06:00", "18:00"),)


@pytest.mark.parametrize(
    ("rosters", "expected"),
    [
        pytest.param([], [("02", "", 24)], id="none-ever"),
        pytest.param(
            [(utc("2026-03-02T12:00"), DAY_SHIFT)],
            [("02", "", 6), ("02", "day", 12), ("02", "", 6)],
            id="the-first-holds-for-all-before",
        ),
        pytest.param(
            [(0, ()), (utc("2026-03-02T12:00"), DAY_SHIFT)],
            [("02", "", 12), ("02", "day", 6), ("02", "", 6)],
            id="from-its-moment-on",
        ),
        pytest.param(
            [(0, DAY_SHIFT), (utc("2026-03-02T12:00"), ())],
            [("02", "", 6), ("02", "day", 6), ("02", "", 12)],
            id="until-another-holds",
        ),
        pytest.param(
            [(0, DAY_SHIFT), (utc("2026-03-02T12:00"), THREE_A_DAY)],
            [
                ("02", "", 6),
                ("02", "day", 6),
                ("02", "early", 2),
                ("02", "late", 8),
                ("02", "night", 2),
            ],
            id="others-in-their-midst",
        ),
        pytest.param(
            [(0, DAY_SHIFT), (1, THREE_A_DAY), (2, ()), (utc("2026-03-03T00:00"), THREE_A_DAY)],
            [("02", "", 24)],
            id="those-before-and-after-do-not-count",
        ),
    ],
)
def test_each_roster_holds_from_its_moment_on(rosters: Rosters, expected: list[Row]) -> None:
    assert cut("2026-03-02", "2026-03-02", rosters) == expected


def test_there_are_shifts_where_any_roster_has_one() -> None:
    assert not has_shifts([])
    assert not has_shifts([(0, ()), (9, ())])
    assert has_shifts([(0, ()), (9, DAY_SHIFT), (10, ())])


def test_whole_days_are_uncut() -> None:
    found = whole_days(day("2026-03-28"), day("2026-03-30"), ZoneInfo(LISBON))
    assert rows(found) == [("28", None, 24), ("29", None, 23), ("30", None, 24)]


ZONES = [
    *(LISBON, "Asia/Kolkata", "Australia/Adelaide", "Australia/Lord_Howe", "America/Havana"),
    *("Asia/Beirut", "America/St_Johns", "Pacific/Chatham", "Pacific/Apia", "Africa/Casablanca"),
]
CLOCKS = st.integers(0, 47).map(lambda half: dt.time(half // 2, half % 2 * 30))


@st.composite
def worked(draw: st.DrawFn) -> tuple[Shift, ...]:
    """Choose up to four shifts that follow each other on some days."""
    edges = sorted(draw(st.sets(CLOCKS, min_size=2, max_size=5)))
    found = []
    for n, (begin, end) in enumerate(zip(edges, [*edges[1:], edges[0]], strict=True)):
        days = draw(st.frozensets(st.integers(0, 6), min_size=3))
        found.append(Shift(f"{n}", begin, end, days))
    return tuple(found)


@settings(deadline=None, derandomize=True, database=None, max_examples=60)
@given(
    st.sampled_from(ZONES),
    st.dates(dt.date(2025, 1, 1), dt.date(2026, 12, 31)) | st.just(dt.date(2026, 3, 29)),
    st.lists(worked(), min_size=1, max_size=2),
    st.integers(-24, 72),
)
def test_cells_are_as_the_reference_says_and_fill_the_days(
    name: str, first: dt.date, kept: list[tuple[Shift, ...]], hour: int
) -> None:
    zone = ZoneInfo(name)
    last = first + dt.timedelta(days=2)
    change = first_moment(first, dt.time(), zone) + hour * HOUR_NS
    rosters = list(zip((0, change), kept, strict=False))
    found = cells(first, last, zone, rosters)
    edges = found.edges.tolist()
    assert (edges[0], edges[-1]) == tuple(day_edges(first, last, zone)[::3])
    assert all(start < end for start, end in pairwise(edges))
    told = list(zip(pairwise(edges), found.days, found.shifts, strict=True))
    meant = sorted(
        (tuple(span), each, worked_in)
        for each in days_from(first, last)
        for worked_in, spans in parts_of(each, zone, rosters).items()
        for span in spans
    )
    assert joined(told) == joined(meant)


def joined(parts: Iterable[tuple[tuple[int, ...], dt.date, str | None]]) -> list[list[object]]:
    """Parts in order, those that follow each other and are of one day and shift as one."""
    found: list[list[object]] = []
    for (start, end), *of in parts:
        if found and found[-1][1:] == [start, *of]:
            found[-1][1] = end
        else:
            found.append([start, end, *of])
    return found
