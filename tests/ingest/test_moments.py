from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.times import TimeError, parse_time
from ingest.moments import is_time_type, read_times, time_fault

LISBON = ZoneInfo("Europe/Lisbon")
MOMENT = 1_772_345_730_000_000_000  # 2026-03-01T06:15:30Z


def read(texts: list[str], zone: ZoneInfo | None = None) -> list[int | None]:
    ns, bad = read_times(pa.array(texts, pa.string()), zone)
    return [None if wrong else int(moment) for moment, wrong in zip(ns, bad, strict=True)]


def one_by_one(texts: list[str], zone: ZoneInfo | None = None) -> list[int | None]:
    def parsed(text: str) -> int | None:
        try:
            return parse_time(text, zone)
        except TimeError:
            return None

    return [parsed(text) for text in texts]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-03-01T06:15:30Z", MOMENT),
        ("2026-03-01 06:15:30Z", MOMENT),
        ("2026-03-01T07:15:30+01:00", MOMENT),
        ("2026-03-01T05:15:30-0100", MOMENT),
        ("2026-03-01T06:15:30.123456789Z", MOMENT + 123_456_789),
        ("2026-03-01T06:15:30,5Z", MOMENT + 500_000_000),
        ("1772345730", MOMENT),
        ("1772345730000", MOMENT),
        ("1772345730000000", MOMENT),
        ("1772345730000000001", MOMENT + 1),
        (" 2026-03-01T06:15:30Z ", MOMENT),
        ("-86400", -86_400_000_000_000),
        ("2026-03-01T06:15:30", None),
        ("2026-02-29T06:15:30Z", None),
        ("2028-02-29T06:15:30Z", 1_835_417_730_000_000_000),
        ("2026-13-01T06:15:30Z", None),
        ("2026-03-01T24:15:30Z", None),
        ("3000-01-01T00:00:00Z", None),
        ("99999999999", None),
        ("0x10", None),
        ("12.5", None),
        ("", None),
        ("9" * 5000, None),
        ("yesterday", None),
    ],
)
@pytest.mark.parametrize("company", ["alone", "among ISO times", "among epochs"])
def test_written_time(text: str, expected: int | None, company: str) -> None:
    others = {
        "alone": [],
        "among ISO times": ["2026-03-01T06:15:30Z"] * 3000,
        "among epochs": ["1772345730"] * 3000,
    }[company]
    middle = len(others) // 2
    found = read([*others[:middle], text, *others[middle:]])
    assert found.pop(middle) == expected
    assert found == [MOMENT] * len(others)


DIGITS = st.sampled_from(
    [
        "2026-03-01T06:15:30Z",
        "2026-02-28T23:59:59.9Z",
        "2024-02-29T00:00:00.000000001+05:30",
        "2026-03-29T01:30:00",
        "2026-10-25T01:30:00",
        "2026-06-30 12:00:00.25",
        "1772345730",
        "1772345730123",
        "-1",
        "0",
    ]
)
ODD = st.text(alphabet="0123456789-:TZ+., x", max_size=26)


@given(
    st.lists(DIGITS | ODD, max_size=30), st.sampled_from([None, LISBON, ZoneInfo("Asia/Kolkata")])
)
def test_columns_are_read_as_single_times_are(texts: list[str], zone: ZoneInfo | None) -> None:
    assert read(texts, zone) == one_by_one(texts, zone)


@given(
    st.integers(0, 4_102_444_800_000_000_000),
    st.integers(0, 9),
    st.sampled_from(["Z", "+00:00", "+0530", "-03:00"]),
)
def test_any_moment_survives_being_written(moment: int, places: int, offset: str) -> None:
    moment -= moment % 10 ** (9 - places)
    shift = {"Z": 0, "+00:00": 0, "+0530": 19_800, "-03:00": -10_800}[offset]
    whole, fraction = divmod(moment + shift * 10**9, 10**9)
    text = str(np.datetime64(whole, "s"))
    if places:
        text += "." + f"{fraction:09d}"[:places]
    assert read([text + offset] * 3) == [moment] * 3


@given(st.lists(st.integers(-(2**63) + 1, 2**63 - 1) | st.integers(0, 10**17), max_size=6))
def test_the_magnitude_of_each_epoch_tells_its_unit(numbers: list[int]) -> None:
    ns, bad = read_times(pa.array(numbers, pa.int64()), None)
    found = [None if wrong else int(at) for at, wrong in zip(ns, bad, strict=True)]
    assert found == one_by_one([str(number) for number in numbers])


def test_wall_clock_times_follow_the_zone() -> None:
    winter, summer = read(["2026-03-01T06:15:30", "2026-07-01T06:15:30"], LISBON)
    assert (winter, summer) == (MOMENT, parse_time("2026-07-01T05:15:30Z"))


@pytest.mark.parametrize("text", ["2026-03-29T01:15:00", "2026-10-25T01:15:00"])
def test_wall_clock_times_that_are_skipped_or_repeated_are_bad(text: str) -> None:
    assert read([text, "2026-03-01T06:15:30"], LISBON) == [None, MOMENT]
    assert "clocks of Europe/Lisbon change" in time_fault(text, LISBON)


@pytest.mark.parametrize(
    ("column", "zone", "expected"),
    [
        pytest.param(pa.array([MOMENT, None], pa.timestamp("ns", "UTC")), None, [MOMENT, None]),
        pytest.param(
            pa.array([MOMENT // 1000, 10**17], pa.timestamp("us", "UTC")), None, [MOMENT, None],
            id="beyond-64-bits-in-ns",
        ),
        pytest.param(pa.array([MOMENT // 10**6], pa.timestamp("ms")), None, [None], id="no-zone"),
        pytest.param(pa.array([MOMENT // 10**6], pa.timestamp("ms")), LISBON, [MOMENT]),
        pytest.param(pa.array([MOMENT // 10**9, None], pa.int64()), None, [MOMENT, None]),
        pytest.param(pa.array([MOMENT // 10**9], pa.uint32()), None, [MOMENT]),
        pytest.param(pa.array([2**63], pa.uint64()), None, [None], id="beyond-int64"),
        pytest.param(pa.array([None, "1772345730"], pa.string()), None, [None, MOMENT]),
    ],
)  # fmt: skip
def test_typed_columns(column: pa.Array, zone: ZoneInfo | None, expected: list[int | None]) -> None:
    ns, bad = read_times(column, zone)
    assert [None if wrong else int(at) for at, wrong in zip(ns, bad, strict=True)] == expected


def test_a_slice_is_read_like_a_whole_column() -> None:
    texts = pa.array(["x", "1772345730", "1772345731", "y"])
    ns, bad = read_times(texts.slice(1, 2), None)
    assert ns.tolist() == [MOMENT, MOMENT + 10**9]
    assert not bad.any()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "empty"),
        ("2026-03-01T06:15:30", "no offset"),
        ("9" * 100, "too long"),
        ("3000-01-01T00:00:00Z", "outside the years"),
        ("noon", "expected ISO 8601"),
    ],
)
def test_why_a_time_is_not_taken(text: str, told: str) -> None:
    reason = time_fault(text, None)
    assert told in reason
    assert len(reason) < 200


def test_which_types_hold_times() -> None:
    assert all(map(is_time_type, (pa.timestamp("s"), pa.int32(), pa.string())))
    assert not any(map(is_time_type, (pa.float64(), pa.bool_(), pa.date32())))
