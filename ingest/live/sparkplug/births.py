"""Births of nodes and devices: from then on it is known what their names and aliases stand for."""

from __future__ import annotations

from collections.abc import Mapping

from ingest.live.sparkplug.asking import answered
from ingest.live.sparkplug.data import Data
from ingest.live.sparkplug.following import Following
from ingest.live.sparkplug.nodes import SEQ, Device, Tag
from ingest.live.sparkplug.order import Order
from ingest.live.sparkplug.payloads import bd_seq
from ingest.live.sparkplug.reasons import Wrong, reason
from ingest.live.sparkplug.said import Said
from ingest.live.sparkplug.straying import is_before, is_known, is_older
from ingest.live.sparkplug.taken import Taken


class Births:
    """Takes births.

    Parameters
    ----------
    following : Following
        The nodes.
    order : Order
        Of what they say; the birth of a node begins it anew.
    data : Data
        Those that were kept for a birth are settled by it.
    """

    def __init__(self, following: Following, order: Order, data: Data) -> None:
        self._following = following
        self._known = following.known
        self._order = order
        self._data = data

    def of_node(self, said: Said, taken: Taken) -> None:
        """Follow a node from its birth on."""
        node, session = said.node, bd_seq(said.payload)
        if not self._is_news(said, session, taken):
            return
        self._order.part(node, said.sent, said.arrived, taken)
        for device in node.devices.values():
            if session is None or session != node.bd_seq:
                self._data.settle(node, device, taken)
            if device.is_born or device.is_remembered:
                device.is_born, device.missing_since = False, said.arrived
        node.is_alive, node.bd_seq, node.birth_ms = True, session, said.sent
        node.next_seq = (said.payload.seq + 1) % SEQ
        node.wants_birth = node.is_doubtful = False
        answered(node)
        own = self._known.device(node, "")
        if own is None:
            taken.refuse(said.message, reason(Wrong.DEVICES))
        else:
            self._learn(said, own, taken)
        self._order.go_on(node, taken)
        self._known.watch(node)

    def _is_news(self, said: Said, session: int | None, taken: Taken) -> bool:
        """Tell whether the birth of a node is another than the one that is known, and no older."""
        node = said.node
        if said.payload.seq >= SEQ:
            taken.refuse(said.message, reason(Wrong.SEQ))
            return False
        if is_known(node, said.sent, session) and not node.is_asked:
            if not node.is_alive:  # else it is the same once more
                taken.refuse(said.message, reason(Wrong.OLD_BIRTH))
                self._following.ask(node, said.arrived, taken)
            return False
        if is_older(node, said.sent, said.arrived):
            taken.refuse(said.message, reason(Wrong.OLD_BIRTH))
            return False
        return True

    def of_device(self, said: Said, device: Device, taken: Taken) -> None:
        """Follow a device from its birth on."""
        node = said.node
        if not node.is_alive:
            self._take_values(said, device, taken, Wrong.EARLY_BIRTH, is_uncertain=True)
        elif _is_repeated(said, device):
            return
        elif _is_old(said, device):
            taken.refuse(said.message, reason(Wrong.OLD_BIRTH))
        elif said.is_late:
            # Another birth may be among what was lost since: its values count, its aliases do not.
            self._take_values(said, device, taken, is_uncertain=not device.is_born)
        else:
            self._learn(said, device, taken)

    def _take_values(
        self,
        said: Said,
        device: Device,
        taken: Taken,
        wrong: Wrong | None = None,
        *,
        is_uncertain: bool,
    ) -> None:
        """Take the values of a birth that does not hold, and ask for another."""
        reading = self._following.reading(said, device, is_uncertain=is_uncertain)
        reading.data(None)
        if wrong is not None:
            reading.refuse(wrong)
        reading.into(taken)
        self._following.ask(said.node, said.arrived, taken)

    def _learn(self, said: Said, device: Device, taken: Taken) -> None:
        """Learn names and aliases of a device from its birth, and take its values."""
        before = device.aliases
        reading = self._following.reading(said, device)
        named = reading.birth(self._known.room_for(device))
        self._known.name(device, named)
        device.is_born, device.is_doubtful, device.missing_since = True, False, None
        device.is_remembered, device.was_born = False, True
        device.birth_ms = said.sent
        reading.into(taken)
        if device.kept:
            self._data.settle(said.node, device, taken, _unchanged(before, device.aliases))


def _is_repeated(said: Said, device: Device) -> bool:
    """Tell whether a birth of a device is the one that is known, once more."""
    return (
        said.is_late and device.is_born and said.sent is not None and said.sent == device.birth_ms
    )


def _is_old(said: Said, device: Device) -> bool:
    """Tell whether a birth of a device is from before the birth of its node, or its own."""
    node = said.node
    return is_before(said.sent, node.birth_ms, node, said.is_late) or (
        device.is_born and is_before(said.sent, device.birth_ms, node, said.is_late)
    )


def _unchanged(before: Mapping[int, Tag], after: Mapping[int, Tag]) -> dict[int, Tag]:
    """Return the aliases that stand for the same in two births."""
    return {
        alias: tag
        for alias, tag in after.items()
        if (old := before.get(alias)) is not None
        and (old.name, old.datatype, old.heard is None)
        == (tag.name, tag.datatype, tag.heard is None)
    }
