"""The player of a transfer: what moves its cursor, and what is read there.

The browser does the rest: ``assets/replay_player.js`` finds these parts by their ids and fills
them from the record, without asking the server.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go
from dash import dcc, html

from analytics.core.electrostatics.spread import Level
from analytics.core.events import ABNORMAL, Event
from dashboard.parts import aria, attributes, graph, sheet
from dashboard.tracks import Packed

SPEEDS = (0.1, 1, 2, 5, 10, 30, 60, 120, 300, 600, 1800)
"""How many times as fast as it happened."""
WHOLE_S = 90.0
"""At the speed that is offered first, the whole takes no longer than this."""
MARKS_SHOWN = 300

READ = (
    ("bond", "Bond"),
    ("resistance", "Resistance"),
    ("flow", "Flow"),
    ("permissive", "Permissive"),
    ("bypass", "Bypass"),
)

KEYS = (
    "Keys in the player: space plays and pauses; arrows go a second on or back, with Shift a tenth "
    "of one; Page Up and Page Down a minute; Home and End to either end; N and P to the next and "
    "the previous event."
)


def player(
    record: Packed, events: Sequence[Event], figure: go.Figure, label: str, *notes: Any
) -> html.Section:
    """Return the player with its figure.

    Parameters
    ----------
    record : dict
        What the cursor reads, as of `dashboard.queries.record`, with ``at``, ``link``, ``offset``
        and ``zone``.
    events : sequence of Event
        As they are listed beside it.
    figure : Figure
        Its panels share the time axis.
    label : str
        What the figure shows, for those who do not see it.
    notes
        What stands below the figure.
    """
    return sheet(
        "Replay",
        html.Div([_controls(record), _scrub(record, events)], className="player-bar"),
        _readout(record),
        html.Div(
            [
                graph("transfer-replay", figure, label),
                html.Div(
                    id="transfer-cursor",
                    className="player-cursor",
                    **attributes(aria_hidden="true"),
                ),
            ],
            id="transfer-plot",
            className="player-plot",
        ),
        *notes,
        html.P(KEYS, className="note"),
        _share(record),
        dcc.Store(id="transfer-record", data=record),
        dcc.Store(id="transfer-begun"),
        id="transfer-player",
    )


def first_speed(length_ms: int) -> float:
    """Return the speed that is offered first for a span of so many milliseconds."""
    fit = (speed for speed in SPEEDS if speed >= 1 and length_ms / 1000 / speed <= WHOLE_S)
    return next(fit, SPEEDS[-1])


def _controls(record: Packed) -> html.Div:
    return html.Div(
        [
            _button("Play", "transfer-play", is_first=True),
            _button("Previous event", "transfer-previous"),
            _button("Next event", "transfer-next"),
            html.Label(
                [
                    html.Span("Speed", className="filters-name"),
                    html.Select(
                        [html.Option(_times(speed), value=f"{speed:g}") for speed in SPEEDS],
                        id="transfer-speed",
                        className="button",
                        **attributes(data_first=f"{first_speed(record['length']):g}"),
                    ),
                ]
            ),
        ],
        className="filters player-controls",
    )


def _times(speed: float) -> str:
    if speed == 1:
        return "real time"
    return "a tenth" if speed < 1 else f"{speed:,g} times"


def _button(text: str, button_id: str, is_first: bool = False) -> html.Button:
    name = "button button-first" if is_first else "button"
    return html.Button(text, id=button_id, className=name, type="button")


def _scrub(record: Packed, events: Sequence[Event]) -> html.Div:
    """Return the slider: its ends are those of the figure, with a mark for each event."""
    length = max(record["length"], 1)
    marks = [
        html.I(
            className="player-mark is-abnormal" if event.what in ABNORMAL else "player-mark",
            style={"left": f"{100 * at / length:.3f}%"},
        )
        for event, at in zip(events[:MARKS_SHOWN], record["events"], strict=False)
    ]
    return html.Div(
        [
            html.Div(marks, className="player-marks", **attributes(aria_hidden="true")),
            html.Div(className="player-rail"),
            html.Div(id="transfer-thumb", className="player-thumb"),
        ],
        id="transfer-scrub",
        className="player-scrub",
        role="slider",
        tabIndex="0",
        **attributes(
            aria_label="Moment of the replay",
            aria_valuemin="0",
            aria_valuemax=f"{length / 1000:g}",
            aria_valuenow="0",
        ),
    )


def _readout(record: Packed) -> html.Div:
    told = [
        html.Div([html.Dt("Time"), html.Dd(id="transfer-time", className="player-time")]),
        *(_read(name, title) for name, title in READ),
    ]
    if "volume" in record["curves"]:
        volume = html.Dd(**attributes(data_curve="volume"))
        told.insert(4, html.Div([html.Dt("Quantity so far"), volume]))
    estimate = _estimate(record) if "energy-typical" in record["curves"] else _no_estimate()
    return html.Div(
        [html.Dl(told, className="tally player-read"), estimate],
        className="player-readout",
        role="group",
        **aria("Readings at the cursor"),
    )


def _read(name: str, title: str) -> html.Div:
    return html.Div([html.Dt(title), html.Dd(**attributes(data_track=name))])


def _no_estimate() -> html.P:
    return html.P("Charge: no estimate. The reasons stand below.", className="note")


def _estimate(record: Packed) -> html.Table:
    kinds = [("potential", "Potential"), ("energy", "Energy"), ("ratio", "Times what ignites")]
    kinds = [(kind, title) for kind, title in kinds if f"{kind}-low" in record["curves"]]
    head = html.Tr([html.Th("Charge, estimated"), *(html.Th(title) for _, title in kinds)])
    rows = [
        html.Tr(
            [
                html.Th(str(level), scope="row"),
                *(html.Td(**attributes(data_curve=f"{kind}-{level}")) for kind, _ in kinds),
            ]
        )
        for level in Level
    ]
    return html.Table([html.Thead(head), html.Tbody(rows)], className="plain-table player-estimate")


def _share(record: Packed) -> html.Div:
    return html.Div(
        [
            html.A("Link to this moment", id="transfer-link", href=record["link"]),
            _button("Copy the link", "transfer-copy"),
            html.Span(id="transfer-said", className="note", role="status"),
        ],
        className="filters player-share",
    )
