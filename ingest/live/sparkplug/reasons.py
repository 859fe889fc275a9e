"""Why a Sparkplug message or a metric of it is not taken, and what to do: never with the value."""

from __future__ import annotations

from enum import StrEnum

from bondtrail.site import Role
from ingest.faults import Fault
from ingest.live.reasons import reason_of
from ingest.values import expected


class Wrong(StrEnum):
    """What only a Sparkplug message can have wrong."""

    TOPIC = "Sparkplug topic of no known form"
    PAYLOAD = "payload that is no Sparkplug message"
    RETAINED = "retained Sparkplug message: nobody knows how old it is"
    KIND = "metric that is no single value"
    SEQ = "sequence number beyond 255"
    SAME_SEQ = "two messages with one sequence number"
    UNBORN = "data by alias before a birth"
    UNKNOWN_ALIAS = "alias that no birth named"
    LOST = "data by alias after lost messages"
    OLD_ALIAS = "data by alias from before the last birth"
    OLD_BIRTH = "birth older than the one that is known"
    EARLY_BIRTH = "birth of a device before that of its node"
    OTHER_DEATH = "death of an earlier session of the node"
    OLD_DEATH = "death from before the last birth"
    NAMELESS = "metric without name or alias"
    SAME_ALIAS = "alias that stands twice in one birth"
    UNKNOWN = "metric that the site file does not know"
    CLAIMED = "metric of a name that another device already gave to its point"
    TWO_NAMES = "metric by another name of a point that the same device gives by its whole path"
    HISTORY = "historical value without a time"
    NODES = "more edge nodes than are followed"
    DEVICES = "more devices than are followed"
    METRICS = "more metrics than are followed"


_BORN_AGAIN = (
    "a new birth was asked for; see that the edge node answers such requests and that the broker "
    "lets Bondtrail publish them (NCMD)"
)
_FEWER = "name the groups of the site's own nodes in the site file ([sparkplug] groups)"
_RIGHT = {
    Wrong.TOPIC: "publish to spBv1.0/GROUP/TYPE/NODE or spBv1.0/GROUP/TYPE/NODE/DEVICE",
    Wrong.PAYLOAD: "publish what the standard's schema describes, not compressed",
    Wrong.RETAINED: "publish without the retain flag, and clear what the broker keeps",
    Wrong.KIND: "publish one number, truth value or text; not bytes, data sets or templates",
    Wrong.SEQ: "count from 0 to 255, then from 0 again",
    Wrong.SAME_SEQ: "count all messages of a node and its devices by one counter",
    Wrong.UNBORN: _BORN_AGAIN,
    Wrong.UNKNOWN_ALIAS: f"name it in the birth; {_BORN_AGAIN}",
    Wrong.LOST: f"nobody knows whether its aliases changed meanwhile; {_BORN_AGAIN}",
    Wrong.OLD_ALIAS: f"set the clock of the edge node where that is wrong; {_BORN_AGAIN}",
    Wrong.OLD_BIRTH: "set the clock of the edge node where that is wrong; else nothing is to do",
    Wrong.EARLY_BIRTH: f"what it names was taken as uncertain; {_BORN_AGAIN}",
    Wrong.OTHER_DEATH: "the node lives; nothing is to do, unless it gives birth and death "
    "different bdSeq",
    Wrong.OLD_DEATH: "the device lives; nothing is to do",
    Wrong.NAMELESS: "name each metric in a birth; give name or alias in data",
    Wrong.SAME_ALIAS: "give each metric of a node an alias of its own",
    Wrong.UNKNOWN: "add it as an alias GROUP/NODE/DEVICE/METRIC of the point it belongs to, or "
    "leave it: it is not taken",
    Wrong.CLAIMED: "write the whole path GROUP/NODE/DEVICE/METRIC as the point's alias",
    Wrong.TWO_NAMES: "publish it by one name; nothing is lost where both say the same",
    Wrong.HISTORY: "give the metric or the message a timestamp",
    Wrong.NODES: f"{_FEWER}, or publish fewer nodes",
    Wrong.DEVICES: f"{_FEWER}, or publish fewer devices",
    Wrong.METRICS: "publish fewer metrics in a birth, or fewer devices to this broker",
}


def reason(wrong: Fault | Wrong, role: Role | None = None) -> str:
    """Return what is wrong, in words that are the same each time, and what to do."""
    if isinstance(wrong, Fault):
        if wrong is Fault.EMPTY and role is not None:
            return f"{wrong}, as {role}: expected {expected(role)}"
        return reason_of(wrong, role)
    return f"{wrong}: {_RIGHT[wrong]}"
