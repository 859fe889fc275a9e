"""The metrics of one message to readings of points."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from bondtrail.running import Given
from bondtrail.samples import Quality
from bondtrail.site import Role
from bondtrail.times import NS_PER_MS
from ingest.faults import Fault
from ingest.live.columns import AHEAD, EARLIEST
from ingest.live.sparkplug.metrics import quality_of, value_of
from ingest.live.sparkplug.names import Names, Owner
from ingest.live.sparkplug.nodes import AMBIGUOUS, UNKNOWN, Device, Heard, Tag
from ingest.live.sparkplug.payloads import CONTROLS
from ingest.live.sparkplug.reasons import Wrong, reason
from ingest.live.sparkplug.said import Said
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from ingest.live.sparkplug.taken import Readings, Refused, Taken

_EARLIEST_MS = EARLIEST // NS_PER_MS
_AHEAD_MS = AHEAD // NS_PER_MS
_LATEST = 2**63 - 1
_LATEST_MS = _LATEST // NS_PER_MS

Displace = Callable[[Owner, str], None]
Row = tuple[str, int, float, int]
"""Point, time (ns), value and quality."""


class Reading:
    """Reads one message of a device.

    Parameters
    ----------
    said : Said
        The message.
    device : Device
        Whose it is; what is heard of its points is kept there.
    names : Names
        Which point a metric is of.
    displace : callable
        Told of a device whose readings no longer go to a point.
    least : int
        No reading is of better quality.
    """

    def __init__(
        self,
        said: Said,
        device: Device,
        *,
        names: Names,
        displace: Displace,
        least: int = Quality.GOOD,
    ) -> None:
        message = said.message
        self._device = device
        self._message = message
        self._payload = said.payload
        self._names = names
        self._displace = displace
        self._least = int(least)
        self._sent = said.sent
        self._latest_ms = message.arrived // NS_PER_MS + _AHEAD_MS
        self._faults: dict[tuple[Fault | Wrong, Role | None], Refused] = {}
        self._source = said.node.source
        self._session = said.node.bd_seq
        self._is_live = message.is_prompt and not message.is_repeat
        self._live: list[Row] = []
        self._past: list[Row] = []
        self._given: list[Given] = []

    def data(
        self,
        aliases: Mapping[int, Tag] | None,
        doubt: Wrong = Wrong.UNBORN,
        *,
        only_aliases: bool = False,
    ) -> int:
        """Take the metrics of a data message.

        Parameters
        ----------
        aliases : mapping of int to Tag, or None
            What aliases stand for; None where nobody knows.
        doubt : Wrong
            Why nobody knows, or why an alias is not among them.
        only_aliases : bool
            Metrics by name were taken before.

        Returns
        -------
        int
            How many metrics could not be told by their alias.
        """
        names = self._device.names
        untold = 0
        for metric in self._payload.metrics:
            name = metric.name
            if name:
                if only_aliases:
                    continue
                tag = names.get(name) or self._named(name)
            else:
                alias = metric.alias
                if not alias and not metric.HasField("alias"):
                    self._fault(Wrong.NAMELESS)
                    continue
                found = aliases.get(alias) if aliases is not None else None
                if found is None:
                    untold += 1
                    continue
                tag = found
            heard = tag.heard or self._heard_now(tag)
            if heard is not None:
                self._take(metric, tag.datatype, heard)
            elif tag.wrong is not None:
                self._fault(tag.wrong)
        return untold

    def refuse(self, wrong: Wrong, count: int = 1) -> None:
        """Refuse metrics of the message."""
        self._fault(wrong, count=count)

    def birth(self, most: int) -> int:
        """Take the metrics of a birth, and what it says of names and aliases: ``most`` of them.

        Returns
        -------
        int
            How many it named.
        """
        device = self._device
        device.aliases, device.names, device.has_told = {}, {}, False
        self._is_live = False  # a birth may tell what was read long before
        before = set(device.points)
        for place, metric in enumerate(self._payload.metrics):
            if place >= most:
                self._fault(Wrong.METRICS, count=len(self._payload.metrics) - place)
                break
            self._born(metric)
        named = {tag.heard.point for tag in device.names.values() if tag.heard is not None}
        for point in before - named:
            self._names.release(device.owner, point)
        return min(len(self._payload.metrics), most)

    def into(self, taken: Taken) -> None:
        """Hand over what was read."""
        for rows, is_live in ((self._past, False), (self._live, self._is_live)):
            if rows:
                columns = map(list, zip(*rows, strict=True))
                taken.readings.append(
                    Readings(self._source, self._message.arrived, is_live, *columns)
                )
        taken.refused += self._faults.values()
        taken.given += self._given

    def _born(self, metric: Payload.Metric) -> None:
        """Take one metric of a birth."""
        name = metric.name
        if not name:
            self._fault(Wrong.NAMELESS)
            return
        tag = self._named(name)
        if tag is not UNKNOWN:
            tag.datatype = metric.datatype
        if tag.wrong is not None:
            self._fault(tag.wrong)
        alias: int | None = None
        if metric.alias or metric.HasField("alias"):
            alias = metric.alias
            self._register(alias, tag)
        if tag.heard is not None and tag.name == tag.heard.metric:
            self._note_alias(tag.heard, alias, metric.datatype)
        if tag.heard is not None and self._take(metric, metric.datatype, tag.heard):
            self._revive(tag.heard)

    def _note_alias(self, heard: Heard, alias: int | None, datatype: int) -> None:
        """Note by which alias a point may come, which is then told with its next reading."""
        session = self._session
        if alias is None or max(alias, session or 0) > _LATEST:
            alias, datatype, session = None, 0, None
        if (heard.alias, heard.datatype, heard.session) != (alias, datatype, session):
            heard.alias, heard.datatype, heard.session = alias, datatype, session
            heard.is_told = False

    def _register(self, alias: int, tag: Tag) -> None:
        aliases = self._device.aliases
        if alias in aliases:
            self._fault(Wrong.SAME_ALIAS)
            tag = AMBIGUOUS
        aliases[alias] = tag

    def _named(self, name: str) -> Tag:
        """Return what a metric's name stands for, and remember it where it is of a point."""
        device = self._device
        if type(name) is not str:  # bytes that are not UTF-8
            self._fault(Wrong.NAMELESS)
            return UNKNOWN
        known = device.names.get(name)
        if known is not None:
            return known
        tag = Tag(None, name)
        if self._find(tag) is None and tag.wrong is None:
            self._unknown(name)
            return UNKNOWN
        device.names[name] = tag
        return tag

    def _find(self, tag: Tag) -> Heard | None:
        """Find the point of a metric by its name, and take it from whoever loses it."""
        device = self._device
        found = self._names.find(device.owner, tag.name)
        tag.wrong = found.wrong
        if found.point is None:
            return None
        if found.displaced is not None:
            self._displace(found.displaced, found.point.name)
        tag.heard = device.heard_of(found.point, tag.name)
        return tag.heard

    def _heard_now(self, tag: Tag) -> Heard | None:
        """Return the point of a metric that another device had, where that has it no more."""
        return self._find(tag) if tag.wrong is Wrong.CLAIMED else None

    def _unknown(self, name: str) -> None:
        """Say once of a device that it has metrics which the site file does not know."""
        if name.startswith(CONTROLS):
            return
        if not self._device.has_told or (Wrong.UNKNOWN, None) in self._faults:
            self._fault(Wrong.UNKNOWN, name=name)
            self._device.has_told = True

    def _take(self, metric: Payload.Metric, datatype: int, heard: Heard) -> bool:
        """Take one metric as a reading of its point; return whether it tells of now."""
        ms: int | None = metric.timestamp
        if not ms and not metric.HasField("timestamp"):
            ms = self._sent
        quality = quality_of(metric) if metric.HasField("properties") else 0
        if quality == Quality.BAD and metric.is_null:
            if heard.time is None:
                return False  # nothing is known, and nothing was
            value: float | Fault | Wrong = heard.value / heard.scale
        else:
            value = value_of(metric, metric.datatype or datatype, heard.role)
        if type(value) is not float:
            self._fault(value, heard, ms)  # type: ignore[arg-type]
            return False
        is_past = metric.is_historical
        if ms is None:
            if is_past:
                self._fault(Wrong.HISTORY, heard)
                return False
            time, quality = self._message.arrived, quality or 1
        elif _EARLIEST_MS <= ms <= self._latest_ms:
            time = ms * NS_PER_MS
        else:
            self._fault(Fault.EARLY if ms < _EARLIEST_MS else Fault.AHEAD, heard)
            return False
        if quality < self._least:
            quality = self._least
        value *= heard.scale
        if is_past:
            self._past.append((heard.point, time, value, quality))
            return False
        self._live.append((heard.point, time, value, quality))
        if heard.time is None or time >= heard.time:
            heard.time, heard.value = time, value
            if heard.marked is not None and time > heard.marked:
                heard.marked = None
        if not heard.is_told:
            self._tell(heard)
        return True

    def _tell(self, heard: Heard) -> None:
        """Tell that the device gives a point."""
        heard.is_told = True
        device = self._device.owner[2]
        told = Given(heard.point, self._source, device, heard.metric)
        if heard.alias is not None:
            told = replace(told, alias=heard.alias, datatype=heard.datatype, session=heard.session)
        self._given.append(told)

    def _revive(self, heard: Heard) -> None:
        """Let a birth end what a death began, though its value was read before.

        A value that did not change may keep its time, which is then before the mark of the death.
        It holds again from when the birth arrived, as uncertain: nobody read it just then.
        """
        if heard.marked is None:
            return
        time = max(self._message.arrived, heard.marked + NS_PER_MS)
        _, _, value, quality = self._live[-1]
        self._live.append((heard.point, time, value, max(quality, 1)))
        heard.time, heard.value, heard.marked = time, value, None

    def _fault(
        self,
        wrong: Fault | Wrong,
        heard: Heard | None = None,
        ms: int | None = None,
        *,
        count: int = 1,
        name: str | None = None,
    ) -> None:
        """Count a fault; what is told of it is that of the first metric."""
        key = wrong, None if heard is None else heard.role
        first = self._faults.get(key)
        if first is not None:
            self._faults[key] = replace(first, count=first.count + count)
            return
        message = self._message
        if name is not None:  # says more than a payload of bytes
            message = replace(message, payload=name.encode())
        point = None if heard is None else heard.point
        time = None if ms is None or not _EARLIEST_MS <= ms <= _LATEST_MS else ms * NS_PER_MS
        self._faults[key] = Refused(message, reason(*key), count, point, time)
