from __future__ import annotations

import numpy as np
import pytest

from ingest import faults
from ingest.faults import RAW_BYTES, Fault, RejectBook, clean_raw, shown


def book() -> RejectBook:
    return RejectBook("a.csv", now=7)


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(faults, "LISTED", 3)


def test_a_bad_row_is_kept_with_where_and_why() -> None:
    (reject,) = book().row(Fault.TIME, 4182, "no time", b"x,y\r\n")
    assert (reject.source, reject.where, reject.reason) == ("a.csv", "line 4182", "no time")
    assert (reject.raw, reject.at, reject.count) == ("x,y", 7, 1)


def test_a_bad_row_says_which_reading_it_would_have_been() -> None:
    told = [("rail-1.flow", 5), None]
    known, unknown = book().rows(
        Fault.NAN, [2, 3], lambda _: "", lambda _: "", lambda index: told[index]
    )
    assert (known.point, known.time) == ("rail-1.flow", 5)
    assert (unknown.point, unknown.time) == (None, None)


@pytest.mark.usefixtures("few")
def test_rows_beyond_those_listed_are_counted_by_fault() -> None:
    kept = book()
    listed = kept.rows(Fault.TIME, np.arange(2, 4), lambda at: f"why {at}", lambda at: f"raw {at}")
    listed += kept.rows(Fault.TIME, np.arange(10, 15), lambda at: f"{at}", lambda at: f"{at}")
    listed += kept.rows(Fault.TIME, np.arange(20, 22), lambda _: "", lambda _: "")
    assert [reject.where for reject in listed] == ["line 2", "line 3", "line 10"]
    kept.row(Fault.NAN, 30, "another fault", "")
    (summed,) = kept.close()
    assert (summed.where, summed.raw, summed.count) == ("line 11", "1", 6)
    assert summed.reason.startswith("time that cannot be read: 6 more from this line on")
    assert kept.rejected == 10


@pytest.mark.usefixtures("few")
def test_exactly_as_many_as_are_listed_need_no_sum() -> None:
    kept = book()
    assert len(kept.rows(Fault.TIME, [1, 2, 3], lambda _: "", lambda _: "")) == 3
    assert kept.close() == []


def test_an_unknown_tag_is_one_reject_with_its_first_line_and_count() -> None:
    kept = book()
    kept.tag("M9/9", 5, 2, "first")
    kept.tag("M9/9", 50, 40, "later")
    (reject,) = kept.close()
    assert (reject.where, reject.count, reject.raw) == ("line 5", 42, "first")
    assert "'M9/9' is not in the site file" in reject.reason
    assert kept.rejected == 42


@pytest.mark.usefixtures("few")
def test_very_many_unknown_tags_are_counted_together() -> None:
    kept = book()
    for number in range(10):
        kept.tag(f"T{number}", number + 2, 2, f"row {number}")
    *listed, other = kept.close()
    assert len(listed) == 3
    assert (other.where, other.raw, other.count) == ("line 5", "row 3", 14)


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        (b"a,b\r\n", "a,b"),
        (b"a\0b", "a\\x00b"),
        (b"a\xffb", "a\\xffb"),
        ("ü", "ü"),
    ],
)
def test_raw_text_can_be_stored_anywhere(raw: bytes | str, text: str) -> None:
    assert clean_raw(raw) == text


@pytest.mark.parametrize("raw", [b"x" * 10_000, b"\0" * 10_000, b"\xff" * 10_000, "ü" * 10_000])
def test_raw_text_is_cut(raw: bytes | str) -> None:
    text = clean_raw(raw)
    assert RAW_BYTES - 8 <= len(text.encode()) <= RAW_BYTES


def test_foreign_text_in_a_message_is_short_and_in_quotes() -> None:
    assert shown("a\nb") == r"'a\nb'"
    assert len(shown("x" * 1000)) < 70
