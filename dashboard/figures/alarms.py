"""Alarms over time: how many began in each stretch, and where there were too many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go

from analytics.core.spans import Moments
from dashboard.figures import palette
from dashboard.figures.steps import Clock
from dashboard.figures.wording import plural


@dataclass(frozen=True, slots=True, eq=False)
class Bars:
    """Alarms in neighbouring stretches of a period.

    Attributes
    ----------
    edges : ndarray of int64, shape (n + 1,)
        Stretch k is ``[edges[k], edges[k + 1])``. [ns]
    counts : ndarray of int64, shape (n,)
        Alarms that began in each.
    values : ndarray of float64, shape (n,)
        What is drawn: the count, or its average by ``unit``.
    floods : ndarray of int64, shape (n,)
        How many floods touch each.
    unit : str
        What a value is per: 10 minutes, hour or day.
    stretch : str
        What a bar is of: 10 minutes, hour, day, week or month.
    levels : sequence of (str, float)
        One or two published levels of the unit, the strictest first, and how each is named.
    clock : Clock
    """

    edges: Moments
    counts: npt.NDArray[np.int64]
    values: npt.NDArray[np.float64]
    floods: npt.NDArray[np.int64]
    unit: str
    stretch: str
    levels: Sequence[tuple[str, float]]
    clock: Clock

    @property
    def rank(self) -> npt.NDArray[np.int64]:
        """How many of the levels each bar is above."""
        return np.searchsorted([level for _, level in self.levels], self.values)


def alarm_bars(bars: Bars) -> go.Figure:
    """Return a bar a stretch: grey, or coloured above a level; floods have a mark above."""
    figure = go.Figure()
    middle = bars.clock.axis((bars.edges[:-1] + bars.edges[1:]) // 2)
    width = np.diff(bars.edges) / 1e6
    for rank, (name, colour) in enumerate(_classes(bars)):
        chosen = bars.rank == rank
        if not chosen.any():
            continue
        figure.add_bar(
            x=middle[chosen],
            y=bars.values[chosen],
            width=0.86 * width[chosen],
            name=name,
            marker={"color": colour, "line": {"width": 0}},
            customdata=_said(bars, chosen),
            hovertemplate="%{customdata}<extra></extra>",
        )
    _mark_floods(figure, bars, middle)
    _draw_levels(figure, bars)
    _lay_out(figure, bars)
    return figure


def _classes(bars: Bars) -> list[tuple[str, str]]:
    """Return the name and colour of bars above no level, above one, and so on."""
    colours = [palette.SKY_BLUE, palette.ORANGE][-len(bars.levels) :]
    named = [f"Over {level:g} per {bars.unit}" for _, level in bars.levels]
    return [("Alarms", palette.LINE), *zip(named, colours, strict=True)]


def _said(bars: Bars, chosen: npt.NDArray[np.bool_]) -> list[str]:
    form = "%d %b %H:%M" if bars.stretch in ("10 minutes", "hour") else "%d %b %Y"
    return [
        f"{bars.clock.text(int(bars.edges[n]), form)}, {bars.stretch}: "
        f"{plural(int(bars.counts[n]), 'alarm')}"
        + (f", {plural(int(bars.floods[n]), 'flood')}" if bars.floods[n] else "")
        for n in np.flatnonzero(chosen).tolist()
    ]


def _mark_floods(figure: go.Figure, bars: Bars, middle: npt.NDArray[np.float64]) -> None:
    flooded = bars.floods > 0
    if not flooded.any():
        return
    figure.add_scatter(
        x=middle[flooded],
        y=bars.values[flooded] + 0.05 * bars.values.max(),
        mode="markers",
        name="Flood",
        marker={"symbol": "triangle-down", "size": 9, "color": palette.VERMILLION},
        hoverinfo="skip",
    )


def _draw_levels(figure: go.Figure, bars: Bars) -> None:
    for name, level in _near(bars):
        figure.add_hline(
            level,
            line={"color": palette.LIMIT, "width": 1.5, "dash": "dash"},
            annotation={"text": f"{name} {level:g}", "font": {"size": 12}, "align": "left"},
            annotation_position="right",
        )


def _near(bars: Bars) -> list[tuple[str, float]]:
    """Return the levels that are near enough to be drawn with the bars still readable."""
    highest = float(bars.values.max(initial=0))
    return [(name, level) for name, level in bars.levels if level <= 2 * highest]


def _lay_out(figure: go.Figure, bars: Bars) -> None:
    start, end = bars.clock.axis([bars.edges[0], bars.edges[-1]])
    figure.update_xaxes(
        type="date",
        range=[start, end],
        title_text=f"Site time: {bars.clock.label}",
        gridcolor=palette.GRID,
        fixedrange=True,
    )
    figure.update_yaxes(
        title_text=f"Alarms per {bars.unit}",
        rangemode="tozero",
        gridcolor=palette.GRID,
        zeroline=False,
        fixedrange=True,
    )
    figure.update_layout(
        height=300,
        barmode="overlay",
        bargap=0,
        margin={"l": 60, "r": 90 if _near(bars) else 16, "t": 30, "b": 46},
        paper_bgcolor=palette.NOTHING,
        plot_bgcolor=palette.NOTHING,
        showlegend=True,
        legend={"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 0},
    )
