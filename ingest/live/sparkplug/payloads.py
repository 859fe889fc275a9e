"""Payloads as they come and as they go."""

from __future__ import annotations

from google.protobuf.message import DecodeError

from ingest.live.sparkplug.sparkplug_pb2 import Payload

BD_SEQ = "bdSeq"
REBIRTH = "Node Control/Rebirth"
CONTROLS = ("Node Control/", "Device Control/", BD_SEQ)
"""How metrics begin that the standard itself uses."""

BOOLEAN = 11
"""Code of the data type of truth values."""


def parsed(payload: bytes) -> Payload | None:
    """Return what a payload holds, None where it is no message of the schema."""
    try:
        return Payload.FromString(payload)
    except (DecodeError, RecursionError, UnicodeDecodeError):
        return None


def sent_ms(payload: Payload) -> int | None:
    """Return when a message says that it was sent, None where it does not. [ms]"""
    return payload.timestamp if payload.HasField("timestamp") else None


def bd_seq(payload: Payload) -> int | None:
    """Return the number of a session that a birth or death of a node tells, None without."""
    for metric in payload.metrics:
        if metric.name == BD_SEQ:
            kind = metric.WhichOneof("value")
            return getattr(metric, kind) if kind in ("int_value", "long_value") else None
    return None


def rebirth(now: int) -> bytes:
    """Return the payload that asks an edge node for its births; ``now`` is in ns."""
    ms = now // 1_000_000
    metric = Payload.Metric(name=REBIRTH, timestamp=ms, datatype=BOOLEAN, boolean_value=True)
    payload: bytes = Payload(timestamp=ms, metrics=[metric]).SerializeToString()
    return payload
