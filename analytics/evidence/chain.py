"""Reviews with their chain: what was said of the enclosed findings, and the digests of the rest.

Each review carries a digest of itself and of the one before it (`store.digest_of`). Reviews of
other findings are enclosed as their links only: number, digests, and of which finding each is. So
the chain can be followed without what they say, and one of an enclosed finding that is told by
its link alone is found. What a link says of its finding no digest covers.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from analytics.evidence.faults import UnreadableError
from analytics.evidence.rows import Plain, plain, row_of
from bondtrail.results import Finding, Review
from store import START, digest_of, follows

_CHAINED = ("number", "previous", "digest")
_OF_FINDING = ("finding", "kind", "station", "start", "start_ns", "end", "end_ns")
_LINK = frozenset((*_CHAINED, *_OF_FINDING))
_NOT_TOLD = {"at_ns": 0, "author": "", "state": "", "comment": ""}
"""What a link leaves out of a review."""


def enclosed_log(
    log: Sequence[Review], findings: Sequence[Finding], start: int, end: int, station: str
) -> list[Plain]:
    """Return the review log as it is enclosed, the first one first.

    Parameters
    ----------
    log : sequence of Review
        All of it.
    findings : sequence of Finding
        Those enclosed; what follows them is told in full.
    start, end, station
        So is what was said of anything at this station that overlaps ``[start, end)``, even if
        its finding is gone. [ns]
    """
    return [
        plain(each) if _is_told(each, findings, start, end, station) else _link(each)
        for each in log
    ]


def _is_told(
    review: Review, findings: Sequence[Finding], start: int, end: int, station: str
) -> bool:
    near = review.station == station and review.start < end and review.end >= start
    return near or any(follows(review, finding) for finding in findings)


def _link(review: Review) -> Plain:
    return {name: value for name, value in plain(review).items() if name in _LINK}


def broken_links(rows: Sequence[Any], name: str) -> Iterator[str]:
    """Yield what is wrong in an enclosed log, a sentence each.

    Raises
    ------
    UnreadableError
        If a row is none of a log.
    """
    previous = START
    for number, row in enumerate(rows, start=1):
        review = _review(row, name)
        if review.number != number:
            yield f"review {number} is missing or out of order"
            return
        if review.previous != previous:
            yield f"review {number} does not follow the one before it"
        if _is_in_full(row) and digest_of(review) != review.digest:
            yield f"review {number} was edited: its digest does not fit what it says"
        previous = review.digest


def left_out(
    rows: Sequence[Any],
    name: str,
    findings: Sequence[Finding],
    start: int,
    end: int,
    station: str,
) -> Iterator[str]:
    """Yield which reviews of what is enclosed are not told in full, a sentence each.

    Other parameters are those of `enclosed_log` and `broken_links`.
    """
    for row in rows:
        review = _review(row, name)
        if not _is_in_full(row) and _is_told(review, findings, start, end, station):
            yield (
                f"review {review.number} is of what is enclosed, {review.finding}, and what it "
                "says was taken out"
            )


def _review(row: Any, name: str) -> Review:
    """Return a row of a log; what a link leaves out is empty."""
    if not isinstance(row, dict) or not set(row) >= _LINK:
        raise UnreadableError(f"{name}: expected rows of a review log")
    if _is_in_full(row):
        return row_of(Review, row, name)
    if set(row) != _LINK:
        raise UnreadableError(f"{name}: a review that is told in part")
    return row_of(Review, {**row, **_NOT_TOLD}, name)


def _is_in_full(row: Plain) -> bool:
    return set(row) > _LINK


def told_reviews(rows: Iterable[Plain]) -> list[Plain]:
    """Return the rows that are told in full."""
    return [row for row in rows if _is_in_full(row)]
