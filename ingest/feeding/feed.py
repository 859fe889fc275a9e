"""Recorded readings to a broker: read, put in order, paced, encoded, published."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from bondtrail.site import Site
from ingest.errors import IngestError
from ingest.feeding.merging import Begin, merged
from ingest.feeding.messages import Outgoing
from ingest.feeding.native import NativeEncoder
from ingest.feeding.pace import due
from ingest.feeding.publisher import Publisher
from ingest.feeding.recorded import Reader, Wanted
from ingest.feeding.report import FeedReport
from ingest.feeding.sparkplug import SparkplugEncoder
from ingest.feeding.stretches import Stretch
from ingest.live.broker_url import Broker
from ingest.sources import STDIN, expand

MOST = 50
"""Readings of one point that share a message, where so many are due at once."""

OnProgress = Callable[[int, int], None]
"""Called with the readings acknowledged so far and the time (ns) of the last one sent."""


class Form(StrEnum):
    """As which messages readings are published."""

    NATIVE = "native"
    SPARKPLUG = "sparkplug"


_ENCODERS: dict[Form, type[NativeEncoder] | type[SparkplugEncoder]] = {
    Form.NATIVE: NativeEncoder,
    Form.SPARKPLUG: SparkplugEncoder,
}


@dataclass(frozen=True, slots=True)
class Plan:
    """How readings are published.

    Attributes
    ----------
    form : Form
        As which messages.
    speed : float or None
        So many seconds of the record go by in a second; None goes as fast as it can.
    wanted : Wanted
        Which readings.
    is_shifted : bool
        The first reading is of now, and the others keep their distance to it; else times stay as
        they were recorded.
    most : int
        Readings in one message at most.
    zone : ZoneInfo or None
        Where times without an offset were written; without it such rows are rejected.
    """

    form: Form = Form.NATIVE
    speed: float | None = 1.0
    wanted: Wanted = field(default_factory=Wanted)
    is_shifted: bool = False
    most: int = MOST
    zone: ZoneInfo | None = None


def feed(
    site: Site,
    paths: Iterable[str | Path],
    broker: Broker,
    plan: Plan,
    *,
    clock: Callable[[], int],
    progress: OnProgress | None = None,
) -> FeedReport:
    """Publish recorded readings, and wait until the broker has acknowledged them all.

    Parameters
    ----------
    site : Site
        Which tag is which point.
    paths : iterable of str or Path
        Files, patterns, directories, and ``-`` for standard input, as `ingest.load_files` takes.
    broker : Broker
        Where to.
    plan : Plan
        How.
    clock : callable
        Tells the time, in ns.
    progress : callable, optional
        Called as it goes on.

    Returns
    -------
    FeedReport
        The counts. An interrupt from the keyboard ends the feed early, which the report says.

    Raises
    ------
    BrokerError
        If the broker cannot be used, or is gone for too long.
    IngestError
        If not one of the files could be read.
    """
    names = expand(paths)
    report = FeedReport()
    reader = Reader(site, plan.wanted, zone=plan.zone, now=clock())
    encoder = _ENCODERS[plan.form](site, reader.points, plan.most)
    with Publisher(
        broker,
        f"bondtrail-feed-{secrets.token_hex(4)}",
        will=encoder.will(clock()),
        commands=encoder.commands,
    ) as publisher:
        recorded = merged([_file(reader, name, report) for name in names])
        paced = due(recorded, plan.speed, time.monotonic, publisher.serve)
        stretches = _from_now(paced, clock) if plan.is_shifted else paced
        try:
            _publish(stretches, encoder, publisher, clock, progress)
        except KeyboardInterrupt:
            report.is_stopped = True
        _send(publisher, encoder.closing(clock()))
        publisher.finish()
    report.published, report.messages = publisher.readings, publisher.messages
    report.refused, report.unheard = publisher.refused, publisher.unheard
    if len(report.errors) == len(names):
        raise IngestError(report.errors)
    return report


def _file(reader: Reader, name: str, report: FeedReport) -> tuple[Begin, Begin | None]:
    """Return what reads a file, and what looks into it; standard input can be read only once."""
    look = None if name == STDIN else partial(reader.stretches, name, FeedReport())
    return partial(reader.stretches, name, report), look


def _from_now(stretches: Iterable[Stretch], clock: Callable[[], int]) -> Iterator[Stretch]:
    """Yield readings shifted so that the first of all is of the moment at which it is due."""
    shift: int | None = None
    for stretch in stretches:
        if shift is None:
            shift = clock() - int(stretch.time[0])
        yield replace(stretch, time=stretch.time + shift)


def _publish(
    stretches: Iterable[Stretch],
    encoder: NativeEncoder | SparkplugEncoder,
    publisher: Publisher,
    clock: Callable[[], int],
    progress: OnProgress | None,
) -> None:
    _send(publisher, encoder.opening(clock()))
    for stretch in stretches:
        for asked in publisher.taken():
            _send(publisher, encoder.answer(asked, clock()))
        _send(publisher, encoder.messages(stretch, clock()))
        publisher.serve(0.0)
        if progress is not None:
            progress(publisher.readings, int(stretch.time[-1]))


def _send(publisher: Publisher, messages: Iterable[Outgoing]) -> None:
    for message in messages:
        publisher.send(message)
