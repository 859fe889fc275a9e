"""What only `show` gives to programs, beside the results of `bondtrail.objects`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter

from bondtrail.objects import FINDING, Fields, as_is, moment
from bondtrail.results import Finding, Reject


@dataclass(frozen=True, slots=True)
class PointRow:
    """What the store holds of one point; moments in ns, None where it never reported."""

    point: str
    station: str
    role: str
    samples: int
    first: int | None = None
    last: int | None = None
    value: float | None = None
    quality: int | None = None
    age_s: float | None = None


@dataclass(frozen=True, slots=True)
class ReviewedFinding:
    """A finding, and what was last said of it: the state of its review, or None."""

    finding: Finding
    review: str | None


def _of_finding(read: Callable[[Finding], object]) -> Callable[[ReviewedFinding], object]:
    return lambda row: read(row.finding)


REVIEWED_FINDING: Fields[ReviewedFinding] = {
    **{name: _of_finding(read) for name, read in FINDING.items()},
    "review": attrgetter("review"),
}

POINT: Fields[PointRow] = {
    **as_is("point", "station", "role", "samples"),
    "first": moment("first"),
    "last": moment("last"),
    **as_is("value", "quality", "age_s"),
}


def reject_reason(row: Reject) -> str:
    """Return why input was not taken, and how many rows the reject stands for if several."""
    return row.reason if row.count == 1 else f"{row.reason} ({row.count:,} rows from here on)"


REJECT: Fields[Reject] = {
    **as_is("source", "where"),
    "reason": reject_reason,
    "raw": attrgetter("raw"),
    "at": moment("at"),
    "last_at": moment("last_at"),
}
