"""Stations and what they report, in whole seconds from 1970, to try the rules on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from analytics.core.bond import Bond
from analytics.core.case import Case, build_case
from analytics.core.runs import Contact, Timeline
from analytics.core.spans import Moments, Spans
from bondtrail.samples import Quality, Samples, concatenate
from bondtrail.site import Limits, Point, Role, Station, StationKind

S = 1_000_000_000
OPEN = math.inf
BAD = "bad"
"""A stretch whose samples are of bad quality."""
GAP = "gap"
"""A stretch without samples."""

Pair = tuple[float, float]
Stretch = tuple[float, float | str]
"""For how many seconds, and what is reported over them."""

BONDS = {"low": Bond.LOW, "high": Bond.HIGH, "open": Bond.OPEN, "?": Bond.UNKNOWN}
CONTACTS = {"on": Contact.ON, "off": Contact.OFF, "?": Contact.UNKNOWN}


def ns(second: float) -> int:
    return round(second * S)


def spans(*pairs: Pair) -> Spans:
    return np.array([[ns(start), ns(end)] for start, end in pairs], np.int64).reshape(-1, 2)


def moments(*seconds: float) -> Moments:
    return np.array([ns(second) for second in seconds], np.int64)


def pairs(found: Spans) -> list[Pair]:
    """Spans back in seconds."""
    return [(start / S, end / S) for start, end in found.tolist()]


def timeline(words: str, codes: dict[str, Any]) -> Timeline:
    """A timeline from 0 s on, told as ``low 5 open 3``: a state and for how many seconds."""
    told = words.split()
    states = np.array([codes[word] for word in told[::2]], np.uint8)
    lasts = [ns(float(word)) for word in told[1::2]]
    return Timeline(np.cumsum([0, *lasts], dtype=np.int64), states)


def bond(words: str) -> Timeline:
    return timeline(words, BONDS)


def contact(words: str) -> Timeline:
    return timeline(words, CONTACTS)


def held(*stretches: Stretch, start: float = 0, every_s: float = 1) -> Samples:
    """Samples of one stretch after the other, each at its beginning and every second in it."""
    parts: list[Samples] = []
    for lasts, what in stretches:
        if what != GAP:
            value, quality = (1.0, Quality.BAD) if what == BAD else (float(what), Quality.GOOD)
            times = np.rint(np.arange(start, start + lasts - 1e-9, every_s) * S)
            parts.append(
                Samples.of(times, np.full(times.size, value), np.full(times.size, quality))
            )
        start += lasts
    return concatenate(parts)


def station(
    *roles: Role, kind: str = "rail_tank_car", stale_s: float = 1.0, **limits: float
) -> Station:
    """A station whose samples hold for a second, so that a gap is unknown at once."""
    return Station(
        id="spot",
        name="Spot (invented)",
        kind=StationKind(kind),
        limits=Limits.model_validate(limits),
        points={role: Point(station="spot", role=role, stale_after_s=stale_s) for role in roles},
        volume_unit="L" if Role.FLOW in roles else None,
    )


def told(**signals: Sequence[Stretch]) -> dict[Role, Samples]:
    """What the points of a station report, by the names of their roles."""
    return {Role(name): held(*stretches) for name, stretches in signals.items()}


def case(
    signals: dict[Role, Samples],
    *,
    until: float,
    since: float = 0,
    of: Station | None = None,
    kind: str = "rail_tank_car",
    **limits: float,
) -> Case:
    """The case of a station that has just the points that report."""
    return build_case(of or station(*signals, kind=kind, **limits), signals, (ns(since), ns(until)))
