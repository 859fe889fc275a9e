"""The estimate of a replay as it is drawn: with points where the charge bends between readings."""

from __future__ import annotations

from dataclasses import replace

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
    capacitance = hazard.inputs["capacitance_pF"]
    courses = {
        level: filled_in(course, capacitance.at(level) * 1e-12, FLOOR_V)
        for level, course in hazard.courses.items()
    }
    return replace(hazard, courses=courses)
