"""Reviews with their chain: what was said of the enclosed findings, and the digests of the rest.

Each review carries a digest of itself and of the one before it (`store.digest_of`). Reviews of
other findings are enclosed as their number and digests only: the chain can be followed without
what they say.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from analytics.evidence.faults import UnreadableError
from analytics.evidence.rows import Plain, plain, row_of
from bondtrail.results import Finding, Review
from store import START, digest_of, follows

_LINK = ("number", "previous", "digest")


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

    def told(review: Review) -> bool:
        near = review.station == station and review.start < end and review.end >= start
        return near or any(follows(review, finding) for finding in findings)

    return [plain(each) if told(each) else _link(each) for each in log]


def _link(review: Review) -> Plain:
    return {name: getattr(review, name) for name in _LINK}


def broken_links(rows: Sequence[Any], name: str) -> Iterator[str]:
    """Yield what is wrong in an enclosed log, a sentence each.

    Raises
    ------
    UnreadableError
        If a row is none of a log.
    """
    previous = START
    for number, row in enumerate(rows, start=1):
        if not isinstance(row, dict) or not all(key in row for key in _LINK):
            raise UnreadableError(f"{name}: expected rows of a review log")
        if row["number"] != number:
            yield f"review {number} is missing or out of order"
            return
        if row["previous"] != previous:
            yield f"review {number} does not follow the one before it"
        if len(row) > len(_LINK) and digest_of(row_of(Review, row, name)) != row["digest"]:
            yield f"review {number} was edited: its digest does not fit what it says"
        previous = row["digest"]


def told_reviews(rows: Iterable[Plain]) -> list[Plain]:
    """Return the rows that are told in full."""
    return [row for row in rows if len(row) > len(_LINK)]
