"""One transfer: its readings on one time axis, and what happened, moment by moment."""

from __future__ import annotations

from typing import Any

import dash
from dash import dcc, html

from analytics.core.sequence import ABNORMAL, Event, What
from bondtrail.results import Finding
from bondtrail.times import format_time
from dashboard.figures.steps import Clock
from dashboard.figures.transfer import replay
from dashboard.figures.wording import duration, ohms, words
from dashboard.frame import caution_in_brief, civil, home_link, notice
from dashboard.history import current_store
from dashboard.parts import aria, facts, graph, severity_mark, sheet
from dashboard.queries.sites import clock_at
from dashboard.queries.transfer import TransferView, transfer_view
from dashboard.recorded import bypassed
from dashboard.urls import Url, station_url, stations_url

EVENTS_SHOWN = 500

dash.register_page(  # type: ignore[no-untyped-call]
    __name__, path=Url.TRANSFER.value, title="Transfer - Bondtrail", order=2
)


@civil
def layout(id: str | None = None, **_: Any) -> Any:  # the name that the address uses
    """Return the page of the transfer that the address names."""
    if not id:
        return notice(
            "No transfer is named", "The address of a transfer ends in ?id=...", home_link()
        )
    view = transfer_view(current_store(), id)
    if view is None:
        return notice(
            "No such transfer",
            f"The results hold no transfer {id!r}.",
            "New readings may have given it another start: look for it at its station.",
            home_link(),
        )
    return html.Div(
        [
            _crumb(view),
            html.Div(_heading(view), className="title-row"),
            caution_in_brief(),
            *(
                html.P(f"Not all readings can be shown: {text}", className="warning", role="alert")
                for text in view.damaged
            ),
            html.Div(
                [
                    html.Div([_replay(view), _findings(view)]),
                    html.Div([_events(view), _about(view), _limits(view)]),
                ],
                className="columns columns-side",
            ),
        ]
    )


def _crumb(view: TransferView) -> html.Nav:
    station = dcc.Link(view.station.name, href=station_url(view.station.id))
    return html.Nav(
        [dcc.Link("Stations", href=stations_url()), " / ", station, " / transfer"],
        className="crumb",
        **aria("Where this page is"),
    )


def _heading(view: TransferView) -> html.Div:
    clock, transfer = view.picture.clock, view.transfer
    when = f"{clock.text(transfer.start, '%A %d %B %Y, %H:%M:%S')} to {clock.text(transfer.end)}"
    verdict = "Compliant" if transfer.compliant else "Not compliant"
    return html.Div(
        [
            html.H1(
                f"{view.station.name}: transfer of {clock.text(transfer.start, '%d %b %H:%M')}"
            ),
            html.P(
                [html.Span(verdict, className="verdict"), f". {when} ({clock.label})"],
                className="sub",
            ),
        ]
    )


def _replay(view: TransferView) -> html.Section:
    label = (
        "Bond resistance with its limit, flow, contacts, findings and trips over time; the "
        "sequence of events tells the same in words"
    )
    return sheet(
        "What was recorded",
        graph("transfer-replay", replay(view.picture), label),
        html.P(
            "Open circuit is drawn at the top. Hatched: the bond state is unknown, which counts "
            "neither as bonded nor as unbonded. Faded: before and after the transfer. Drag to "
            "look closer, double-click for the whole.",
            className="note",
        ),
        _clock_note(view),
    )


def _clock_note(view: TransferView) -> html.P | None:
    """Say so where the site's clock changes inside what is shown: the page keeps one offset."""
    picture = view.picture
    if clock_at(picture.end, view.site.zone) == clock_at(picture.start, view.site.zone):
        return None
    text = f"The site's clock changes inside this span: times are {picture.clock.label} throughout."
    return html.P(text, className="warning")


def _events(view: TransferView) -> html.Section:
    shown = view.events[:EVENTS_SHOWN]
    rest = len(view.events) - len(shown)
    parts: list[Any] = [
        html.Ol(
            [_event(event, view.picture.clock) for event in shown],
            className="events",
            tabIndex="0",
            **aria("Sequence of events"),
        )
    ]
    if rest:
        parts.append(html.P(f"{rest:,} later events are not listed here.", className="note"))
    return sheet("Sequence of events", *parts, id="transfer-events")


def _event(event: Event, clock: Clock) -> html.Li:
    if event.finding is not None:
        return _finding_event(event, event.finding, clock)
    abnormal = event.what in ABNORMAL
    name = words(event.what).capitalize()
    return html.Li(
        [
            html.Time(clock.text(event.time, "%H:%M:%S.%L"), dateTime=format_time(event.time)),
            html.Span(
                [
                    html.B(f"! {name}") if abnormal else name,
                    html.Span(f" {event.detail}", className="detail") if event.detail else "",
                ]
            ),
        ],
        className="is-abnormal" if abnormal else "",
    )


def _finding_event(event: Event, finding: Finding, clock: Clock) -> html.Li:
    """Return a finding among the events, with the mark of its severity."""
    since = ""
    if event.what is What.GOING_ON:
        since = f", going on since {clock.text(finding.start, '%d %b %H:%M:%S')}"
    said = f" {words(finding.kind)}{since}: {finding.summary}"
    return html.Li(
        [
            html.Time(clock.text(event.time, "%H:%M:%S.%L"), dateTime=format_time(event.time)),
            html.Span([severity_mark(finding.severity), html.Span(said, className="detail")]),
        ],
        className=f"is-{finding.severity}",
    )


def _findings(view: TransferView) -> html.Section:
    if not view.findings:
        return sheet("Findings", html.P("No findings for this transfer.", className="inline-state"))
    items = [_finding(finding, view.picture.clock) for finding in view.findings]
    return sheet("Findings", html.Ul(items, className="finding-list"))


def _finding(finding: Finding, clock: Clock) -> html.Li:
    span = f"{clock.text(finding.start, '%d %b %H:%M:%S')}, for {duration(finding.seconds)}"
    behind = [(words(name), _plain(value)) for name, value in finding.evidence.items()]
    limits = [(words(name), f"{value:g}") for name, value in finding.limits.items()]
    return html.Li(
        [
            html.Div([severity_mark(finding.severity), f" {words(finding.kind)}: {span}"]),
            html.P(finding.summary),
            html.Details(
                [
                    html.Summary("Evidence and limits"),
                    facts(behind),
                    html.P("Judged by"),
                    facts(limits),
                ]
            ),
        ]
    )


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:,.4g}" if abs(value) < 10_000 else f"{value:,.0f}"
    return "-" if value is None else str(value)


def _about(view: TransferView) -> html.Section:
    transfer = view.transfer
    quantity = None if transfer.volume is None else f"{transfer.volume:,.0f} {transfer.unit}"
    fixed = view.station.is_fixed  # always bonded, or should be: nobody clamps it on
    return sheet(
        "The transfer",
        facts(
            [
                ("Id", transfer.id),
                ("Batch", transfer.batch or "no ticket"),
                ("Product", transfer.product),
                ("Operator", transfer.operator),
                ("Flow time", duration(transfer.flow_s)),
                ("Quantity", quantity),
                (
                    "Not bonded",
                    _with_volume(transfer.not_bonded_s, transfer.not_bonded_volume, transfer.unit),
                ),
                (
                    "Bond unknown",
                    _with_volume(transfer.no_data_s, transfer.no_data_volume, transfer.unit),
                ),
                (
                    "Bypassed",
                    _with_volume(transfer.bypassed_s, transfer.bypassed_volume, transfer.unit)
                    if transfer.bypassed_s
                    else bypassed(0, view.station),
                ),
                ("Time to bond", None if fixed else duration(transfer.time_to_bond_s)),
                ("Bonded before flow", None if fixed else _lead(transfer.bond_lead_s)),
                ("Trips", str(transfer.trips)),
                ("Monitor", _monitor(view)),
            ]
        ),
    )


def _lead(seconds: float | None) -> str:
    if seconds is None:
        return "never verified"
    return (
        f"by {duration(seconds)}" if seconds >= 0 else f"no: {duration(-seconds)} after flow began"
    )


def _with_volume(seconds: float, volume: float | None, unit: str | None) -> str:
    if volume is None or not seconds:
        return duration(seconds)
    return f"{duration(seconds)}, {volume:,.0f} {unit}"


def _monitor(view: TransferView) -> str | None:
    station = view.station
    if station.unit is None:
        return None
    return station.unit if station.channel is None else f"{station.unit}, channel {station.channel}"


def _limits(view: TransferView) -> html.Section:
    limits = view.station.limits
    named = [
        (
            words(name.removesuffix("_ohm").removesuffix("_s")),
            _limit(name, value, view.picture.flow_unit),
        )
        for name, value in limits.model_dump().items()
    ]
    return sheet(
        "Limits in force",
        facts(named[:6]),
        html.Details([html.Summary("All limits"), facts(named[6:])]),
        html.P(
            "As the site file had them on that day. Each finding names the limits that it was "
            "judged by.",
            className="note",
        ),
    )


def _limit(name: str, value: float, flow_unit: str) -> str:
    if name.endswith("_ohm"):
        return ohms(value)
    if name == "flow_min":
        return f"{value:g} {flow_unit}".rstrip()
    return f"{value:g} s" if name.endswith("_s") else f"{value:g}"
