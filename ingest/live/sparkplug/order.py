"""The order of what a node and its devices say: by their numbers, or after a wait in vain."""

from __future__ import annotations

from collections.abc import Callable

from bondtrail.times import NS_PER_S
from ingest.live.messages import Message
from ingest.live.sparkplug.following import Following
from ingest.live.sparkplug.known import MOST_HELD
from ingest.live.sparkplug.nodes import SEQ, Held, Node
from ingest.live.sparkplug.reasons import Wrong, reason
from ingest.live.sparkplug.said import Said, said_before
from ingest.live.sparkplug.straying import is_backdated, is_before
from ingest.live.sparkplug.taken import Taken

REORDER_NS = 2 * NS_PER_S
"""How long a message waits for one that should have come before it."""

TakeInTurn = Callable[[Said, Taken], None]


class Order:
    """Gives each numbered message its turn.

    Parameters
    ----------
    following : Following
        The nodes.
    take_in_turn : callable
        Takes a message whose turn has come, or which is late.
    """

    def __init__(self, following: Following, take_in_turn: TakeInTurn) -> None:
        self._following = following
        self._known = following.known
        self._take_in_turn = take_in_turn

    def take(self, said: Said, taken: Taken) -> None:
        """Take a message when it is its turn."""
        node, seq = said.node, said.payload.seq
        if not node.is_alive:
            self._take_in_turn(said, taken)
        elif is_before(said.sent, node.birth_ms, node):
            # Of another count: it must not stand for the one of its number.
            self._take_in_turn(said._replace(is_late=True), taken)
        elif not seq and not said.payload.HasField("seq") and node.next_seq:
            # Numbered by nobody; but a writer that leaves out zeros leaves out the number nought.
            self._take_in_turn(said, taken)
        elif seq >= SEQ:
            taken.refuse(said.message, reason(Wrong.SEQ))
        elif seq == node.next_seq:
            node.is_backdated |= is_backdated(said.sent, node.birth_ms)
            node.next_seq = (seq + 1) % SEQ
            self._take_in_turn(said, taken)
            if node.held:
                self.go_on(node, taken)
        elif (seq - node.next_seq) % SEQ >= SEQ - MOST_HELD:
            self._take_in_turn(said._replace(is_late=True), taken)
        else:
            self._hold_back(said, taken)

    def go_on(self, node: Node, taken: Taken) -> None:
        """Take the messages whose turn has come."""
        while node.held and node.is_alive:
            held = node.held.pop(node.next_seq, None)
            if held is None:
                return
            node.next_seq = (node.next_seq + 1) % SEQ
            self._take_held(node, held.message, taken)

    def wait_no_more(self, node: Node, now: int, taken: Taken, *, asks: bool = True) -> None:
        """Wait no longer for what is missing: take what waits, and doubt what aliases mean."""
        if not node.held:
            return
        if asks:
            self._following.ask(node, now, taken)
        held, node.held = node.held, {}
        for seq in sorted(held, key=lambda seq: (seq - node.next_seq) % SEQ):
            if seq != node.next_seq:
                node.doubt()
            node.next_seq = (seq + 1) % SEQ
            self._take_held(node, held[seq].message, taken)
        self._known.watch(node)

    def end_wait(self, node: Node, now: int, taken: Taken) -> None:
        """Wait no longer where that has been long enough; ``now`` is in ns."""
        if now - node.held_since >= REORDER_NS:
            self.wait_no_more(node, now, taken)

    def part(self, node: Node, sent: int | None, now: int, taken: Taken) -> None:
        """Take what waited from before a birth; what is from after it waits for its turn.

        Parameters
        ----------
        node : Node
            That is born.
        sent : int or None
            When its birth says that it was sent. [ms]
        now : int
            When that arrived. [ns]
        taken : Taken
            Gets what was taken.
        """
        after = {
            seq: held
            for seq, held in node.held.items()
            if sent is not None and held.sent_ms is not None and held.sent_ms >= sent
        }
        node.held = {seq: held for seq, held in node.held.items() if seq not in after}
        self.wait_no_more(node, now, taken, asks=False)
        node.held, node.held_since = after, now

    def _hold_back(self, said: Said, taken: Taken) -> None:
        """Let a message wait for those before it."""
        node, message, seq = said.node, said.message, said.payload.seq
        known = node.held.get(seq)
        if known is not None:
            if known.message.payload != message.payload or known.message.topic != message.topic:
                taken.refuse(message, reason(Wrong.SAME_SEQ))
            return
        if not node.held:
            node.held_since = message.arrived
        node.held[seq] = Held(message, said.sent)
        self._known.waits(message)
        self._known.watch(node)
        if len(node.held) > MOST_HELD or self._known.is_full:
            self.wait_no_more(node, message.arrived, taken)

    def _take_held(self, node: Node, message: Message, taken: Taken) -> None:
        """Take a message that waited."""
        self._known.waits_no_more(message)
        self._take_in_turn(said_before(node, message), taken)
