"""A host of Sparkplug B: follows edge nodes by their births and deaths, and takes their data.

Nothing is opened, no clock is read: a message holds when it arrived, and `SparkplugHost.tick` is
told the time. Whatever arrives may be hostile, so all that is kept is bounded.
"""

from __future__ import annotations

from collections.abc import Iterable

from bondtrail.running import Given
from bondtrail.samples import Quality
from bondtrail.site import Site
from bondtrail.times import NS_PER_MS, NS_PER_S
from ingest.faults import Fault
from ingest.live.cutting import MOST_PAYLOAD
from ingest.live.messages import Message
from ingest.live.sparkplug.asking import answered, ask
from ingest.live.sparkplug.known import Known
from ingest.live.sparkplug.missed import Missed
from ingest.live.sparkplug.names import Names, Owner
from ingest.live.sparkplug.nodes import SEQ, Device, Heard, Held, Node, Tag
from ingest.live.sparkplug.payloads import bd_seq, parsed, sent_ms
from ingest.live.sparkplug.reading import Reading
from ingest.live.sparkplug.reasons import Wrong, reason
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from ingest.live.sparkplug.strangers import is_strange, may_be_asked
from ingest.live.sparkplug.straying import doubt_of, is_backdated, is_before, is_known, is_older
from ingest.live.sparkplug.taken import Readings, Taken
from ingest.live.sparkplug.topics import Address, Kind, address_of, group_of, is_for_others

REORDER_NS = 2 * NS_PER_S
"""How long a message waits for one that should have come before it."""
KEEP_NS = 60 * NS_PER_S
"""How long data of doubtful aliases wait for a birth, and a device for its own after its node's."""
MOST_HELD = 100
"""Messages of one node that wait; as many numbers back, one is late and not far ahead."""


class SparkplugHost:
    """Takes the messages of all edge nodes of a broker.

    Parameters
    ----------
    site : Site
        Whose points the metrics are of.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._names = Names(site)
        self._known = Known()
        self._missed = Missed()

    def remember(self, given: Iterable[Given]) -> None:
        """Know again who gave which points before, as far as the site file says the same."""
        self._missed.learn(given, self._names, self._known)

    def doubt(self) -> None:
        """Doubt all births, and ask for others: nobody listened for a while."""
        self._missed.doubt(self._known)

    def follow(self, site: Site) -> None:
        """Take metrics by another site file from now on, and ask for births where it matters."""
        if site.text == self._site.text:
            return
        self._site, self._names = site, Names(site)
        for key, node in self._known.nodes.items():
            if not self._names.follows(node.group):
                node.let_go()
            for device in node.devices.values():
                self._rename(device)
                device.was_born = False
            node.wants_birth = node.is_alive
            self._known.busy.add(key)

    def take(self, message: Message) -> Taken:
        """Return what a message comes to, and those that waited for it."""
        taken = Taken()
        if is_for_others(message.topic) or not self._names.follows(group_of(message.topic)):
            return taken
        address = address_of(message.topic)
        payload, wrong = _opened(message, address)
        if address is None:
            taken.refuse(message, reason(wrong))
            return taken
        if payload is None:
            known = self._known.nodes.get((address.group, address.node))
            if known is None or not is_strange(known, self._names):
                taken.refuse(message, reason(wrong))
            return taken
        node = self._known.node(address.group, address.node)
        if node is None:
            taken.refuse(message, reason(Wrong.NODES))
            return taken
        self._take_of(node, address, message, payload, taken)
        self._hush_stranger(node, taken)
        return taken

    def _take_of(
        self, node: Node, address: Address, message: Message, payload: Payload, taken: Taken
    ) -> None:
        """Take a message of a node, and those that waited for it."""
        if node.held and message.arrived - node.held_since >= REORDER_NS:
            self._wait_no_more(node, message.arrived, taken)
        if address.kind is Kind.NODE_BIRTH:
            self._node_birth(node, message, payload, taken)
        elif address.kind is Kind.NODE_DEATH:
            self._node_death(node, message, payload, taken)
        else:
            self._take_numbered(node, address, message, payload, taken)

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
                self._hush_stranger(node, of_node)
            taken.extend(of_node)
        return taken

    def close(self, now: int) -> Taken:
        """Return what waits, since nobody will wait for it any more; ``now`` is in ns.

        What was to come before it is lost: names mean what they say, and aliases nobody knows.
        """
        taken = Taken()
        for node in self._known.nodes.values():
            of_node = Taken()
            if node.held:
                self._wait_no_more(node, now, of_node, asks=False)
            for device in node.devices.values():
                self._settle_kept(node, device, {}, of_node)
            self._hush_stranger(node, of_node)
            taken.extend(of_node)
        return taken

    def _hush_stranger(self, node: Node, taken: Taken) -> None:
        """Tell nothing of what is wrong with a node of which nothing is ours."""
        if taken.refused and is_strange(node, self._names):
            taken.refused.clear()

    def _ask(self, node: Node, now: int, taken: Taken) -> None:
        """Ask a node for its births, if it may be ours and was not asked lately."""
        if may_be_asked(node, self._names):
            ask(node, now, taken)

    # Order

    def _take_numbered(
        self, node: Node, address: Address, message: Message, payload: Payload, taken: Taken
    ) -> None:
        """Take a message when it is its turn."""
        if not node.is_alive:
            self._take_in_turn(node, address, message, payload, taken)
            return
        sent = sent_ms(payload)
        if is_before(sent, node.birth_ms, node):
            # Of another count: it must not stand for the one of its number.
            self._take_in_turn(node, address, message, payload, taken, is_late=True)
            return
        seq = payload.seq
        if not seq and not payload.HasField("seq") and node.next_seq:
            # Numbered by nobody; but a writer that leaves out zeros leaves out the number nought.
            self._take_in_turn(node, address, message, payload, taken)
        elif seq >= SEQ:
            taken.refuse(message, reason(Wrong.SEQ))
        elif seq == node.next_seq:
            node.is_backdated |= is_backdated(sent, node.birth_ms)
            node.next_seq = (seq + 1) % SEQ
            self._take_in_turn(node, address, message, payload, taken)
            if node.held:
                self._take_what_is_due(node, taken)
        elif (seq - node.next_seq) % SEQ >= SEQ - MOST_HELD:
            self._take_in_turn(node, address, message, payload, taken, is_late=True)
        else:
            self._hold_back(node, seq, message, sent, taken)

    def _hold_back(
        self, node: Node, seq: int, message: Message, sent: int | None, taken: Taken
    ) -> None:
        """Let a message wait for those before it."""
        known = node.held.get(seq)
        if known is not None:
            if known.message.payload != message.payload or known.message.topic != message.topic:
                taken.refuse(message, reason(Wrong.SAME_SEQ))
            return
        if not node.held:
            node.held_since = message.arrived
        node.held[seq] = Held(message, sent)
        self._known.waits(message)
        self._known.busy.add((node.group, node.name))
        if len(node.held) > MOST_HELD or self._known.is_full:
            self._wait_no_more(node, message.arrived, taken)

    def _take_what_is_due(self, node: Node, taken: Taken) -> None:
        """Take the messages whose turn has come."""
        while node.held and node.is_alive:
            held = node.held.pop(node.next_seq, None)
            if held is None:
                return
            node.next_seq = (node.next_seq + 1) % SEQ
            self._take_held(node, held.message, taken)

    def _wait_no_more(self, node: Node, now: int, taken: Taken, *, asks: bool = True) -> None:
        """Wait no longer for what is missing: take what waits, and doubt what aliases mean."""
        if asks:
            self._ask(node, now, taken)
        held, node.held = node.held, {}
        for seq in sorted(held, key=lambda seq: (seq - node.next_seq) % SEQ):
            if seq != node.next_seq:
                node.doubt()
            node.next_seq = (seq + 1) % SEQ
            self._take_held(node, held[seq].message, taken)
        self._known.busy.add((node.group, node.name))

    def _take_held(self, node: Node, message: Message, taken: Taken) -> None:
        """Take a message that waited."""
        self._known.waits_no_more(message)
        address, payload = address_of(message.topic), parsed(message.payload)
        assert address is not None, "only messages of nodes wait"
        assert payload is not None, "only messages that could be read wait"
        self._take_in_turn(node, address, message, payload, taken)

    def _take_in_turn(
        self,
        node: Node,
        address: Address,
        message: Message,
        payload: Payload,
        taken: Taken,
        *,
        is_late: bool = False,
    ) -> None:
        """Take a message of a node or a device, other than the birth and death of a node."""
        device = self._known.device(node, address.device)
        if device is None:
            taken.refuse(message, reason(Wrong.DEVICES))
        elif address.kind is Kind.DEVICE_BIRTH:
            self._device_birth(node, device, message, payload, taken, is_late)
        elif address.kind is Kind.DEVICE_DEATH:
            self._device_death(node, device, message, payload, taken, is_late)
        else:
            self._take_data(node, device, message, payload, taken, is_late)

    # Data

    def _take_data(
        self,
        node: Node,
        device: Device,
        message: Message,
        payload: Payload,
        taken: Taken,
        is_late: bool,
    ) -> None:
        """Take the metrics of a data message."""
        doubt = doubt_of(node, device, sent_ms(payload), is_late)
        unborn = doubt is Wrong.UNBORN
        reading = self._reading(node, device, message, payload, is_uncertain=unborn)
        untold = reading.data(device.aliases if doubt is None else None)
        if untold:
            if doubt is not Wrong.LOST or not self._keep_for_birth(node, device, message):
                reading.refuse(doubt or Wrong.UNKNOWN_ALIAS, untold)
            node.has_unnamed |= doubt is None
            if not is_late:
                self._ask(node, message.arrived, taken)
        reading.into(taken)

    def _keep_for_birth(self, node: Node, device: Device, message: Message) -> bool:
        """Keep data whose aliases are in doubt until a birth; return whether there was room."""
        if self._known.is_full or len(device.kept) >= MOST_HELD:
            return False
        if not device.kept:
            device.kept_since = message.arrived
        device.kept.append(message)
        self._known.waits(message)
        self._known.busy.add((node.group, node.name))
        return True

    def _settle_kept(
        self, node: Node, device: Device, aliases: dict[int, Tag], taken: Taken
    ) -> None:
        """Take what was kept of a device, by the aliases that are certain; refuse the rest."""
        kept, device.kept = device.kept, []
        for message in kept:
            self._known.waits_no_more(message)
            payload = parsed(message.payload)
            assert payload is not None, "only messages that could be read are kept"
            reading = self._reading(node, device, message, payload)
            if untold := reading.data(aliases, only_aliases=True):
                reading.refuse(Wrong.LOST, untold)
            reading.into(taken)

    # Births

    def _node_birth(self, node: Node, message: Message, payload: Payload, taken: Taken) -> None:
        """Follow a node from its birth on."""
        sent, session = sent_ms(payload), bd_seq(payload)
        if payload.seq >= SEQ:
            taken.refuse(message, reason(Wrong.SEQ))
            return
        if is_known(node, sent, session) and not node.is_asked:
            if node.is_alive:
                return  # the same once more
            taken.refuse(message, reason(Wrong.OLD_BIRTH))
            self._ask(node, message.arrived, taken)
            return
        if is_older(node, sent, message.arrived):
            taken.refuse(message, reason(Wrong.OLD_BIRTH))
            return
        self._part_held(node, sent, message.arrived, taken)
        for device in node.devices.values():
            if session is None or session != node.bd_seq:
                self._settle_kept(node, device, {}, taken)
            if device.is_born or device.is_remembered:
                device.is_born, device.missing_since = False, message.arrived
        node.is_alive, node.bd_seq, node.birth_ms = True, session, sent
        node.next_seq = (payload.seq + 1) % SEQ
        node.wants_birth = node.is_doubtful = False
        answered(node)
        own = self._known.device(node, "")
        if own is None:
            taken.refuse(message, reason(Wrong.DEVICES))
        else:
            self._learn(node, own, message, payload, taken)
        self._take_what_is_due(node, taken)
        self._known.busy.add((node.group, node.name))

    def _part_held(self, node: Node, sent: int | None, now: int, taken: Taken) -> None:
        """Take what waited from before a birth; what is from after it waits for its turn."""
        after = {
            seq: held
            for seq, held in node.held.items()
            if sent is not None and held.sent_ms is not None and held.sent_ms >= sent
        }
        node.held = {seq: held for seq, held in node.held.items() if seq not in after}
        if node.held:
            self._wait_no_more(node, now, taken, asks=False)
        node.held, node.held_since = after, now

    def _device_birth(
        self,
        node: Node,
        device: Device,
        message: Message,
        payload: Payload,
        taken: Taken,
        is_late: bool,
    ) -> None:
        """Follow a device from its birth on."""
        sent = sent_ms(payload)
        if not node.is_alive:
            reading = self._reading(node, device, message, payload, is_uncertain=True)
            reading.data(None)
            reading.refuse(Wrong.EARLY_BIRTH)
            reading.into(taken)
            self._ask(node, message.arrived, taken)
        elif is_late and device.is_born and sent is not None and sent == device.birth_ms:
            return  # the same once more
        elif is_before(sent, node.birth_ms, node, is_late) or (
            device.is_born and is_before(sent, device.birth_ms, node, is_late)
        ):
            taken.refuse(message, reason(Wrong.OLD_BIRTH))
        elif is_late:
            # Another birth may be among what was lost since: its values count, its aliases do not.
            reading = self._reading(node, device, message, payload, is_uncertain=not device.is_born)
            reading.data(None)
            reading.into(taken)
            self._ask(node, message.arrived, taken)
        else:
            self._learn(node, device, message, payload, taken)

    def _learn(
        self, node: Node, device: Device, message: Message, payload: Payload, taken: Taken
    ) -> None:
        """Learn names and aliases of a device from its birth, and take its values."""
        before = device.aliases
        reading = self._reading(node, device, message, payload)
        named = reading.birth(self._known.room_for(device))
        self._known.name(device, named)
        device.is_born, device.is_doubtful, device.missing_since = True, False, None
        device.is_remembered, device.was_born = False, True
        device.birth_ms = sent_ms(payload)
        reading.into(taken)
        if device.kept:
            self._settle_kept(node, device, _unchanged(before, device.aliases), taken)

    # Deaths

    def _node_death(self, node: Node, message: Message, payload: Payload, taken: Taken) -> None:
        """Mark every point of a node and its devices unknown."""
        session = bd_seq(payload)
        is_certain = node.is_alive and not node.is_doubtful
        if is_certain and None not in (session, node.bd_seq) and session != node.bd_seq:
            taken.refuse(message, reason(Wrong.OTHER_DEATH))
            return
        if node.held:
            self._wait_no_more(node, message.arrived, taken, asks=False)
        node.is_alive = False
        self._mark_dead(node, node.devices.values(), message.arrived, message.arrived, taken)

    def _device_death(
        self,
        node: Node,
        device: Device,
        message: Message,
        payload: Payload,
        taken: Taken,
        is_late: bool,
    ) -> None:
        """Mark every point of a device unknown."""
        if device.is_born and is_before(sent_ms(payload), device.birth_ms, node, is_late):
            taken.refuse(message, reason(Wrong.OLD_DEATH))
            return
        self._mark_dead(node, [device], message.arrived, message.arrived, taken)

    def _mark_dead(
        self, node: Node, devices: Iterable[Device], since: int, now: int, taken: Taken
    ) -> None:
        """Mark the points of devices unknown since a moment, and forget what their births said."""
        marks = Readings(node.source, now, False)
        for device in devices:
            self._settle_kept(node, device, {}, taken)
            for heard in device.points.values():
                _mark_unknown(heard, since, marks)
                self._names.release(device.owner, heard.point)
                device.loosen(heard.point)
            self._known.name(device, 0)
            device.is_born = device.is_doubtful = device.is_remembered = False
            device.missing_since = None
            device.aliases = {}
        if marks.points:
            taken.readings.append(marks)

    # Time

    def _look_after(self, node: Node, now: int, taken: Taken) -> bool:
        """Do what is due for a node; return whether there will be more."""
        node.wait_from(now)
        if node.held and now - node.held_since >= REORDER_NS:
            self._wait_no_more(node, now, taken)
        waits = bool(node.held)
        for device in node.devices.values():
            if device.kept and now - device.kept_since >= KEEP_NS:
                self._settle_kept(node, device, {}, taken)
            since = device.missing_since
            if since is not None and now - since >= KEEP_NS:
                self._mark_dead(node, [device], since, now, taken)
            waits |= bool(device.kept) or device.missing_since is not None
        if not may_be_asked(node, self._names):
            node.wants_birth = False
        elif node.wants_birth or any(device.is_doubtful for device in node.devices.values()):
            node.wants_birth &= node.is_asked_lately(now)
            self._ask(node, now, taken)
            return True
        return waits

    # What is known

    def _reading(
        self,
        node: Node,
        device: Device,
        message: Message,
        payload: Payload,
        *,
        is_uncertain: bool = False,
    ) -> Reading:
        return Reading(
            device,
            message,
            payload,
            names=self._names,
            displace=self._displace,
            source=node.source,
            least=Quality.UNCERTAIN if is_uncertain else Quality.GOOD,
        )

    def _displace(self, owner: Owner, point: str) -> None:
        """Take a point away from a device that had it by a bare name."""
        node = self._known.nodes.get(owner[:2])
        device = node.devices.get(owner[2]) if node else None
        if device is not None:
            device.displace(point)

    def _rename(self, device: Device) -> None:
        """Find the points of a device anew, by the site file that holds now."""
        points, device.points = device.points, {}
        for name, tag in device.names.items():
            if tag.wrong is Wrong.CLAIMED:
                continue  # the next reading shows who has it
            found = self._names.find(device.owner, name)
            if found.displaced is not None and found.point is not None:
                self._displace(found.displaced, found.point.name)
            tag.wrong = found.wrong
            tag.heard = None if found.point is None else device.heard_of(found.point, name)
        for point, before in points.items():
            named = device.names.get(before.metric)  # not since a restart, a death, its last birth
            is_named = named is not None and named.heard is not None
            if not is_named and (kept := self._names.remember(device.owner, before.metric, point)):
                device.heard_of(kept, before.metric)
        for point, heard in device.points.items():
            if (old := points.get(point)) is not None:
                heard.time, heard.value, heard.marked = old.time, old.value, old.marked
                heard.is_told = old.is_told and old.metric == heard.metric


def _opened(message: Message, address: Address | None) -> tuple[Payload | None, Fault | Wrong]:
    """Return what a message holds, or None and what is wrong with it."""
    if address is None:
        return None, Wrong.TOPIC
    if message.is_retained:
        return None, Wrong.RETAINED
    if len(message.payload) > MOST_PAYLOAD:
        return None, Fault.SIZE
    return parsed(message.payload), Wrong.PAYLOAD


def _unchanged(before: dict[int, Tag], after: dict[int, Tag]) -> dict[int, Tag]:
    """Return the aliases that stand for the same in two births."""
    return {
        alias: tag
        for alias, tag in after.items()
        if (old := before.get(alias)) is not None
        and (old.name, old.datatype, old.heard is None)
        == (tag.name, tag.datatype, tag.heard is None)
    }


def _mark_unknown(heard: Heard, since: int, marks: Readings) -> None:
    """Mark a point unknown that was heard, once."""
    if heard.time is None or heard.marked is not None:
        return
    heard.marked = max(since, heard.time + NS_PER_MS)
    marks.add(heard.point, heard.marked, heard.value, int(Quality.BAD))
