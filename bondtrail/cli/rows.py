"""What `show` gives to programs: the keys of each kind of row, in a settled order.

Each table maps a key to the function that reads it from a row. Moments leave as ISO 8601.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from operator import attrgetter
from typing import TypeVar

from bondtrail.cli.output import iso
from bondtrail.results import Finding, Hookup, Reject, Transfer, Trip

Row = TypeVar("Row")
Fields = Mapping[str, Callable[[Row], object]]


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


def as_object(fields: Fields[Row], row: Row) -> dict[str, object]:
    """Return the row as programs get it."""
    return {name: read(row) for name, read in fields.items()}


def _as_is(*names: str) -> dict[str, Callable[[object], object]]:
    return {name: attrgetter(name) for name in names}


def _moment(name: str) -> Callable[[object], object]:
    read = attrgetter(name)
    return lambda row: iso(read(row))


def _word(name: str) -> Callable[[object], object]:
    """Read a member of an enumeration as its plain text."""
    read = attrgetter(name)
    return lambda row: None if read(row) is None else str(read(row))


def _sorted(name: str) -> Callable[[object], object]:
    read = attrgetter(name)
    return lambda row: {key: read(row)[key] for key in sorted(read(row))}


FINDING: Fields[Finding] = {
    "id": attrgetter("id"),
    "kind": _word("kind"),
    "severity": _word("severity"),
    **_as_is("station", "transfer"),
    "start": _moment("start"),
    "end": _moment("end"),
    **_as_is("seconds", "summary"),
    "evidence": _sorted("evidence"),
    "limits": _sorted("limits"),
    "rules": attrgetter("rules"),
}


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

TRANSFER: Fields[Transfer] = {
    **_as_is("id", "station"),
    "start": _moment("start"),
    "end": _moment("end"),
    **_as_is("flow_s", "volume", "unit", "batch", "product", "operator", "compliant"),
    **_as_is("not_bonded_s", "no_data_s", "bypassed_s", "trips", "time_to_bond_s", "bond_lead_s"),
    "findings": attrgetter("findings"),
}

HOOKUP: Fields[Hookup] = {
    "station": attrgetter("station"),
    "start": _moment("start"),
    "end": _moment("end"),
    "outcome": _word("outcome"),
    **_as_is("time_to_bond_s", "lowest_ohm", "median_ohm"),
    "cause": _word("cause"),
}

TRIP: Fields[Trip] = {
    "station": attrgetter("station"),
    "time": _moment("time"),
    "transfer": attrgetter("transfer"),
    "class": _word("trip_class"),
    "cause": _word("cause"),
    **_as_is("marginal", "loss_s", "stop_s"),
}

POINT: Fields[PointRow] = {
    **_as_is("point", "station", "role", "samples"),
    "first": _moment("first"),
    "last": _moment("last"),
    **_as_is("value", "quality", "age_s"),
}


def reject_reason(row: Reject) -> str:
    """Return why input was not taken, and how many rows the reject stands for if several."""
    return row.reason if row.count == 1 else f"{row.reason} ({row.count:,} rows from here on)"


REJECT: Fields[Reject] = {
    **_as_is("source", "where"),
    "reason": reject_reason,
    "raw": attrgetter("raw"),
    "at": _moment("at"),
}
