"""How trips add up, and where bonded resistance is heading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analytics.core.drift import Forecast, ResistanceTrend, Shape
from analytics.core.power_law import PowerLaw
from analytics.core.spans import Moments
from analytics.core.stretches import NS_PER_DAY
from bondtrail.results import WorkWindow
from bondtrail.samples import ValueArray
from bondtrail.times import NS_PER_S
from dashboard.figures import palette
from dashboard.figures.steps import Clock
from dashboard.figures.wording import ohms

NS_PER_H = 3600 * NS_PER_S
LOG_BELOW = 1 / 30
"""Where resistance is mostly below this share of the limit, a linear axis would show nothing."""
LOOK_AHEAD_DAYS = 365.0
"""How far ahead a line is drawn at most."""


def trips_course(
    times: Moments, span: tuple[int, int], clock: Clock, fit: PowerLaw | None
) -> go.Figure:
    """Return how trips add up over a span, the power law through them, and a steady pace.

    Parameters
    ----------
    times : ndarray of int64, shape (n,)
        Of the trips, rising, inside the span. [ns]
    span : (int, int)
        Start and end of the watch. [ns]
    clock : Clock
    fit : PowerLaw or None
        Of hours since the start.
    """
    start, end = span
    figure = go.Figure()
    figure.add_scatter(
        x=clock.axis([start, end]),
        y=[0, times.size],
        mode="lines",
        line={"color": palette.LINE, "width": 1, "dash": "dot"},
        name="At a steady pace",
        hoverinfo="skip",
    )
    if fit is not None:
        hours = np.linspace(0, (end - start) / NS_PER_H, 80)
        figure.add_scatter(
            x=clock.axis(start + (hours * NS_PER_H).astype(np.int64)),
            y=fit.likelihood.scale * hours**fit.likelihood.beta,
            mode="lines",
            line={"color": palette.LIMIT, "width": 1.5, "dash": "dash"},
            name="Power law",
            hoverinfo="skip",
        )
    figure.add_scatter(
        x=clock.axis(np.concatenate(([start], times, [end]))),
        y=np.concatenate(([0], np.arange(1, times.size + 1), [times.size])),
        mode="lines",
        line={"color": palette.LINE, "width": 2.2, "shape": "hv"},
        name="Trips so far",
        hovertemplate="%{x|%d %b %Y %H:%M}: %{y}<extra></extra>",
    )
    figure.update_yaxes(rangemode="tozero", **_AXIS)
    figure.update_xaxes(type="date", title_text=f"Site time: {clock.label}", **_AXIS)
    figure.update_layout(**_sheet(280))
    return figure


@dataclass(frozen=True, slots=True, eq=False)
class Resistance:
    """What the figure of bonded resistance shows.

    Attributes
    ----------
    start : ndarray of int64, shape (n,)
        Of each verified hookup. [ns]
    ohm : ndarray of float64, shape (n,)
        Its median resistance.
    trends : sequence of ResistanceTrend
    forecast : Forecast
        Of the last one.
    work : sequence of WorkWindow
        On the station.
    limit_ohm : float
    period : (int, int)
        What the page is about. [ns]
    """

    start: Moments
    ohm: ValueArray
    trends: Sequence[ResistanceTrend]
    forecast: Forecast
    work: Sequence[WorkWindow]
    limit_ohm: float
    period: tuple[int, int]


def resistance_course(told: Resistance, clock: Clock) -> go.Figure:
    """Return the median of each hookup with the limit; a drift as a line, a step as a mark."""
    figure = go.Figure()
    _work(figure, told, clock)
    figure.add_scatter(
        x=clock.axis(told.start),
        y=told.ohm,
        mode="markers",
        name="Median of a verified hookup",
        marker={"color": palette.LINE, "symbol": "circle-open", "size": 5},
        hovertemplate="%{x|%d %b %Y %H:%M}: %{y:.3~s} ohm<extra></extra>",
    )
    for trend in told.trends:
        _trend(figure, trend, clock)
    _ahead(figure, told, clock)
    _limit(figure, told)
    _lay_out(figure, told, clock)
    return figure


def _is_log(told: Resistance) -> bool:
    return bool(np.median(told.ohm) < LOG_BELOW * told.limit_ohm and told.ohm.min() > 0)


def _work(figure: go.Figure, told: Resistance, clock: Clock) -> None:
    """Mark the work on the station along the upper edge."""
    if not told.work:
        return
    figure.add_scatter(
        x=clock.axis([window.start for window in told.work]),
        y=np.full(len(told.work), 0.96),
        yaxis="y2",
        mode="markers",
        marker={"symbol": "triangle-down-open", "size": 10, "color": palette.LINE},
        name="Work on the station",
        hovertext=[window.what for window in told.work],
        hovertemplate="%{x|%d %b %Y %H:%M}: %{hovertext}<extra></extra>",
    )


def _trend(figure: go.Figure, trend: ResistanceTrend, clock: Clock) -> None:
    if trend.kind is Shape.STEP and trend.change is not None:
        change = trend.change
        figure.add_scatter(
            x=clock.axis([trend.start, change.at, change.at, trend.last]),
            y=[change.before_ohm, change.before_ohm, change.after_ohm, change.after_ohm],
            mode="lines",
            line={"color": palette.ORANGE, "width": 2.5},
            name="Step",
            hoverinfo="skip",
        )
        figure.add_scatter(
            x=clock.axis([change.at]),
            y=[change.after_ohm],
            mode="markers+text",
            marker={"symbol": "square", "size": 9, "color": palette.ORANGE},
            text=["step"],
            textposition="top left",
            showlegend=False,
            hovertemplate="%{x|%d %b %Y %H:%M}: a step<extra></extra>",
        )
    elif trend.kind is Shape.DRIFT and trend.line is not None:
        days = np.linspace((trend.start - trend.last) / NS_PER_DAY, 0.0, 40)
        figure.add_scatter(
            x=_days_on(trend, days, clock),
            y=trend.line.middle_ohm + trend.line.slope * (days - trend.line.middle_days),
            mode="lines",
            line={"color": palette.VERMILLION, "width": 2.5},
            name="Drift",
            hoverinfo="skip",
        )


def _days_on(trend: ResistanceTrend, days: Any, clock: Clock) -> Any:
    return clock.axis(trend.last + (np.asarray(days) * NS_PER_DAY).astype(np.int64))


def _ahead(figure: go.Figure, told: Resistance, clock: Clock) -> None:
    """Draw where a drift leads: its line, and the range in which it meets the limit."""
    trend = told.trends[-1] if told.trends else None
    if trend is None or trend.kind is not Shape.DRIFT or trend.line is None:
        return
    line = trend.line
    days = np.linspace(0.0, _reach(told.forecast), 60)
    slopes = (line.low, line.high)
    low, high = (line.middle_ohm + slope * (days - line.middle_days) for slope in slopes)
    figure.add_scatter(
        x=_days_on(trend, np.concatenate((days, days[::-1])), clock),
        y=np.minimum(np.concatenate((low, high[::-1])), 1.2 * told.limit_ohm),
        mode="lines",
        fill="toself",
        fillcolor=palette.FAINT,
        line={"width": 0},
        name="Where it leads, 95 % of the slope",
        hoverinfo="skip",
    )
    level = line.middle_ohm + line.slope * (days - line.middle_days)
    figure.add_scatter(
        x=_days_on(trend, days, clock),
        y=np.where(level <= 1.2 * told.limit_ohm, level, np.nan),
        mode="lines",
        line={"color": palette.VERMILLION, "width": 1.5, "dash": "dot"},
        showlegend=False,
        hoverinfo="skip",
    )


def _reach(forecast: Forecast) -> float:
    """Return how many days ahead are drawn: a little beyond the latest day that is in sight."""
    sight = forecast.latest or forecast.days or 30.0
    return float(min(max(10.0, 1.1 * sight), LOOK_AHEAD_DAYS))


def _limit(figure: go.Figure, told: Resistance) -> None:
    line = {"color": palette.LIMIT, "width": 1.5, "dash": "dash"}
    figure.add_hline(y=told.limit_ohm, line=line)
    figure.add_annotation(
        text=f"limit {ohms(told.limit_ohm)}",
        x=0,
        xref="x domain",
        xanchor="left",
        y=float(np.log10(told.limit_ohm)) if _is_log(told) else told.limit_ohm,
        yanchor="bottom",
        showarrow=False,
    )


def _lay_out(figure: go.Figure, told: Resistance, clock: Clock) -> None:
    if _is_log(told):
        decades = [10.0**n for n in range(-2, 10)]
        figure.update_yaxes(type="log", tickvals=decades, ticktext=[ohms(v) for v in decades])
    else:
        top = 1.15 * max(told.limit_ohm, float(told.ohm.max()))
        figure.update_yaxes(range=[0, top], ticksuffix=" ohm")
    figure.update_yaxes(**_AXIS)
    figure.update_xaxes(type="date", title_text=f"Site time: {clock.label}", **_AXIS)
    figure.update_layout(
        **_sheet(330),
        yaxis2={"overlaying": "y", "range": [-0.02, 1], "visible": False, "fixedrange": True},
    )
    low, high = (float(x) for x in clock.axis(told.period))
    figure.add_vrect(x0=low, x1=high, fillcolor=palette.FAINT, opacity=0.35, line_width=0,
                     layer="below")  # fmt: skip


_AXIS: dict[str, Any] = {"gridcolor": palette.GRID, "zeroline": False, "fixedrange": True}


def _sheet(height: int) -> dict[str, Any]:
    return {
        "height": height,
        "margin": {"l": 62, "r": 16, "t": 46, "b": 46},
        "paper_bgcolor": palette.NOTHING,
        "plot_bgcolor": palette.NOTHING,
        "legend": {"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 0},
        "dragmode": False,
    }
