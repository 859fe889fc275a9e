"""How much of a span is on record: the time over which each signal, and the bond, is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analytics.core.bond import Bond
from analytics.core.silences import Told, told
from analytics.core.situation import Signals, situation
from analytics.core.spans import lengths
from analytics.evidence.rows import Plain
from bondtrail.coverage import judgement
from bondtrail.samples import Quality, Replaced, Samples
from bondtrail.site import Point, Role, Station
from bondtrail.times import nanoseconds, seconds


def coverage(
    station: Station,
    signals: Signals,
    span: tuple[int, int],
    replaced: Mapping[Role, Sequence[Replaced]],
) -> Plain:
    """Return what is known of a span, and what such a station can be judged on at all.

    Parameters
    ----------
    station : Station
        Its points and limits.
    signals : mapping of Role to Samples
        Readings that hold into the span.
    span : tuple of int
        Start and end. [ns]
    replaced : mapping of Role to sequence of Replaced
        The earlier values of readings that others took the place of.

    Returns
    -------
    dict
        Plain values: seconds and shares by point and for the bond, and the judgements.
    """
    bond = situation(station, signals, span).bond
    unknown = int(lengths(bond.where(Bond.UNKNOWN)).sum())
    points = {
        str(role): {
            **_of_point(point, signals.get(role, Samples.empty()), span),
            "replaced": sum(len(each.samples.between(*span)) for each in replaced.get(role, ())),
        }
        for role, point in station.points.items()
    }
    return {
        "span_s": seconds(span[1] - span[0]),
        "bond": _share(span[1] - span[0] - unknown, span),
        "points": points,
        "judged_on": [
            {"about": each.about, "reach": str(each.reach), "reason": each.reason}
            for each in judgement(station)
        ],
    }


def _of_point(point: Point, samples: Samples, span: tuple[int, int]) -> Plain:
    line = told(samples, nanoseconds(point.stale_after_s), span)
    inside = samples.between(*span)
    return {
        **_share(int(lengths(line.where(Told.KNOWN)).sum()), span),
        "silent_s": seconds(int(lengths(line.where(Told.SILENT)).sum())),
        "bad_s": seconds(int(lengths(line.where(Told.BAD)).sum())),
        "readings": len(inside),
        "of_quality": {
            quality.name.lower(): int(np.count_nonzero(inside.quality == quality))
            for quality in Quality
        },
    }


def _share(known_ns: int, span: tuple[int, int]) -> Mapping[str, float]:
    length = span[1] - span[0]
    return {"known_s": seconds(known_ns), "share": known_ns / length if length else 0.0}
