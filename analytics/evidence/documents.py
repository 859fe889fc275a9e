"""The files of a package but for the readings: what each says, as plain values."""

from __future__ import annotations

import csv
import io
import platform
import zlib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib import metadata
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from analytics.evidence.chain import enclosed_log
from analytics.evidence.covering import coverage
from analytics.evidence.faults import UnreadableError
from analytics.evidence.gathering import Gathered
from analytics.evidence.left import Left
from analytics.evidence.readings import signals_of
from analytics.evidence.replaced import count
from analytics.evidence.rerun import Window
from analytics.evidence.rows import json_bytes, parse_json, plain_rows
from analytics.evidence.zones import zone_version
from analytics.replay.objects import replay_object
from bondtrail import __version__
from bondtrail.formulas import harmless
from bondtrail.results import RULES_VERSION
from bondtrail.samples import Quality
from bondtrail.site import Role
from bondtrail.times import format_time
from store import NEVER

CAUTIONS = (
    "Bondtrail reads records and reports what they show. It is not a safety function, it controls "
    "nothing, and nothing in this package says that anything was safe.",
    "Whether an installation, a limit or an operation is acceptable is for the local codes, the "
    "authority and licensed or competent persons to say. The limits are those of the enclosed "
    "site file.",
    "What was not recorded cannot speak: see what is on record, and what is missing.",
)

LIBRARIES = ("cryptography", "jinja2", "matplotlib", "numpy", "pandas", "pint", "pyarrow",
             "pydantic", "scipy")  # fmt: skip
"""On which figures, drawings and files depend."""

_UNITS = {Role.RESISTANCE: "ohm"}


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Moment(_Part):
    """A moment, for people and in whole ns."""

    utc: str
    ns: Annotated[int, Field(ge=-(2**63), lt=2**63)]

    @classmethod
    def of(cls, ns: int) -> Moment:
        """Return a moment by its ns."""
        return cls(utc=format_time(ns), ns=ns)


class EnclosedSite(_Part):
    """A site file of the package, and from when it holds."""

    file: Annotated[str, Field(pattern=r"^site/[1-9][0-9]{0,3}\.toml$")]
    holds_from: Moment


class EnclosedPoint(_Part):
    """A point of the station, and how many readings of it are enclosed.

    ``replaced`` counts the earlier values of those that others took the place of. ``heard_from``
    and ``heard_until`` are when its first and last reading on record are, moved to the ends of
    the enclosed stretch where they are beyond it.
    """

    role: Role
    point: str
    unit: str
    readings: int
    arrival_recorded: int
    replaced: int
    heard_from: Moment | None
    heard_until: Moment | None


class Judged(_Part):
    """Which readings are enclosed, and what is judged from them; see `rerun.Window`."""

    start: Moment
    since: Moment
    until: Moment
    end: Moment


class Floor(_Part):
    """The station's floor where old readings were removed, and what is left; see `left.Left`."""

    since: Moment
    kept: Moment
    left_from: Moment | None
    left_until: Moment | None

    @classmethod
    def of(cls, left: Left) -> Floor:
        """Return what is told of what is left."""
        return cls(
            since=Moment.of(left.since),
            kept=Moment.of(left.kept),
            left_from=None if left.start is None else Moment.of(left.start),
            left_until=None if left.end is None else Moment.of(left.end),
        )


class About(_Part):
    """What a package is about: ``about.json``.

    Before format 2 nothing told of a floor.
    """

    format: Literal[1, 2]
    software: str
    rules: str
    site: str
    site_name: str
    timezone: str
    station: str
    station_name: str
    transfer: str
    margin_s: float
    shown_from: Moment
    shown_until: Moment
    judged: Judged
    floor: Floor | None = None
    sites: tuple[EnclosedSite, ...]
    points: tuple[EnclosedPoint, ...]
    beyond: tuple[str, ...]
    unexplained: tuple[str, ...]
    damaged: tuple[str, ...]
    versions: dict[str, str]
    cautions: tuple[str, ...]

    @model_validator(mode="after")
    def _has_what_its_format_has(self) -> About:
        if ("floor" in self.model_fields_set) != (self.format > 1):
            raise ValueError("a floor is told from format 2 on, and always there")
        return self

    @property
    def left(self) -> Left | None:
        """What is left of the readings, where old ones were removed and that matters."""
        if (told := self.floor) is None:
            return None
        return Left(
            told.since.ns,
            told.kept.ns,
            None if told.left_from is None else told.left_from.ns,
            None if told.left_until is None else told.left_until.ns,
        )

    @property
    def window(self) -> Window:
        """The window as the rules take it."""
        told = self.judged
        return Window(told.start.ns, told.since.ns, told.until.ns, told.end.ns)

    @property
    def shown(self) -> tuple[int, int]:
        """The transfer with its margins. [ns]"""
        return self.shown_from.ns, self.shown_until.ns


def about(from_store: Gathered, margin_s: float) -> About:
    """Return what a package is about."""
    replay, window = from_store.replay, from_store.window
    return About(
        format=2,
        software=__version__,
        rules=RULES_VERSION,
        site=replay.site.id,
        site_name=replay.site.name,
        timezone=replay.site.timezone,
        station=replay.station.id,
        station_name=replay.station.name,
        transfer=from_store.transfer.id,
        margin_s=float(margin_s),
        shown_from=Moment.of(from_store.shown[0]),
        shown_until=Moment.of(from_store.shown[1]),
        judged=Judged(
            start=Moment.of(window.start),
            since=Moment.of(window.since),
            until=Moment.of(window.until),
            end=Moment.of(window.end),
        ),
        floor=None if from_store.left is None else Floor.of(from_store.left),
        sites=tuple(
            EnclosedSite(file=f"site/{number}.toml", holds_from=Moment.of(since))
            for number, (since, _) in enumerate(from_store.sites, start=1)
        ),
        points=tuple(_points(from_store)),
        beyond=tuple(str(each) for each in from_store.differences if each.beyond),
        unexplained=tuple(str(each) for each in from_store.differences if not each.beyond),
        damaged=tuple(from_store.damaged),
        versions=versions(replay.site.zone),
        cautions=CAUTIONS,
    )


def _points(from_store: Gathered) -> Iterator[EnclosedPoint]:
    station = from_store.replay.station
    for role, readings in sorted(from_store.readings.items()):
        unit = f"{station.volume_unit}/min" if role is Role.FLOW and station.volume_unit else ""
        yield EnclosedPoint(
            role=role,
            point=f"{station.id}.{role}",
            unit=_UNITS.get(role, unit),
            readings=len(readings.samples),
            arrival_recorded=int((readings.arrived_from != NEVER).sum()),
            replaced=count(from_store.replaced.get(role, ())),
            **_heard(from_store.heard.get(role)),
        )


def _heard(span: tuple[int, int] | None) -> dict[str, Moment | None]:
    names = ("heard_from", "heard_until")
    return dict(zip(names, map(Moment.of, span) if span else (None, None), strict=True))


def versions(zone: ZoneInfo) -> dict[str, str]:
    """Return the versions of all on which the bytes of a package of a site in a zone depend."""
    return {
        "bondtrail": __version__,
        "rules": RULES_VERSION,
        "python": platform.python_version(),
        "zlib": zlib.ZLIB_RUNTIME_VERSION,
        **{name: _installed(name) for name in LIBRARIES},
        "time zones": zone_version(zone),
    }


@cache
def _installed(name: str) -> str:
    """Return the version of a library; to look it up reads files, and takes 10 ms."""
    return metadata.version(name)


def about_bytes(told: About) -> bytes:
    """Return ``about.json``."""
    return json_bytes(told.model_dump(mode="json"))


def parse_about(content: bytes) -> About:
    """Return what ``about.json`` says.

    Raises
    ------
    UnreadableError
        If it does not say what a package is about.
    """
    parse_json(content, "about.json")
    try:
        return About.model_validate_json(content)
    except ValidationError as exc:
        first = exc.errors(include_url=False, include_input=False)[0]
        place = ".".join(map(str, first["loc"]))
        raise UnreadableError(f"about.json: {place}: {first['msg']}") from exc


def told(from_store: Gathered) -> dict[str, Any]:
    """Return the other documents by the name of their file, as plain values."""
    station = from_store.replay.station
    signals = signals_of(from_store.readings, station, *from_store.shown)
    return {
        "coverage.json": coverage(station, signals, from_store.shown, from_store.replaced),
        "paperwork.json": {
            "work": plain_rows(from_store.work),
            "tickets": plain_rows(from_store.tickets),
        },
        "rejects.json": {"rejects": plain_rows(from_store.rejects)},
        "replay.json": replay_object(from_store.replay),
        "results.json": {
            "transfer": next(
                row
                for row in from_store.results["transfers"]
                if row["id"] == from_store.transfer.id
            ),
            **from_store.results,
        },
        "reviews.json": enclosed_log(
            from_store.reviews, from_store.findings, *from_store.shown, station.id
        ),
    }


_EVENT_COLUMNS = (
    "time", "since", "what", "basis", "role", "detail", "order_certain", "bond", "ohm", "flow",
    "volume", "volume_is_least", "finding",
)  # fmt: skip


def events_csv(replay: Mapping[str, Any]) -> bytes:
    """Return the sequence of events as a spreadsheet takes it."""
    content = io.StringIO()
    writer = csv.writer(content, lineterminator="\n")
    writer.writerow(_EVENT_COLUMNS)
    for event in replay["events"]:
        writer.writerow([_cell(event[name]) for name in _EVENT_COLUMNS])
    return content.getvalue().encode()


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return harmless(value) if isinstance(value, str) else value


QUALITIES = ", ".join(f"{quality.value} {quality.name.lower()}" for quality in Quality)

README = f"""\
Evidence of one transfer
========================

This package was written by Bondtrail. evidence.html tells all of it to people, offline.

  evidence.html       what was recorded, found, said and estimated, with the drawings
  figures/            the drawings
  readings/           every reading, unchanged, of each point: Parquet, and the same as CSV
                      and as *.replaced the earlier values of those that were replaced since, with
                      when that was, where there are any
  results.json        transfers, hookups, trips and findings as the rules judged them
  replay.json         the sequence of events, the hazard estimate, the limits that held
  events.csv          the sequence of events
  reviews.json        what people said of the findings, with the chain of digests; of reviews of
                      other findings only of which, and the digests
  paperwork.json      tickets and work windows
  rejects.json        what would have been readings of that time and could not be taken, and why
  coverage.json       how much of the time is on record
  site/               the site files that held, with all limits
  about.json          what is enclosed, which versions made it
  MANIFEST            the SHA-256 of every file
  MANIFEST.sig        if it is signed: Ed25519 over MANIFEST; signer.pem is the key it names

Readings: times are UTC, values in ohm, L/min or kg/min, contacts 0 or 1; "open" is an open
circuit. Quality: {QUALITIES}. arrived_from and arrived_until: between these moments the reading
came into the store; empty where nobody recorded that.

To check it with Bondtrail:      bondtrail evidence --verify FILE.zip --key PUBLIC.pem
To check the files without:      sha256sum --check MANIFEST
To compare with digests that were kept, of the zip as it came and of MANIFEST in it:
                                 sha256sum FILE.zip MANIFEST
    or                           openssl dgst -sha256 FILE.zip MANIFEST
To check the signature without:  openssl pkeyutl -verify -pubin -inkey PUBLIC.pem -rawin \\
                                   -in MANIFEST -sigfile MANIFEST.sig

What the checks can tell. The hashes tell whether a file was changed since MANIFEST was written.
Whoever can write all of the package can write MANIFEST anew as well: only a signature by a key
that you have from elsewhere, or the SHA-256 of MANIFEST or of the zip kept elsewhere since, tells
of that. signer.pem comes with the package and proves nothing by itself. Nothing here tells when
the package was made: for that, have its SHA-256 stamped by someone whom both sides trust. None of
this tells whether the instruments were right.

{chr(10).join(CAUTIONS)}
"""
