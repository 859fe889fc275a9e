"""One transfer on one time axis: bond resistance, flow, hazard, contacts, findings and trips."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from analytics.core.electrostatics.hazard import Hazard
from analytics.core.spans import Spans
from bondtrail.results import Finding, Severity
from bondtrail.samples import ValueArray
from bondtrail.site import Role
from dashboard.figures import palette
from dashboard.figures.hazard import hazard_panel
from dashboard.figures.picture import Lane, Picture
from dashboard.figures.resistance import axis_ends, on_the_axis, resistance_panel
from dashboard.figures.steps import Axis, Clock, line, steps
from dashboard.figures.typical import OnAxis, lay_typical
from dashboard.figures.wording import ohms, words

RESISTANCE, FLOW, HAZARD, STATES = 1, 2, 3, 4
"""Rows of the panels."""

ESTIMATED = [0.36, 0.15, 0.23, 0.26]
NOT_ESTIMATED = [0.44, 0.19, 0.07, 0.30]
"""Heights of the panels, with and without an estimate of the hazard."""


def replay(picture: Picture) -> go.Figure:
    """Return the transfer as panels over one time axis: resistance, flow, hazard, states."""
    estimated = isinstance(picture.hazard, Hazard)
    figure = make_subplots(
        rows=4,
        cols=1,
        shared_xaxes=True,
        vertical_spacing=0.035,
        row_heights=ESTIMATED if estimated else NOT_ESTIMATED,
    )
    resistance_panel(figure, picture)
    _flow_panel(figure, picture)
    _hazard_panel(figure, picture)
    _state_panel(figure, picture)
    _lay_typical(figure, picture)
    _mark_trips(figure, picture)
    _mark_transfer(figure, picture)
    _lay_out(figure, picture)
    return figure


def _hazard_panel(figure: go.Figure, picture: Picture) -> None:
    if isinstance(picture.hazard, Hazard):
        hazard_panel(figure, picture.hazard, picture.clock, HAZARD)
    else:
        _say(figure, "No estimate: see below", HAZARD)


def _lay_typical(figure: go.Figure, picture: Picture) -> None:
    if picture.typical is None:
        return
    low, top = axis_ends(picture)

    def on_the_resistance_axis(value: ValueArray) -> ValueArray:
        return on_the_axis(value, picture.limits.open_ohm, low, top)

    def as_it_is(value: ValueArray) -> ValueArray:
        return value

    panels: dict[Role, tuple[int, OnAxis]] = {
        Role.RESISTANCE: (RESISTANCE, on_the_resistance_axis),
        Role.FLOW: (FLOW, as_it_is),
    }
    lay_typical(figure, picture.typical, picture.transfer[0], picture.clock, panels)


def _flow_panel(figure: go.Figure, picture: Picture) -> None:
    if picture.flow is None:
        _say(figure, "Flow is not measured here", FLOW)
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
        row=FLOW,
        col=1,
    )


def _say(figure: go.Figure, text: str, row: int) -> None:
    figure.add_scatter(x=[], y=[], showlegend=False, row=row, col=1)
    figure.update_yaxes(showticklabels=False, showgrid=False, row=row, col=1)
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
    if not picture.lanes and not picture.findings:
        _say(figure, "No contacts are recorded here", STATES)
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
            row=STATES,
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
        row=STATES,
        col=1,
    )


def _lane_name(finding: Finding) -> str:
    """Return the lane of a finding: one a kind, so that those that overlap stay apart."""
    return words(finding.kind).capitalize()


def _mark_trips(figure: go.Figure, picture: Picture) -> None:
    for trip in picture.trips:
        x = float(picture.clock.axis(trip.time))
        figure.add_vline(
            x=x,
            line={"color": palette.VERMILLION, "width": 1, "dash": "dot"},
            row="all",
            col=1,
            exclude_empty_subplots=False,
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
        row=RESISTANCE,
        col=1,
    )


def _mark_transfer(figure: go.Figure, picture: Picture) -> None:
    """Fade what lies outside the transfer, in every panel."""
    begin, end = picture.transfer
    for low, high in ((picture.start, begin), (end, picture.end)):
        if high > low:
            x0, x1 = (float(x) for x in picture.clock.axis([low, high]))
            figure.add_vrect(
                x0=x0,
                x1=x1,
                fillcolor=palette.FAINT,
                opacity=0.35,
                line_width=0,
                layer="below",
                exclude_empty_subplots=False,
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
        row=RESISTANCE,
        col=1,
    )
    title = f"Flow, {picture.flow_unit}" if picture.flow else "Flow"
    figure.update_yaxes(title_text=title, row=FLOW)
    kinds = dict.fromkeys(_lane_name(finding) for finding in picture.findings)
    order = [*kinds, *(lane.name for lane in picture.lanes)][::-1]
    figure.update_yaxes(
        type="category",
        categoryorder="array",
        categoryarray=order,
        range=[-0.6, len(order) - 0.4],
        automargin=True,
        row=STATES,
    )
    span = picture.clock.axis([picture.start, picture.end])
    figure.update_xaxes(type="date", range=[float(span[0]), float(span[1])], tickformat="%H:%M:%S")
    figure.update_xaxes(
        title={"text": f"Site time: {picture.clock.label}", "font": {"size": 12}}, row=STATES
    )
    figure.update_xaxes(gridcolor=palette.GRID, zeroline=False, hoverformat="%H:%M:%S.%L")
    figure.update_yaxes(gridcolor=palette.GRID, zeroline=False, fixedrange=True)
    figure.update_layout(
        height=(780 if isinstance(picture.hazard, Hazard) else 640) + 26 * max(0, len(order) - 3),
        margin={"l": 78, "r": 16, "t": 34, "b": 50},
        paper_bgcolor=palette.NOTHING,
        plot_bgcolor=palette.NOTHING,
        legend={"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 0},
        hovermode="closest",
        dragmode="zoom",
        uirevision="transfer",
    )
