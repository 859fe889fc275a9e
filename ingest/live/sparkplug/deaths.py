"""Deaths of nodes and devices: all that they gave is unknown from then on."""

from __future__ import annotations

from collections.abc import Iterable

from bondtrail.samples import Quality
from bondtrail.times import NS_PER_MS
from ingest.live.sparkplug.data import Data
from ingest.live.sparkplug.following import Following
from ingest.live.sparkplug.nodes import Device, Heard, Node
from ingest.live.sparkplug.order import Order
from ingest.live.sparkplug.payloads import bd_seq
from ingest.live.sparkplug.reasons import Wrong, reason
from ingest.live.sparkplug.said import Said
from ingest.live.sparkplug.straying import is_before
from ingest.live.sparkplug.taken import Readings, Taken


class Deaths:
    """Takes deaths, and marks the points of who died.

    Parameters
    ----------
    following : Following
        The nodes.
    order : Order
        Of what they say; the death of a node ends it.
    data : Data
        Those that were kept for a birth are refused: it will not come.
    """

    def __init__(self, following: Following, order: Order, data: Data) -> None:
        self._following = following
        self._order = order
        self._data = data

    def of_node(self, said: Said, taken: Taken) -> None:
        """Mark every point of a node and its devices unknown."""
        node, session = said.node, bd_seq(said.payload)
        is_certain = node.is_alive and not node.is_doubtful
        if is_certain and None not in (session, node.bd_seq) and session != node.bd_seq:
            taken.refuse(said.message, reason(Wrong.OTHER_DEATH))
            return
        self._order.wait_no_more(node, said.arrived, taken, asks=False)
        node.is_alive = False
        self.mark(node, node.devices.values(), said.arrived, taken)

    def of_device(self, said: Said, device: Device, taken: Taken) -> None:
        """Mark every point of a device unknown."""
        if device.is_born and is_before(said.sent, device.birth_ms, said.node, said.is_late):
            taken.refuse(said.message, reason(Wrong.OLD_DEATH))
            return
        self.mark(said.node, [device], said.arrived, taken)

    def mark(
        self,
        node: Node,
        devices: Iterable[Device],
        now: int,
        taken: Taken,
        *,
        since: int | None = None,
    ) -> None:
        """Mark the points of devices unknown, and forget what their births said.

        Parameters
        ----------
        node : Node
            Whose they are.
        devices : iterable of Device
            Those that are gone.
        now : int
            When that became known. [ns]
        taken : Taken
            Gets the marks.
        since : int, optional
            From when on they are unknown; by default from ``now``. [ns]
        """
        marks = Readings(node.source, now, False)
        for device in devices:
            self._data.settle(node, device, taken)
            for heard in device.points.values():
                _mark_unknown(heard, now if since is None else since, marks)
                self._following.names.release(device.owner, heard.point)
                device.loosen(heard.point)
            self._following.known.name(device, 0)
            device.is_born = device.is_doubtful = device.is_remembered = False
            device.missing_since = None
            device.aliases = {}
        if marks.points:
            taken.readings.append(marks)


def _mark_unknown(heard: Heard, since: int, marks: Readings) -> None:
    """Mark a point unknown that was heard, once."""
    if heard.time is None or heard.marked is not None:
        return
    heard.marked = max(since, heard.time + NS_PER_MS)
    marks.add(heard.point, heard.marked, heard.value, int(Quality.BAD))
