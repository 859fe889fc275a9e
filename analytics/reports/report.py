"""A report as a whole: its first page, its sections, and the tables that they are made of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from analytics.allowances import in_words
from analytics.core.shares import Share
from analytics.holes import Coverage
from analytics.reports.period import Period
from analytics.reports.tables import Column, Place, Sort, Table, frame
from store import Allowed

CAUTIONS = (
    "Bondtrail reads records and reports what they show. It is not a safety function, it "
    "controls nothing, and nothing in this report says that anything was safe.",
    "Whether an installation, a limit or an operation is acceptable is for the local codes, the "
    "authority and licensed or competent persons to say. The limits shown here are those of the "
    "site file.",
    "A transfer counts as compliant when the records show no finding that speaks against it, "
    "within the allowances of the site file. What was not recorded cannot speak.",
)


@dataclass(frozen=True, slots=True)
class Caveat:
    """What a reader must know before believing the figures, and the cases of it one by one."""

    text: str
    cases: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Cover:
    """What the first page says.

    Attributes
    ----------
    site_id, site_name : str
        Whose report it is.
    scope : str
        Which of its stations, in words.
    made, last_reading : int
        When it was made, and the time of the newest reading of those stations. [ns]
    compliance : Share
        Of the transfers of the period.
    allowed : Allowed
        What the compliant ones ran within the allowances.
    bad_bond, bypassed, unverifiable : int
        The transfers that are not compliant, by the worst that is behind them.
    without_bypass : tuple of int
        The stations with flow that record no bypass, and all with flow.
    software, rules : str
        Versions.
    caveats : sequence of Caveat
    """

    site_id: str
    site_name: str
    zone: ZoneInfo
    period: Period
    scope: str
    made: int
    last_reading: int | None
    compliance: Share
    allowed: Allowed
    bad_bond: int
    bypassed: int
    unverifiable: int
    without_bypass: tuple[int, int]
    coverage: Coverage
    software: str
    rules: str
    caveats: Sequence[Caveat] = ()

    @property
    def allowances(self) -> str:
        """What the compliant transfers ran within the allowances, in words."""
        return in_words(self.allowed, self.compliance.count)


@dataclass(frozen=True, slots=True)
class Section:
    """A heading, what is said below it, and its tables."""

    title: str
    text: Sequence[str] = ()
    tables: Sequence[Table] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """All that is told of a site's period."""

    cover: Cover
    sections: Sequence[Section] = field(default_factory=tuple)

    def tables(self) -> list[Table]:
        """Return the tables for spreadsheets and programs: the summary and the contents first."""
        told = [table for section in self.sections for table in section.tables]
        data = [table for table in told if table.place is not Place.PAGE]
        first = summary(self.cover)
        return [first, contents([first, *data], self.cover.zone), *data]


@dataclass(frozen=True, slots=True)
class _Fact:
    item: str
    value: float | None = None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    count: int | None = None
    of: int | None = None
    at: int | None = None
    day: dt.date | None = None
    says: str = ""


_SUMMARY: Sequence[Column[_Fact]] = (
    Column("item", "Item", lambda row: row.item),
    Column("value", "Value", lambda row: row.value, Sort.NUMBER),
    Column("unit", "Unit", lambda row: row.unit),
    Column("low", "Low", lambda row: row.low, Sort.NUMBER),
    Column("high", "High", lambda row: row.high, Sort.NUMBER),
    Column("count", "Count", lambda row: row.count, Sort.COUNT),
    Column("of", "Of", lambda row: row.of, Sort.COUNT),
    Column("time", "Time", lambda row: row.at, Sort.TIME),
    Column("day", "Day", lambda row: row.day, Sort.DAY),
    Column("says", "In words", lambda row: row.says),
)


def summary(cover: Cover) -> Table:
    """Return the first page as a table."""
    rows = frame(_SUMMARY, _facts(cover), cover.zone)
    return Table("summary", "Summary", _SUMMARY, rows)


def _facts(cover: Cover) -> Iterator[_Fact]:
    part, cover_s = cover.compliance, cover.coverage
    yield _Fact("site", says=f"{cover.site_name} ({cover.site_id})")
    yield _Fact("stations", says=cover.scope)
    yield _Fact("zone", says=cover.zone.key)
    yield _Fact("first day", day=cover.period.first)
    yield _Fact("last day", day=cover.period.last)
    yield _Fact("made", at=cover.made)
    yield _Fact("last reading", at=cover.last_reading)
    yield _Fact(
        "compliance", part.value, "share", part.low, part.high, part.count, part.of, says="Wilson"
    )
    yield from _allowances(cover)
    yield _Fact("transfers with a bad bond", cover.bad_bond, "transfers")
    yield _Fact("transfers bypassed, no bad bond seen", cover.bypassed, "transfers")
    yield _Fact("transfers not verifiable", cover.unverifiable, "transfers")
    without, of = cover.without_bypass
    yield _Fact("stations that record no bypass", without, "stations", count=without, of=of)
    yield _Fact("bond state known, share", cover_s.share, "share of station time")
    yield _Fact("bond state known", cover_s.known_s, "station s")
    yield _Fact("bond state unknown", cover_s.unknown_s, "station s")
    yield _Fact("no record", cover_s.no_record_s, "station s")
    yield _Fact("not analysed", cover_s.not_analysed_s, "station s")
    yield _Fact("flow unknown", cover_s.flow_unknown_s, "station s")
    yield _Fact("software", says=f"Bondtrail {cover.software}")
    yield _Fact("rules", says=cover.rules)
    for caveat in cover.caveats:
        yield from (_Fact("mind", says=text) for text in (caveat.text, *caveat.cases))
    yield from (_Fact("caution", says=text) for text in CAUTIONS)


def _allowances(cover: Cover) -> Iterator[_Fact]:
    told, of = cover.allowed, cover.compliance.count
    for name, count, length_s in (
        ("compliant, bond not verified within allowances", told.not_bonded, told.not_bonded_s),
        ("compliant, bond unknown within allowances", told.no_data, told.no_data_s),
    ):
        yield _Fact(name, count, "transfers", count=count, of=of)
        yield _Fact(f"{name}, in all", length_s, "s")
    throughout = told.unknown_throughout
    yield _Fact(
        "compliant, bond unknown from first flow to last",
        throughout,
        "transfers",
        count=throughout,
        of=of,
    )


_CONTENTS: Sequence[Column[Table]] = (
    Column("table", "Table", lambda row: row.name),
    Column("title", "Title", lambda row: row.title),
    Column("rows", "Rows", lambda row: len(row.rows), Sort.COUNT),
    Column("note", "Note", lambda row: row.note),
)


def contents(tables: Sequence[Table], zone: ZoneInfo) -> Table:
    """Return what tables there are, and the words to each."""
    return Table("contents", "Contents", _CONTENTS, frame(_CONTENTS, tables, zone))
