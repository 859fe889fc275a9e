"""The page of a package: what all of it rests on: limits, coverage, files and versions."""

from __future__ import annotations

from collections.abc import Mapping

from analytics.evidence.layout import Column, Row, Section, Table, Width
from analytics.evidence.manifest import sha256
from analytics.evidence.page_facts import Source, limit
from analytics.evidence.rows import Plain
from analytics.evidence.words import name_of
from analytics.reports.words import NOTHING, percent, plain, span
from bondtrail.site import Role


def limits(source: Source) -> Section:
    """Return the limits that held."""
    columns = (Column("Limit"), Column("Value", Width.NAME), Column("Name in the site file"))
    tables = [
        Table(
            columns,
            [
                Row((name_of(name), limit(source, name, value), name))
                for name, value in each["limits"].items()
            ],
            f"From {source.clock.moment(each['since'])} on",
        )
        for each in source.replay["limits"]
    ]
    return Section("Limits in force", ["As the site file had them on that day."], tables=tables)


def coverage(source: Source) -> Section:
    """Return how much of the time is on record."""
    of = source.documents["coverage.json"]
    columns = (
        Column("Signal", Width.NAME),
        Column("Known", Width.SHORT),
        Column("For"),
        Column("Silent for"),
        Column("Bad for"),
        Column("Readings", Width.SHORT),
        Column("Good, uncertain, bad", Width.NAME),
    )
    rows = [_covered(name, row) for name, row in {"bond": of["bond"], **of["points"]}.items()]
    judged = [Row((plain(r["about"]), plain(r["reach"]), r["reason"])) for r in of["judged_on"]]
    about = (Column("About", Width.NAME), Column("Can be judged", Width.NAME), Column("Why"))
    return Section(
        "What is on record",
        [f"Of the {span(of['span_s'])} shown."],
        tables=[
            Table(columns, rows),
            Table(about, judged, "What this station can be judged on"),
        ],
    )


def _covered(name: str, row: Plain) -> Row:
    qualities = row.get("of_quality", {})
    return Row(
        (
            name,
            percent(row["share"]),
            span(row["known_s"]),
            span(row["silent_s"]) if "silent_s" in row else NOTHING,
            span(row["bad_s"]) if "bad_s" in row else NOTHING,
            f"{row['readings']:,}" if "readings" in row else NOTHING,
            ", ".join(f"{count:,}" for count in qualities.values()) or NOTHING,
        )
    )


def enclosed(source: Source) -> Section:
    """Return what is enclosed, with the digest of every file, and how to check it."""
    window, clock = source.about.judged, source.clock
    text = [
        f"Readings that hold from {clock.between(window.start.utc, window.end.utc)}: so many that "
        "the rules give again what began from "
        f"{clock.between(window.since.utc, window.until.utc)}.",
        "The hashes tell whether a file was changed since MANIFEST was written. Only a signature "
        "by a key that you have from elsewhere, or a SHA-256 kept elsewhere, tells whether all of "
        "it was written anew.",
        "To check it: bondtrail evidence --verify FILE.zip --key PUBLIC.pem. README.txt says how "
        "to check the files and the signature without Bondtrail.",
    ]
    return Section("What is enclosed, and how to check it", text, tables=_lists(source))


_WHAT: Mapping[str, str] = {
    "README.txt": "how to read and check all this",
    "about.json": "what is enclosed, and versions",
    "coverage.json": "how much is on record",
    "events.csv": "the sequence of events",
    "paperwork.json": "tickets and work",
    "rejects.json": "rows that could not be taken",
    "replay.json": "events, estimate, limits",
    "results.json": "what the rules judged",
    "reviews.json": "what people said",
    "signer.pem": "the signer's public key",
}
_WHAT_IN: Mapping[str, str] = {"figures": "a drawing", "readings": "readings", "site": "site file"}


def _what_is(name: str) -> str:
    """Return what a file of a package holds, in a few words."""
    if ".replaced." in name:
        return "earlier values, replaced since"
    return _WHAT.get(name) or _WHAT_IN.get(name.partition("/")[0], NOTHING)


_CODES = {Role.STATUS: "0 to 3"}


def _lists(source: Source) -> list[Table]:
    about = source.about
    points = [
        Row(
            (
                p.point,
                p.unit or _CODES.get(p.role, "0 or 1"),
                f"{p.readings:,}",
                f"{p.arrival_recorded:,}",
                f"{p.replaced:,}",
            )
        )
        for p in about.points
    ]
    sites = [Row((s.file, source.clock.moment(s.holds_from.utc))) for s in about.sites]
    files = [
        Row((name, _what_is(name), f"{len(content):,}", sha256(content)))
        for name, content in sorted(source.files.items())
    ]
    versions = [Row(each) for each in about.versions.items()]
    readings = (
        Column("Point"),
        Column("Told in", Width.SHORT),
        Column("Readings", Width.SHORT),
        Column("With arrival recorded", Width.NAME),
        Column("Earlier values of these", Width.NAME),
    )
    names = (
        Column("File"),
        Column("What it is"),
        Column("Bytes", Width.WORD),
        Column("SHA-256", Width.DIGEST),
    )
    return [
        Table(readings, points, "Readings"),
        Table((Column("Site file"), Column("Holds from")), sites, "Site files"),
        Table(names, files, "Files"),
        Table((Column("Made with"), Column("Version")), versions, "Versions"),
    ]
