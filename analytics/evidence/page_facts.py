"""The page of a package: what it is, the transfer, the record, and what was found and said."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from markupsafe import Markup

from analytics.evidence.chain import told_reviews
from analytics.evidence.documents import About
from analytics.evidence.layout import FACTS, Column, Listing, Row, Section, Table, Width, by_day
from analytics.evidence.rows import Plain
from analytics.evidence.words import Clock, amount, at_least, exact, name_of, told
from analytics.reports.html import SIGNS
from analytics.reports.words import NOT_RECORDED, NOTHING, plain, span
from bondtrail.site import Role

CAN_SHOW = (
    "What the monitors reported, reading by reading, with its quality; and where it was recorded, "
    "when each reading came into the store.",
    "That the findings are what the rules make of these readings, with the limits that held on "
    "that day: whoever has this package can run the rules again.",
    "That no file was changed since, to someone who has the signer's public key from the signer, "
    "or the SHA-256 of this package from elsewhere.",
    "That no review was edited, and none taken out of the middle of the log.",
)
CANNOT_SHOW = (
    "Whether the instruments were right, or whether readings were changed before they came into "
    "the store.",
    "What was not recorded, and what the monitors do not watch.",
    "Whether anything ignited, or what did; what the charge could have been is an estimate.",
    "That anything was safe: nothing here says so, nor that it was not.",
    "When this package was made, and who the people are that it names: their names are as typed.",
)


@dataclass(frozen=True)
class Source:
    """The files of a package, as the page tells them."""

    about: About
    documents: Mapping[str, Any]
    files: Mapping[str, bytes]

    @cached_property
    def clock(self) -> Clock:
        """That of the site."""
        return Clock(ZoneInfo(self.about.timezone))

    @property
    def replay(self) -> Plain:
        """What ``replay.json`` says."""
        told: Plain = self.documents["replay.json"]
        return told

    @property
    def results(self) -> Plain:
        """What ``results.json`` says."""
        told: Plain = self.documents["results.json"]
        return told

    @property
    def volume_unit(self) -> str:
        """L or kg; nothing where no flow is recorded."""
        return str(self.results["transfer"]["unit"] or "")

    @property
    def rate_unit(self) -> str:
        """L/min or kg/min; nothing where no flow is recorded."""
        return f"{self.volume_unit}/min" if self.volume_unit else ""

    def drawing(self, name: str) -> list[Markup]:
        """Return a drawing as it stands inside the page; none where there is none."""
        if (content := self.files.get(f"figures/{name}.svg")) is None:
            return []
        text = content.decode()
        return [Markup(text[text.index("<svg") :])]


def limit(source: Source, name: str, value: float) -> str:
    """Return a limit with its unit; that of flow depends on the station."""
    return exact(name, value, source.rate_unit if name == "flow_min" else None)


def transfer(source: Source) -> Section:
    """Return which transfer it is."""
    row, clock, about = source.results["transfer"], source.clock, source.about
    words = source.replay["in_words"]
    facts = {
        "Id": row["id"],
        "Station": f"{about.station_name} ({about.station})",
        "Site": f"{about.site_name} ({about.site})",
        "Flow": clock.between(row["start"], row["end"]),
        "Time in flow": span(row["flow_s"]),
        "Quantity": words["volume"] or NOT_RECORDED,
        "Product": row["product"] or NOTHING,
        "Batch, as on the ticket": row["batch"] or NOTHING,
        "Operator, as on the ticket": row["operator"] or NOTHING,
        "Compliant": "yes: no finding in the records speaks against it"
        if row["compliant"]
        else "no: see the findings",
        "Bond": words["bond"],
        "Not bonded in flow": _part(source, row, "not_bonded"),
        "Bond unknown in flow": _part(source, row, "no_data"),
        "Bypass in flow": words["bypass"] + _besides(source, row["bypassed_volume"]),
        "Trips": str(row["trips"]),
    }
    return Section("The transfer", tables=[Table(FACTS, [Row(each) for each in facts.items()])])


def _part(source: Source, row: Plain, name: str) -> str:
    return span(row[f"{name}_s"]) + _besides(source, row[f"{name}_volume"])


def _besides(source: Source, volume: float | None) -> str:
    """Return what flowed in the time told before it; nothing where none of it was measured."""
    return f", {_measured(source, volume)}" if volume else ""


def _measured(source: Source, volume: float) -> str:
    """Return what flowed, as far as it was measured."""
    if not source.replay["in_words"]["unmeasured"]:
        return amount(volume, source.volume_unit)
    return at_least(volume, source.volume_unit) if volume else "not known"


def showing(source: Source) -> Section:
    """Return what such a package can show."""
    cannot = [*_removed(source), *CANNOT_SHOW]
    lists = [Listing("It can show", CAN_SHOW), Listing("It cannot show", cannot)]
    return Section("What this can show, and what not", lists=lists)


def _removed(source: Source) -> Iterator[str]:
    """Yield what is not told because readings of the station were removed."""
    floor, clock = source.about.floor, source.clock
    if floor is None:
        return
    here = "the site file says how long they are kept"
    if floor.since.ns <= source.results["transfer"]["start_ns"]:
        yield (
            f"What happened at this station before {clock.moment(floor.since.utc)}. Its readings "
            f"from before {clock.moment(floor.kept.utc)} were removed: {here}."
        )
        return
    left = "".join(
        f" Here they {how} {clock.moment(moment.utc)}."
        for how, moment in (("begin at", floor.left_from), ("end at", floor.left_until))
        if moment is not None
    )
    yield (
        f"All that happened at this station before {clock.moment(floor.since.utc)}. Of its "
        f"readings from before {clock.moment(floor.kept.utc)} only those are left that somebody "
        f"needed: {here}.{left}"
    )


def record(source: Source) -> Section:
    """Return the drawing of what was recorded."""
    about = source.about
    shown = source.clock.between(about.shown_from.utc, about.shown_until.utc)
    text = [
        f"From {shown}. Each reading is drawn until the next, and no longer than it holds; where "
        "they are many, the first, last, least and greatest of each stretch are. An open circuit "
        "has no number of ohms: it is drawn at a level of its own. The readings themselves are in "
        "the folder readings."
    ]
    return Section("The record", text, drawings=source.drawing("record"))


_FINDINGS = (
    Column("Finding", Width.NAME),
    Column("From, to", Width.TIME),
    Column("In words"),
    Column("Numbers behind it"),
    Column("Limits"),
)


def findings(source: Source) -> Section:
    """Return what the rules found."""
    rows = [(row["start"], _finding(source, row)) for row in source.results["findings"]]
    text = [
        f"Judged by version {source.about.rules} of the rules. The rules were run again on the "
        "enclosed readings, with the enclosed limits, when this package was made. Lowest and "
        "highest resistance are of the readings below open: an open circuit has no figure."
    ]
    if untold := source.replay["in_words"]["unmeasured"]:
        text.append(
            f"Not all that flowed was measured: {untold}. What the sentences say of litres or "
            "kilograms was measured: at least so much flowed."
        )
    if not rows:
        text.insert(0, "None in the enclosed span. That does not say that anything was safe.")
    beyond = "These reach beyond the enclosed readings, or may, and do not come out of them whole"
    return Section(
        "Findings",
        text,
        tables=[Table(_FINDINGS, list(by_day(source.clock, rows)))] if rows else [],
        notes=[Listing(beyond, source.about.beyond)] if source.about.beyond else [],
    )


def _finding(source: Source, row: Plain) -> Row:
    evidence = dict(row["evidence"])
    evidence.pop("unit", None)
    if all(point.role is not Role.BYPASS for point in source.about.points):
        evidence.pop("bypassed_s", None)  # the rules count what is not recorded as none
    numbers = (
        f"{name_of(name)} {_measured(source, value) if name == 'volume' else _number(name, value)}"
        for name, value in evidence.items()
        if value is not None
    )
    limits = (f"{name_of(name)} {limit(source, name, v)}" for name, v in row["limits"].items())
    cells = (
        f"{SIGNS.get(row['severity'], '')} {row['severity']}: {plain(row['kind'])}",
        _until(source.clock, row["start"], row["end"]),
        row["summary"],
        "; ".join(numbers),
        "; ".join(limits),
    )
    return Row(cells, row["severity"])


def _number(name: str, value: Any) -> str:
    """Return a number behind a finding, or the word for it, such as its cause."""
    return plain(told(name, value))


def _until(clock: Clock, start: str, end: str) -> str:
    """Return the time of day at both ends; the date of the second where it is another."""
    same = clock.day(start) == clock.day(end)
    return f"{clock.time(start)} {clock.time(end) if same else clock.moment(end)}"


_REVIEWS = (
    Column("No", Width.COUNT),
    Column("Said at", Width.MOMENT),
    Column("By", Width.NAME),
    Column("State", Width.SHORT),
    Column("Finding"),
    Column("Comment"),
)


def reviews(source: Source) -> Section:
    """Return what people said of the findings."""
    log: Sequence[Plain] = source.documents["reviews.json"]
    rows = [
        Row(
            (
                str(row["number"]),
                source.clock.moment(row["at"]),
                row["author"],
                row["state"],
                row["finding"],
                row["comment"],
            )
        )
        for row in told_reviews(log)
    ]
    if not log:
        return Section("Reviews", ["None is in the log."])
    text = (
        f"{len(rows)} of the {len(log)} reviews in the log are of what is enclosed. Of the others "
        "only the digests are told, which chain them. Authors are as typed: a name is no proof of "
        "who it was."
    )
    return Section("Reviews", [text], tables=[Table(_REVIEWS, rows)] if rows else [])


def paperwork(source: Source) -> Section:
    """Return the tickets and the work on the station."""
    tables = list(_papers(source))
    text = [] if tables else ["No ticket and no work window bears on it."]
    return Section("Tickets and work", text, tables=tables)


_SPAN = (Column("From", Width.MOMENT), Column("To", Width.MOMENT))


def _papers(source: Source) -> Iterator[Table]:
    papers, clock = source.documents["paperwork.json"], source.clock
    told_as = {
        "Tickets": ("tickets", ("batch", "product", "operator")),
        "Work windows": ("work", ("what",)),
    }
    for title, (sort, names) in told_as.items():
        rows = [
            Row((clock.moment(r["start"]), clock.moment(r["end"]), *(r[name] for name in names)))
            for r in papers[sort]
        ]
        if rows:
            columns = (*_SPAN, *(Column(name.capitalize()) for name in names))
            yield Table(columns, rows, title)
