"""Ask an edge node for its births, seldom enough that nobody is flooded."""

from __future__ import annotations

from bondtrail.times import NS_PER_S
from ingest.live.sparkplug.nodes import Node
from ingest.live.sparkplug.payloads import rebirth
from ingest.live.sparkplug.taken import Taken
from ingest.live.sparkplug.topics import topic_of

FIRST_WAIT = 60 * NS_PER_S
"""A node is asked again no sooner; then the wait doubles."""
LONGEST_WAIT = 3600 * NS_PER_S


def ask(node: Node, now: int, taken: Taken) -> None:
    """Ask a node for its births unless it was asked lately; ``now`` is in ns."""
    if node.is_asked_lately(now):
        return
    taken.publish.append((topic_of("NCMD", node.group, node.name), rebirth(now)))
    wait = node.ask_wait * 2 if node.is_asked else FIRST_WAIT
    node.asked_at, node.ask_wait, node.is_asked = now, min(wait, LONGEST_WAIT), True


def answered(node: Node) -> None:
    """Note that a node was born: the next wait is short again, unless births do not help it."""
    node.is_asked = node.is_asked and node.has_unnamed
    node.has_unnamed = False
