"""One transfer on one time axis: bond resistance, flow, contacts, findings and trips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from analytics.core.bond import Bond, resistance_states
from analytics.core.runs import Timeline
from analytics.core.spans import NOWHERE, Spans
from bondtrail.results import Finding, Severity, Trip
from bondtrail.samples import Samples, ValueArray
from bondtrail.site import Limits
from dashboard.figures import palette
from dashboard.figures.steps import Axis, Clock, Steps, boxes, inside, line, steps
from dashboard.figures.wording import ohms, words

FLOOR_OHM = 0.01
"""A log axis has no zero: anything lower is drawn here."""


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """One point's samples, and how long each holds without a successor. [ns]"""

    samples: Samples
    stale_ns: int


@dataclass(frozen=True, slots=True, eq=False)
class Lane:
    """A state drawn as a bar: ``on`` is its code in ``states``, ``unknown`` another."""

    name: str
    states: Timeline
    on: int
    unknown: int
    on_word: str
    colour: str = palette.LINE


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """All that the figure shows, over ``[start, end)``; the transfer lies inside. [ns]"""

    start: int
    end: int
    transfer: tuple[int, int]
    clock: Clock
    limits: Limits
    bond: Timeline
    exposed: Spans = field(default_factory=NOWHERE.copy)
    """Flow with the bond known and not verified."""
    resistance: Signal | None = None
    flow: Signal | None = None
    flow_unit: str = ""
    lanes: Sequence[Lane] = ()
    findings: Sequence[Finding] = ()
    trips: Sequence[Trip] = ()


def replay(picture: Picture) -> go.Figure:
    """Return the transfer as three panels over one time axis: resistance, flow, states."""
    figure = make_subplots(
        rows=3, cols=1, shared_xaxes=True, vertical_spacing=0.045, row_heights=[0.48, 0.2, 0.32]
    )
    _resistance_panel(figure, picture)
    _flow_panel(figure, picture)
    _state_panel(figure, picture)
    _mark_trips(figure, picture)
    _mark_transfer(figure, picture)
    _lay_out(figure, picture)
    return figure


def _resistance_panel(figure: go.Figure, picture: Picture) -> None:
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
        x=1,
        xref="x domain",
        xanchor="right",
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
    drawn = _on_the_axis(drawn, axis_ends(picture)[0], top)
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


def _on_the_axis(drawn: Steps, low: float, top: float) -> Steps:
    """Return the steps with open circuit at the top level and zero at the lowest."""
    level: ValueArray = np.where(drawn.state == Bond.OPEN, top, np.maximum(drawn.value, low))
    return Steps(drawn.time, drawn.until, level, drawn.state)


def _flow_panel(figure: go.Figure, picture: Picture) -> None:
    if picture.flow is None:
        _say(figure, "Flow is not measured here", 2)
        return
    samples = picture.flow.samples
    state = (samples.value >= picture.limits.flow_min).astype(np.int64)
    drawn = steps(samples, state, picture.flow.stale_ns, picture.end)
    x, y = line(drawn, picture.clock)
    figure.add_scatter(
        x=x,
        y=y,
        mode="lines",
        name="Flow",
        fill="tozeroy",
        fillcolor=palette.FAINT,
        line={"color": palette.LINE, "width": 1.5},
        hovertemplate=f"%{{y:.4~g}} {picture.flow_unit}<extra></extra>",
        showlegend=False,
        row=2,
        col=1,
    )


def _say(figure: go.Figure, text: str, row: int) -> None:
    figure.add_scatter(x=[], y=[], showlegend=False, row=row, col=1)
    number = "" if row == 1 else row
    figure.add_annotation(
        text=text,
        showarrow=False,
        x=0.5,
        y=0.5,
        xref=f"x{number} domain",
        yref=f"y{number} domain",
    )


def _state_panel(figure: go.Figure, picture: Picture) -> None:
    for lane in picture.lanes:
        _lane(figure, picture, lane)
    for severity in Severity:
        _finding_bars(figure, picture, severity)


def _lane(figure: go.Figure, picture: Picture, lane: Lane) -> None:
    unknown = lane.states.where(lane.unknown)
    known = lane.states.where(*set(map(int, lane.states.state)) - {lane.unknown})
    on = lane.states.where(lane.on)
    parts = [
        (known, palette.LINE, 1.5, "solid", f"{lane.name}: not {lane.on_word}"),
        (unknown, palette.LINE, 1.5, "dot", f"{lane.name}: unknown"),
        (on, lane.colour, 11, "solid", f"{lane.name}: {lane.on_word}"),
    ]
    for spans, colour, width, dash, text in parts:
        x = _parted(spans, picture.clock)
        figure.add_scatter(
            x=x,
            y=np.full(x.size, lane.name, dtype=object),
            mode="lines",
            line={"color": colour, "width": width, "dash": dash},
            hovertemplate=text + "<extra></extra>",
            showlegend=False,
            row=3,
            col=1,
        )


def _parted(spans: Spans, clock: Clock) -> Axis:
    edge = clock.axis(np.asarray(spans, np.int64).reshape(-1, 2))
    return np.column_stack([edge, np.full(len(edge), np.nan)]).ravel()


def _finding_bars(figure: go.Figure, picture: Picture, severity: Severity) -> None:
    chosen = [finding for finding in picture.findings if finding.severity is severity]
    if not chosen:
        return
    ends = [(max(f.start, picture.start), min(f.end, picture.end)) for f in chosen]
    x = _parted(np.array(ends), picture.clock)
    names = np.array([name for f in chosen for name in [_lane_name(f)] * 3], dtype=object)
    figure.add_scatter(
        x=x,
        y=names,
        mode="lines+markers",
        line={"color": palette.SEVERITY_COLOUR[severity], "width": 5},
        marker={"symbol": palette.SEVERITY_SHAPE[severity], "size": 11},
        name=f"{severity.capitalize()} finding",
        hovertemplate=f"%{{y}} ({severity})<extra></extra>",
        row=3,
        col=1,
    )


def _lane_name(finding: Finding) -> str:
    """Return the lane of a finding: one a kind, so that those that overlap stay apart."""
    return words(finding.kind).capitalize()


def _mark_trips(figure: go.Figure, picture: Picture) -> None:
    for trip in picture.trips:
        x = float(picture.clock.axis(trip.time))
        figure.add_vline(
            x=x, line={"color": palette.VERMILLION, "width": 1, "dash": "dot"}, row="all", col=1
        )
    if not picture.trips:
        return
    _, top = axis_ends(picture)
    figure.add_scatter(
        x=picture.clock.axis([trip.time for trip in picture.trips]),
        y=np.full(len(picture.trips), top * 1.35),
        mode="markers+text",
        marker={"symbol": "x", "size": 9, "color": palette.VERMILLION},
        text=["trip"] * len(picture.trips),
        textposition="middle right",
        name="Trip",
        hovertext=[f"{words(t.trip_class)} trip: {words(t.cause)}" for t in picture.trips],
        hovertemplate="%{hovertext}<extra></extra>",
        row=1,
        col=1,
    )


def _mark_transfer(figure: go.Figure, picture: Picture) -> None:
    """Fade what lies outside the transfer, in every panel."""
    begin, end = picture.transfer
    for low, high in ((picture.start, begin), (end, picture.end)):
        if high > low:
            x0, x1 = (float(x) for x in picture.clock.axis([low, high]))
            figure.add_vrect(
                x0=x0, x1=x1, fillcolor=palette.FAINT, opacity=0.35, line_width=0, layer="below"
            )


def _lay_out(figure: go.Figure, picture: Picture) -> None:
    low, top = axis_ends(picture)
    decades = [10.0**n for n in range(round(np.log10(low)), 1 + int(np.log10(top / 3.0001)))]
    figure.update_yaxes(
        type="log",
        range=[np.log10(low), np.log10(top * 2)],
        tickvals=[*decades, top],
        ticktext=[*(ohms(value) for value in decades), "open"],
        title_text="Bond resistance",
        row=1,
        col=1,
    )
    figure.update_yaxes(title_text=f"Flow, {picture.flow_unit}" if picture.flow else "Flow", row=2)
    kinds = dict.fromkeys(_lane_name(finding) for finding in picture.findings)
    order = [*kinds, *(lane.name for lane in picture.lanes)][::-1] or ["No contacts recorded"]
    figure.update_yaxes(
        type="category",
        categoryorder="array",
        categoryarray=order,
        range=[-0.6, len(order) - 0.4],
        automargin=True,
        row=3,
    )
    span = picture.clock.axis([picture.start, picture.end])
    figure.update_xaxes(type="date", range=[float(span[0]), float(span[1])], tickformat="%H:%M:%S")
    figure.update_xaxes(
        title={"text": f"Site time: {picture.clock.label}", "font": {"size": 12}}, row=3
    )
    figure.update_xaxes(gridcolor=palette.GRID, zeroline=False, hoverformat="%H:%M:%S.%L")
    figure.update_yaxes(gridcolor=palette.GRID, zeroline=False, fixedrange=True)
    figure.update_layout(
        height=600 + 26 * max(0, len(order) - 3),
        margin={"l": 78, "r": 16, "t": 34, "b": 50},
        paper_bgcolor=palette.NOTHING,
        plot_bgcolor=palette.NOTHING,
        legend={"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 0},
        hovermode="closest",
        dragmode="zoom",
        uirevision="transfer",
    )
