"""What a replay holds. It is read once and told three ways: command, board, evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.core.electrostatics.hazard import Hazard, NoEstimate
from analytics.core.events import Event
from analytics.core.metering import Metering
from analytics.core.resolution import clocks_words
from analytics.core.situation import Signals, Situation
from analytics.core.typical import Typical
from bondtrail.results import Finding, Hookup, Reject, Ticket, Transfer, Trip, WorkWindow
from bondtrail.site import Product, Role, Site, Station


class UnknownSpanError(ValueError):
    """There is no such transfer or station, or nothing is recorded there; the message says which.

    ``remedy`` says what to do.
    """

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(what)
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class Held:
    """A site file that held in the span, from then on. [ns]

    ``station`` is as that file has it, with its limits.
    """

    since: int
    site: Site
    station: Station


def clock_error_s(held: Sequence[Held]) -> float:
    """Return how far the clocks of devices may differ, by the worst of some files. [s]"""
    return max(each.site.clock_error_s for each in held)


@dataclass(frozen=True, slots=True)
class Missing:
    """What is not known of a stretch, and why; the whole span where a point is not recorded. [ns]

    ``about`` is a role or what else is missing, such as ``bond`` or ``ticket``.
    """

    about: str
    start: int
    end: int
    why: str


NOTHING_MISSING = "Nothing of what the points of this station record in this span."
"""What is said where nothing is missing: what no point records is not told either."""


@dataclass(frozen=True, slots=True)
class Replacement:
    """Readings of a span that one commit put others in the place of; the earlier ones are kept.

    Attributes
    ----------
    role : Role
        Of which point.
    at : int or None
        When the later ones arrived; None where nobody knows. [ns]
    count : int
        How many earlier readings there are, of values that others of their batch replaced too.
    first, last : int
        Times of the first and the last of them. [ns]
    lowest, highest : float
        Of the earlier values, in the unit of the role; +inf is an open circuit.
    """

    role: Role
    at: int | None
    count: int
    first: int
    last: int
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True, eq=False)
class Replay:
    """All that is said of a span ``[start, end)`` of one station. [ns]

    Attributes
    ----------
    transfer : Transfer or None
        The transfer that was asked for, or in which the moment lies; None for any other span.
    held : sequence of Held
        The site files in force, the first at the start of what is replayed; never empty.
    product : Product or None
        Its properties, as far as they are known; ``product_name`` is what ticket or site calls it.
    signals, now
        The readings that hold in the span, and each signal's state over it.
    events : sequence of Event
        In order of time.
    findings, trips, hookups : sequence
        Of the station, as the last analysis judged them, that lie in the span or reach into it.
    work, tickets : sequence
        That overlap the span.
    missing : sequence of Missing
        By start.
    damaged : sequence of str
        Stored readings that cannot be read, in words.
    waiting : bool
        Whether readings came since the station was analysed: findings may be out of date.
    typical : Typical or None
        None without a transfer.
    metering : Metering or None
        What of the flow was measured, in the transfer or else in the span; None without a meter.
    replaced : sequence of Replacement
        What was replaced of the readings that hold in the span, by point, in the order of the
        commits.
    rejected : sequence of Reject
        Rows that would have been readings in the span and could not be taken, by point and time.
    """

    site: Site
    station: Station
    start: int
    end: int
    transfer: Transfer | None
    held: Sequence[Held]
    product_name: str | None
    product: Product | None
    signals: Signals
    now: Situation
    events: Sequence[Event]
    findings: Sequence[Finding]
    trips: Sequence[Trip]
    hookups: Sequence[Hookup]
    work: Sequence[WorkWindow]
    tickets: Sequence[Ticket]
    missing: Sequence[Missing]
    damaged: Sequence[str]
    waiting: bool
    hazard: Hazard | NoEstimate
    typical: Typical | None
    metering: Metering | None = None
    replaced: Sequence[Replacement] = ()
    rejected: Sequence[Reject] = ()

    @property
    def clocks(self) -> str:
        """How far the clocks of its devices are trusted, in a sentence: it is always told."""
        return clocks_words(clock_error_s(self.held))
