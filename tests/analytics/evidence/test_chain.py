"""Reviews in a package: told where they are of what is enclosed, chained where they are not."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest

from analytics.evidence.chain import broken_links, enclosed_log, left_out, told_reviews
from analytics.evidence.faults import UnreadableError
from bondtrail.results import ReviewState
from store import Store
from tests.analytics.evidence import quay

S = 1_000_000_000


@pytest.fixture
def log(quay_store: Store) -> list[Any]:
    """Four reviews: the second and third are of another finding than the one enclosed."""
    other = quay_store.findings("rail-1", kind="permissive_without_bond")[0]
    quay_store.reviews.add(other, ReviewState.EXPLAINED, "no", "B. Crane", 5)
    finding = quay_store.finding(quay.LOST)
    assert finding is not None
    far = quay.START - 100 * S
    return enclosed_log(quay_store.reviews.log(), [finding], far, far + 1, "rail-1")


def test_what_is_of_others_is_told_by_its_digests_alone(log: list[Any]) -> None:
    assert ["comment" in row for row in log] == [True, False, True, False]
    assert set(log[1]) == {
        "number", "finding", "kind", "station", "start", "start_ns", "end", "end_ns", "previous",
        "digest",
    }  # fmt: skip
    assert [row["comment"] for row in told_reviews(log)] == ["first", "<i>second</i>"]
    assert list(broken_links(log, "x")) == []


def test_what_was_said_of_that_time_is_told_though_its_finding_is_gone(
    quay_store: Store,
) -> None:
    rows = enclosed_log(quay_store.reviews.log(), [], quay.START, quay.START + 1800 * S, "rail-1")
    assert len(told_reviews(rows)) == 3
    elsewhere = enclosed_log(
        quay_store.reviews.log(), [], quay.START, quay.START + 1800 * S, "rail-2"
    )
    assert told_reviews(elsewhere) == []


@pytest.mark.parametrize(
    ("change", "why"),
    [
        pytest.param(lambda log: log.pop(0), "review 1 is missing", id="first-taken-out"),
        pytest.param(lambda log: log.pop(1), "review 2 is missing", id="taken-out"),
        pytest.param(lambda log: log.insert(0, log.pop(2)), "out of order", id="moved"),
        pytest.param(lambda log: log[0].update(comment="x"), "review 1 was edited", id="edited"),
        pytest.param(lambda log: log[2].update(at_ns=1), "review 3 was edited", id="redated"),
        pytest.param(
            lambda log: log[1].update(digest="0" * 64), "review 3 does not follow", id="relinked"
        ),
    ],
)
def test_what_was_done_to_a_log_is_told(
    log: list[Any], change: Callable[[list[Any]], object], why: str
) -> None:
    forged = copy.deepcopy(log)
    change(forged)
    assert why in " ".join(broken_links(forged, "x"))


def test_a_review_of_what_is_enclosed_must_be_told_in_full(
    quay_store: Store, log: list[Any]
) -> None:
    finding = quay_store.finding(quay.LOST)
    assert finding is not None
    far = quay.START - 100 * S
    assert list(left_out(log, "x", [finding], far, far + 1, "rail-1")) == []
    forged = copy.deepcopy(log)
    for name in ("author", "state", "comment", "at", "at_ns"):
        del forged[2][name]
    assert list(broken_links(forged, "x")) == []
    (said,) = left_out(forged, "x", [finding], far, far + 1, "rail-1")
    assert said.startswith(f"review 3 is of what is enclosed, {quay.LOST}")


def test_a_review_that_is_told_in_part_is_refused(log: list[Any]) -> None:
    forged = copy.deepcopy(log)
    del forged[0]["comment"]
    with pytest.raises(UnreadableError, match="comment"):
        list(broken_links(forged, "x"))


@pytest.mark.parametrize("row", [None, 5, {}, {"number": 1}])
def test_a_row_of_no_log_is_refused(row: object) -> None:
    with pytest.raises(UnreadableError, match="rows of a review log"):
        list(broken_links([row], "x"))


def test_no_reviews_are_a_log_too() -> None:
    assert list(broken_links([], "x")) == []
