"""The tables. Moments are UTC nanoseconds since 1970 in columns that end in ``_ns``.

Samples live in blocks that only this room can read; everything else is plain rows for any SQL
or BI tool. Sets whose keys vary (evidence, limits) are JSON text.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ColumnElement,
    Date,
    Float,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    literal_column,
)

from bondtrail.results import DAY_COUNTERS, DAY_COUNTS, DAY_HISTOGRAMS, DAY_SUMS, NON_COMPLIANT

METADATA = MetaData()
VERSION = "0004"
"""The newest revision under ``migrations/versions``; a test keeps the two together."""
VERSION_TABLE = "bondtrail_version"

# SQLite counts by itself only in an INTEGER key; there it has 64 bits anyway.
RowId = BigInteger().with_variant(Integer(), "sqlite")


def _key() -> Column[int]:
    return Column("id", RowId, primary_key=True, autoincrement=True)


def _ns(name: str, *, optional: bool = False) -> Column[int]:
    return Column(name, BigInteger, nullable=optional)


def _text(name: str, *, optional: bool = False) -> Column[str]:
    return Column(name, Text, nullable=optional)


def _number(name: str, *, optional: bool = False) -> Column[float]:
    return Column(name, Float(53), nullable=optional)


def _count(name: str) -> Column[int]:
    return Column(name, BigInteger, nullable=False)


point = Table(
    "point",
    METADATA,
    _key(),
    Column("name", Text, nullable=False, unique=True),
    _text("station"),
    _count("samples"),
    _ns("first_ns", optional=True),
    _ns("last_ns", optional=True),
    _number("value", optional=True),
    Column("quality", Integer, nullable=True),
)
"""Every point with how much is stored of it and its newest sample, kept up by each write."""


def _segment_table(name: str) -> Table:
    return Table(
        name,
        METADATA,
        _key(),
        Column("point_id", BigInteger, nullable=False),
        _ns("first_ns"),
        _ns("last_ns"),
        _count("samples"),
        Column("checksum", BigInteger, nullable=False),
        Column("block", LargeBinary, nullable=False),
        sqlite_autoincrement=True,  # ids name segments in errors, so none may come twice
    )


segment = _segment_table("segment")
Index("segment_last", segment.c.point_id, segment.c.last_ns, segment.c.first_ns, segment.c.samples)
Index("segment_first", segment.c.point_id, segment.c.first_ns, segment.c.last_ns, segment.c.samples)

damaged_segment = _segment_table("damaged_segment")
"""Segments set aside as they were, because late samples had to be folded into their span."""
Index("damaged_segment_last", damaged_segment.c.point_id, damaged_segment.c.last_ns)

journal = Table(
    "journal",
    METADATA,
    _key(),
    _ns("first_ns"),
    _ns("last_ns"),
    _count("samples"),
    Column("checksum", BigInteger, nullable=False),
    Column("block", LargeBinary, nullable=False),
    sqlite_autoincrement=True,  # an id tells the order of commits, so none may come twice
)
Index("journal_last", journal.c.last_ns, journal.c.first_ns, journal.c.samples)

arrival = Table(
    "arrival",
    METADATA,
    _key(),
    Column("point_id", BigInteger, nullable=False),
    _ns("first_ns"),
    _ns("last_ns"),
    _ns("arrived_ns", optional=True),
    _ns("lag_least_ns", optional=True),
    _ns("lag_most_ns", optional=True),
    _ns("seen_least_ns", optional=True),
    _ns("seen_most_ns", optional=True),
    Column("checksum", BigInteger, nullable=True),
    Column("block", LargeBinary, nullable=True),
    sqlite_autoincrement=True,  # an id tells the order of commits, so none may come twice
)
"""When the readings of a stretch arrived, null where nobody knows; see `store.arrivals`.

The block holds the times of the readings where others lie between them.
"""
Index("arrival_last", arrival.c.point_id, arrival.c.last_ns, arrival.c.first_ns)

replaced = Table(
    "replaced",
    METADATA,
    _key(),
    Column("point_id", BigInteger, nullable=False),
    _ns("at_ns", optional=True),
    _ns("first_ns"),
    _ns("last_ns"),
    _count("samples"),
    Column("checksum", BigInteger, nullable=False),
    Column("block", LargeBinary, nullable=False),
    sqlite_autoincrement=True,  # an id tells the order of commits, so none may come twice
)
"""The readings of a point that a commit put others in the place of; see `store.replaced`.

The database itself refuses to change or delete a row.
"""
Index("replaced_last", replaced.c.point_id, replaced.c.last_ns, replaced.c.first_ns)

touched = Table(
    "touched",
    METADATA,
    Column("station", Text, primary_key=True),
    _ns("since_ns", optional=True),
    _count("revision"),
)
"""Earliest time that new data touched since the last analysis; null when there is none.

The row stays when the mark goes, so that a revision never comes twice.
"""

site = Table("site", METADATA, Column("holds_from_ns", BigInteger, primary_key=True), _text("text"))

work = Table(
    "work", METADATA, _key(), _text("station"), _ns("start_ns"), _ns("end_ns"), _text("what")
)
Index("work_start", work.c.station, work.c.start_ns)

ticket = Table(
    "ticket",
    METADATA,
    _key(),
    _text("station"),
    _ns("start_ns"),
    _ns("end_ns"),
    _text("batch"),
    _text("product"),
    _text("operator"),
)
Index("ticket_start", ticket.c.station, ticket.c.start_ns)

reject = Table(
    "reject",
    METADATA,
    _key(),
    _text("source"),
    _text("place"),
    _text("reason"),
    _text("raw"),
    _ns("at_ns"),
    _count("count"),
    Column("digest", String(64), nullable=False, unique=True),
    _text("point", optional=True),
    _ns("time_ns", optional=True),
    _ns("last_at_ns", optional=True),
    _ns("last_time_ns", optional=True),
)
"""``digest`` is the SHA-256 of what tells rejects apart: raw is too long to be a key.

``point`` and ``time_ns`` are those of the reading that it would have been, where they are known.
Of several counted in one row they are the first, and ``last_*`` the last; of one they are equal.
"""
Index("reject_last_time", reject.c.point, reject.c.last_time_ns, reject.c.time_ns)
Index("reject_last", reject.c.last_at_ns, reject.c.id, reject.c["count"])

transfer = Table(
    "transfer",
    METADATA,
    Column("id", Text, primary_key=True),
    _text("station"),
    _ns("start_ns"),
    _ns("end_ns"),
    _number("flow_s"),
    _number("volume", optional=True),
    _text("unit", optional=True),
    _text("batch", optional=True),
    _text("product", optional=True),
    _text("operator", optional=True),
    Column("compliant", Boolean, nullable=False),
    _number("not_bonded_s"),
    _number("no_data_s"),
    _number("bypassed_s"),
    _number("not_bonded_volume", optional=True),
    _number("no_data_volume", optional=True),
    _number("bypassed_volume", optional=True),
    _count("trips"),
    _number("time_to_bond_s", optional=True),
    _number("bond_lead_s", optional=True),
    _text("findings"),
)
Index("transfer_start", transfer.c.station, transfer.c.start_ns)
IS_FAILING: ColumnElement[Any] = literal_column("(not compliant)")
"""Written out, and of no type: SQLAlchemy compares a Boolean with 1, and no index answers that."""
Index(
    "transfer_failing",
    transfer.c.start_ns,
    transfer.c.station,
    transfer.c.end_ns,
    transfer.c.id,
    sqlite_where=IS_FAILING,
    postgresql_where=IS_FAILING,
)
"""The transfers that are not compliant, which are few."""
IS_ALLOWED: ColumnElement[Any] = literal_column(
    "(compliant and (not_bonded_s > 0 or no_data_s > 0))"
)
Index(
    "transfer_allowed",
    transfer.c.start_ns,
    transfer.c.station,
    transfer.c.flow_s,
    transfer.c.not_bonded_s,
    transfer.c.no_data_s,
    transfer.c.compliant,
    sqlite_where=IS_ALLOWED,
    postgresql_where=IS_ALLOWED,
)
"""Compliant transfers that ran without a verified bond for a while, within the allowances."""

hookup = Table(
    "hookup",
    METADATA,
    _key(),
    _text("station"),
    _ns("start_ns"),
    _ns("end_ns"),
    _text("outcome"),
    _number("time_to_bond_s", optional=True),
    _number("lowest_ohm", optional=True),
    _number("median_ohm", optional=True),
    _text("cause", optional=True),
)
Index("hookup_start", hookup.c.station, hookup.c.start_ns)

trip = Table(
    "trip",
    METADATA,
    _key(),
    _text("station"),
    _ns("time_ns"),
    _text("transfer"),
    _text("trip_class"),
    _text("cause"),
    Column("marginal", Boolean, nullable=False),
    _number("loss_s", optional=True),
    _number("stop_s", optional=True),
)
Index("trip_time", trip.c.station, trip.c.time_ns)
Index("trip_anywhere", trip.c.time_ns, trip.c.station, trip.c.trip_class)

finding = Table(
    "finding",
    METADATA,
    Column("id", Text, primary_key=True),
    _text("kind"),
    _text("severity"),
    _text("station"),
    _text("transfer", optional=True),
    _ns("start_ns"),
    _ns("end_ns"),
    _number("seconds"),
    _text("summary"),
    _text("evidence"),
    _text("limits"),
    _text("rules"),
)
Index("finding_start", finding.c.station, finding.c.start_ns, finding.c.severity)
Index("finding_anywhere", finding.c.start_ns, finding.c.station, finding.c.severity)
Index("finding_transfer", finding.c.transfer)
SPEAKS_AGAINST: ColumnElement[Any] = literal_column(
    f"(kind in ({', '.join(sorted(map(repr, map(str, NON_COMPLIANT))))}))"
)
Index(
    "finding_against",
    finding.c.start_ns,
    finding.c.transfer,
    finding.c.kind,
    sqlite_where=SPEAKS_AGAINST,
    postgresql_where=SPEAKS_AGAINST,
)
"""What makes transfers not compliant, without the rest of its rows."""

LONG_S = 3600
"""A finding that lasts longer is kept at hand: few do, and only they span days."""
IS_LONG = finding.c.seconds > literal_column(str(LONG_S))
"""Written out, not a parameter, or the databases do not see that the index holds all of them."""
Index(
    "finding_long",
    finding.c.end_ns,
    finding.c.start_ns,
    finding.c.station,
    finding.c.severity,
    sqlite_where=IS_LONG,
    postgresql_where=IS_LONG,
)


alarm = Table(
    "alarm", METADATA, _key(), _text("station"), _text("kind"), _ns("start_ns"), _ns("end_ns")
)
Index("alarm_start", alarm.c.station, alarm.c.start_ns)
Index("alarm_anywhere", alarm.c.start_ns)

alarm_part = Table(
    "alarm_part",
    METADATA,
    Column("station", Text, primary_key=True),
    Column("part", BigInteger, primary_key=True),
    _ns("last_end_ns"),
    _count("count"),
    Column("kinds", LargeBinary, nullable=False),
    Column("starts", LargeBinary, nullable=False),
    Column("ends", LargeBinary, nullable=False),
)
"""The alarms of each part of time, packed; see `store.alarm_parts`."""
Index("alarm_part_anywhere", alarm_part.c.part, alarm_part.c.last_end_ns)

COUNTER_COLUMNS = {
    (counter, name): f"{counter.removesuffix('s')}_{name.rpartition('/')[2]}"
    for counter, names in DAY_COUNTERS.items()
    for name in names
}
"""The column of each name that a counter of a day counts: that of a trip is named by its cause."""

SUMMED = (*DAY_SUMS, *COUNTER_COLUMNS.values())
"""The columns of a day that are numbers, and add up."""


def _sums_table(name: str, *keys: Column[Any]) -> Table:
    """Return a table of sums; histograms are text, ``bin:count`` for each bin that counts any."""
    return Table(
        name,
        METADATA,
        *keys,
        *(
            Column(each, Float(53) if each in DAY_SUMS and each not in DAY_COUNTS else Integer,
                   nullable=False)
            for each in SUMMED
        ),
        *(_text(each) for each in DAY_HISTOGRAMS),
    )  # fmt: skip


def _station() -> Column[str]:
    return Column("station", Text, primary_key=True)


def _first_day(name: str) -> Column[Any]:
    return Column(name, Date, primary_key=True)


def _shift() -> Column[str]:
    return Column("shift", Text, primary_key=True)


day = _sums_table("day", _station(), _first_day("day"))
Index("day_anywhere", day.c.day, day.c.station, day.c.transfers, day.c.compliant_transfers)
"""It holds all that the course of compliance is summed from: the rows are many times as wide."""
month = _sums_table("month", _station(), _first_day("month"))
"""The days of each month, summed; `year` likewise. See `store.rollups`."""
year = _sums_table("year", _station(), _first_day("year"))

shift_day = _sums_table("shift_day", _station(), _first_day("day"), _shift())
"""The parts of each day by shift, ``""`` being the time outside any."""
Index(
    "shift_day_anywhere",
    shift_day.c.shift,
    shift_day.c.day,
    shift_day.c.station,
    shift_day.c.transfers,
    shift_day.c.compliant_transfers,
)
shift_month = _sums_table("shift_month", _station(), _first_day("month"), _shift())
shift_year = _sums_table("shift_year", _station(), _first_day("year"), _shift())

TALLIED = ("critical", "major", "minor", "genuine", "nuisance", "undetermined")
"""Severities of findings and classes of trips."""

tally = Table(
    "tally",
    METADATA,
    Column("station", Text, primary_key=True),
    Column("part", BigInteger, primary_key=True),
    *(_count(name) for name in TALLIED),
)
"""How many findings and trips began in each part of time; see `store.rollups`."""

review = Table(
    "review",
    METADATA,
    Column("number", BigInteger, primary_key=True, autoincrement=False),
    _ns("at_ns"),
    _text("author"),
    _text("finding"),
    _text("kind"),
    _text("station"),
    _ns("start_ns"),
    _ns("end_ns"),
    _text("state"),
    _text("comment"),
    Column("previous", String(64), nullable=False),
    Column("digest", String(64), nullable=False),
)
"""What people said of findings, each row chained to the one before it; see `store.reviews`.

The database itself refuses to change or delete a row.
"""
Index("review_start", review.c.station, review.c.kind, review.c.start_ns)

hold = Table(
    "hold",
    METADATA,
    Column("number", BigInteger, primary_key=True, autoincrement=False),
    _ns("at_ns"),
    _text("author"),
    _text("why"),
    _text("station"),
    _ns("start_ns"),
    _ns("end_ns"),
    _text("transfer", optional=True),
    _ns("released_at_ns", optional=True),
    _text("released_by", optional=True),
    _text("released_why", optional=True),
)
"""Readings that nothing may remove until the hold is released; see `store.holds`.

The database itself refuses to delete a row, or to change anything but its release, once.
"""
Index("hold_start", hold.c.station, hold.c.start_ns)

job = Table(
    "job",
    METADATA,
    Column("name", Text, primary_key=True),
    _ns("started_ns", optional=True),
    _ns("ended_ns", optional=True),
    _ns("succeeded_ns", optional=True),
    _count("failures"),
    _text("said"),
    _text("run_by"),
    _number("every_s", optional=True),
)
"""The jobs of the schedule and how the last run of each went; see `store.jobs`."""

source = Table(
    "source",
    METADATA,
    Column("name", Text, primary_key=True),
    _count("readings"),
    _ns("heard_ns"),
    _number("lag_median_s", optional=True),
    _number("lag_spread_s", optional=True),
    _count("lag_count"),
)
"""Who sends readings, and how its clock stands to ours; see `store.sources`."""

given = Table(
    "given",
    METADATA,
    Column("point", Text, primary_key=True),
    _text("source"),
    _text("device"),
    _text("metric"),
    Column("alias", BigInteger, nullable=True),
    _count("datatype"),
    Column("session", BigInteger, nullable=True),
)
"""Which source was last to begin to give a point, by the point's name; see `store.sources`."""

person = Table(
    "person",
    METADATA,
    Column("folded", Text, primary_key=True),
    _text("name"),
    _text("hash"),
    _ns("created_ns"),
    _ns("changed_ns"),
    Column("disabled", Boolean, nullable=False),
)
"""Who may sign in, by the name case-folded; see `store.users`. No password is in it."""

signed_out = Table(
    "signed_out",
    METADATA,
    Column("session", Text, primary_key=True),
    _ns("until_ns"),
)
"""Sessions that were signed out of, until they would have ended anyhow; see `store.users`."""

secret = Table(
    "secret",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("value", LargeBinary, nullable=False),
)
"""One row: what sessions of people who signed in are signed with."""

floor = Table(
    "floor",
    METADATA,
    Column("station", Text, primary_key=True),
    Column("day", Date, nullable=False),
    _ns("since_ns"),
    _ns("context_ns"),
    _ns("kept_ns"),
    _ns("at_ns"),
    _count("removed"),
    _count("late"),
)
"""From where on a station is judged since readings before it were removed; see `store.floors`."""
