import datetime as dt
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.times import (
    NS_PER_MS,
    NS_PER_S,
    TimeError,
    day_edges,
    day_start,
    epoch_to_ns,
    format_time,
    local,
    local_day,
    nanoseconds,
    parse_time,
    seconds,
    stamp,
)

LISBON = ZoneInfo("Europe/Lisbon")
HOUR = 3600 * NS_PER_S
MARCH = (
    1_772_345_730  # 2026-03-01T06:15:30Z by GNU date -u +%s, as the other counts of seconds here
)
ANY = st.integers(-(2**63) + 1, 2**63 - 1)
ZONES = [
    "UTC",
    "Europe/Lisbon",
    "Asia/Kolkata",
    "Australia/Lord_Howe",
    "America/St_Johns",
    "Pacific/Apia",
    "Africa/Cairo",
]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # RFC 3339, 5.8: Amsterdam's standard time in 1937, 20 minutes ahead of UTC.
        pytest.param(
            "1937-01-01T12:00:27.87+00:20",
            parse_time("1937-01-01T11:40:27.87Z"),
            id="rfc-3339-1937",
        ),
        # RFC 3339, 5.8: "1996-12-19T16:39:57-08:00" is "1996-12-20T00:39:57Z".
        pytest.param(
            "1996-12-19T16:39:57-08:00", parse_time("1996-12-20T00:39:57Z"), id="rfc-3339-offset"
        ),
        # RFC 3339, 5.8: 20 minutes and 50.52 seconds after the 23rd hour of 1985-04-12.
        pytest.param(
            "1985-04-12T23:20:50.52Z",
            parse_time("1985-04-12T00:00:00Z") + nanoseconds(23 * 3600 + 20 * 60 + 50.52),
            id="rfc-3339-fraction",
        ),
        pytest.param("1970-01-01T00:00:00Z", 0, id="epoch"),
        pytest.param("1969-12-31T23:59:59.999999999Z", -1, id="before-epoch"),
        pytest.param("2026-03-01T06:15:30Z", MARCH * NS_PER_S, id="z"),
        pytest.param("2026-03-01T06:15:30z", MARCH * NS_PER_S, id="small-z"),
        pytest.param("2026-03-01t06:15:30Z", MARCH * NS_PER_S, id="small-t"),
        pytest.param("2026-03-01 06:15:30Z", MARCH * NS_PER_S, id="blank-for-t"),
        pytest.param("  2026-03-01T06:15:30Z\n", MARCH * NS_PER_S, id="blanks-around"),
        pytest.param("2026-03-01T06:15:30 +00:00", MARCH * NS_PER_S, id="blank-before-offset"),
        pytest.param("2026-03-01T07:15:30+01:00", MARCH * NS_PER_S, id="east"),
        pytest.param("2026-03-01T07:15:30+0100", MARCH * NS_PER_S, id="offset-without-colon"),
        pytest.param("2026-03-01T07:15:30+01", MARCH * NS_PER_S, id="offset-in-hours"),
        pytest.param("2026-02-28T22:45:30-07:30", MARCH * NS_PER_S, id="west-the-day-before"),
        pytest.param("2026-03-01T06:15:30-00:00", MARCH * NS_PER_S, id="minus-zero"),
        pytest.param("20260301T061530Z", MARCH * NS_PER_S, id="basic-form"),
        pytest.param("2026-03-01T06:15Z", (MARCH - 30) * NS_PER_S, id="no-seconds"),
        pytest.param("2026-03-01T06Z", (MARCH - 930) * NS_PER_S, id="no-minutes"),
        pytest.param("2026-03-01T06:15:30.5Z", MARCH * NS_PER_S + 500 * NS_PER_MS, id="tenths"),
        pytest.param("2026-03-01T06:15:30,5Z", MARCH * NS_PER_S + 500 * NS_PER_MS, id="comma"),
        pytest.param("2026-03-01T06:15:30.123456789Z", MARCH * NS_PER_S + 123456789, id="ns"),
        pytest.param("2026-03-01T06:15:30.000000001Z", MARCH * NS_PER_S + 1, id="one-ns"),
        pytest.param("2026-03-01T06:15:30.1234567899Z", MARCH * NS_PER_S + 123456789, id="cut"),
        pytest.param("2024-02-29T00:00:00Z", 1_709_164_800 * NS_PER_S, id="leap-day"),
        pytest.param("2000-02-29T00:00:00Z", 951_782_400 * NS_PER_S, id="leap-day-of-a-century"),
        pytest.param("2262-04-11T23:47:16.854775807Z", 2**63 - 1, id="last-moment"),
        pytest.param("1677-09-21T00:12:43.145224193Z", -(2**63) + 1, id="first-moment"),
    ],
)
def test_iso_time_names_a_moment(text: str, expected: int) -> None:
    assert parse_time(text) == expected
    assert parse_time(text, LISBON) == expected


@pytest.mark.parametrize(
    ("number", "expected"),
    [
        pytest.param(0, 0, id="zero"),
        pytest.param(-1, -NS_PER_S, id="a-second-before"),
        pytest.param(MARCH, MARCH * NS_PER_S, id="s"),
        pytest.param(MARCH * 10**3 + 1, MARCH * NS_PER_S + NS_PER_MS, id="ms"),
        pytest.param(MARCH * 10**6 + 1, MARCH * NS_PER_S + 1000, id="us"),
        pytest.param(MARCH * 10**9 + 1, MARCH * NS_PER_S + 1, id="ns"),
        pytest.param(9_223_372_036, 9_223_372_036 * 10**9, id="last-s"),
        pytest.param(10**11, 10**17, id="first-ms"),
        pytest.param(9_223_372_036_854, 9_223_372_036_854 * 10**6, id="last-ms"),
        pytest.param(10**14, 10**17, id="first-us"),
        pytest.param(9_223_372_036_854_775, 9_223_372_036_854_775_000, id="last-us"),
        pytest.param(10**17, 10**17, id="first-ns"),
        pytest.param(2**63 - 1, 2**63 - 1, id="last-ns"),
        pytest.param(-(10**11), -(10**17), id="negative-ms"),
        pytest.param(-(10**17), -(10**17), id="negative-ns"),
    ],
)
def test_magnitude_of_an_epoch_tells_its_unit(number: int, expected: int) -> None:
    assert epoch_to_ns(number) == expected
    assert parse_time(str(number)) == expected


@pytest.mark.parametrize(
    "number",
    [
        pytest.param(9_223_372_037, id="s"),
        pytest.param(10**11 - 1, id="most-s"),
        pytest.param(9_223_372_036_855, id="ms"),
        pytest.param(9_223_372_036_854_776, id="us"),
        pytest.param(2**63, id="ns"),
        pytest.param(-(2**63), id="ns-before"),
        pytest.param(10**24, id="25-digits"),
        pytest.param(10**5000, id="more-digits-than-python-prints"),
    ],
)
def test_epoch_beyond_64_bits_is_refused(number: int) -> None:
    with pytest.raises(TimeError, match="outside the years 1678 to 2261"):
        epoch_to_ns(number)


@given(st.integers(100_000_000, 9_000_000_000), st.sampled_from([1, 10**3, 10**6, 10**9]))
def test_epoch_since_1973_reads_alike_in_every_unit(number: int, per_second: int) -> None:
    assert epoch_to_ns(number * per_second) == number * NS_PER_S


@pytest.mark.parametrize(
    ("text", "words"),
    [
        pytest.param("", "expected ISO 8601", id="empty"),
        pytest.param("   ", "expected ISO 8601", id="blank"),
        pytest.param("now", "expected ISO 8601", id="word"),
        pytest.param("nan", "expected ISO 8601", id="nan"),
        pytest.param("1e9", "expected ISO 8601", id="float"),
        pytest.param("1772345730.5", "epoch must be an integer", id="epoch-with-fraction"),
        pytest.param("1772345730.", "epoch must be an integer", id="epoch-with-point"),
        pytest.param("١٧٧٢٣٤٥٧٣٠", "expected ISO 8601", id="digits-of-another-script"),
        pytest.param("9" * 5000, "expected ISO 8601", id="endless-number"),
        pytest.param("x" * 100_000, r"xxx\.\.\.'", id="endless-text"),
        pytest.param("01/03/2026 06:15:30", "expected ISO 8601", id="slashes"),
        pytest.param("2026-03-01T06:15:30", "has no offset", id="no-offset"),
        pytest.param("2026-03-01", "has no offset", id="day-alone"),
        pytest.param("2026-03-01Z", "expected ISO 8601", id="day-with-offset"),
        pytest.param("06:15:30Z", "expected ISO 8601", id="clock-alone"),
        pytest.param("2026-02-29T00:00:00Z", "expected ISO 8601", id="no-leap-year"),
        pytest.param("1900-02-29T00:00:00Z", "expected ISO 8601", id="no-leap-century"),
        pytest.param("2026-13-01T00:00:00Z", "expected ISO 8601", id="month-13"),
        pytest.param("2026-03-01T25:00:00Z", "expected ISO 8601", id="hour-25"),
        pytest.param("2026-03-01T06:15:60Z", "expected ISO 8601", id="leap-second"),
        pytest.param("2026-03-01T06:15.5Z", "expected ISO 8601", id="fraction-of-a-minute"),
        pytest.param("2026-03-01T06.5Z", "expected ISO 8601", id="fraction-of-an-hour"),
        pytest.param("2026-03-01T06:15:30+25:00", "expected ISO 8601", id="offset-of-a-day"),
        pytest.param("2026-03-01T06:15:30+01:75", "expected ISO 8601", id="offset-minute-75"),
        pytest.param("2026-03-01T06:15:30+01:00:00.5", "expected ISO", id="offset-fraction"),
        pytest.param("2026-03-01T06:15:30ZZ", "expected ISO 8601", id="two-offsets"),
        pytest.param("2026-03-01T06:15:30Z\0", "expected ISO 8601", id="nul"),
        pytest.param("2262-04-11T23:47:16.854775808Z", "outside the years", id="too-late"),
        pytest.param("1677-09-21T00:12:43.145224192Z", "outside the years", id="too-early"),
        pytest.param("9999-12-31T23:59:59-23:59", "outside the years", id="year-9999"),
        pytest.param("0001-01-01T00:00:00+23:59", "outside the years", id="year-1"),
        pytest.param("0000-01-01T00:00:00Z", "expected ISO 8601", id="year-0"),
    ],
)
def test_what_names_no_moment_is_refused_shortly(text: str, words: str) -> None:
    with pytest.raises(TimeError, match=words) as caught:
        parse_time(text)
    assert len(str(caught.value)) < 160


@pytest.mark.parametrize(
    ("text", "zone", "utc"),
    [
        pytest.param("2026-01-15T06:15:30", "Europe/Lisbon", "2026-01-15T06:15:30Z", id="winter"),
        pytest.param("2026-07-15T06:15:30", "Europe/Lisbon", "2026-07-15T05:15:30Z", id="summer"),
        pytest.param("2026-07-15T06:15:30.123456789", "Europe/Lisbon",
                     "2026-07-15T05:15:30.123456789Z", id="to-the-ns"),
        pytest.param("2026-07-15T06:15:30Z", "Asia/Kolkata", "2026-07-15T06:15:30Z",
                     id="own-offset-wins"),
        pytest.param("2026-07-15 06:15", "Asia/Kolkata", "2026-07-15T00:45:00Z", id="half-hour"),
        pytest.param("2026-07-15", "Asia/Kolkata", "2026-07-14T18:30:00Z", id="day"),
        pytest.param("2026-03-29T00:59:59", "Europe/Lisbon", "2026-03-29T00:59:59Z",
                     id="just-before-the-skip"),
        pytest.param("2026-03-29T02:00:00", "Europe/Lisbon", "2026-03-29T01:00:00Z",
                     id="just-after-the-skip"),
        pytest.param("2026-10-25T00:59:59", "Europe/Lisbon", "2026-10-24T23:59:59Z",
                     id="just-before-the-repeat"),
        pytest.param("2026-10-25T02:00:00", "Europe/Lisbon", "2026-10-25T02:00:00Z",
                     id="just-after-the-repeat"),
        pytest.param("2026-10-04T02:30", "Australia/Lord_Howe", "2026-10-03T15:30:00Z",
                     id="after-a-skip-of-half-an-hour"),
        pytest.param("20260301", "Europe/Lisbon", "1970-08-23T11:51:41Z", id="digits-are-an-epoch"),
    ],
)  # fmt: skip
def test_time_without_offset_is_read_in_the_zone_named(text: str, zone: str, utc: str) -> None:
    assert parse_time(text, ZoneInfo(zone)) == parse_time(utc)


# The European Union changes clocks at 01:00 UTC on the last Sundays of March and October
# (Directive 2000/84/EC, articles 2 and 3); Lord Howe Island shifts by half an hour.
@pytest.mark.parametrize(
    ("text", "zone"),
    [
        pytest.param("2026-03-29T01:00:00", "Europe/Lisbon", id="first-skipped"),
        pytest.param("2026-03-29T01:59:59.999999999", "Europe/Lisbon", id="last-skipped"),
        pytest.param("2026-10-25T01:00:00", "Europe/Lisbon", id="first-repeated"),
        pytest.param("2026-10-25T01:59:59.999999999", "Europe/Lisbon", id="last-repeated"),
        pytest.param("2026-10-04T02:15", "Australia/Lord_Howe", id="skipped-half-hour"),
        pytest.param("2026-04-05T01:45", "Australia/Lord_Howe", id="repeated-half-hour"),
        pytest.param("2026-04-24", "Africa/Cairo", id="midnight-itself-skipped"),
    ],
)
def test_time_that_a_clock_change_skips_or_repeats_is_refused(text: str, zone: str) -> None:
    with pytest.raises(TimeError, match=f"clocks of {zone} change there; write the offset"):
        parse_time(text, ZoneInfo(zone))


@pytest.mark.parametrize(
    ("moment", "text"),
    [
        (0, "1970-01-01T00:00:00.000Z"),
        (MARCH * NS_PER_S, "2026-03-01T06:15:30.000Z"),
        (MARCH * NS_PER_S + 999_999_999, "2026-03-01T06:15:30.999Z"),
        (-1, "1969-12-31T23:59:59.999Z"),
        (2**63 - 1, "2262-04-11T23:47:16.854Z"),
        (-(2**63), "1677-09-21T00:12:43.145Z"),
    ],
)
def test_format_cuts_to_milliseconds(moment: int, text: str) -> None:
    assert format_time(moment) == text


def test_stamp_is_the_short_form_that_ids_hold() -> None:
    assert stamp(MARCH * NS_PER_S) == "20260301T061530.000Z"


@given(ANY)
def test_format_reads_back_to_the_millisecond(moment: int) -> None:
    whole_ms = moment // NS_PER_MS * NS_PER_MS
    if whole_ms > -(2**63):
        assert parse_time(format_time(moment)) == whole_ms
        assert parse_time(stamp(moment)) == whole_ms


@given(ANY, ANY)
def test_stamps_sort_as_their_moments(one: int, other: int) -> None:
    early, late = sorted((one, other))
    assert stamp(early) <= stamp(late)
    assert format_time(early) <= format_time(late)


@given(st.datetimes(dt.datetime(1700, 1, 1), dt.datetime(2200, 1, 1)), st.integers(-1439, 1439))
def test_iso_reads_as_the_standard_library_reads_it(moment: dt.datetime, minutes: int) -> None:
    aware = moment.replace(tzinfo=dt.timezone(dt.timedelta(minutes=minutes)))
    since = aware - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
    assert parse_time(aware.isoformat()) == since // dt.timedelta(microseconds=1) * 1000


@given(st.text(max_size=40))
def test_any_text_is_a_moment_within_reach_or_refused(text: str) -> None:
    try:
        moment = parse_time(text, LISBON)
    except TimeError:
        return
    assert abs(moment) < 2**63


@given(st.integers(-(10**17), 10**17))
def test_seconds_and_nanoseconds_undo_each_other(span: int) -> None:
    assert nanoseconds(seconds(span)) == pytest.approx(span, abs=16)


@pytest.mark.parametrize(
    ("span_s", "span_ns"),
    [(0.0, 0), (1.0, NS_PER_S), (0.1, 100 * NS_PER_MS), (1e-9, 1), (4e-10, 0), (-2.5, -25 * 10**8)],
)
def test_spans_are_rounded_to_whole_nanoseconds(span_s: float, span_ns: int) -> None:
    assert nanoseconds(span_s) == span_ns


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        pytest.param("Europe/Lisbon", "2026-03-28", 24, id="plain"),
        pytest.param("Europe/Lisbon", "2026-03-29", 23, id="clocks-forward"),
        pytest.param("Europe/Lisbon", "2026-10-25", 25, id="clocks-back"),
        pytest.param("Asia/Kolkata", "2026-03-29", 24, id="never-changes"),
        pytest.param("Australia/Lord_Howe", "2026-10-04", 23.5, id="half-an-hour-forward"),
        pytest.param("Australia/Lord_Howe", "2026-04-05", 24.5, id="half-an-hour-back"),
        pytest.param("Africa/Cairo", "2026-04-24", 23, id="forward-at-midnight"),
        pytest.param("Africa/Cairo", "2026-10-29", 25, id="back-at-midnight"),
        pytest.param("Pacific/Apia", "2011-12-30", 0, id="a-day-that-never-was"),
        pytest.param("Europe/Lisbon", "2024-02-29", 24, id="leap-day"),
    ],
)
def test_day_is_as_long_as_the_clock_makes_it(zone: str, day: str, hours: float) -> None:
    that = dt.date.fromisoformat(day)
    start, end = day_edges(that, that, ZoneInfo(zone))
    assert end - start == hours * HOUR


@pytest.mark.parametrize(
    ("day", "zone", "utc"),
    [
        ("2026-01-15", "Europe/Lisbon", "2026-01-15T00:00:00Z"),
        ("2026-07-15", "Europe/Lisbon", "2026-07-14T23:00:00Z"),
        ("2026-07-15", "Asia/Kolkata", "2026-07-14T18:30:00Z"),
        ("2026-04-24", "Africa/Cairo", "2026-04-23T22:00:00Z"),
        ("1970-01-01", "UTC", "1970-01-01T00:00:00Z"),
    ],
)
def test_day_starts_at_the_site_s_midnight(day: str, zone: str, utc: str) -> None:
    assert day_start(dt.date.fromisoformat(day), ZoneInfo(zone)) == parse_time(utc)


def test_day_edges_are_the_starts_and_one_end() -> None:
    first, last = dt.date(2026, 3, 28), dt.date(2026, 3, 30)
    edges = day_edges(first, last, LISBON)
    assert edges == [day_start(dt.date(2026, 3, number), LISBON) for number in (28, 29, 30, 31)]
    assert [late - early for early, late in pairwise(edges)] == [
        24 * HOUR,
        23 * HOUR,
        24 * HOUR,
    ]


@given(
    st.dates(dt.date(1990, 1, 1), dt.date(2037, 12, 30)),
    st.sampled_from(ZONES),
    st.floats(0, 1, exclude_max=True),
)
def test_day_holds_each_of_its_moments_and_no_other(day: dt.date, name: str, share: float) -> None:
    zone = ZoneInfo(name)
    start, end = day_edges(day, day, zone)
    if start == end:  # Apia skipped one
        return
    assert local_day(start + int(share * (end - start)), zone) == day
    assert local_day(start - 1, zone) < day
    assert local_day(end, zone) > day


def test_local_tells_the_site_s_clock_to_the_microsecond() -> None:
    moment = parse_time("2026-07-15T05:15:30.123456789Z")
    assert local(moment, LISBON).isoformat() == "2026-07-15T06:15:30.123456+01:00"


@pytest.mark.parametrize(
    ("utc", "clock"),
    [
        ("2026-10-25T00:30:00Z", "01:30:00+01:00"),
        ("2026-10-25T01:30:00Z", "01:30:00+00:00"),
        ("2026-03-29T00:59:59Z", "00:59:59+00:00"),
        ("2026-03-29T01:00:00Z", "02:00:00+01:00"),
    ],
)
def test_local_keeps_the_two_passes_of_a_repeated_hour_apart(utc: str, clock: str) -> None:
    assert local(parse_time(utc), LISBON).isoformat().endswith(clock)
