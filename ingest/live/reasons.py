"""Why a message or a reading of it is not taken, and what to do: never with the value itself.

Repeats of one fault are counted under one reason, so nothing that changes may stand in it.
"""

from __future__ import annotations

from functools import cache

from bondtrail.site import Role
from ingest.faults import Fault
from ingest.values import expected

_OBJECT = 'an object such as {"t": "2026-03-01T06:15:30Z", "v": 2.3}, or an array of them'
_ROLES = ", ".join(Role)
_RIGHT = {
    Fault.ENCODING: "publish JSON as UTF-8",
    Fault.TIME: (
        "write ISO 8601 with its offset, such as 2026-03-01T06:15:30Z, "
        "or an integer epoch in s, ms, us or ns"
    ),
    Fault.QUALITY: "write 0 (good), 1 (uncertain) or 2 (bad)",
    Fault.STATION: "add it to the site file, or correct the topic",
    Fault.VOID: "publish JSON",
    Fault.SIZE: "publish fewer readings in a message",
    Fault.JSON: "publish one JSON value and nothing after it",
    Fault.DEPTH: "publish readings in plain objects",
    Fault.SHAPE: f"publish {_OBJECT}",
    Fault.TOPIC: "add it as an alias topic#field of the point it belongs to, or correct it",
    Fault.ROLE: "add the point to the site file, or correct the topic or key",
    Fault.KEY: f"name each reading by its role ({_ROLES}), the time t and the quality q",
    Fault.MEMBER: "the rest of the object was taken; leave the key out",
    Fault.NO_ROLE: f"name each reading by its role ({_ROLES})",
    Fault.NO_VALUE: "write it as v",
    Fault.FIELD: "correct the alias topic#field, or the message",
    Fault.TWICE: "write each key once: nobody can tell which of the two counts",
    Fault.NO_TIME: "write when it was read as t",
    Fault.EARLY: "set the clock of what publishes it",
    Fault.AHEAD: "set the clock of what publishes it, or that of this machine",
}


DEFECT = (
    "a defect of Bondtrail, the message may be right: please report it, with the message and what "
    "the log says of it"
)


@cache
def reason_of(fault: Fault, role: Role | None = None) -> str:
    """Return what is wrong, in words that are the same each time, and what to do."""
    if right := _RIGHT.get(fault):
        return f"{fault}: {right}"
    if role is None:
        return str(fault)
    return f"{fault}, as {role}: expected {expected(role)}"
