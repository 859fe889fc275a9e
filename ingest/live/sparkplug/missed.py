"""What went on while nobody listened: who gave which points before, whose births are to be asked.

A death that comes before any birth must find the points of the node.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable

from bondtrail.running import Given
from bondtrail.samples import Quality
from bondtrail.times import NS_PER_S
from ingest.live.sparkplug.known import Known
from ingest.live.sparkplug.names import Names, Owner
from ingest.live.sparkplug.nodes import Heard, Node, Tag

MOST_ASKED = 10
"""Nodes that are asked for their births at once: each may answer by many thousand metrics."""
ASK_EVERY_NS = NS_PER_S // 2
"""The next ones are asked no sooner."""


class Missed:
    """Nodes that may have been born anew while nobody listened, until they are asked."""

    def __init__(self) -> None:
        self._unasked: deque[tuple[str, str]] = deque()
        self._asked_at: int | None = None

    def learn(self, given: Iterable[Given], names: Names, known: Known) -> None:
        """Give points back to those who gave them; ask those nodes for their births by and by."""
        nodes = (_recalled(each, names, known) for each in given)
        keys = dict.fromkeys((node.group, node.name) for node in nodes if node is not None)
        self._ask(keys)

    def doubt(self, known: Known) -> None:
        """Doubt every birth: another may have come and gone, with other aliases."""
        for node in known.nodes.values():
            node.is_doubtful = node.is_alive
            node.doubt()
        self._ask(key for key, node in known.nodes.items() if node.is_alive or node.has_known)

    def _ask(self, keys: Iterable[tuple[str, str]]) -> None:
        self._unasked = deque(dict.fromkeys([*self._unasked, *keys]))

    def ask_some(self, known: Known, now: int) -> None:
        """Have some of the nodes asked whose births are still not certain; ``now`` is in ns."""
        at = self._asked_at
        if not self._unasked or (at is not None and abs(now - at) < ASK_EVERY_NS):
            return
        self._asked_at = now
        for _ in range(min(MOST_ASKED, len(self._unasked))):
            key = self._unasked.popleft()
            node = known.nodes.get(key)
            if node is not None and (node.is_doubtful or not node.is_alive):
                node.wants_birth = True
                known.busy.add(key)


def _recalled(each: Given, names: Names, known: Known) -> Node | None:
    """Give one point back to its device; return the node, None where nothing came of it."""
    owner = _owner_of(each)
    if owner is None or each.time is None:
        return None
    point = names.remember(owner, each.metric, each.point)
    if point is None:
        return None
    node = known.node(*owner[:2])
    device = None if node is None else known.device(node, owner[2])
    if node is None or device is None:
        return None
    heard = device.heard_of(point, each.metric)
    heard.is_told = heard.metric == each.metric
    if heard.is_told and each.alias is not None and not (node.is_alive or device.is_born):
        heard.alias, heard.datatype, heard.session = each.alias, each.datatype, each.session
        device.aliases[each.alias] = Tag(heard, each.metric, each.datatype)
        node.bd_seq = each.session
    if heard.time is None:
        _put(heard, each)
        device.is_remembered = not device.is_born
    return node


def _put(heard: Heard, each: Given) -> None:
    """Take the newest reading for the last that was heard; a bad one is what a death leaves."""
    heard.time, heard.value = each.time, each.value
    heard.marked = each.time if each.quality == Quality.BAD else None


def _owner_of(each: Given) -> Owner | None:
    """Return the group, the node and the device that gave a point."""
    name = each.source.removeprefix(Node.KIND)
    group, slash, node = name.partition("/")
    return (group, node, each.device) if slash and name != each.source else None
