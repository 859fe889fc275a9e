"""What the rules give again, beside what is enclosed: what differs, and what cannot come out."""

from __future__ import annotations

from typing import Any

import pytest

from analytics.evidence.rerun import Again, Window, compared
from bondtrail.times import format_time

S = 1_000_000_000
WINDOW = Window(start=0, since=100 * S, until=200 * S, end=300 * S)
EMPTY: dict[str, list[Any]] = {"transfers": [], "hookups": [], "trips": [], "findings": []}


def finding(start: int, end: int, **more: Any) -> dict[str, Any]:
    return {
        "id": f"bay/x/{start}", "kind": "chattering", "transfer": None,
        "start": format_time(start * S), "start_ns": start * S, "end_ns": end * S,
        "seconds": float(end - start), **more,
    }  # fmt: skip


def transfer(start: int, end: int, *findings: str) -> dict[str, Any]:
    told = {"id": f"bay/{start}", "start_ns": start * S, "end_ns": end * S, "volume": 1.0}
    return {**told, "findings": list(findings)}


def trip(time: int, of: str) -> dict[str, Any]:
    told = {"time": format_time(time * S), "time_ns": time * S, "cause": "no_data"}
    return {**told, "transfer": of, "trip_class": "nuisance"}


HERE = finding(150, 160)

CASES = [
    pytest.param({}, {}, [], id="nothing"),
    pytest.param({"findings": [HERE]}, {"findings": [HERE]}, [], id="the-same"),
    pytest.param(
        {"findings": [HERE]},
        {"findings": [{**HERE, "seconds": 10.0 + 1e-12}]},
        [],
        id="last-digits",
    ),
    pytest.param(
        {"findings": [HERE]}, {}, [("finding", False, "the rules do not give it")], id="gone"
    ),
    pytest.param(
        {},
        {"findings": [HERE]},
        [("finding", False, "the rules give it, and it is not enclosed")],
        id="left-out",
    ),
    pytest.param(
        {"findings": [HERE]},
        {"findings": [{**HERE, "seconds": 9.0}]},
        [("finding", False, "the rules give another seconds")],
        id="another-figure",
    ),
    pytest.param(
        {"findings": [finding(99, 160)]},
        {},
        [("finding", True, "it began before what can be judged")],
        id="began-before",
    ),
    pytest.param(
        {"findings": [finding(100, 160)]},
        {},
        [("finding", False, "the rules do not give it")],
        id="began-at-the-first-moment",
    ),
    pytest.param(
        {"findings": [finding(150, 301)]},
        {"findings": [finding(150, 300)]},
        [("finding", True, "it goes on after the enclosed readings end")],
        id="goes-on",
    ),
    pytest.param(
        {"findings": [finding(150, 300)]},
        {},
        [("finding", False, "the rules do not give it")],
        id="ends-with-them",
    ),
    pytest.param(
        {"findings": [finding(150, 160, kind="resistance_drift")]},
        {},
        [("finding", True, "it rests on weeks of hookups")],
        id="drift",
    ),
    pytest.param(
        {},
        {"hookups": [{"start": "x", "start_ns": 150 * S, "end_ns": 300 * S}]},
        [("hookup", True, "it is cut off where the enclosed readings end")],
        id="cut-off",
    ),
    pytest.param(
        {"transfers": [transfer(190, 400)],
         "findings": [finding(195, 198, kind="unbonded_start", transfer="bay/190")],
         "trips": [trip(196, "bay/190")]},
        {"transfers": [transfer(190, 300)]},
        [("transfer", True, "goes on"), ("trip", True, "its transfer, bay/190, reaches beyond"),
         ("finding", True, "its transfer, bay/190, reaches beyond")],
        id="what-goes-with-a-transfer-that-goes-on",
    ),
    pytest.param(
        {"transfers": [transfer(150, 160, "bay/x/99", "bay/x/150")],
         "findings": [finding(99, 155), HERE]},
        {"transfers": [transfer(150, 160, "bay/x/150")], "findings": [HERE]},
        [("finding", True, "it began before")],
        id="a-transfer-within-what-began-before",
    ),
    pytest.param(
        {"transfers": [transfer(150, 160, "bay/x/150")]},
        {"transfers": [transfer(150, 160)]},
        [("transfer", False, "another findings")],
        id="a-transfer-that-names-what-is-not-there",
    ),
    pytest.param(
        {"transfers": [transfer(190, 250, "bay/x/150", "bay/x/240")], "findings": [HERE]},
        {"transfers": [transfer(190, 250, "bay/x/150")], "findings": [HERE]},
        [],
        id="a-transfer-that-names-what-began-after-what-is-judged",
    ),
    pytest.param(
        {"transfers": [transfer(190, 250)], "findings": [HERE]},
        {"transfers": [transfer(190, 250, "bay/x/150")], "findings": [HERE]},
        [("transfer", False, "another findings")],
        id="a-transfer-that-does-not-name-what-is-enclosed",
    ),
    pytest.param(
        {"transfers": [transfer(150, 195)]},
        {"transfers": [transfer(150, 195, "bay/x/190")], "findings": [finding(190, 300)]},
        [("finding", True, "it is cut off where the enclosed readings end")],
        id="a-transfer-within-what-is-cut-off",
    ),
    pytest.param(
        {"trips": [trip(150, "bay/1")]}, {}, [("trip", False, "do not give it")], id="trip"
    ),
]  # fmt: skip


@pytest.mark.parametrize(("enclosed", "again", "expected"), CASES)
def test_what_differs(
    enclosed: dict[str, Any], again: dict[str, Any], expected: list[tuple[str, bool, str]]
) -> None:
    given = Again({**EMPTY, **again}, EMPTY, EMPTY)
    found = compared({**EMPTY, **enclosed}, given, WINDOW)
    assert [(each.sort, each.beyond) for each in found] == [row[:2] for row in expected]
    for each, (_, _, said) in zip(found, expected, strict=True):
        assert said in str(each)


@pytest.mark.parametrize(
    ("row", "named"),
    [
        (finding(10, 49), False),
        (finding(40, 51), True),
        (finding(60, 70), True),
        (finding(0, 60), False),
        (finding(51, 51), True),
    ],
    ids=["before-what-was-asked", "into-it", "in-it", "cut-where-readings-begin", "a-moment"],
)
def test_what_is_told_of_before_a_floor(row: dict[str, Any], named: bool) -> None:
    again = Again(EMPTY, EMPTY, {**EMPTY, "findings": [row]})
    assert compared(EMPTY, again, WINDOW) == []
    found = compared(EMPTY, again, WINDOW, asked=50 * S)
    assert [(each.name, each.beyond) for each in found] == [(row["id"], True)] * named
    assert all("before the floor" in each.said for each in found)
