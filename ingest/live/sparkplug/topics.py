"""Topics of Sparkplug B: who speaks, and what of."""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum
from typing import NamedTuple

NAMESPACE = "spBv1.0"


class Kind(StrEnum):
    """What a message of an edge node says."""

    NODE_BIRTH = "NBIRTH"
    NODE_DATA = "NDATA"
    NODE_DEATH = "NDEATH"
    DEVICE_BIRTH = "DBIRTH"
    DEVICE_DATA = "DDATA"
    DEVICE_DEATH = "DDEATH"


_OF_NODE = {kind.value: kind for kind in (Kind.NODE_BIRTH, Kind.NODE_DATA, Kind.NODE_DEATH)}
_OF_DEVICE = {kind.value: kind for kind in (Kind.DEVICE_BIRTH, Kind.DEVICE_DATA, Kind.DEVICE_DEATH)}
_COMMANDS = ("NCMD", "DCMD")


class Address(NamedTuple):
    """Who a message is of; ``device`` is empty where the node itself speaks."""

    kind: Kind
    group: str
    node: str
    device: str


def group_of(topic: str) -> str | None:
    """Return the group of nodes that a topic is of, empty where it names none.

    None where it is of hosts' states, or of commands to nodes and devices: they are for others.
    """
    parts = topic.split("/", 3)
    if len(parts) > 2 and (parts[1] == "STATE" or parts[2] in _COMMANDS):
        return None
    return parts[1] if len(parts) > 1 else ""


def address_of(topic: str) -> Address | None:
    """Return who a message is of, None where the topic is none of an edge node.

    The form is ``spBv1.0/GROUP/TYPE/NODE`` or ``spBv1.0/GROUP/TYPE/NODE/DEVICE``.
    """
    parts = topic.split("/")
    if parts[0] != NAMESPACE or not all(parts):
        return None
    if len(parts) == 4 and (kind := _OF_NODE.get(parts[2])):
        return Address(kind, parts[1], parts[3], "")
    if len(parts) == 5 and (kind := _OF_DEVICE.get(parts[2])):
        return Address(kind, parts[1], parts[3], parts[4])
    return None


def filters_of(groups: Collection[str] | None) -> list[str]:
    """Return what to subscribe to for some groups of nodes; None is all there are."""
    if groups is None:
        return [f"{NAMESPACE}/#"]
    return [f"{NAMESPACE}/{group}/#" for group in groups]


def topic_of(kind: str, group: str, node: str, device: str = "") -> str:
    """Return the topic of a message; ``kind`` is its type, such as ``NBIRTH`` or ``NCMD``."""
    return "/".join([NAMESPACE, group, kind, node, *([device] if device else [])])
