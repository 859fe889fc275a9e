"""Hookups of a station over time: how good the contact was, and where it is heading."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from bondtrail.results import Hookup, Outcome, TripCause
from dashboard.figures import palette
from dashboard.figures.resistance import FLOOR_OHM, mark_limit
from dashboard.figures.steps import Clock
from dashboard.figures.wording import ohms, words


def hookup_trend(hookups: Sequence[Hookup], limit_ohm: float, clock: Clock) -> go.Figure:
    """Return the median resistance of each hookup on a log axis, with the limit.

    A verified hookup is drawn by its median, a failed one by its lowest reading: how near it
    came. Hookups without a reading are left out, and counted in the note.
    """
    figure = go.Figure()
    verified = [h for h in hookups if h.outcome is Outcome.VERIFIED]
    failed = [h for h in hookups if h.outcome is Outcome.FAILED]
    _dots(figure, verified, [h.median_ohm for h in verified], clock, "Verified: median", None)
    _dots(figure, failed, [h.lowest_ohm for h in failed], clock, "Failed: lowest", "x")
    mark_limit(figure, limit_ohm)
    _lay_out(figure, clock)
    return figure


def _dots(
    figure: go.Figure,
    hookups: Sequence[Hookup],
    level: Sequence[float | None],
    clock: Clock,
    name: str,
    symbol: str | None,
) -> None:
    told = [(h.start, value) for h, value in zip(hookups, level, strict=True) if value is not None]
    figure.add_scatter(
        x=clock.axis([start for start, _ in told]),
        y=np.maximum([value for _, value in told] or np.empty(0), FLOOR_OHM),
        mode="markers",
        name=name,
        marker={
            "color": palette.ORANGE if symbol else palette.LINE,
            "symbol": symbol or "circle-open",
            "size": 8 if symbol else 6,
        },
        hovertemplate="%{x|%d %b %H:%M}: %{y:.3~s} ohm<extra></extra>",
    )


def _lay_out(figure: go.Figure, clock: Clock) -> None:
    decades = [10.0**n for n in range(-2, 10)]
    figure.update_yaxes(
        type="log",
        tickvals=decades,
        ticktext=[ohms(value) for value in decades],
        gridcolor=palette.GRID,
        zeroline=False,
    )
    figure.update_xaxes(type="date", title_text=f"Site time: {clock.label}", gridcolor=palette.GRID)
    figure.update_layout(
        height=300,
        margin={"l": 70, "r": 16, "t": 30, "b": 46},
        paper_bgcolor=palette.NOTHING,
        plot_bgcolor=palette.NOTHING,
        legend={"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 0},
    )


def trips_by_cause(counts: dict[TripCause, int], nuisance: frozenset[TripCause]) -> go.Figure:
    """Return one bar a cause, longest first; nuisance causes are coloured and say so."""
    causes = sorted(counts, key=lambda cause: (counts[cause], cause))
    names = [f"{words(cause)}{' (nuisance)' if cause in nuisance else ''}" for cause in causes]
    figure = go.Figure(
        go.Bar(
            x=[counts[cause] for cause in causes],
            y=names,
            orientation="h",
            marker={
                "color": [palette.ORANGE if cause in nuisance else palette.LINE for cause in causes]
            },
            text=[counts[cause] for cause in causes],
            hovertemplate="%{y}: %{x}<extra></extra>",
        )
    )
    step = max(1, -(-max(counts.values(), default=0) // 6))
    figure.update_xaxes(gridcolor=palette.GRID, rangemode="tozero", fixedrange=True, dtick=step)
    figure.update_yaxes(automargin=True, fixedrange=True)
    figure.update_layout(
        height=60 + 34 * max(1, len(causes)),
        margin={"l": 8, "r": 24, "t": 8, "b": 30},
        paper_bgcolor=palette.NOTHING,
        plot_bgcolor=palette.NOTHING,
    )
    return figure
