"""What an analysis finds: the rows that the rules make, the store keeps and people read.

Moments are UTC nanoseconds, spans are half-open and in seconds where a name ends in ``_s``.
Every class is a plain row; docs/rules.md says what is in it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum

from bondtrail.times import stamp

RULES_VERSION = "2"

Number = float | int | bool | str | None


class Severity(StrEnum):
    """How urgently a person should look."""

    CRITICAL = "critical"
    MAJOR = "major"
    MINOR = "minor"


class Kind(StrEnum):
    """What a finding is about."""

    NO_BOND_TRANSFER = "no_bond_transfer"
    UNBONDED_START = "unbonded_start"
    BOND_LOST_IN_FLOW = "bond_lost_in_flow"
    UNVERIFIABLE_FLOW = "unverifiable_flow"
    BYPASSED_FLOW = "bypassed_flow"
    FAILED_HOOKUP = "failed_hookup"
    NUISANCE_TRIP = "nuisance_trip"
    CHATTERING = "chattering"
    PERMISSIVE_WITHOUT_BOND = "permissive_without_bond"
    PERMISSIVE_WITHHELD = "permissive_withheld"
    ITEM_ISOLATED = "item_isolated"
    EARLY_RELEASE = "early_release"
    RESISTANCE_DRIFT = "resistance_drift"


NON_COMPLIANT = frozenset(
    {
        Kind.NO_BOND_TRANSFER,
        Kind.UNBONDED_START,
        Kind.BOND_LOST_IN_FLOW,
        Kind.UNVERIFIABLE_FLOW,
        Kind.BYPASSED_FLOW,
    }
)
"""A transfer with a finding of one of these kinds is not compliant."""


class Outcome(StrEnum):
    """How a hookup ended."""

    VERIFIED = "verified"
    FAILED = "failed"


class HookupCause(StrEnum):
    """Why a hookup is suspected to have failed, from its own readings."""

    MARGINAL = "marginal"
    UNSTEADY = "unsteady"
    FALLING = "falling"
    LAYER = "layer"


class TripClass(StrEnum):
    """Whether a trip had a real loss of bond behind it."""

    GENUINE = "genuine"
    NUISANCE = "nuisance"
    UNDETERMINED = "undetermined"


class TripCause(StrEnum):
    """What the bond readings around a trip show."""

    CLAMP_OFF = "clamp_off"
    HIGH_RESISTANCE = "high_resistance"
    BRIEF_CONTACT_LOSS = "brief_contact_loss"
    MONITOR_FAULT = "monitor_fault"
    NO_LOSS_SEEN = "no_loss_seen"
    NO_DATA = "no_data"


CLASS_OF = {
    TripCause.CLAMP_OFF: TripClass.GENUINE,
    TripCause.HIGH_RESISTANCE: TripClass.GENUINE,
    TripCause.BRIEF_CONTACT_LOSS: TripClass.NUISANCE,
    TripCause.MONITOR_FAULT: TripClass.NUISANCE,
    TripCause.NO_LOSS_SEEN: TripClass.NUISANCE,
    TripCause.NO_DATA: TripClass.UNDETERMINED,
}
"""A cause says of itself whether there was a real loss of bond."""


class AlarmKind(StrEnum):
    """What an alarm annunciates."""

    BOND_LOST = "bond_lost"
    ITEM_BOND_LOST = "item_bond_lost"
    MONITOR_FAULT = "monitor_fault"
    DISAGREEMENT = "disagreement"
    BYPASS_ON = "bypass_on"


@dataclass(frozen=True, slots=True)
class Hookup:
    """A clamp on, from first contact until it is off again. Resistances in ohm."""

    station: str
    start: int
    end: int
    outcome: Outcome
    time_to_bond_s: float | None
    lowest_ohm: float | None
    median_ohm: float | None
    cause: HookupCause | None


@dataclass(frozen=True, slots=True)
class Trip:
    """Flow stopped by the permissive, or by loss of bond where no permissive is recorded."""

    station: str
    time: int
    transfer: str
    trip_class: TripClass
    cause: TripCause
    marginal: bool
    loss_s: float | None
    stop_s: float | None


@dataclass(frozen=True, slots=True)
class Transfer:
    """The flow runs that belong together at a station, pauses included.

    ``volume``, ``not_bonded_volume`` and their kin are in ``unit``: L or kg, or None where flow
    is not measured.
    """

    station: str
    start: int
    end: int
    flow_s: float
    volume: float | None
    unit: str | None
    batch: str | None
    product: str | None
    operator: str | None
    compliant: bool
    not_bonded_s: float
    no_data_s: float
    bypassed_s: float
    not_bonded_volume: float | None
    no_data_volume: float | None
    bypassed_volume: float | None
    trips: int
    time_to_bond_s: float | None
    bond_lead_s: float | None
    findings: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """``<station>/<start>``."""
        return f"{self.station}/{stamp(self.start)}"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person should look at, with the numbers behind it."""

    kind: Kind
    severity: Severity
    station: str
    transfer: str | None
    start: int
    end: int
    summary: str
    evidence: Mapping[str, Number]
    limits: Mapping[str, float]
    rules: str = RULES_VERSION

    @property
    def id(self) -> str:
        """``<station>/<kind>/<start>``."""
        return f"{self.station}/{self.kind}/{stamp(self.start)}"

    @property
    def seconds(self) -> float:
        """Length of the span."""
        return (self.end - self.start) / 1e9


@dataclass(frozen=True, slots=True)
class Alarm:
    """A call for the operator, from its start until its condition cleared.

    One that is still active where the history ends, ends there.
    """

    station: str
    kind: AlarmKind
    start: int
    end: int

    @property
    def seconds(self) -> float:
        """How long it was active."""
        return (self.end - self.start) / 1e9


@dataclass(frozen=True, slots=True)
class DaySums:
    """Sums and counts of one station and one local day, so that any range is a sum.

    An episode counts on the day it began; seconds and volumes are split at midnight. The
    histograms count per bin of `analytics.core.quantiles`; a bin that counts none is left out.

    With a ``shift`` they are of that shift's part of the day, ``""`` being the time outside any
    shift; None stands for the whole day.

    ``flow_unknown_s`` is time of the history in which nobody knows whether product flows: none
    where flow is not recorded at all. ``bypass_unknown_s`` is flow, as ``bypassed_s`` is, in which
    nobody knows whether the interlock is bypassed: all flow where no bypass is recorded.
    """

    station: str
    day: dt.date
    shift: str | None = None
    transfers: int = 0
    compliant_transfers: int = 0
    flow_s: float = 0.0
    flow_unknown_s: float = 0.0
    not_bonded_s: float = 0.0
    no_data_s: float = 0.0
    bypassed_s: float = 0.0
    bypass_unknown_s: float = 0.0
    volume: float = 0.0
    hookups: int = 0
    failed_hookups: int = 0
    touches: int = 0
    low_s: float = 0.0
    high_s: float = 0.0
    open_s: float = 0.0
    known_s: float = 0.0
    unknown_s: float = 0.0
    trips: Mapping[str, int] = field(default_factory=dict)
    """Per ``<class>/<cause>``."""
    findings: Mapping[str, int] = field(default_factory=dict)
    """Per kind."""
    alarms: Mapping[str, int] = field(default_factory=dict)
    """Per kind of alarm."""
    time_to_bond: Mapping[int, int] = field(default_factory=dict)
    time_to_stop: Mapping[int, int] = field(default_factory=dict)


DAY_COUNTS = tuple(item.name for item in fields(DaySums) if item.type == "int")
DAY_SUMS = tuple(item.name for item in fields(DaySums) if item.type in ("int", "float"))
"""What of a day adds up over any range of days; `DAY_COUNTS` are those of them that count."""

DAY_COUNTERS: Mapping[str, tuple[str, ...]] = {
    "trips": tuple(f"{sort}/{cause}" for cause, sort in CLASS_OF.items()),
    "findings": tuple(kind for kind in Kind if kind is not Kind.RESISTANCE_DRIFT),
    "alarms": tuple(AlarmKind),
}
"""What each counter of a day counts. A drift is about weeks, so no day counts it."""

DAY_HISTOGRAMS = ("time_to_bond", "time_to_stop")
"""What of a day counts per bin of time."""


@dataclass(frozen=True, slots=True)
class StationResults:
    """All that an analysis says of one station from ``start`` on, each part sorted by start."""

    station: str
    transfers: tuple[Transfer, ...] = ()
    hookups: tuple[Hookup, ...] = ()
    trips: tuple[Trip, ...] = ()
    findings: tuple[Finding, ...] = ()
    alarms: tuple[Alarm, ...] = ()
    days: tuple[DaySums, ...] = ()
    shifts: tuple[DaySums, ...] = ()
    """The parts of the days by shift, where the site has shifts."""
    drift: tuple[Finding, ...] | None = None
    """Every `Kind.RESISTANCE_DRIFT` of the station, of all time; None where it was not judged."""


@dataclass(frozen=True, slots=True)
class WorkWindow:
    """A maintenance or clean-down window of ``work.csv``."""

    station: str
    start: int
    end: int
    what: str


@dataclass(frozen=True, slots=True)
class Ticket:
    """A transfer ticket of ``batch.csv``."""

    station: str
    start: int
    end: int
    batch: str
    product: str
    operator: str


@dataclass(frozen=True, slots=True)
class Reject:
    """Input that could not be taken, kept with a reason a person can act on.

    ``point`` and ``time`` (ns) say of which reading it is, where that much could be read. Of
    several counted in one, ``at``, ``time`` and ``raw`` are those of the first; ``last_at`` and
    ``last_time`` are when the last came, and the latest time that a reading had, where these are
    later. [ns]
    """

    source: str
    where: str
    reason: str
    raw: str
    at: int
    count: int = 1
    point: str | None = None
    time: int | None = None
    last_at: int | None = None
    last_time: int | None = None


class ReviewState(StrEnum):
    """What a person says of a finding."""

    OPEN = "open"
    CONFIRMED = "confirmed"
    EXPLAINED = "explained"
    REJECTED = "rejected"


@dataclass(frozen=True, slots=True)
class Review:
    """What a person said of a finding, as the review log holds it.

    ``kind`` and ``state`` are plain text: the log is shown as it is, whatever stands in it.

    Attributes
    ----------
    number : int
        Its place in the log, from 1.
    at : int
        When it was said. [ns]
    author : str
        Who said it, as typed: a name is no proof of who it was.
    finding : str
        The id of the finding at the time; ``kind``, ``station``, ``start`` and ``end`` likewise.
    state : str
        A `ReviewState`.
    previous, digest : str
        The digest of the review before it, and its own: SHA-256 in hexadecimal.
    """

    number: int
    at: int
    author: str
    finding: str
    kind: str
    station: str
    start: int
    end: int
    state: str
    comment: str
    previous: str
    digest: str


@dataclass(frozen=True, slots=True)
class Hold:
    """Readings of a station that must be kept, whatever a policy of retention says.

    Attributes
    ----------
    number : int
        Its number, from 1.
    at : int
        When it was placed. [ns]
    author, why : str
        Who placed it, as typed, and what for.
    start, end : int
        The readings it keeps, half-open. [ns]
    transfer : str or None
        The id of the transfer that it is about, if it is about one.
    released_at : int or None
        When it was released; None while it is in force, and then so are the other two. [ns]
    released_by, released_why : str or None
        Who released it, and why.
    """

    number: int
    at: int
    author: str
    why: str
    station: str
    start: int
    end: int
    transfer: str | None = None
    released_at: int | None = None
    released_by: str | None = None
    released_why: str | None = None

    @property
    def in_force(self) -> bool:
        """Whether it has not been released."""
        return self.released_at is None
