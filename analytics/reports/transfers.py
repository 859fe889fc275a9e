"""The transfers that are not compliant: each with its cause, and what a person said of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from analytics.core.worst import Worst, worst_of
from analytics.reports import reviews, words
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, frame
from bondtrail.results import NON_COMPLIANT, Finding, Review, Severity, Transfer

_MARKS: Mapping[str, Severity] = {
    Worst.BAD_BOND: Severity.CRITICAL,
    Worst.BYPASSED: Severity.MAJOR,
    Worst.UNVERIFIABLE: Severity.MAJOR,
}


@dataclass(frozen=True, slots=True)
class Failing:
    """A transfer that is not compliant, the findings that say so, and reviews by finding.

    ``records_bypass`` tells whether a bypass would be seen at its station.
    """

    transfer: Transfer
    findings: Sequence[Finding]
    reviews: Mapping[str, Review]
    records_bypass: bool = True

    @property
    def bypassed_s(self) -> float | None:
        """Flow with the interlock bypassed; None where that is not recorded. [s]"""
        seconds = self.transfer.bypassed_s
        return seconds if seconds or self.records_bypass else None

    @property
    def worst(self) -> Worst:
        """The worst that they say."""
        return worst_of(row.kind for row in self.findings)


def failing(source: Source) -> list[Failing]:
    """Return the transfers that began in the period and are not compliant, by start."""
    rows = source.begun(source.store.transfers, compliant=False)
    findings = _by_transfer(source, max((row.end for row in rows), default=0))
    said = source.store.reviews.current(each for row in rows for each in findings.get(row.id, ()))
    return [
        Failing(row, findings.get(row.id, ()), said, source.records_bypass(row.station))
        for row in rows
    ]


def _by_transfer(source: Source, until: int) -> Mapping[str, Sequence[Finding]]:
    """Return the findings that make transfers not compliant, by transfer; up to ``until`` ns."""
    found: dict[str, list[Finding]] = defaultdict(list)
    for kind in sorted(NON_COMPLIANT):
        for row in source.overlapping(source.store.findings, until, kind=kind):
            if row.transfer is not None:
                found[row.transfer].append(row)
    for held in found.values():
        held.sort(key=lambda row: (row.start, row.kind))
    return found


def _of(name: str) -> Any:
    return attrgetter(f"transfer.{name}")


_COLUMNS: Sequence[Column[Failing]] = (
    Column("start", "Begins", _of("start"), Sort.TIME),
    Column("end", "Ends", _of("end"), Sort.TIME, place=Place.DATA),
    Column("station", "Station", _of("station")),
    Column("worst", "What it is", lambda row: str(row.worst), marks=_MARKS),
    Column("batch", "Batch", _of("batch")),
    Column("product", "Product", _of("product")),
    Column("operator", "Operator", _of("operator")),
    Column("volume", "Volume", _of("volume"), Sort.NUMBER, place=Place.DATA),
    Column("unit", "Unit of volume", _of("unit"), place=Place.DATA),
    Column("amount", "Volume", lambda row: _amount(row.transfer), place=Place.PAGE, right=True),
    Column("flow_s", "Flow", _of("flow_s"), Sort.SECONDS, place=Place.DATA),
    Column("not_bonded_s", "Not bonded", _of("not_bonded_s"), Sort.SECONDS),
    Column("no_data_s", "Unknown", _of("no_data_s"), Sort.SECONDS),
    Column(
        "bypassed_s",
        "Bypassed",
        attrgetter("bypassed_s"),
        Sort.SECONDS,
        missing=words.NOT_RECORDED,
    ),
    Column("kinds", "Kinds of finding", lambda row: _kinds(row), place=Place.DATA),
    Column("cause", "Cause", lambda row: _causes(row), place=Place.BELOW),
    Column(
        "review",
        "Review",
        lambda row: reviews.in_words(row.findings, row.reviews),
        place=Place.BELOW,
    ),
    Column(
        "review_state",
        "State of review",
        lambda row: reviews.state(row.findings, row.reviews),
        place=Place.DATA,
    ),
    Column("transfer", "Transfer", _of("id"), place=Place.DATA),
    Column("findings", "Findings", lambda row: _ids(row), place=Place.DATA),
)


def table(source: Source, rows: Sequence[Failing]) -> Table:
    """Return the transfers that are not compliant as a table."""
    return Table(
        "not_compliant",
        "Every transfer that is not compliant",
        _COLUMNS,
        frame(_COLUMNS, rows, source.site.zone),
        note=(
            "Not bonded: flow while the bond was known and not verified. Unknown: flow while the "
            "records do not tell. Bypassed: flow with the interlock bypassed, which may overlap "
            "with the others. Not verifiable is told apart from bad: it may have been either."
        ),
        empty="No transfer of this period has a finding against it; section 1 tells how many ran.",
    )


def _amount(row: Transfer) -> str:
    return "" if row.volume is None else f"{row.volume:,.0f} {row.unit}"


def _kinds(row: Failing) -> str:
    return "; ".join(dict.fromkeys(str(each.kind) for each in row.findings))


def _causes(row: Failing) -> str:
    return " ".join(each.summary for each in row.findings)


def _ids(row: Failing) -> str:
    return " ".join(each.id for each in row.findings)
