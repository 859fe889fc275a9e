"""The nodes and devices that a host knows, and how much of them it keeps at most."""

from __future__ import annotations

from ingest.live.messages import Message
from ingest.live.sparkplug.nodes import Device, Node

MOST_NODES = 2000
MOST_DEVICES = 20_000
MOST_METRICS = 20_000
"""Metrics that one birth may name."""
MOST_NAMED = 200_000
"""Metrics that births may name, over all nodes."""
MOST_WAITING = 5000
"""Messages that wait, over all nodes."""
MOST_WAITING_BYTES = 32 << 20
MOST_HELD = 100
"""Messages of one node that wait; as many numbers back, one is late and not far ahead."""


class Known:
    """All nodes, within bounds: whatever arrives may be hostile.

    Attributes
    ----------
    nodes : dict of (str, str) to Node
        By group and name.
    busy : set of (str, str)
        Those for which something may be due though nothing comes.
    """

    def __init__(self) -> None:
        self.nodes: dict[tuple[str, str], Node] = {}
        self.busy: set[tuple[str, str]] = set()
        self._devices = 0
        self._named = 0
        self._waiting = 0
        self._waiting_bytes = 0

    def node(self, group: str, name: str) -> Node | None:
        """Return what is known of a node, None where there is no room for more."""
        key = group, name
        node = self.nodes.get(key)
        if node is None:
            if len(self.nodes) >= MOST_NODES and not self._forget():
                return None
            node = self.nodes[key] = Node(*key)
        return node

    def device(self, node: Node, name: str) -> Device | None:
        """Return what is known of a device, None where there is no room for more."""
        device = node.devices.get(name)
        if device is None and self._devices < MOST_DEVICES:
            device = node.devices[name] = Device((node.group, node.name, name))
            self._devices += 1
        return device

    def watch(self, node: Node) -> None:
        """Note that something may be due for a node though nothing comes."""
        self.busy.add((node.group, node.name))

    def room_for(self, device: Device) -> int:
        """Return how many metrics a new birth of a device may name."""
        return min(MOST_METRICS, MOST_NAMED - self._named + device.metrics)

    def name(self, device: Device, metrics: int) -> None:
        """Note how many metrics the birth of a device named."""
        self._named += metrics - device.metrics
        device.metrics = metrics

    def waits(self, message: Message) -> None:
        """Count a message that waits."""
        self._waiting += 1
        self._waiting_bytes += len(message.payload) + len(message.topic)

    def waits_no_more(self, message: Message) -> None:
        """Count off a message that waited."""
        self._waiting -= 1
        self._waiting_bytes -= len(message.payload) + len(message.topic)

    @property
    def is_full(self) -> bool:
        """Whether no more messages may wait."""
        return self._waiting > MOST_WAITING or self._waiting_bytes > MOST_WAITING_BYTES

    @property
    def waiting(self) -> tuple[int, int]:
        """How many messages wait, and their bytes."""
        return self._waiting, self._waiting_bytes

    def _forget(self) -> bool:
        """Make room by forgetting a node that is not alive; return whether there was one.

        One whose points are still known is not forgotten: its death would mark nothing.
        """
        for key, node in self.nodes.items():
            if not node.is_alive and not node.has_known:
                self._devices -= len(node.devices)
                self._named -= sum(device.metrics for device in node.devices.values())
                del self.nodes[key]
                return True
        return False
