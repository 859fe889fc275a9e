"""The estimate of a replay as it is drawn: with points where the charge bends between readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analytics.core.electrostatics.drive import drive
from analytics.core.electrostatics.hazard import Hazard, NoEstimate
from analytics.replay import Replay
from dashboard.figures.bends import filled_in

FLOOR_V = 1.0
"""A potential below this is told as below this."""


def closely(told: Replay) -> Hazard | NoEstimate:
    """Return the estimate of a replay, its courses followed inside the steps of the record."""
    hazard = told.hazard
    if not isinstance(hazard, Hazard):
        return hazard
    leakage, capacitance = hazard.inputs["leakage_ohm"], hazard.inputs["capacitance_pF"]
    driven = drive(told.station, told.signals, told.now, (told.start, told.end), leakage)
    if driven is None:
        return hazard
    courses = {}
    for level, course in hazard.courses.items():
        # Of its steps more may begin, or fewer, by what is supposed of unknown flow: none at which
        # the resistance turns.
        step = np.searchsorted(driven.edges, course.time[:-1], side="right") - 1
        farads = capacitance.at(level) * 1e-12
        time_constant_s = driven.resistance_ohm[level][step] * farads
        courses[level] = filled_in(course, time_constant_s, FLOOR_V)
    return replace(hazard, courses=courses)
