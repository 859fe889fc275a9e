"""What the charge could have been: energy over time at three levels, beside what ignites."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from analytics.core.electrostatics.hazard import Hazard
from analytics.core.electrostatics.inputs import OPPOSITE
from analytics.core.electrostatics.spread import Level, Spread
from bondtrail.samples import TimeArray, ValueArray
from dashboard.figures import palette
from dashboard.figures.steps import Clock
from dashboard.figures.thinning import thin
from dashboard.figures.wording import significant

MIE = "mie_mJ"
"""Name of the minimum ignition energy among the inputs of an estimate."""

DECADES_BELOW = 4
"""What is drawn reaches so many decades below the ignition energy, or else the peak."""

BUCKETS = 1500

_Line = tuple[TimeArray, ValueArray]
"""Moments [ns] and energies [mJ], above the floor of the axis."""


@dataclass(frozen=True, slots=True)
class _Style:
    """How one level is drawn; told apart by dash and width, so not by colour alone."""

    name: str
    width: float
    dash: str


_STYLES: Mapping[Level, _Style] = {
    Level.LOW: _Style("Energy, low", 1.2, "dot"),
    Level.HIGH: _Style("Energy, high", 1.2, "solid"),
    Level.TYPICAL: _Style("Energy, typical", 2.2, "solid"),
}
"""In the order of drawing: the band between low and high is filled up to the second."""


def hazard_panel(figure: go.Figure, hazard: Hazard, clock: Clock, row: int) -> None:
    """Draw the energy of the isolated vessel at three levels on a log axis.

    Parameters
    ----------
    figure : Figure
        With a panel in ``row``.
    hazard : Hazard
        Of the span that the figure shows.
    clock : Clock
        The site's.
    row : int
        Of the panel, from 1.
    """
    low, high = axis_ends(hazard)
    lines = {
        level: thinned(course.time, course.energy_mJ, low)
        for level, course in hazard.courses.items()
    }
    for level, style in _STYLES.items():
        _level_line(figure, lines[level], style, clock, row)
    mie = hazard.inputs.get(MIE)
    if mie is not None:
        for level in Level:
            _over_the_mie(figure, lines[level], mie.at(OPPOSITE[level]), clock, row)
        _mark_mie(figure, mie, row)
    figure.update_yaxes(
        type="log",
        range=[np.log10(low), np.log10(high)],
        tickvals=[10.0**n for n in _decades(low, high)],
        ticktext=[f"{significant(10.0**n)} mJ" for n in _decades(low, high)],
        title_text="Energy, estimated",
        row=row,
        col=1,
    )


def axis_ends(hazard: Hazard) -> tuple[float, float]:
    """Return the lowest and the highest energy to draw, whole decades. [mJ]"""
    mie = hazard.inputs.get(MIE)
    peak = max(figures.peak_energy_mJ for figures in hazard.figures.values())
    among = [value for value in (mie and mie.low, peak) if value and np.isfinite(value)] or [1.0]
    lowest = mie.low if mie is not None and mie.low > 0 else max(among)
    low = float(10.0 ** (np.floor(np.log10(lowest)) - DECADES_BELOW))
    high = float(10.0 ** (np.ceil(np.log10(max(among))) + 1))
    return low, high


def thinned(
    time: TimeArray, value: ValueArray, floor: float, buckets: int = BUCKETS
) -> tuple[TimeArray, ValueArray]:
    """Return fewer points of a curve, straight between them; nothing lies below ``floor``.

    Parameters
    ----------
    time, value : ndarray, shape (n,)
        Of a course; values may be zero. [ns, any]
    floor : float
        What is lower counts as this much, so that stretches of next to nothing take two points.
    buckets : int
        See `thin`.
    """
    level = np.maximum(value, floor)
    turns = np.ones(level.size, bool)
    if level.size > 2:
        turns[1:-1] = (level[1:-1] != level[:-2]) | (level[1:-1] != level[2:])
    time, level = time[turns], level[turns]
    none = np.zeros(level.size, np.int64)
    kept = thin(time, level, none, none.astype(bool), buckets) if level.size else none
    return time[kept], level[kept]


def _decades(low: float, high: float) -> range:
    first, last = round(np.log10(low)), round(np.log10(high))
    return range(first, last + 1, max(1, (last - first) // 5))


def _level_line(figure: go.Figure, line: _Line, style: _Style, clock: Clock, row: int) -> None:
    time, energy = line
    figure.add_scatter(
        x=clock.axis(time),
        y=energy,
        mode="lines",
        name=style.name,
        line={"color": palette.LINE, "width": style.width, "dash": style.dash},
        fill="tonexty" if style is _STYLES[Level.HIGH] else None,
        fillcolor=palette.FAINT,
        hovertemplate=f"{style.name.lower()}: %{{y:.2~g}} mJ<extra></extra>",
        showlegend=False,
        row=row,
        col=1,
    )


def _over_the_mie(figure: go.Figure, line: _Line, mie: float, clock: Clock, row: int) -> None:
    """Draw once more, thick and in colour, where a level reached the ignition energy."""
    x, y = _reaching(*line, mie)
    if not y.size:
        return
    name = "At or over the ignition energy"
    figure.add_scatter(
        x=np.where(np.isnan(y), np.nan, clock.axis(x)),
        y=y,
        mode="lines",
        name=name,
        legendgroup=name,
        showlegend=all(trace.name != name for trace in figure.data),
        line={"color": palette.VERMILLION, "width": 3.5},
        hovertemplate="at or over the ignition energy: %{y:.2~g} mJ<extra></extra>",
        row=row,
        col=1,
    )


def _reaching(time: TimeArray, energy: ValueArray, mie: float) -> tuple[TimeArray, ValueArray]:
    """Return the parts of a line at or over a level, cut where it crosses, parted by NaN."""
    over = energy >= mie
    if not over.any():
        return time[:0], energy[:0]
    pieces = list(_cut(time, energy, over, mie))
    return (
        np.concatenate([[*piece[0], piece[0][-1]] for piece in pieces]),
        np.concatenate([[*piece[1], np.nan] for piece in pieces]),
    )


def _cut(
    time: TimeArray, energy: ValueArray, over: np.ndarray, mie: float
) -> Iterator[tuple[TimeArray, ValueArray]]:
    turns = np.flatnonzero(np.diff(np.concatenate(([False], over, [False]))))
    for first, last in turns.reshape(-1, 2).tolist():
        t, e = time[first:last], energy[first:last]
        if first:
            t = np.concatenate(([_crossing(time, energy, first - 1, mie)], t))
            e = np.concatenate(([mie], e))
        if last < time.size:
            t = np.concatenate((t, [_crossing(time, energy, last - 1, mie)]))
            e = np.concatenate((e, [mie]))
        yield t, e


def _crossing(time: TimeArray, energy: ValueArray, k: int, mie: float) -> int:
    """Return when the line between points k and k + 1, straight on the log axis, is at a level."""
    begin, end = np.log(energy[k]), np.log(energy[k + 1])
    part = (np.log(mie) - begin) / (end - begin)
    return int(time[k] + round(float(part) * int(time[k + 1] - time[k])))


def _mark_mie(figure: go.Figure, mie: Spread, row: int) -> None:
    if mie.high > mie.low:
        figure.add_hrect(
            y0=mie.low, y1=mie.high, fillcolor=palette.LIMIT, opacity=0.18, line_width=0,
            layer="below", row=row, col=1,
        )  # fmt: skip
    line = {"color": palette.LIMIT, "width": 1.5, "dash": "dash"}
    figure.add_hline(y=mie.typical, line=line, row=row, col=1)
    figure.add_annotation(
        text=f"ignition energy {significant(mie.typical)} mJ",
        x=0,
        xref="x domain",
        xanchor="left",
        y=float(np.log10(mie.typical)),
        yanchor="bottom",
        showarrow=False,
        row=row,
        col=1,
    )
