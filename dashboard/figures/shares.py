"""Shares as people judge them: over time with their limits, and side by side with intervals."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analytics.core.charts import PChart
from analytics.core.shares import Share
from dashboard.figures import palette
from dashboard.figures.wording import share


@dataclass(frozen=True, slots=True)
class Sign:
    """How the points of one sort are drawn and called."""

    name: str
    symbol: str
    colour: str
    size: int


INSIDE = Sign("inside its limits", "circle-open", palette.LINE, 8)
ROUGH = Sign("inside, few expected", "circle-dot", palette.LINE, 7)
ABOVE = Sign("above its limit", "diamond", palette.VERMILLION, 13)
ABOVE_ROUGH = Sign("above, few expected: a weak sign", "triangle-up", palette.ORANGE, 12)
BELOW = Sign("below its limit", "triangle-down", palette.LINE, 12)


def signs(chart: PChart) -> list[Sign | None]:
    """Return how each point of a p-chart stands to its limits; None where there is no point."""
    return [
        None if np.isnan(value) else _sign(value > upper, outside, rough)
        for value, upper, outside, rough in zip(
            chart.share.tolist(),
            chart.upper.tolist(),
            chart.outside.tolist(),
            chart.is_rough.tolist(),
            strict=True,
        )
    ]


def _sign(above: bool, outside: bool, rough: bool) -> Sign:
    if not outside:
        return ROUGH if rough else INSIDE
    if not above:
        return BELOW
    return ABOVE_ROUGH if rough else ABOVE


def share_course(edges: Sequence[dt.date], of: Sequence[int], chart: PChart) -> go.Figure:
    """Return the share of each stretch of days with its limits; those outside have a shape each.

    Parameters
    ----------
    edges : sequence of date, length n + 1
        Where the stretches begin, and the day after the last.
    of : sequence of int, length n
        Among how many each share is counted.
    chart : PChart
        Of n stretches.
    """
    told = signs(chart)
    points = [
        _points(edges, of, chart, sign, [n for n, each in enumerate(told) if each is sign])
        for sign in (INSIDE, ROUGH, BELOW, ABOVE_ROUGH, ABOVE)
        if any(each is sign for each in told)
    ]
    joined: Trace = {
        "type": "scatter",
        "x": _middles(edges),
        "y": chart.share,
        "mode": "lines",
        "line": {"color": palette.LINE, "width": 1},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    # Made in one go: a figure that is added to piece by piece takes ten times as long.
    return go.Figure([*_limits(edges, chart), joined, *points], _course_layout(edges, chart))


def _limits(edges: Sequence[dt.date], chart: PChart) -> Iterator[Trace]:
    """Yield the limits, a level for each stretch, and the centre line."""
    ends = [day.isoformat() for pair in pairwise(edges) for day in pair]
    limit = {"color": palette.LIMIT, "width": 1.5, "dash": "dash"}
    centre = {"color": palette.LINE, "width": 1, "dash": "dot"}
    lines: list[tuple[str, list[str], Any, Any]] = [
        ("Limits", ends, np.repeat(chart.upper, 2), limit),
        ("Lower limit", ends, np.repeat(chart.lower, 2), limit),
    ]
    if chart.centre is not None:
        name = f"Whole period: {share(chart.centre)}"
        lines.append((name, [ends[0], ends[-1]], [chart.centre, chart.centre], centre))
    for name, x, y, style in lines:
        yield {
            "type": "scatter",
            "x": x,
            "y": y,
            "mode": "lines",
            "line": style,
            "name": name,
            "showlegend": name != "Lower limit",
            "hoverinfo": "skip",
        }


def _points(
    edges: Sequence[dt.date], of: Sequence[int], chart: PChart, sign: Sign, places: Sequence[int]
) -> Trace:
    middles = _middles(edges)
    outside = sign in (ABOVE, ABOVE_ROUGH, BELOW)
    return {
        "type": "scatter",
        "x": [middles[n] for n in places],
        "y": chart.share[list(places)],
        "mode": "markers+text" if outside and len(places) <= LABELLED else "markers",
        "text": [sign.name.split()[0].rstrip(",") for _ in places],
        "textposition": "bottom center" if sign is BELOW else "top center",
        "marker": {"symbol": sign.symbol, "color": sign.colour, "size": sign.size},
        "name": sign.name.capitalize(),
        "hovertext": [
            f"{edges[n]}: {share(float(chart.share[n]))} of {of[n]:,}, {sign.name}" for n in places
        ],
        "hovertemplate": "%{hovertext}<extra></extra>",
    }


LABELLED = 12
"""More points than this have no word beside them: they would cover each other."""


def _middles(edges: Sequence[dt.date]) -> list[str]:
    """Return the middle of each stretch, where its point is drawn."""
    return [
        (dt.datetime.combine(a, dt.time()) + (b - a) / 2).isoformat() for a, b in pairwise(edges)
    ]


def _course_layout(edges: Sequence[dt.date], chart: PChart) -> Trace:
    seen = np.concatenate((chart.share, chart.upper))
    seen = seen[~np.isnan(seen)]
    top = min(1.0, float(seen.max()) * 1.18) if seen.size else 1.0
    return {
        **_sheet(320),
        "yaxis": {
            "range": [-0.02 * top, top or 1.0],
            "tickformat": ".1~%",
            "title": {"text": "Not compliant"},
            **_AXIS,
        },
        "xaxis": {"type": "date", "range": [edges[0].isoformat(), edges[-1].isoformat()], **_AXIS},
        "legend": _LEGEND,
    }


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a chart of intervals."""

    name: str
    share: Share


def intervals(rows: Sequence[Row], whole: Share) -> go.Figure:
    """Return a dot with its interval for each row, from the top down, and the whole as a line.

    A row whose interval lies below the whole has a colour and a shape of its own, one with too
    few to rank by another shape. Rows without a share are drawn as empty lines.
    """
    sorts = [
        (FEW_ROW, [row for row in rows if row.share.of and row.share.is_few]),
        (BELOW_WHOLE, [row for row in rows if _is_below(row.share, whole)]),
        (PLAIN, [r for r in rows if not r.share.is_few and not _is_below(r.share, whole)]),
    ]
    return go.Figure(
        [_dots(some, sign) for sign, some in sorts if some], _intervals_layout(rows, whole)
    )


PLAIN = Sign("share of transfers, 95 % interval", "circle", palette.LINE, 8)
BELOW_WHOLE = Sign("interval below the whole", "diamond", palette.VERMILLION, 10)
FEW_ROW = Sign("too few to rank", "x-thin-open", palette.LINE, 8)


def _is_below(part: Share, whole: Share) -> bool:
    """Tell whether a share is below the whole, as far as its interval can say."""
    if part.is_few or part.high is None or whole.value is None:
        return False
    return part.high < whole.value


def _dots(rows: Sequence[Row], sign: Sign) -> Trace:
    known = [
        (row.name, _known(row.share), row.share) for row in rows if row.share.value is not None
    ]
    return {
        "type": "scatter",
        "x": [value for _, (value, _, _), _ in known],
        "y": [name for name, _, _ in known],
        "mode": "markers",
        "marker": {"symbol": sign.symbol, "color": sign.colour, "size": sign.size},
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [high - value for _, (value, _, high), _ in known],
            "arrayminus": [value - low for _, (value, low, _), _ in known],
            "color": sign.colour,
            "thickness": 1.5,
            "width": 4,
        },
        "name": sign.name.capitalize(),
        "hovertext": [
            f"{share(low)} to {share(high)}, {part.count:,} of {part.of:,}"
            for _, (_, low, high), part in known
        ],
        "hovertemplate": "%{y}: %{x:.1%} (%{hovertext})<extra></extra>",
    }


def _known(part: Share) -> tuple[float, float, float]:
    return part.value or 0.0, part.low or 0.0, 1.0 if part.high is None else part.high


def _intervals_layout(rows: Sequence[Row], whole: Share) -> Trace:
    lows = [row.share.low for row in rows if row.share.low is not None]
    least = min(lows, default=0.0)
    line = {"color": palette.LINE, "width": 1, "dash": "dot"}
    at = {"x0": whole.value, "x1": whole.value, "y0": 0, "y1": 1, "yref": "paper"}
    return {
        **_sheet(80 + 24 * max(1, len(rows))),
        "shapes": [] if whole.value is None else [{"type": "line", "line": line, **at}],
        "xaxis": {
            "range": [max(0.0, least - 0.04 * (1 - least)), 1.0 + 0.02 * (1 - least)],
            "tickformat": ".1~%",
            **_AXIS,
        },
        "yaxis": {
            "type": "category",
            "categoryorder": "array",
            "categoryarray": [row.name for row in rows],
            "range": [len(rows) - 0.5, -0.5],
            "automargin": True,
            **_AXIS,
        },
        "legend": {**_LEGEND, "yref": "container", "yanchor": "top"},
    }


Trace = dict[str, Any]
_LEGEND: Trace = {"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 0}
_AXIS: Trace = {"gridcolor": palette.GRID, "zeroline": False, "fixedrange": True}


def _sheet(height: int) -> Trace:
    return {
        "height": height,
        "margin": {"l": 64, "r": 16, "t": 44, "b": 34},
        "paper_bgcolor": palette.NOTHING,
        "plot_bgcolor": palette.NOTHING,
        "dragmode": False,
    }
