"""One transfer: what was recorded and what the charge could have been, moment by moment."""

from __future__ import annotations

import time
from base64 import b64encode
from typing import Any

import dash
from dash import (
    ClientsideFunction,
    Input,
    Output,
    State,
    callback,
    clientside_callback,
    dcc,
    html,
    no_update,
)

from analytics.core.electrostatics.hazard import Hazard
from analytics.replay import UnknownSpanError
from bondtrail.site import SiteError, Station
from bondtrail.times import NS_PER_MS, TimeError, parse_time
from dashboard.downloads import DownloadError, evidence_file
from dashboard.event_list import EVENTS_SHOWN, event_list
from dashboard.figures.transfer import replay
from dashboard.frame import caution_in_brief, civil, home_link, notice
from dashboard.hazard_words import hazard_part
from dashboard.history import current_store
from dashboard.parts import aria
from dashboard.player import player
from dashboard.queries.sites import clock_at
from dashboard.queries.transfer import ResultsOnly, TransferView, results_only, transfer_view
from dashboard.transfer_facts import (
    about_part,
    evidence_part,
    findings_part,
    limits_part,
    missing_part,
    not_analysed,
)
from dashboard.typical_words import typical_part
from dashboard.urls import Url, station_url, stations_url, transfer_url
from store import StoreError

dash.register_page(  # type: ignore[no-untyped-call]
    __name__, path=Url.TRANSFER.value, title="Transfer - Bondtrail", order=2
)

clientside_callback(
    ClientsideFunction("bondtrail_replay", "begin"),
    Output("transfer-begun", "data"),  # without an output nothing is called at first
    Input("transfer-record", "data"),
)


@civil
def layout(
    id: str | None = None, at: str | None = None, **_: Any
) -> Any:  # the names that the address uses
    """Return the page of the transfer that the address names, its cursor where it says."""
    if not id:
        return notice(
            "No transfer is named", "The address of a transfer ends in ?id=...", home_link()
        )
    store = current_store()
    try:
        return _page(transfer_view(store, id, now=time.time_ns()), at)
    except UnknownSpanError as exc:
        left = results_only(store, id)
        return _unknown(id) if left is None else _without_readings(left, exc)


def _unknown(transfer_id: str) -> html.Section:
    return notice(
        "No such transfer",
        f"The results hold no transfer {transfer_id!r}.",
        "New readings may have given it another start: look for it at its station.",
        home_link(),
    )


def _without_readings(left: ResultsOnly, why: UnknownSpanError) -> html.Div:
    """Return what the results still say of a transfer that cannot be replayed."""
    said = [f"This transfer cannot be replayed: {why}.", why.remedy and f"To do: {why.remedy}."]
    return html.Div(
        [
            _crumb(left.station),
            html.H1(f"{left.station.name}: a transfer without readings"),
            caution_in_brief(),
            html.P(" ".join(filter(None, said)), className="warning", role="status"),
            html.Div(
                [findings_part(left.findings, left.clock), about_part(left.transfer, left.station)],
                className="columns columns-even",
            ),
        ]
    )


def _page(view: TransferView, at: str | None) -> html.Div:
    told, clock = view.replay, view.picture.clock
    start, wrong = _cursor(view, at)
    warnings = [
        *(f"Not all readings can be shown: {text}" for text in told.damaged),
        *(["Readings came since the last analysis: findings may change."] if told.waiting else []),
        *([wrong] if wrong else []),
    ]
    return html.Div(
        [
            _crumb(told.station),
            html.Div(_heading(view), className="title-row"),
            caution_in_brief(),
            *(html.P(text, className="warning", role="alert") for text in warnings),
            html.Div(
                [
                    html.Div(
                        [
                            _player(view, start),
                            hazard_part(told.hazard, clock),
                            typical_part(told.typical, clock),
                            findings_part(told.findings, clock, not_analysed(told, clock)),
                        ]
                    ),
                    html.Div(
                        [
                            event_list(told.events, clock, told.clocks),
                            missing_part(told, clock),
                            about_part(view.transfer, told.station, told),
                            evidence_part(view.transfer.id),
                            limits_part(told.held, clock),
                        ]
                    ),
                ],
                className="columns columns-side columns-player",
            ),
        ]
    )


def _cursor(view: TransferView, at: str | None) -> tuple[int, str | None]:
    """Return where the cursor begins (ms from the base), and what is wrong with the address."""
    if not at:
        return 0, None
    record = view.record
    try:
        moment = parse_time(at) // NS_PER_MS - record["base"]
    except TimeError as exc:
        return 0, f"The moment in the address cannot be read: {exc}."
    inside = min(max(moment, 0), record["length"])
    clock = view.picture.clock
    edge = f"The moment in the address lies outside what is shown here, {clock.label}."
    return inside, None if inside == moment else edge


def _player(view: TransferView, at: int) -> html.Section:
    told, clock = view.replay, view.picture.clock
    record = view.record | {
        "events": view.record["events"][:EVENTS_SHOWN],
        "at": at,
        "link": transfer_url(view.transfer.id),
        "offset": clock.offset_ns // NS_PER_MS,
    }
    label = (
        "Bond resistance with its limit, flow, estimated energy, contacts, findings and trips over "
        "time; the sequence of events and the readings at the cursor tell the same in words"
    )
    return player(
        record,
        told.events[:EVENTS_SHOWN],
        replay(view.picture),
        label,
        html.P(
            "Open circuit is drawn at the top. Hatched: the bond state is unknown, which counts "
            "neither as bonded nor as unbonded. Faded: before and after the transfer. Click to "
            "move the cursor, drag to look closer, double-click for the whole.",
            className="note",
        ),
        _estimate_note(view),
        _clock_note(view),
    )


def _estimate_note(view: TransferView) -> html.P | None:
    if not isinstance(view.replay.hazard, Hazard):
        return None
    text = (
        "Energy, estimated: typical is the thick line, high and low the upper and the dotted "
        "line around it. Below the axis is drawn on it. What the estimate rests on, and what it "
        "cannot see, stands below."
    )
    return html.P(text, className="note")


@callback(
    Output("transfer-evidence-file", "data"),
    Output("transfer-evidence-said", "children"),
    Input("transfer-evidence", "n_clicks"),
    State("transfer-evidence-of", "data"),
    running=[(Output("transfer-evidence", "disabled"), True, False)],
    prevent_initial_call=True,
)
def download(clicks: int | None, transfer_id: str) -> Any:
    """Return the evidence of the transfer as a file, or in words why there is none."""
    if not clicks:
        return no_update, no_update
    try:
        made = evidence_file(current_store(), transfer_id)
    except (DownloadError, StoreError, SiteError) as exc:
        return no_update, str(exc)
    file = {"filename": made.name, "content": b64encode(made.content).decode(), "base64": True}
    said = f"{made.name} is ready. Keep its SHA-256 elsewhere: {made.sha256}."
    return file, " ".join([said, *made.faults])


def _crumb(station: Station) -> html.Nav:
    link = dcc.Link(station.name, href=station_url(station.id))
    return html.Nav(
        [dcc.Link("Stations", href=stations_url()), " / ", link, " / transfer"],
        className="crumb",
        **aria("Where this page is"),
    )


def _heading(view: TransferView) -> html.Div:
    clock, transfer = view.picture.clock, view.transfer
    when = f"{clock.text(transfer.start, '%A %d %B %Y, %H:%M:%S')} to {clock.text(transfer.end)}"
    verdict = "Compliant" if transfer.compliant else "Not compliant"
    name = view.replay.station.name
    return html.Div(
        [
            html.H1(f"{name}: transfer of {clock.text(transfer.start, '%d %b %H:%M')}"),
            html.P(
                [html.Span(verdict, className="verdict"), f". {when} ({clock.label})"],
                className="sub",
            ),
        ]
    )


def _clock_note(view: TransferView) -> html.P | None:
    """Say so where the site's clock changes inside what is shown: the page keeps one offset."""
    shown, zone = view.picture, view.replay.site.zone
    if clock_at(shown.end, zone) == clock_at(shown.start, zone):
        return None
    text = f"The site's clock changes inside this span: times are {shown.clock.label} throughout."
    return html.P(text, className="warning")
