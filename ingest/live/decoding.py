"""Messages of a broker to samples: whatever cannot be taken is counted, nothing is dropped."""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from bondtrail.results import Reject
from bondtrail.running import Given, Source
from bondtrail.samples import Samples, TimeArray, concatenate
from bondtrail.site import Role, Site
from bondtrail.times import NS_PER_S
from ingest.arrays import BoolArray
from ingest.faults import Fault
from ingest.live.columns import (
    CLOCK_FAULTS,
    Columns,
    Judged,
    Refused,
    Slot,
    Slots,
    judge,
    refused_of,
    samples_of,
)
from ingest.live.mapped import MappedTopic, mapped_topic
from ingest.live.messages import Message
from ingest.live.native import PointTopic, StationTopic
from ingest.live.reasons import DEFECT, reason_of
from ingest.live.skew import Clocks
from ingest.live.sparkplug import Readings, SparkplugHost, Taken, filters_of
from ingest.live.tally import Tally, shown_topic

ROOT = "bondtrail"
SERVICE = "$service"
SPARKPLUG = "spBv1.0/"

Take = Callable[[Message, int, Columns], None]

_DEFECT_NS = 60 * NS_PER_S
"""The way to a defect goes into the log no oftener."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Decoded:
    """What messages came to.

    Attributes
    ----------
    batch : dict of str to Samples
        The readings of each point in the order of arrival: of several at one time the last counts.
    rejects : list of Reject
        What could not be taken, with how often since the last time.
    sources : list of Source
        Those that sent, where there is news of them.
    given : list of Given
        Who gives points, where that is new: what `Decoder.remember` is told after a restart.
    publish : list of (str, bytes)
        Topics and payloads to publish.
    read : int
        How many readings there were: those of the batch and those rejected.
    ahead_until : int or None
        Nothing was taken, because by our clock all readings lie too far ahead until then. [ns]
    """

    batch: dict[str, Samples] = field(default_factory=dict)
    rejects: list[Reject] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    given: list[Given] = field(default_factory=list)
    publish: list[tuple[str, bytes]] = field(default_factory=list)
    read: int = 0
    ahead_until: int | None = None


class Decoder:
    """Takes messages by the topics that a site file names, native and mapped.

    It reads no clock and does no I/O: when each message arrived stands in it.

    Parameters
    ----------
    site : Site
        Whose points the readings are of.
    source : str
        The broker, without its password: where rejects say they come from.
    """

    def __init__(self, site: Site, *, source: str) -> None:
        self._slots = Slots()
        self._tally = Tally(source)
        self._clocks = Clocks()
        self._sparkplug = SparkplugHost(site)
        self._told_at: int | None = None
        self._learn(site)

    def remember(self, given: Iterable[Given]) -> None:
        """Know who gave points before, so that their deaths are understood from the start."""
        self._sparkplug.remember(given)

    def doubt(self) -> None:
        """Know that messages of QoS 0 may have been missed: births of Sparkplug nodes."""
        self._sparkplug.doubt()

    def follow(self, site: Site) -> None:
        """Take messages by another site file from now on; what is known of senders is kept."""
        self._sparkplug.follow(site)
        self._learn(site)

    def _learn(self, site: Site) -> None:
        """Make the table of topics."""
        self._slots = Slots()
        self._stations = frozenset(station.id for station in site.stations)
        self._groups = site.sparkplug.groups
        self._root = f"{ROOT}/{site.id}/"
        native = _native_topics(site, self._root, self._slots)
        self._mapped = _mapped_topics(site, native, self._slots)
        self._topics: dict[str, Take] = {**native, **self._mapped}
        self._slots.settle()

    def filters(self, share: str | None = None) -> list[str]:
        """Return the topic filters to subscribe to; those that may be are shared by a group."""
        front = f"$share/{share}/" if share else ""
        own = f"{self._root}#"
        mapped = [topic for topic in self._mapped if not topic.startswith(self._root)]
        return [*(front + topic for topic in (own, *mapped)), *filters_of(self._groups)]

    def decode(
        self, messages: Sequence[Message], now: int, *, doubts_clock: bool = False
    ) -> Decoded:
        """Return what messages hold, in the order in which they arrived.

        Parameters
        ----------
        messages : sequence of Message
            As they came. Whatever one of them holds, it does not stop the others.
        now : int
            What time it is. [ns]
        doubts_clock : bool
            Our own clock may not be set yet: take nothing where all readings that tell their time
            lie so far ahead that they would be rejected for it.
        """
        columns, nodes = Columns(), Taken()
        topics = self._topics
        for index, message in enumerate(messages):
            try:
                take = topics.get(message.topic)
                if take is not None:
                    take(message, index, columns)
                elif message.topic.startswith(SPARKPLUG):
                    nodes.extend(self._sparkplug.take(message))
                else:
                    self._other(message, index, columns)
            except Exception:
                self._note_defect(message)
        nodes.extend(self._sparkplug.tick(now))  # there may never be a time when nothing comes
        arrived = np.array([message.arrived for message in messages], np.int64)
        is_sound = True
        try:
            judged = judge(columns, self._slots, arrived)
            ahead_until = judged.ahead_until if doubts_clock else None
            if ahead_until is not None and not nodes.readings:
                return Decoded(ahead_until=ahead_until)
            batch, read = self._settled(judged, columns, messages, arrived)
        except Exception:
            log.debug("the readings of a batch are judged one by one", exc_info=True)
            is_sound = False
        if not is_sound:
            batch, read = self._one_by_one(messages)
        return self._decoded(batch, nodes, read, now)

    def _settled(
        self, judged: Judged, columns: Columns, messages: Sequence[Message], arrived: TimeArray
    ) -> tuple[dict[str, Samples], int]:
        """Return the samples among readings and how many readings there were; count the rest."""
        batch = samples_of(judged, self._slots)
        is_new = np.array([not message.is_repeat for message in messages], bool)
        bad = refused_of(judged, columns, self._slots, is_new)
        refused = [*columns.refused.values(), *bad]
        self._note(judged, arrived, messages, is_new)
        for item in refused:
            near = "" if item.written is None else str(item.written)
            self._tally.add(messages[item.message], item, near)
        return batch, int(judged.good.sum()) + sum(item.count for item in refused)

    def _one_by_one(self, messages: Sequence[Message]) -> tuple[dict[str, Samples], int]:
        """Return the samples of messages of which one shows a defect of ours, but for that one."""
        batch: dict[str, Samples] = {}
        read = 0
        for message in messages:
            if message.topic.startswith(SPARKPLUG):
                continue
            columns, arrived = Columns(), np.array([message.arrived], np.int64)
            try:
                self._topics.get(message.topic, self._other)(message, 0, columns)
                judged = judge(columns, self._slots, arrived)
                found, count = self._settled(judged, columns, [message], arrived)
            except Exception:
                self._note_defect(message)
                continue
            read += count
            for point, samples in found.items():
                batch[point] = concatenate((batch[point], samples)) if point in batch else samples
        return batch, read

    def _note_defect(self, message: Message) -> None:
        """Keep a message that Bondtrail cannot cope with, and say how that came about."""
        if self._told_at is None or not 0 <= message.arrived - self._told_at < _DEFECT_NS:
            self._told_at = message.arrived
            log.exception(
                "a defect of Bondtrail: a message on %s is kept as a reject; please report this",
                shown_topic(message.topic),
            )
        refused = Refused(0, DEFECT, 1)
        try:
            self._tally.add(message, refused)
        except Exception:
            self._tally.add(replace(message, topic="a topic", payload=b""), refused)

    def tick(self, now: int) -> Decoded:
        """Return what is due though nothing came; ``now`` is in ns."""
        return self._decoded({}, self._sparkplug.tick(now), 0, now)

    def close(self, now: int) -> Decoded:
        """Return what is left to say before the end; ``now`` is in ns."""
        return self._decoded({}, self._sparkplug.close(now), 0, now, at_once=True)

    def _decoded(
        self,
        batch: dict[str, Samples],
        nodes: Taken,
        read: int,
        now: int,
        *,
        at_once: bool = False,
    ) -> Decoded:
        """Return a batch together with what came of Sparkplug nodes."""
        for readings in nodes.readings:
            self._note_node(readings)
        for point, samples in _samples_of_nodes(nodes.readings).items():
            batch[point] = concatenate((batch[point], samples)) if point in batch else samples
        for item in nodes.refused:
            self._tally.add(item.message, item)
        read += sum(len(readings.points) for readings in nodes.readings)
        read += sum(item.count for item in nodes.refused)
        rejects, sources = self._tally.take(), self._clocks.due(now, at_once=at_once)
        return Decoded(batch, rejects, sources, nodes.given, nodes.publish, read)

    def _note_node(self, readings: Readings) -> None:
        """Keep what readings tell of the clock of the node that sent them."""
        arrived, count = readings.arrived, len(readings.points)
        times = np.array(readings.times if readings.is_live else [], np.int64)
        self._clocks.note(readings.source, count, arrived, arrived - times)

    def _other(self, message: Message, index: int, columns: Columns) -> None:
        """Refuse a message of a topic that nothing is known of."""
        topic = message.topic
        if topic.startswith(f"{self._root}{SERVICE}/"):
            return
        columns.refuse(index, reason_of(self._fault(topic)))

    def _fault(self, topic: str) -> Fault:
        """Return what is wrong with a topic."""
        station, *roles = topic.removeprefix(self._root).split("/")
        if not topic.startswith(self._root) or len(roles) > 1:
            return Fault.TOPIC
        if station not in self._stations:
            return Fault.STATION
        return Fault.ROLE if roles and roles[0] in _ROLES else Fault.TOPIC

    def _note(
        self,
        judged: Judged,
        arrived: TimeArray,
        messages: Sequence[Message],
        is_new: BoolArray,
    ) -> None:
        """Keep what readings tell of the clocks of their sources, the refused by their clock too.

        ``arrived`` (ns) and ``is_new`` have the shape (messages,). What the broker sends again
        was counted when it came first.
        """
        slots = self._slots
        tells = np.array([_tells(message) for message in messages], bool)
        good = judged.good
        rows = np.flatnonzero(good | np.isin(judged.faults, CLOCK_FAULTS))
        sources = slots.source.take(judged.slot.take(rows))
        order = np.argsort(sources, kind="stable")
        rows, sources = rows.take(order), sources.take(order)
        places = judged.message.take(rows)
        moments = arrived.take(places)
        lags = moments - judged.time.take(rows)
        live, taken = tells.take(places) & judged.dated.take(rows), good.take(rows)
        taken &= is_new.take(places)
        edges = np.flatnonzero(np.diff(sources, prepend=-1)).tolist()
        for begin, end in zip(edges, [*edges, rows.size][1:], strict=True):
            part = slice(begin, end)
            self._clocks.note(
                slots.sources[sources[begin]],
                int(taken[part].sum()),
                int(moments[part].max()),
                lags[part][live[part]],
            )


_ROLES = frozenset(Role)


def _tells(message: Message) -> bool:
    """Return whether the arrival of a message tells of the clock of who sent it."""
    return message.is_prompt and not (message.is_repeat or message.is_retained)


def _native_topics(site: Site, root: str, slots: Slots) -> dict[str, Take]:
    topics: dict[str, Take] = {}
    for station in site.stations:
        source = f"mqtt {station.id}"
        by_role = {role: slots.add(point, source) for role, point in station.points.items()}
        topics[root + station.id] = StationTopic(by_role)
        for role, slot in by_role.items():
            topics[f"{root}{station.id}/{role}"] = PointTopic(slot)
    return topics


def _mapped_topics(site: Site, native: Collection[str], slots: Slots) -> dict[str, MappedTopic]:
    """Return the topics that aliases name; one of our own form stays what it is."""
    fields: dict[str, dict[str, Slot]] = {}
    for point in site.points():
        for topic, name in filter(None, map(mapped_topic, point.aliases)):
            if topic not in native:
                fields.setdefault(topic, {})[name] = slots.add(point, f"mqtt {topic}")
    return {topic: MappedTopic(found) for topic, found in fields.items()}


def _samples_of_nodes(parts: Sequence[Readings]) -> dict[str, Samples]:
    """Return the readings of nodes point by point, each in the order of arrival."""
    rows: dict[str, tuple[list[int], list[float], list[int]]] = {}
    for part in parts:
        for point, time, value, quality in zip(
            part.points, part.times, part.values, part.qualities, strict=True
        ):
            times, values, qualities = rows.setdefault(point, ([], [], []))
            times.append(time)
            values.append(value)
            qualities.append(quality)
    return {point: Samples.of(*columns) for point, columns in rows.items()}
