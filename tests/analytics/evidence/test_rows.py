"""Rows as plain values: nothing is lost, nothing slips through, and what is the same is told."""

from __future__ import annotations

import math
from typing import Any

import pytest

from analytics.evidence.faults import UnreadableError
from analytics.evidence.rows import differing, json_bytes, parse_json, plain, row_of, same
from bondtrail.results import (
    Finding,
    Hookup,
    HookupCause,
    Kind,
    Outcome,
    Severity,
    Ticket,
    Trip,
    TripCause,
    TripClass,
)

ROWS = [
    Finding(Kind.CHATTERING, Severity.MINOR, "bay-1", None, 1_772_345_678_123_456_789,
            1_772_345_679_000_000_000, "Lost 3 times.",
            {"losses": 3, "highest_ohm": math.inf, "marginal": False, "at": "open", "none": None},
            {"cluster_s": 60.0}),
    Hookup("bay-1", 5, 6, Outcome.FAILED, None, 0.5, math.inf, HookupCause.LAYER),
    Trip("bay-1", 7, "bay-1/x", TripClass.NUISANCE, TripCause.NO_LOSS_SEEN, True, 0.25, None),
    Ticket("bay-1", 1, 2, "B-7", "toluene", "=A. Reed"),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: type(row).__name__)
def test_a_row_comes_back_from_json(row: Any) -> None:
    told = parse_json(json_bytes(plain(row)), "x.json")
    again = row_of(type(row), told, "x.json")
    assert again == row
    assert plain(again) == told


def test_a_moment_is_told_twice() -> None:
    told = plain(ROWS[0])
    assert told["id"] == "bay-1/chattering/20260301T061438.123Z"
    assert (told["start"], told["start_ns"]) == (
        "2026-03-01T06:14:38.123Z",
        1_772_345_678_123_456_789,
    )


@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [
        pytest.param(1.0, 1.0 + 1e-12, True, id="last-digits"),
        pytest.param(1.0, 1.0 + 1e-6, False, id="another-number"),
        pytest.param(0.0, 1e-13, True, id="around-zero"),
        pytest.param(1, 1.0, True, id="whole-float"),
        pytest.param(10**18, 10**18 + 1, False, id="moments-are-whole"),
        pytest.param(True, 1, False, id="yes-is-no-number"),
        pytest.param(True, True, True, id="yes"),
        pytest.param(None, 0, False, id="nothing-is-not-zero"),
        pytest.param("1", 1, False, id="text"),
        pytest.param([1, 2], [1, 2], True, id="list"),
        pytest.param([1, 2], [1], False, id="shorter"),
        pytest.param({"a": 1}, {"a": 1, "b": None}, False, id="another-key"),
        pytest.param({"a": [0.1]}, {"a": [0.1 + 1e-16]}, True, id="deep"),
    ],
)
def test_what_is_the_same(a: Any, b: Any, expected: bool) -> None:
    assert same(a, b) is expected
    assert same(b, a) is expected


def test_what_differs_is_told_by_name() -> None:
    assert differing({"a": 1, "b": 2}, {"a": 1, "b": 3, "c": 4}) == ["b", "c"]
    assert differing({}, {}) == []


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"NaN\n", b"[Infinity]\n", b"\xff", b'{"a":1}\n', b'{"a": 1, "a": 1}\n',
     b"[" * 100_000, b"1" * 10_000],
)  # fmt: skip
def test_json_that_no_package_holds_is_refused(content: bytes) -> None:
    with pytest.raises(UnreadableError, match=r"x\.json"):
        parse_json(content, "x.json")


@pytest.mark.parametrize(
    "told",
    [None, 5, [], {}, {"station": "bay-1"}, {**plain(ROWS[3]), "start_ns": "soon"},
     {**plain(ROWS[3]), "batch": None}],
)  # fmt: skip
def test_a_row_that_is_none_is_refused(told: object) -> None:
    with pytest.raises(UnreadableError, match=r"x\.json"):
        row_of(Ticket, told, "x.json")
