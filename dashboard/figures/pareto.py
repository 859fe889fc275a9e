"""The vital few: what makes up most of the nuisance trips."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go

from analytics.core.charts import ParetoRow
from dashboard.figures import palette


def pareto_bars(rows: Sequence[ParetoRow], what: str) -> go.Figure:
    """Return one bar a row, the most at the top, and the share of it and all above as a line.

    Parameters
    ----------
    rows : sequence of ParetoRow
        Most first, under the names that are shown.
    what : str
        What is counted, in the plural.
    """
    names = [row.name for row in rows]
    bars = {
        "type": "bar",
        "x": [row.count for row in rows],
        "y": names,
        "orientation": "h",
        "marker": {"color": palette.FAINT, "line": {"color": palette.LINE, "width": 1}},
        "text": [f"{row.count:,}" for row in rows],
        "textposition": "inside",
        "insidetextanchor": "start",
        "textangle": 0,
        "name": what.capitalize(),
        "hovertemplate": "%{y}: %{x:,}<extra></extra>",
    }
    cumulative = {
        "type": "scatter",
        "x": [row.cumulative for row in rows],
        "y": names,
        "xaxis": "x2",
        "mode": "lines+markers",
        "line": {"color": palette.LIMIT, "width": 1.5},
        "marker": {"symbol": "square", "size": 6},
        "name": "Share of it and all above",
        "hovertemplate": "down to %{y}: %{x:.1%}<extra></extra>",
    }
    return go.Figure([bars, cumulative], _layout(rows, what))


def _layout(rows: Sequence[ParetoRow], what: str) -> dict[str, Any]:
    most = max((row.count for row in rows), default=1)
    fixed = {"zeroline": False, "fixedrange": True}
    return {
        "xaxis": {
            "title": {"text": what.capitalize(), "font": {"size": 12}},
            "range": [0, most * 1.05],
            "dtick": max(1, -(-most // 6)),
            "gridcolor": palette.GRID,
            **fixed,
        },
        "xaxis2": {
            "overlaying": "x",
            "side": "top",
            "range": [0, 1.05],
            "tickformat": ".0%",
            "tickvals": [0, 0.5, 0.8, 1],
            "showgrid": False,
            **fixed,
        },
        "yaxis": {"type": "category", "autorange": "reversed", "automargin": True, **fixed},
        "height": 118 + 26 * max(1, len(rows)),
        "margin": {"l": 8, "r": 16, "t": 52, "b": 44},
        "paper_bgcolor": palette.NOTHING,
        "plot_bgcolor": palette.NOTHING,
        "legend": {"orientation": "h", "yref": "container", "y": 1.0, "yanchor": "top", "x": 0},
        "dragmode": False,
    }
