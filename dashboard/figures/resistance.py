"""Bond resistance on a log axis: the limit, open circuit at the top, unknown hatched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from analytics.core.bond import Bond, resistance_states
from bondtrail.samples import ValueArray
from dashboard.figures import palette
from dashboard.figures.picture import Picture, Signal
from dashboard.figures.steps import Steps, boxes, inside, line, steps
from dashboard.figures.wording import ohms

FLOOR_OHM = 0.01
"""A log axis has no zero: anything lower is drawn here."""


def resistance_panel(figure: go.Figure, picture: Picture) -> None:
    """Draw the first panel of a transfer: what was measured, and where nothing was known."""
    low, top = axis_ends(picture)
    unknown = [(int(a), int(b)) for a, b in picture.bond.where(Bond.UNKNOWN)]
    x, y = boxes(unknown, picture.clock, low, top * 2)
    figure.add_scatter(
        x=x,
        y=y,
        mode="lines",
        fill="toself",
        line={"width": 0},
        fillcolor=palette.NOTHING,
        fillpattern={"shape": "/", "fgcolor": palette.LINE, "size": 7, "solidity": 0.18},
        name="Bond unknown",
        hoverinfo="skip",
        showlegend=bool(unknown),
        row=1,
        col=1,
    )
    if picture.resistance is not None:
        _resistance_lines(figure, picture, picture.resistance, top)
    mark_limit(figure, picture.limits.limit_ohm, row=1, col=1)


def mark_limit(figure: go.Figure, limit_ohm: float, **place: int) -> None:
    """Draw the limit and its name on a log axis of resistance."""
    figure.add_hline(
        y=limit_ohm, line={"color": palette.LIMIT, "width": 1.5, "dash": "dash"}, **place
    )
    figure.add_annotation(
        text=f"limit {ohms(limit_ohm)}",
        x=0,
        xref="x domain",
        xanchor="left",
        y=float(np.log10(limit_ohm)),  # on a log axis a note is placed by its logarithm
        yanchor="bottom",
        showarrow=False,
        **place,
    )


def axis_ends(picture: Picture) -> tuple[float, float]:
    """Return the lowest level to draw and the level that stands for open circuit, in ohm."""
    limits = picture.limits
    value = np.empty(0) if picture.resistance is None else picture.resistance.samples.value
    seen = value[(value > 0) & (value < limits.open_ohm)]
    lowest = min(float(seen.min()) if seen.size else 1.0, limits.limit_ohm / 10)
    low = max(FLOOR_OHM, 10 ** np.floor(np.log10(lowest)))
    if value.size and float(value.min()) <= 0:
        low = FLOOR_OHM
    return float(low), 3 * limits.open_ohm


def _resistance_lines(figure: go.Figure, picture: Picture, signal: Signal, top: float) -> None:
    limits = picture.limits
    state = resistance_states(signal.samples.value, limits.limit_ohm, limits.open_ohm)
    drawn = steps(signal.samples, state, signal.stale_ns, picture.end)
    level = on_the_axis(drawn.value, limits.open_ohm, axis_ends(picture)[0], top)
    drawn = Steps(drawn.time, drawn.until, level, drawn.state)
    _resistance_line(figure, picture, drawn, _CONNECTED)
    for style in _BY_STATE:
        _resistance_line(figure, picture, drawn, style)
    exposed = inside(drawn, picture.exposed)
    for style in _EXPOSED:
        _resistance_line(figure, picture, exposed, style)


@dataclass(frozen=True, slots=True)
class _Style:
    """How the steps of some bond states are drawn."""

    name: str
    states: tuple[Bond, ...]
    colour: str
    width: float
    hover: str | None = None
    legend: bool = False


_ANY = (Bond.LOW, Bond.HIGH, Bond.OPEN)
_CONNECTED = _Style("Resistance", _ANY, palette.LINE, 1)
_BY_STATE = (
    _Style("At or below the limit", (Bond.LOW,), palette.LINE, 2.2, "%{y:.3~g} ohm"),
    _Style("Above the limit", (Bond.HIGH,), palette.LINE, 2.2, "%{y:.3~s} ohm, above the limit"),
    _Style("Open circuit", (Bond.OPEN,), palette.LINE, 2.2, "open circuit"),
)
_EXPOSED = (
    _Style(
        "Flow, bond not verified",
        (Bond.LOW, Bond.HIGH),
        palette.ORANGE,
        4,
        "flow without a verified bond, %{y:.3~s} ohm",
        legend=True,
    ),
    _Style(
        "Flow, open circuit",
        (Bond.OPEN,),
        palette.VERMILLION,
        5,
        "flow without a bond, open circuit",
        legend=True,
    ),
)


def _resistance_line(figure: go.Figure, picture: Picture, drawn: Steps, style: _Style) -> None:
    x, y = line(drawn, picture.clock, np.isin(drawn.state, style.states))
    figure.add_scatter(
        x=x,
        y=y,
        mode="lines",
        name=style.name,
        line={"color": style.colour, "width": style.width},
        hoverinfo=None if style.hover else "skip",
        hovertemplate=style.hover and style.hover + "<extra></extra>",
        showlegend=style.legend and bool(x.size),
        row=1,
        col=1,
    )


def on_the_axis(ohm: ValueArray, open_ohm: float, low: float, top: float) -> ValueArray:
    """Return resistances with open circuit at the top level and zero at the lowest. [ohm]"""
    level: ValueArray = np.where(ohm >= open_ohm, top, np.maximum(ohm, low))
    return level
