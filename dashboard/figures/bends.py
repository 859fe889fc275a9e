"""The course of a charge between the moments at which it is worked out: where it bends."""

from __future__ import annotations

import numpy as np

from analytics.core.electrostatics.hazard import Course
from bondtrail.samples import ValueArray
from bondtrail.times import NS_PER_S

PARTS = np.array([0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0])
"""Where points are put, in time constants after a step begins: after 16 nothing is left to do."""
BENDS = 0.05
"""A step on which less than this share of the potential changes is drawn straight."""
STRAIGHT = 5.0
"""So is one so many times shorter than its time constant."""


def filled_in(course: Course, capacitance_F: float, floor_V: float) -> Course:
    """Return a course with points inside the steps on which it bends.

    On a step of constant current and leak the potential closes in on its end exponentially, which
    a straight line from edge to edge would hide: an open circuit of a minute would seem to charge
    the vessel for a minute, and a bond that comes back to take as long as until the next reading.

    Parameters
    ----------
    course : Course
        Of n moments.
    capacitance_F : float
        Of the vessel, above 0. [F]
    floor_V : float
        What stays below needs no points.
    """
    step_s, time_constant_s = np.diff(course.time) / NS_PER_S, course.resistance_ohm * capacitance_F
    before, after = course.potential_V[:-1], course.potential_V[1:]
    greatest = np.maximum(before, after)
    bent = (np.abs(after - before) > BENDS * greatest) & (greatest > floor_V)
    bent &= time_constant_s < STRAIGHT * step_s
    at = np.flatnonzero(bent)
    if not at.size:
        return course
    tau = time_constant_s[at, np.newaxis]
    since = np.maximum(tau * PARTS, 1 / NS_PER_S)
    with np.errstate(divide="ignore", under="ignore"):
        done = np.expm1(-since / tau) / np.expm1(-step_s[at, np.newaxis] / tau)
    time = course.time[at, np.newaxis] + np.rint(since * NS_PER_S).astype(np.int64)
    inside = time < course.time[at + 1, np.newaxis]
    step = np.broadcast_to(at[:, np.newaxis], inside.shape)[inside]
    times = np.concatenate((course.time, time[inside]))
    order = np.lexsort((np.arange(times.size), times))
    last = np.append(np.diff(times[order]) > 0, True)
    kept = order[last]

    def filled(value: ValueArray) -> ValueArray:
        within = value[step] + done[inside] * (value[step + 1] - value[step])
        merged: ValueArray = np.concatenate((value, within))[kept]
        return merged

    return Course(
        times[kept],
        filled(course.potential_V),
        filled(course.charge_uC),
        filled(np.sqrt(course.energy_mJ)) ** 2,
        course.resistance_ohm[np.searchsorted(course.time, times[kept][:-1], side="right") - 1],
    )
