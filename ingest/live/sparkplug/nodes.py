"""What is remembered of edge nodes and their devices: what their births said, and what is held."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

from bondtrail.site import Point, Role
from ingest.live.messages import Message
from ingest.live.sparkplug.names import Owner
from ingest.live.sparkplug.reasons import Wrong

SEQ = 256
"""Sequence numbers count from 0 to 255, then from 0 again."""


@dataclass(slots=True)
class Heard:
    """A point as one device gives it.

    Attributes
    ----------
    point : str
        Its name.
    role : Role
        What its readings are of.
    scale : float
        A reading times it is in the unit that is kept.
    time : int or None
        Of its newest reading that is not historical; None before the first. [ns]
    value : float
        That reading.
    marked : int or None
        When it was marked unknown; None while it is not. [ns]
    metric : str
        By which the device gives it.
    is_told : bool
        That the device gives it was told, so that it outlives a restart.
    alias, datatype, session : int or None
        By which a birth lets the device give it too, as what, and in which session of its node.
    """

    point: str
    role: Role
    scale: float
    time: int | None = None
    value: float = 0.0
    marked: int | None = None
    metric: str = ""
    is_told: bool = False
    alias: int | None = None
    datatype: int = 0
    session: int | None = None

    @classmethod
    def of(cls, point: Point, metric: str) -> Heard:
        """Return a point of which nothing was heard."""
        return cls(point.name, point.role, point.scale, metric=metric)


@dataclass(slots=True)
class Tag:
    """A metric that a birth named.

    Attributes
    ----------
    heard : Heard or None
        The point that it is of; None where it is not taken.
    name : str
        What it is called; empty where it is not taken.
    datatype : int
        Code of its type; 0 where nobody knows.
    wrong : Wrong or None
        Why it is not taken; None where the site file does not know it, which is said at its birth.
    """

    heard: Heard | None
    name: str = ""
    datatype: int = 0
    wrong: Wrong | None = None


UNKNOWN = Tag(None)
AMBIGUOUS = Tag(None, wrong=Wrong.SAME_ALIAS)


@dataclass(slots=True)
class Device:
    """A device of an edge node, or what the node says of itself.

    Attributes
    ----------
    owner : Owner
        Group, node and device.
    is_born : bool
        Its birth holds.
    was_born : bool
        What it has is known, of this birth or an earlier one, by the site file that holds.
    is_doubtful : bool
        Messages were lost since: its aliases may stand for other metrics by now.
    birth_ms : int or None
        Timestamp of its birth, where that had one. [ms]
    is_remembered : bool
        It gave points before a restart, and neither birth nor death of it was heard since.
    missing_since : int or None
        When its node was born anew without it; None where it was not. [ns]
    aliases : dict of int to Tag
        What its birth named, or did before a restart; metrics without a point share one tag.
    names : dict of str to Tag
        The same by name: those that have a point, or would have if another did not.
    points : dict of str to Heard
        Points by their names; they outlive births.
    metrics : int
        How many its birth named.
    has_told : bool
        That it has metrics which the site file does not know was said.
    kept : list of Message
        Data by alias that came while it was doubtful, or since a restart, until a birth tells what
        they are.
    kept_since : int
        When the first of them came. [ns]
    """

    owner: Owner
    is_born: bool = False
    was_born: bool = False
    is_doubtful: bool = False
    birth_ms: int | None = None
    is_remembered: bool = False
    missing_since: int | None = None
    aliases: dict[int, Tag] = field(default_factory=dict)
    names: dict[str, Tag] = field(default_factory=dict)
    points: dict[str, Heard] = field(default_factory=dict)
    metrics: int = 0
    has_told: bool = False
    kept: list[Message] = field(default_factory=list)
    kept_since: int = 0

    @property
    def had_aliases(self) -> bool:
        """Whether it is known what it named before a restart: a birth can show that still holds."""
        return self.is_remembered and bool(self.aliases)

    def heard_of(self, point: Point, metric: str) -> Heard:
        """Return a point as this device gives it, by the metric that was first to name it."""
        heard = self.points.get(point.name)
        if heard is None:
            heard = self.points[point.name] = Heard.of(point, metric)
        return heard

    @property
    def has_known(self) -> bool:
        """Whether it has points that its death would mark."""
        return any(
            heard.time is not None and heard.marked is None for heard in self.points.values()
        )

    @property
    def is_ours(self) -> bool:
        """Whether it gives points, or would if another did not."""
        return bool(self.points) or any(tag.wrong is not None for tag in self.names.values())

    def displace(self, point: str) -> None:
        """Take a point away from it: another device has it."""
        self.points.pop(point, None)
        self.loosen(point)

    def loosen(self, point: str) -> None:
        """Let its next reading of a point show whether it still has that."""
        for tag in self.names.values():
            if tag.heard is not None and tag.heard.point == point:
                tag.heard, tag.wrong = None, Wrong.CLAIMED


@dataclass(slots=True)
class Held:
    """A message that came before one that should have come earlier."""

    message: Message
    sent_ms: int | None


@dataclass(slots=True)
class Node:
    """An edge node.

    Attributes
    ----------
    group, name : str
        Who it is.
    is_alive : bool
        Its birth holds.
    bd_seq : int or None
        Number of the session that its birth told.
    birth_ms : int or None
        Timestamp of its birth. [ms]
    next_seq : int
        Sequence number that its next message has.
    held : dict of int to Held
        Messages that came too early, by their sequence numbers.
    held_since : int
        When the first of them came. [ns]
    devices : dict of str to Device
        By name; its own metrics are of the one without a name.
    asked_at : int or None
        When a new birth was last asked for. [ns]
    ask_wait : int
        No other is asked for before so long. [ns]
    is_asked : bool
        That birth has not come, or did not help.
    is_backdated : bool
        Its messages bear other times than when they were sent.
    is_doubtful : bool
        It may have been born anew while nobody listened: a death of any session is its own.
    wants_birth : bool
        A new birth is to be asked for as soon as that may be.
    has_unnamed : bool
        Its births do not name what its data hold, so that asking for another helps little.
    """

    KIND: ClassVar[str] = "sparkplug "

    group: str
    name: str
    is_alive: bool = False
    bd_seq: int | None = None
    birth_ms: int | None = None
    next_seq: int = 0
    held: dict[int, Held] = field(default_factory=dict)
    held_since: int = 0
    devices: dict[str, Device] = field(default_factory=dict)
    asked_at: int | None = None
    ask_wait: int = 0
    is_asked: bool = False
    is_backdated: bool = False
    is_doubtful: bool = False
    wants_birth: bool = False
    has_unnamed: bool = False

    @property
    def source(self) -> str:
        """What it is called where sources are listed."""
        return f"{self.KIND}{self.group}/{self.name}"

    @property
    def has_known(self) -> bool:
        """Whether it has points that its death would mark."""
        return any(device.has_known for device in self.devices.values())

    def let_go(self) -> None:
        """Forget what it is of: it is listened to no more."""
        self.is_alive = False
        for device in self.devices.values():
            device.is_born = device.is_doubtful = device.is_remembered = False
            device.missing_since = None
            device.aliases, device.names, device.points = {}, {}, {}

    def doubt(self) -> None:
        """Note that messages were lost: aliases may stand for other metrics by now."""
        for device in self.devices.values():
            device.is_doubtful = device.is_born

    def wait_from(self, now: int) -> None:
        """Wait from now on for what began to wait later than now: the clock was set back."""
        self.held_since = min(self.held_since, now)
        for device in self.devices.values():
            device.kept_since = min(device.kept_since, now)
            if device.missing_since is not None:
                device.missing_since = min(device.missing_since, now)

    def is_asked_lately(self, now: int) -> bool:
        """Return whether a new birth was asked for so lately that it is too early to ask again."""
        return self.asked_at is not None and abs(now - self.asked_at) < self.ask_wait
