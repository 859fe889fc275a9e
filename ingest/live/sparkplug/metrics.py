"""What one metric says: its value as a reading of a role, and its quality."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pyarrow as pa

from bondtrail.samples import Quality
from bondtrail.site import Role
from ingest.faults import Fault
from ingest.live.sparkplug.reasons import Wrong
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from ingest.values import FAULTS, LARGEST, NO_FAULT, read_values, role_code

DATETIME = 13
"""Code of the data type that is a moment."""

# Codes of the data types whose numbers may be negative, and their width: Int32 and Int64 as
# published in the schema, Int8 and Int16 from memory.
_SIGNED_BITS = {1: 8, 2: 16, 3: 32, 4: 64}
_CONTACT = 0.0, 1.0, True, Fault.CONTACT
_RIGHT = {
    Role.RESISTANCE: (0.0, math.inf, False, Fault.NEGATIVE),
    Role.FLOW: (-LARGEST, LARGEST, False, Fault.INFINITE),
    Role.STATUS: (0.0, 3.0, True, Fault.STATUS),
    Role.PERMISSIVE: _CONTACT,
    Role.RUNNING: _CONTACT,
    Role.BYPASS: _CONTACT,
}
"""The least and the largest that is right, whether it is a whole number, and what another is."""
_QUALITY = "Quality"
_STALE = 500  # of the property Quality; 0 is bad, 192 good
_MARKS = (Quality.BAD, Quality.UNCERTAIN, Quality.BAD, Quality.GOOD)
_CODES = {_STALE: int(Quality.BAD)} | {code: int(_MARKS[code >> 6]) for code in range(256)}
"""By the top two bits, as OPC has them: 11 good, 01 uncertain, 00 bad; 10 has no meaning there."""
_ROOMY = 64  # characters: no word for a reading is longer


def value_of(metric: Payload.Metric, datatype: int, role: Role) -> float | Fault | Wrong:
    """Return the value of a metric as a reading of a role, or what is wrong with it.

    Parameters
    ----------
    metric : Metric
        As it came.
    datatype : int
        Of the metric itself, or that of its birth; 0 where nobody knows.
    role : Role
        Of the point that it is a reading of.
    """
    if metric.is_null:
        return math.inf if role is Role.RESISTANCE else Fault.EMPTY
    kind = metric.WhichOneof("value")
    if kind == "double_value":
        return judged(metric.double_value, role)
    if kind == "float_value":
        return judged(metric.float_value, role)
    if kind == "boolean_value":
        if role in (Role.RESISTANCE, Role.FLOW):
            return Fault.NUMBER
        return 1.0 if metric.boolean_value else 0.0
    if kind == "int_value" or kind == "long_value":
        if datatype == DATETIME:
            return Fault.NUMBER
        return judged(float(signed(getattr(metric, kind), datatype)), role)
    if kind == "string_value":
        text = metric.string_value
        return word_of(text, role) if type(text) is str and len(text) < _ROOMY else Fault.NUMBER
    return Fault.EMPTY if kind is None else Wrong.KIND


def signed(number: int, datatype: int) -> int:
    """Return an integer as its data type means it: negative ones come as two's complement."""
    bits = _SIGNED_BITS.get(datatype)
    if bits is None:
        return number
    low = number & ((1 << bits) - 1)
    return low - (1 << bits) if low >> (bits - 1) else low


def judged(number: float, role: Role) -> float | Fault:
    """Return a number, or what is wrong with it as a reading of a role: the rules of files."""
    low, high, is_code, fault = _RIGHT[role]
    if low <= number <= high and not (is_code and number % 1.0):
        return number
    return fault if number == number else Fault.NAN


@lru_cache(maxsize=4096)
def word_of(text: str, role: Role) -> float | Fault:
    """Return what a written value means, by the rules of files."""
    values, faults = read_values(pa.array([text]), np.array([role_code(role)], np.uint8))
    return float(values[0]) if faults[0] == NO_FAULT else FAULTS[faults[0]]


def quality_of(metric: Payload.Metric) -> int:
    """Return the quality that a metric's properties say; good where they say none."""
    properties = metric.properties
    keys = list(properties.keys)
    if _QUALITY not in keys:
        return int(Quality.GOOD)
    place = keys.index(_QUALITY)
    if place >= len(properties.values):
        return int(Quality.UNCERTAIN)
    value = properties.values[place]
    kind = value.WhichOneof("value")
    if kind not in ("int_value", "long_value"):
        return int(Quality.UNCERTAIN)
    return _CODES.get(getattr(value, kind), int(Quality.UNCERTAIN))
