"""A station's typical transfer laid over one: the range of its good ones, and their median."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import plotly.graph_objects as go

from analytics.core.typical import Typical, TypicalCourse
from bondtrail.samples import ValueArray
from bondtrail.site import Role
from dashboard.figures import palette
from dashboard.figures.steps import Axis, Clock

META = "typical"
"""Marks the traces that the page shows and hides together."""

OnAxis = Callable[[ValueArray], ValueArray]


def lay_typical(
    figure: go.Figure,
    typical: Typical,
    first_flow: int,
    clock: Clock,
    panels: dict[Role, tuple[int, OnAxis]],
) -> None:
    """Add the typical courses, hidden until they are asked for.

    Parameters
    ----------
    figure : Figure
        With a panel a role.
    typical : Typical
        Its courses begin at ``first_flow``. [ns]
    first_flow : int
        Where offset nought lies in this transfer. [ns]
    clock : Clock
        The site's.
    panels : dict of Role to (int, callable)
        Row of each role's panel, and what brings its values onto the axis.
    """
    shown = False
    for role, (row, on_axis) in panels.items():
        course = typical.courses.get(role)
        if course is not None and np.isfinite(course.median).any():
            _lay(figure, course, clock.axis(first_flow), on_axis, (row, not shown))
            shown = True


def _lay(
    figure: go.Figure, course: TypicalCourse, zero: Axis, on_axis: OnAxis, place: tuple[int, bool]
) -> None:
    row, legend = place
    x = zero + course.offset_s * 1000
    low, median, high = (
        np.where(np.isnan(value), np.nan, on_axis(value))
        for value in (course.low, course.median, course.high)
    )
    shared = {"mode": "lines", "hoverinfo": "skip", "meta": META, "visible": False}
    band = {"fill": "toself", "fillcolor": palette.TYPICAL_WASH, "line": {"width": 0}}
    middle = {"line": {"color": palette.TYPICAL, "width": 1.8, "dash": "dashdot"}}
    around = _around(x, low, high)
    for name, (on_x, on_y), style in (
        ("Range of the good transfers", around, band),
        ("Median of the good transfers", (x, median), middle),
    ):
        figure.add_scatter(
            x=on_x, y=on_y, name=name, showlegend=legend, row=row, col=1, **shared, **style
        )


def _around(x: Axis, low: ValueArray, high: ValueArray) -> tuple[Axis, ValueArray]:
    """Return closed outlines between two lines, one a stretch in which both are known."""
    known = ~(np.isnan(low) | np.isnan(high))
    turns = np.flatnonzero(np.diff(np.concatenate(([False], known, [False]))))
    on_x: list[ValueArray] = []
    on_y: list[ValueArray] = []
    parting = np.array([np.nan])
    for first, last in turns.reshape(-1, 2).tolist():
        there = slice(first, last)
        on_x += [x[there], x[there][::-1], parting]
        on_y += [low[there], high[there][::-1], parting]
    if not on_x:
        return np.empty(0), np.empty(0)
    return np.concatenate(on_x), np.concatenate(on_y)
