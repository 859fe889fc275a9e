"""The review log: what people said of findings, append-only and chained by digests.

A review belongs to a finding of its kind and station that overlaps what was reviewed in time, so
it follows the finding when an analysis moves its ends or renames it. Reviews are never deleted:
one whose finding is gone is an orphan.

Each row carries a digest of itself and of the row before it. So a row that was edited, taken out
or moved is found. What cannot be seen from inside is a log cut off at its end, or written anew
from some row on: for that, keep a digest elsewhere and look for it in the log.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, case, exists, insert, or_, select

from bondtrail.results import Finding, Review, ReviewState
from store import schema
from store.engine import Database, Transaction
from store.texts import bounded, plain

START = "0" * 64
"""The digest that the first review follows."""

LONGEST = {"comment": 4000, "author": 200}
"""Characters that a text of a review may have."""


@dataclass(frozen=True, slots=True)
class BrokenReview:
    """What is wrong at one place of the log, by number."""

    number: int
    why: str


class Reviews:
    """The review log of a store. Every method raises a `StoreError` if the database does."""

    def __init__(self, db: Database) -> None:
        self._db = db

    def add(
        self, finding: Finding, state: ReviewState | str, comment: str, author: str, at: int
    ) -> Review:
        """Append a review to the log and return it.

        Parameters
        ----------
        finding : Finding
            As it is in the store now.
        state : ReviewState
            What is said of it.
        comment, author : str
            Not empty.
        at : int
            When it was said. [ns]

        Raises
        ------
        ValueError
            If a text is empty or too long, or the state is none.
        """
        said = Review(
            number=1,
            at=int(at),
            author=_text("author", author),
            finding=str(plain(finding.id)),
            kind=str(finding.kind),
            station=str(plain(finding.station)),
            start=int(finding.start),
            end=int(finding.end),
            state=str(ReviewState(state)),
            comment=_text("comment", comment),
            previous=START,
            digest="",
        )
        with self._db.writing() as tx:
            last = _last(tx)
            if last is not None:
                said = replace(said, number=last.number + 1, previous=last.digest)
            said = replace(said, digest=digest_of(said))
            row = {column: getattr(said, name) for name, column in _COLUMNS.items()}
            tx.conn.execute(insert(schema.review).values(row))
        return said

    def log(self) -> list[Review]:
        """Return every review, the first one first."""
        with self._db.reading() as tx:
            return _read(tx, _ALL)

    def verify(self) -> list[BrokenReview]:
        """Return what is broken in the log, by number; none if every digest fits.

        A log that was cut off at its end looks whole: what is gone left nothing behind.
        """
        return list(broken(self.log()))

    def current(self, findings: Iterable[Finding]) -> dict[str, Review]:
        """Return the latest review that follows each of the findings, by the finding's id."""
        with self._db.reading() as tx:
            return current(tx, findings)

    def orphaned(self) -> list[Review]:
        """Return the reviews whose finding is gone, the first one first."""
        with self._db.reading() as tx:
            return _read(tx, _ALL.where(~_IS_FOUND))


def current(tx: Transaction, findings: Iterable[Finding]) -> dict[str, Review]:
    """Return what `Reviews.current` does, in a transaction: for what removes readings."""
    groups: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for finding in findings:
        groups[finding.station, str(finding.kind)].append(finding)
    if not groups:
        return {}
    stations = sorted({station for station, _ in groups})
    return {
        finding.id: review
        for review in _read(tx, _ALL.where(schema.review.c.station.in_(stations)))
        for finding in groups.get((review.station, review.kind), ())
        if follows(review, finding)
    }


def left_open(tx: Transaction, station: str) -> list[Review]:
    """Return the latest review of each finding of a station that is gone, where that is open."""
    orphans = _read(tx, _ALL.where(schema.review.c.station == station, ~_IS_FOUND))
    latest = {review.finding: review for review in orphans}
    return [review for review in latest.values() if review.state == ReviewState.OPEN]


def _text(name: str, text: str) -> str:
    return bounded(name, text, LONGEST[name])


_COLUMNS = {
    field.name: f"{field.name}_ns" if field.name in ("at", "start", "end") else field.name
    for field in fields(Review)
}
_ALL = select(*(schema.review.c[column] for column in _COLUMNS.values())).order_by(
    schema.review.c.number
)


def _read(tx: Transaction, asked: Select[Any]) -> list[Review]:
    return [Review(**dict(zip(_COLUMNS, row, strict=True))) for row in tx.conn.execute(asked)]


def _last(tx: Transaction) -> Review | None:
    newest = _ALL.order_by(None).order_by(schema.review.c.number.desc()).limit(1)
    found = _read(tx, newest)
    return found[0] if found else None


def digest_of(review: Review) -> str:
    """Return the SHA-256 of all of a review but its digest, in hexadecimal.

    The bytes are a JSON array of its values in the order of the fields of `Review`, times in ns,
    without blanks and in ASCII, other characters escaped as JSON does: anyone can compute it again.
    """
    values = [getattr(review, name) for name in _COLUMNS if name != "digest"]
    text = json.dumps(values, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def broken(log: Sequence[Review]) -> Iterator[BrokenReview]:
    """Yield what is wrong in a log, given in order of its numbers."""
    expected, previous = 1, START
    for review in log:
        if review.number > expected:
            yield BrokenReview(expected, _missing(expected, review.number - 1))
        elif review.number < expected:
            yield BrokenReview(review.number, "out of order: numbers begin at 1")
        elif review.previous != previous:
            yield BrokenReview(review.number, "out of order: it does not follow the one before it")
        if review.digest != digest_of(review):
            yield BrokenReview(review.number, "edited: its digest does not fit what it says")
        expected, previous = review.number + 1, review.digest


def _missing(first: int, last: int) -> str:
    return "missing" if first == last else f"missing, and all up to {last}"


def follows(review: Review, finding: Finding) -> bool:
    """Tell whether a review is of a finding, or of what it was before it was judged anew.

    Spans are half-open; one without length counts as a moment, which lies in what begins at it.
    """
    if (review.station, review.kind) != (finding.station, finding.kind):
        return False
    if review.finding == finding.id:
        return True
    return review.start < max(finding.end, finding.start + 1) and finding.start < max(
        review.end, review.start + 1
    )


def _same() -> ColumnElement[bool]:
    """Return `follows` as a condition between the rows of the two tables."""
    review, finding = schema.review.c, schema.finding.c
    overlap = and_(
        review.start_ns < _over(finding.start_ns, finding.end_ns),
        finding.start_ns < _over(review.start_ns, review.end_ns),
    )
    return and_(
        finding.station == review.station,
        finding.kind == review.kind,
        or_(finding.id == review.finding, overlap),
    )


def _over(start: ColumnElement[int], end: ColumnElement[int]) -> ColumnElement[int]:
    return case((end > start, end), else_=start + 1)


_IS_FOUND = exists().where(_same())
