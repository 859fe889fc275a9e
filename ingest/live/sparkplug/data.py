"""Data of nodes and devices: taken by name or alias, or kept while aliases are in doubt."""

from __future__ import annotations

from collections.abc import Mapping

from ingest.live.messages import Message
from ingest.live.sparkplug.following import Following
from ingest.live.sparkplug.known import MOST_HELD
from ingest.live.sparkplug.nodes import Device, Node, Tag
from ingest.live.sparkplug.reasons import Wrong
from ingest.live.sparkplug.said import Said, said_before
from ingest.live.sparkplug.straying import doubt_of
from ingest.live.sparkplug.taken import Taken


class Data:
    """Takes the metrics of data messages.

    Parameters
    ----------
    following : Following
        The nodes.
    """

    def __init__(self, following: Following) -> None:
        self._following = following
        self._known = following.known

    def take(self, said: Said, device: Device, taken: Taken) -> None:
        """Take the metrics of a message."""
        node = said.node
        doubt = doubt_of(node, device, said.sent, said.is_late)
        reading = self._following.reading(said, device, is_uncertain=doubt is Wrong.UNBORN)
        untold = reading.data(device.aliases if doubt is None else None)
        if untold:
            may_tell = doubt is Wrong.LOST or (doubt is Wrong.UNBORN and device.had_aliases)
            if not may_tell or not self._keep(node, device, said.message):
                reading.refuse(doubt or Wrong.UNKNOWN_ALIAS, untold)
            node.has_unnamed |= doubt is None
            if not said.is_late:
                self._following.ask(node, said.arrived, taken)
        reading.into(taken)

    def settle(
        self, node: Node, device: Device, taken: Taken, aliases: Mapping[int, Tag] | None = None
    ) -> None:
        """Take what was kept of a device, by the aliases that are certain; refuse the rest."""
        kept, device.kept = device.kept, []
        for message in kept:
            self._known.waits_no_more(message)
            reading = self._following.reading(said_before(node, message), device)
            if untold := reading.data(aliases, only_aliases=True):
                reading.refuse(Wrong.LOST if device.is_born else Wrong.UNBORN, untold)
            reading.into(taken)

    def _keep(self, node: Node, device: Device, message: Message) -> bool:
        """Keep data whose aliases are in doubt until a birth; return whether there was room."""
        if self._known.is_full or len(device.kept) >= MOST_HELD:
            return False
        if not device.kept:
            device.kept_since = message.arrived
        device.kept.append(message)
        self._known.waits(message)
        self._known.watch(node)
        return True
