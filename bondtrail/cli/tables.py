"""What `show` and `demo` print for people: the columns of each table."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from bondtrail.cli.output import Column, amount, length, ohms, site_time
from bondtrail.cli.rows import PointRow, ReviewedFinding, reject_reason
from bondtrail.results import Finding, Hookup, Reject, Transfer, Trip
from bondtrail.times import local_day

_TEXT_CUT = 24
"""A source or batch longer than this is cut in a table: JSON and CSV have it whole."""


def finding_columns(zone: ZoneInfo) -> list[Column[Finding]]:
    """Return the columns of findings; the summary stands below the kind."""
    return [
        Column("Begins", lambda row: site_time(row.start, zone)),
        Column("Severity", lambda row: str(row.severity)),
        Column("Station", lambda row: row.station, wraps=True),
        Column(
            "Finding", lambda row: f"{row.kind}, {length(row.seconds)}\n{row.summary}", wraps=True
        ),
    ]


def reviewed_finding_columns(zone: ZoneInfo) -> list[Column[ReviewedFinding]]:
    """Return the columns of findings; what was said of one stands below its severity."""
    begins, severity, *rest = map(_of_finding, finding_columns(zone))
    return [begins, Column(severity.head, _severity), *rest]


def _of_finding(column: Column[Finding]) -> Column[ReviewedFinding]:
    return Column(column.head, lambda row: column.cell(row.finding), column.right, column.wraps)


def _severity(row: ReviewedFinding) -> str:
    return f"{row.finding.severity}\n{row.review}" if row.review else str(row.finding.severity)


def transfer_columns(zone: ZoneInfo) -> list[Column[Transfer]]:
    """Return the columns of transfers."""
    return [
        Column("Begins", lambda row: site_time(row.start, zone)),
        Column("Station", lambda row: row.station, wraps=True),
        Column("Flow", lambda row: length(row.flow_s), right=True),
        Column("Volume", lambda row: amount(row.volume, row.unit), right=True),
        Column("Batch", lambda row: _cut(row.batch or "-", 10)),
        Column("OK", lambda row: "yes" if row.compliant else "NO"),
        Column("Unbonded", lambda row: _exposure(row.not_bonded_s), right=True),
        Column("No data", lambda row: _exposure(row.no_data_s), right=True),
        Column("Bypass", lambda row: _exposure(row.bypassed_s), right=True),
        Column("Trips", lambda row: str(row.trips or "-"), right=True),
    ]


def hookup_columns(zone: ZoneInfo) -> list[Column[Hookup]]:
    """Return the columns of hookups."""
    return [
        Column("Begins", lambda row: site_time(row.start, zone)),
        Column("Station", lambda row: row.station, wraps=True),
        Column("Length", lambda row: length((row.end - row.start) / 1e9), right=True),
        Column("Outcome", lambda row: str(row.outcome)),
        Column("To bond", lambda row: length(row.time_to_bond_s), right=True),
        Column("Lowest ohm", lambda row: ohms(row.lowest_ohm), right=True),
        Column("Median ohm", lambda row: ohms(row.median_ohm), right=True),
        Column("Cause", lambda row: str(row.cause or "-")),
    ]


def trip_columns(zone: ZoneInfo) -> list[Column[Trip]]:
    """Return the columns of trips."""
    return [
        Column("Time", lambda row: site_time(row.time, zone)),
        Column("Station", lambda row: row.station, wraps=True),
        Column("Class", lambda row: str(row.trip_class)),
        Column("Cause", lambda row: str(row.cause)),
        Column("Marginal", lambda row: "yes" if row.marginal else "-"),
        Column("Bond lost", lambda row: length(row.loss_s), right=True),
        Column("To stop", lambda row: length(row.stop_s), right=True),
    ]


def point_columns(zone: ZoneInfo) -> list[Column[PointRow]]:
    """Return the columns of points."""
    return [
        Column("Point", lambda row: row.point, wraps=True),
        Column("Samples", lambda row: amount(row.samples), right=True),
        Column("First", lambda row: "-" if row.first is None else f"{local_day(row.first, zone)}"),
        Column("Last", lambda row: site_time(row.last, zone)),
        Column("Value", lambda row: ohms(row.value), right=True),
        Column("Quality", lambda row: _quality(row.quality)),
        Column("Age", lambda row: age(row.age_s), right=True),
    ]


def reject_columns(zone: ZoneInfo) -> list[Column[Reject]]:
    """Return the columns of rejects."""
    return [
        Column("Taken", lambda row: site_time(row.at, zone)),
        Column("Last", lambda row: "-" if row.last_at is None else site_time(row.last_at, zone)),
        Column("Source", lambda row: _cut(row.source, _TEXT_CUT)),
        Column("Where", lambda row: _cut(row.where, _TEXT_CUT)),
        Column("Reason", reject_reason, wraps=True),
    ]


TRANSFER_NOTE = "--format csv and json have the id of each: the board shows it at /transfer?id=ID."


def _exposure(seconds: float) -> str:
    return length(seconds) if seconds else "-"


def _quality(code: int | None) -> str:
    return "-" if code is None else _QUALITIES[code]


_QUALITIES = ("good", "uncertain", "bad")
"""By the codes of `bondtrail.samples.Quality`."""


def age(seconds: float | None) -> str:
    """Return an age in its largest unit; below zero, the reading lies in the future."""
    if seconds is None:
        return "never"
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min")):
        if abs(seconds) >= size:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} s"


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}\N{HORIZONTAL ELLIPSIS}"
