"""All of a package on one page that stands alone: no script, no reference to anything outside it.

The page is made of the other files of the package and of nothing else, so that it can be made
again from them and compared. Everything is escaped by the template.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from analytics.evidence.chain import told_reviews
from analytics.evidence.documents import About
from analytics.evidence.manifest import sha256
from analytics.evidence.rows import Plain
from analytics.reports.words import NOTHING, number, percent, plain, span
from bondtrail.times import local, parse_time

SIGNS = {"critical": "◆", "major": "▲", "minor": "●"}

_UNREADABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
_LEVELS = ("low", "typical", "high")
_FIGURES = {
    "peak_potential_V": "Peak potential [V]",
    "peak_charge_uC": "Peak charge [uC]",
    "peak_energy_mJ": "Peak energy [mJ]",
    "mie_ratio": "Peak energy over the minimum ignition energy",
    "first_over_mie": "First at or over it",
    "seconds_over_mie": "At or over it in all [s]",
    "relaxation_time_s": "Relaxation time [s]",
    "velocity_m_s": "Greatest velocity [m/s]",
    "velocity_limit_m_s": "Published limit of velocity [m/s]",
}


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of a row, and what marks it."""

    cells: Sequence[str]
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under headings."""

    heads: Sequence[str]
    rows: Sequence[Row]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the page."""

    title: str
    text: Sequence[str] = ()
    drawings: Sequence[Markup] = ()
    tables: Sequence[Table] = ()
    items: Sequence[str] = field(default=())


def page(about: About, documents: Mapping[str, Any], files: Mapping[str, bytes]) -> bytes:
    """Return the page: the same files give the same bytes.

    Parameters
    ----------
    about : About
        What the package is about.
    documents : mapping
        What each JSON file says, by its name.
    files : mapping
        Contents of the other files by name: the drawings are put in, all have their SHA-256 told.
    """
    teller = _Teller(about, documents, files)
    text = _template().render(
        about=about,
        cautions=about.cautions,
        warnings=list(teller.warnings()),
        sections=[section for section in teller.sections() if section is not None],
    )
    return text.encode()


@lru_cache
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("analytics.evidence", "page"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        finalize=_readable,
    )
    environment.filters["broken"] = _broken
    return environment.get_template("evidence.html")


SHORT_TEXT, LONG_WORD = 16, 22
"""Characters: what is shorter stays on a line, a longer word would push its column off the page."""


def _broken(cell: str) -> str:
    """Return how a cell may be broken into lines, as a class."""
    if len(cell) <= SHORT_TEXT:
        return "short"
    return "long" if any(len(word) > LONG_WORD for word in cell.split()) else ""


def _readable(value: Any) -> Any:
    """Return what is put into the page without characters that no page may hold or that turn text.

    A name from outside could otherwise be shown backwards.
    """
    if isinstance(value, str) and not isinstance(value, Markup):
        return _UNREADABLE.sub("\N{REPLACEMENT CHARACTER}", value)
    return value


class _Teller:
    """What a package says, section by section."""

    def __init__(
        self, about: About, documents: Mapping[str, Any], files: Mapping[str, bytes]
    ) -> None:
        self.about = about
        self.files = files
        self.zone = ZoneInfo(about.timezone)
        self.replay: Plain = documents["replay.json"]
        self.results: Plain = documents["results.json"]
        self.reviews: Sequence[Plain] = documents["reviews.json"]
        self.papers: Plain = documents["paperwork.json"]
        self.coverage: Plain = documents["coverage.json"]

    def warnings(self) -> Iterator[str]:
        yield from (f"stored readings cannot be read: {each}" for each in self.about.damaged)
        for each in self.about.unexplained:
            yield f"the rules do not give this again from the enclosed readings: {each}"

    def sections(self) -> Iterator[Section]:
        yield self._transfer()
        yield self._record()
        yield self._findings()
        yield self._said()
        yield self._events()
        yield self._missing()
        yield self._hazard()
        yield self._typical()
        yield self._limits()
        yield self._paperwork()
        yield self._coverage()
        yield self._enclosed()

    def _time(self, utc: str | None) -> str:
        """Return a moment on the site's clock, to the millisecond."""
        if utc is None:
            return NOTHING
        here = local(parse_time(utc), self.zone)
        twin = here.replace(fold=1 - here.fold)
        offset = "" if twin.utcoffset() == here.utcoffset() else f"{here:%z}"
        return f"{here:%Y-%m-%d %H:%M:%S}.{here.microsecond // 1000:03}{offset}"

    def _transfer(self) -> Section:
        row = self.results["transfer"]
        unit = row["unit"] or ""
        facts = {
            "Flow": f"{self._time(row['start'])} to {self._time(row['end'])}",
            "Flowing": span(row["flow_s"]),
            "Volume": NOTHING if row["volume"] is None else f"{number(row['volume'])} {unit}",
            "Product, batch": f"{row['product'] or NOTHING}, {row['batch'] or NOTHING}",
            "Operator, as on the ticket": row["operator"] or NOTHING,
            "Compliant": "yes: no finding in the records speaks against it"
            if row["compliant"]
            else "no: see the findings",
            "Not bonded in flow": span(row["not_bonded_s"]),
            "Bond unknown in flow": span(row["no_data_s"]),
            "Bypassed in flow": span(row["bypassed_s"]),
            "Trips": str(row["trips"]),
            "Verified before first flow by": NOTHING
            if row["bond_lead_s"] is None
            else f"{number(row['bond_lead_s'])} s",
        }
        rows = [Row((name, says)) for name, says in facts.items()]
        return Section("The transfer", tables=[Table(("What", "On record"), rows)])

    def _record(self) -> Section:
        about = self.about
        text = (
            f"From {self._time(about.shown_from.utc)} to {self._time(about.shown_until.utc)}. "
            "Shaded: findings. Hatched: not known. Each reading is drawn until the next, and no "
            "longer than it holds; of many, first, last, least and greatest of each stretch."
        )
        return Section("The record", [text], [self._drawing("record")])

    def _drawing(self, name: str) -> Markup:
        text = self.files[f"figures/{name}.svg"].decode()
        return Markup(text[text.index("<svg") :])

    def _findings(self) -> Section:
        rows = [
            Row(
                (
                    f"{SIGNS.get(row['severity'], '')} {row['severity']} {plain(row['kind'])}",
                    f"{self._time(row['start'])} to {self._time(row['end'])}",
                    row["summary"],
                    _pairs(row["evidence"]),
                    _pairs(row["limits"]),
                ),
                row["severity"],
            )
            for row in self.results["findings"]
        ]
        text = [
            f"Judged by version {self.about.rules} of the rules. The rules were run again on the "
            "enclosed readings, with the enclosed limits, when this package was made."
        ]
        if self.about.beyond:
            text.append("These reach beyond the enclosed readings and do not come out of them:")
        heads = ("Finding", "When", "In words", "Numbers behind it", "Limits")
        tables = [Table(heads, rows)] if rows else []
        if not rows:
            text.insert(0, "None in the enclosed span. That does not say that anything was safe.")
        return Section("Findings", text, tables=tables, items=self.about.beyond)

    def _said(self) -> Section:
        told = told_reviews(self.reviews)
        rows = [
            Row(
                (
                    str(row["number"]),
                    self._time(row["at"]),
                    row["author"],
                    row["state"],
                    row["finding"],
                    row["comment"],
                )
            )
            for row in told
        ]
        text = (
            f"{len(told)} of the {len(self.reviews)} reviews in the log are of what is enclosed. "
            "Of the others only the digests are told, which chain them. Authors are as typed: a "
            "name is no proof of who it was."
        )
        heads = ("No", "Said", "By", "State", "Finding", "Comment")
        return Section("Reviews", [text], tables=[Table(heads, rows)] if rows else [])

    def _events(self) -> Section:
        rows = [
            Row(
                (
                    self._time(row["time"]) + ("" if row["order_certain"] else " ="),
                    plain(row["what"]),
                    row["basis"],
                    row["detail"],
                    _figure(row["ohm"]),
                    _figure(row["flow"]),
                    _figure(row["volume"]),
                )
            )
            for row in self.replay["events"]
        ]
        text = (
            "Each event stands at the moment it was seen. Known: a reading or a person says so. "
            "Inferred: a rule says so, from readings. Missing: from here on nothing is known. "
            "= behind a time: whether this came before or after the one above cannot be told, they "
            "lie closer than their points report. events.csv has since when each may have been so."
        )
        heads = ("Seen", "What", "Basis", "Detail", "ohm", "Flow", "So far")
        return Section("The sequence of events", [text], tables=[Table(heads, rows)])

    def _missing(self) -> Section:
        rows = [
            Row((row["about"], self._time(row["start"]), self._time(row["end"]), row["why"]))
            for row in self.replay["missing"]
        ]
        heads = ("What", "From", "To", "Why")
        text = [] if rows else ["Nothing of what the site file names."]
        return Section("What is missing", text, tables=[Table(heads, rows)] if rows else [])

    def _hazard(self) -> Section:
        hazard = self.replay["hazard"]
        text = [self.replay["caution"], *hazard["reasons"]]
        tables = []
        if all(hazard[level] for level in _LEVELS):
            tables.append(self._levels(hazard))
            tables.append(self._inputs(hazard))
        drawn = [self._drawing("hazard")] if "figures/hazard.svg" in self.files else []
        items = [*hazard["notes"], *(f"Not seen: {each}" for each in hazard["unseen"])]
        return Section("What the charge could have been", text, drawn, tables, items)

    def _levels(self, hazard: Plain) -> Table:
        rows = [
            Row((says, *(self._level(name, hazard[level][name]) for level in _LEVELS)))
            for name, says in _FIGURES.items()
        ]
        return Table(("Estimate", "Low", "Typical", "High"), rows)

    def _level(self, name: str, value: Any) -> str:
        return self._time(value) if name == "first_over_mie" else _figure(value)

    def _inputs(self, hazard: Plain) -> Table:
        rows = [
            Row((name, *(_end(row[level]) for level in _LEVELS), row["unit"], row["source"]))
            for name, row in hazard["inputs"].items()
        ]
        return Table(("Input", "Low", "Typical", "High", "Unit", "Source"), rows, "Made of")

    def _typical(self) -> Section:
        typical = self.replay["typical"]
        if typical is None:
            return Section("Beside the typical transfer", ["There is none to compare with."])
        rows = [
            Row(
                (
                    plain(row["name"]),
                    *(_figure(row[name]) for name in ("value", "low", "median", "high")),
                    str(row["of"]),
                    {True: "▲ differs", False: "within", None: "too few to tell"}[row["differs"]],
                )
            )
            for row in typical["comparisons"]
        ]
        first = typical["first_difference"]
        text = [
            f"The range of {len(typical['transfers'])} good transfers before it, of the same "
            "station and product. Their readings are not enclosed.",
            "Nothing differs." if first is None else f"First to differ: {plain(first['name'])}.",
        ]
        heads = ("Figure", "Here", "Least", "Median", "Greatest", "Of", "")
        return Section("Beside the typical transfer", text, tables=[Table(heads, rows)])

    def _limits(self) -> Section:
        tables = [
            Table(
                ("Limit", "Value"),
                [Row((name, number(value))) for name, value in each["limits"].items()],
                f"From {self._time(each['since'])} on",
            )
            for each in self.replay["limits"]
        ]
        return Section("Limits in force", tables=tables)

    def _paperwork(self) -> Section:
        tickets = [
            Row(
                (
                    self._time(r["start"]),
                    self._time(r["end"]),
                    r["batch"],
                    r["product"],
                    r["operator"],
                )
            )
            for r in self.papers["tickets"]
        ]
        work = [
            Row((self._time(r["start"]), self._time(r["end"]), r["what"]))
            for r in self.papers["work"]
        ]
        tables = []
        if tickets:
            tables.append(Table(("From", "To", "Batch", "Product", "Operator"), tickets, "Tickets"))
        if work:
            tables.append(Table(("From", "To", "What"), work, "Work windows"))
        text = [] if tables else ["No ticket and no work window bears on it."]
        return Section("Tickets and work", text, tables=tables)

    def _coverage(self) -> Section:
        told = {"bond": self.coverage["bond"], **self.coverage["points"]}
        rows = [
            Row(
                (
                    name,
                    percent(row["share"]),
                    span(row["known_s"]),
                    span(row["silent_s"]) if "silent_s" in row else NOTHING,
                    span(row["bad_s"]) if "bad_s" in row else NOTHING,
                    f"{row['readings']:,}" if "readings" in row else NOTHING,
                    _pairs(row.get("of_quality", {})),
                )
            )
            for name, row in told.items()
        ]
        judged = [
            Row((row["about"], row["reach"], row["reason"])) for row in self.coverage["judged_on"]
        ]
        heads = ("Signal", "Known", "For", "Silent for", "Bad for", "Readings", "Of quality")
        return Section(
            "What is on record",
            [f"Of the {span(self.coverage['span_s'])} shown."],
            tables=[
                Table(heads, rows),
                Table(("About", "", "Why"), judged, "What this station can be judged on"),
            ],
        )

    def _enclosed(self) -> Section:
        window = self.about.judged
        files = [Row((name, f"{len(c):,}", sha256(c))) for name, c in sorted(self.files.items())]
        sites = [Row((s.file, self._time(s.holds_from.utc))) for s in self.about.sites]
        versions = [Row((name, says)) for name, says in self.about.versions.items()]
        points = [
            Row((p.point, p.unit, f"{p.readings:,}", f"{p.arrival_recorded:,}"))
            for p in self.about.points
        ]
        text = [
            f"Readings that hold from {self._time(window.start.utc)} to "
            f"{self._time(window.end.utc)}: so many that the rules give again what began from "
            f"{self._time(window.since.utc)} to {self._time(window.until.utc)}.",
            "The hashes tell whether a file was changed since MANIFEST was written. Only a "
            "signature by a key that you have from elsewhere, or a SHA-256 kept elsewhere, tells "
            "whether all of it was written anew. README.txt says how to check both without "
            "Bondtrail.",
        ]
        return Section(
            "What is enclosed",
            text,
            tables=[
                Table(("Point", "Unit", "Readings", "With arrival recorded"), points),
                Table(("Site file", "Holds from"), sites),
                Table(("File", "Bytes", "SHA-256"), files),
                Table(("Made with", "Version"), versions),
            ],
        )


def _figure(value: Any) -> str:
    return NOTHING if value is None else number(value)


def _end(value: Any) -> str:
    return "no end" if value is None else number(value)


def _pairs(values: Mapping[str, Any]) -> str:
    return "; ".join(f"{plain(name)} {_said(value)}" for name, value in values.items())


def _said(value: Any) -> str:
    if value is None:
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else number(value)
