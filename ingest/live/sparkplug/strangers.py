"""Nodes that are none of the site's: others may use the broker too."""

from __future__ import annotations

from ingest.live.sparkplug.names import Names
from ingest.live.sparkplug.nodes import Node


def is_ours(node: Node, names: Names) -> bool:
    """Return whether the site file names a node, or the node names one of our points."""
    return names.knows(node.group, node.name) or any(
        device.is_ours for device in node.devices.values()
    )


def is_strange(node: Node, names: Names) -> bool:
    """Return whether the births of a node and all its devices name nothing of ours.

    What one of them sends by alias may be of our points as long as its birth is not known.
    """
    devices = node.devices.values()
    return bool(devices) and all(each.was_born for each in devices) and not is_ours(node, names)


def may_be_asked(node: Node, names: Names) -> bool:
    """Return whether to ask a node for its births: one that may be a stranger only once."""
    return is_ours(node, names) or not (node.is_asked or is_strange(node, names))
