"""Messages that come late, twice or before their time: what their timestamps prove."""

from __future__ import annotations

from bondtrail.times import NS_PER_MS
from ingest.live.sparkplug.nodes import Device, Node
from ingest.live.sparkplug.reasons import Wrong

_JITTER_MS = 1000  # what a node sends in order may bear times so far out of order
_STRAY_MS = 30_000  # no message is longer on its way than those behind it
_FUTURE_MS = 60_000  # a birth further ahead of us is no measure of what is older


def doubt_of(node: Node, device: Device, sent: int | None, is_late: bool) -> Wrong | None:
    """Return why nobody knows what the aliases of a message stand for; None where we do."""
    if not node.is_alive or not device.is_born:
        return Wrong.UNBORN
    if device.is_doubtful:
        return Wrong.LOST
    return Wrong.OLD_ALIAS if is_before(sent, device.birth_ms, node, is_late) else None


def is_known(node: Node, sent: int | None, session: int | None) -> bool:
    """Return whether a birth of a node is the one that is known."""
    return sent is not None and (sent, session) == (node.birth_ms, node.bd_seq)


def is_older(node: Node, sent: int | None, arrived: int) -> bool:
    """Return whether a birth of a node is older than the one that is known: ms, and ns."""
    if sent is None or node.birth_ms is None or sent >= node.birth_ms:
        return False
    return node.birth_ms <= arrived // NS_PER_MS + _FUTURE_MS


def is_before(sent: int | None, birth: int | None, node: Node, is_late: bool = False) -> bool:
    """Return whether a message strayed from before a birth; times are in ms.

    One that is out of order must prove that it did not. One that has the number that is due is
    believed, unless it was sent shortly before: nothing strays for long, so if it is much older its
    time is not when it was sent, but when something was read.
    """
    if sent is None or birth is None:
        return is_late
    if is_late:
        return sent < birth
    return not node.is_backdated and birth - _STRAY_MS <= sent < birth - _JITTER_MS


def is_backdated(sent: int | None, birth: int | None) -> bool:
    """Return whether the time of a message in order cannot be when it was sent; both in ms."""
    return sent is not None and birth is not None and sent < birth - _STRAY_MS
