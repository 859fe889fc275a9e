"""What Sparkplug messages come to: readings, what was refused, and what to publish."""

from __future__ import annotations

from dataclasses import dataclass, field

from bondtrail.running import Given
from ingest.live.messages import Message


@dataclass(slots=True)
class Readings:
    """Readings that one message brought, or that its death of a node or device caused.

    The lists are of one length; readings are in the order of the message.

    Attributes
    ----------
    source : str
        Who sent them, such as ``sparkplug plant/gateway-2``.
    arrived : int
        When the message arrived. [ns]
    is_live : bool
        Arrival minus time tells how the source's clock stands to ours.
    points : list of str
        Names of points.
    times : list of int
        When each was read. [ns]
    values : list of float
        In the units that are kept.
    qualities : list of int
        Codes of `bondtrail.samples.Quality`.
    """

    source: str
    arrived: int
    is_live: bool
    points: list[str] = field(default_factory=list)
    times: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    qualities: list[int] = field(default_factory=list)

    def add(self, point: str, time: int, value: float, quality: int) -> None:
        """Add one reading."""
        self.points.append(point)
        self.times.append(time)
        self.values.append(value)
        self.qualities.append(quality)


@dataclass(frozen=True, slots=True)
class Refused:
    """Metrics of one message, or all of it, that cannot be taken for one reason.

    ``point`` and ``time`` (ns) are those of the first, where they are known; ``last_time`` is that
    of the last of several.
    """

    message: Message
    reason: str
    count: int = 1
    point: str | None = None
    time: int | None = None
    last_time: int | None = None


@dataclass(slots=True)
class Taken:
    """What messages came to, in the order in which they were taken.

    Attributes
    ----------
    readings : list of Readings
        Later ones win where point and time are the same.
    refused : list of Refused
        What could not be taken.
    publish : list of (str, bytes)
        Topics and payloads to publish: requests for a new birth.
    given : list of Given
        Who gives points, where that is new.
    """

    readings: list[Readings] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    publish: list[tuple[str, bytes]] = field(default_factory=list)
    given: list[Given] = field(default_factory=list)

    def extend(self, more: Taken) -> None:
        """Add what came after."""
        self.readings += more.readings
        self.refused += more.refused
        self.publish += more.publish
        self.given += more.given

    def refuse(self, message: Message, reason: str, count: int = 1) -> None:
        """Add a message, or metrics of it, that cannot be taken."""
        self.refused.append(Refused(message, reason, count))
