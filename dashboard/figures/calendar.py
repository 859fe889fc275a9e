"""Stations by days: the worst that was found in each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go

from dashboard.figures import palette
from dashboard.figures.wording import plural


class Cell(IntEnum):
    """What a station's day, or several, is remembered for: the greatest code counts."""

    NO_RECORD = 0
    QUIET = 1
    TRANSFERS = 2
    UNKNOWN = 3
    MINOR = 4
    MAJOR = 5
    CRITICAL = 6


SIGNS = ("", "", "·", "?", "●", "▲", "◆")
"""The sign of each code of `Cell`: colour alone says nothing."""
MEANING = (
    "no record",
    "no transfer",
    "transfers, no finding",
    "nothing known for most of the day",
    "minor finding",
    "major finding",
    "critical finding",
)
COLOURS = (
    palette.NOTHING,
    "rgba(128,128,128,0.10)",
    "rgba(128,128,128,0.26)",
    "rgba(128,128,128,0.10)",
    "rgba(86,180,233,0.75)",
    "rgba(230,159,0,0.85)",
    "rgba(213,94,0,0.92)",
)


@dataclass(frozen=True, slots=True, eq=False)
class Calendar:
    """Cells to draw, one row a station.

    Attributes
    ----------
    ids, names : sequence of str
        Of the stations, from the top down.
    days : sequence of date
        First day of each column.
    cells : ndarray of int, shape (ids, days)
        Codes of `Cell`.
    findings : ndarray of int, shape (ids, days)
        How many findings each holds.
    """

    ids: Sequence[str]
    names: Sequence[str]
    days: Sequence[dt.date]
    cells: npt.NDArray[np.int64]
    findings: npt.NDArray[np.int64]


def heat_strip(calendar: Calendar, *, row_px: int = 22) -> go.Figure:
    """Return one row a station and one column a day, worst finding by colour and sign."""
    signs = np.array(SIGNS, dtype=object)[calendar.cells]
    figure = go.Figure(
        go.Heatmap(
            x=[day.isoformat() for day in calendar.days],
            y=list(calendar.ids),
            z=calendar.cells,
            text=signs,
            texttemplate="%{text}",
            customdata=_hover(calendar),
            hovertemplate="%{x}: %{customdata}<extra></extra>",
            colorscale=_colour_steps(),
            zmin=-0.5,
            zmax=len(COLOURS) - 0.5,
            showscale=False,
            xgap=2,
            ygap=2,
        )
    )
    figure.update_xaxes(
        type="category",
        tickmode="array",
        side="top",
        showgrid=False,
        fixedrange=True,
        **_ticks(calendar.days),
    )
    figure.update_yaxes(
        type="category",
        autorange="reversed",
        tickvals=list(calendar.ids),
        ticktext=list(calendar.names),
        showgrid=False,
        fixedrange=True,
        automargin=True,
    )
    figure.update_layout(
        height=46 + row_px * max(1, len(calendar.ids)),
        margin={"l": 8, "r": 8, "t": 34, "b": 8},
        paper_bgcolor=palette.NOTHING,
        plot_bgcolor=palette.NOTHING,
        dragmode=False,
    )
    return figure


def _colour_steps() -> list[tuple[float, str]]:
    n = len(COLOURS)
    return [(k / n, colour) for i, colour in enumerate(COLOURS) for k in (i, i + 1)]


def _ticks(days: Sequence[dt.date]) -> dict[str, list[str]]:
    """Return about eight marks along the days; long periods name the year."""
    step = max(1, -(-len(days) // 8))
    chosen = list(days[::step])
    long = bool(days) and (days[-1] - days[0]).days > 300
    return {
        "tickvals": [day.isoformat() for day in chosen],
        "ticktext": [_mark(day, long) for day in chosen],
    }


def _mark(day: dt.date, long: bool) -> str:
    return f"{day:%b %Y}" if long else f"{day.day} {day:%b}"


def _hover(calendar: Calendar) -> npt.NDArray[np.object_]:
    said = np.array(MEANING, dtype=object)[calendar.cells]
    some = calendar.findings > 0
    said[some] = [
        f"{plural(int(n), 'finding')}, the worst: {text}"
        for n, text in zip(calendar.findings[some], said[some], strict=True)
    ]
    return said
