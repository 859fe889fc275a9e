"""A host of Sparkplug B: follows edge nodes by their births and deaths, and takes their data.

Nothing is opened, no clock is read: a message holds when it arrived, and `SparkplugHost.tick` is
told the time. Whatever arrives may be hostile, so all that is kept is bounded.
"""

from __future__ import annotations

from collections.abc import Iterable

from bondtrail.running import Given
from bondtrail.site import Site
from bondtrail.times import NS_PER_S
from ingest.faults import Fault
from ingest.live.cutting import MOST_PAYLOAD
from ingest.live.messages import Message
from ingest.live.sparkplug.births import Births
from ingest.live.sparkplug.data import Data
from ingest.live.sparkplug.deaths import Deaths
from ingest.live.sparkplug.following import Following
from ingest.live.sparkplug.known import Known
from ingest.live.sparkplug.missed import Missed
from ingest.live.sparkplug.nodes import Node
from ingest.live.sparkplug.order import Order
from ingest.live.sparkplug.payloads import parsed, sent_ms
from ingest.live.sparkplug.reasons import Wrong, reason
from ingest.live.sparkplug.said import Said
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from ingest.live.sparkplug.taken import Taken
from ingest.live.sparkplug.topics import Address, Kind, address_of, group_of

KEEP_NS = 60 * NS_PER_S
"""How long data of doubtful aliases wait for a birth, and a device for its own after its node's."""


class SparkplugHost:
    """Takes the messages of all edge nodes of a broker.

    Parameters
    ----------
    site : Site
        Whose points the metrics are of.
    """

    def __init__(self, site: Site) -> None:
        self._known = Known()
        self._missed = Missed()
        self._following = Following(site, self._known)
        self._order = Order(self._following, self._take_in_turn)
        self._data = Data(self._following)
        self._births = Births(self._following, self._order, self._data)
        self._deaths = Deaths(self._following, self._order, self._data)

    def remember(self, given: Iterable[Given]) -> None:
        """Know again who gave which points before, as far as the site file says the same."""
        self._missed.learn(given, self._following.names, self._known)

    def doubt(self) -> None:
        """Doubt all births, and ask for others: nobody listened for a while."""
        self._missed.doubt(self._known)

    def follow(self, site: Site) -> None:
        """Take metrics by another site file from now on, and ask for births where it matters."""
        self._following.follow(site)

    def take(self, message: Message) -> Taken:
        """Return what a message comes to, and those that waited for it."""
        taken = Taken()
        group = group_of(message.topic)
        if group is None or not self._following.names.follows(group):
            return taken
        address = address_of(message.topic)
        payload, wrong = _opened(message, address)
        if address is None:
            taken.refuse(message, reason(wrong))
            return taken
        if payload is None:
            known = self._known.nodes.get((address.group, address.node))
            if known is None or not self._following.is_strange(known):
                taken.refuse(message, reason(wrong))
            return taken
        node = self._known.node(address.group, address.node)
        if node is None:
            taken.refuse(message, reason(Wrong.NODES))
            return taken
        self._take_of_node(Said(node, address, message, payload, sent_ms(payload)), taken)
        self._following.hush(node, taken)
        return taken

    def tick(self, now: int) -> Taken:
        """Return what is due though nothing came; ``now`` is in ns."""
        taken = Taken()
        self._missed.ask_some(self._known, now)
        for key in list(self._known.busy):
            node = self._known.nodes.get(key)
            of_node = Taken()
            if node is None or not self._look_after(node, now, of_node):
                self._known.busy.discard(key)
            if node is not None:
                self._following.hush(node, of_node)
            taken.extend(of_node)
        return taken

    def close(self, now: int) -> Taken:
        """Return what waits, since nobody will wait for it any more; ``now`` is in ns.

        What was to come before it is lost: names mean what they say, and aliases nobody knows.
        """
        taken = Taken()
        for node in self._known.nodes.values():
            of_node = Taken()
            self._order.wait_no_more(node, now, of_node, asks=False)
            for device in node.devices.values():
                self._data.settle(node, device, of_node)
            self._following.hush(node, of_node)
            taken.extend(of_node)
        return taken

    def _take_of_node(self, said: Said, taken: Taken) -> None:
        """Take a message of a node or a device, and those that waited for it."""
        if said.node.held:
            self._order.end_wait(said.node, said.arrived, taken)
        if said.address.kind is Kind.NODE_BIRTH:
            self._births.of_node(said, taken)
        elif said.address.kind is Kind.NODE_DEATH:
            self._deaths.of_node(said, taken)
        else:
            self._order.take(said, taken)

    def _take_in_turn(self, said: Said, taken: Taken) -> None:
        """Take a numbered message: all but the birth and the death of a node."""
        device = self._known.device(said.node, said.address.device)
        if device is None:
            taken.refuse(said.message, reason(Wrong.DEVICES))
        elif said.address.kind is Kind.DEVICE_BIRTH:
            self._births.of_device(said, device, taken)
        elif said.address.kind is Kind.DEVICE_DEATH:
            self._deaths.of_device(said, device, taken)
        else:
            self._data.take(said, device, taken)

    def _look_after(self, node: Node, now: int, taken: Taken) -> bool:
        """Do what is due for a node; return whether there will be more."""
        node.wait_from(now)
        self._order.end_wait(node, now, taken)
        waits = bool(node.held)
        for device in node.devices.values():
            if device.kept and now - device.kept_since >= KEEP_NS:
                self._data.settle(node, device, taken)
            since = device.missing_since
            if since is not None and now - since >= KEEP_NS:
                self._deaths.mark(node, [device], now, taken, since=since)
            waits |= bool(device.kept) or device.missing_since is not None
        if not self._following.may_ask(node):
            node.wants_birth = False
        elif node.wants_birth or any(device.is_doubtful for device in node.devices.values()):
            node.wants_birth &= node.is_asked_lately(now)
            self._following.ask(node, now, taken)
            return True
        return waits


def _opened(message: Message, address: Address | None) -> tuple[Payload | None, Fault | Wrong]:
    """Return what a message holds, or None and what is wrong with it."""
    if address is None:
        return None, Wrong.TOPIC
    if message.is_retained:
        return None, Wrong.RETAINED
    if len(message.payload) > MOST_PAYLOAD:
        return None, Fault.SIZE
    return parsed(message.payload), Wrong.PAYLOAD
