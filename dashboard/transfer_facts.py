"""What stands beside the replay of a transfer: its facts, findings, limits, and what is missing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from dash import dcc, html

from analytics.replay import Held, Replay
from analytics.replay.heading import Heading, in_words
from analytics.replay.replayed import NOTHING_MISSING
from bondtrail.results import Finding, Transfer
from bondtrail.site import Station
from dashboard.figures.steps import Clock
from dashboard.figures.wording import duration, ohms, words
from dashboard.parts import facts, severity_mark, sheet
from dashboard.recorded import bypassed

MISSING_SHOWN = 100


def missing_part(replay: Replay, clock: Clock) -> html.Section:
    """Return what is not known of the span, or not as it came first, and why."""
    title = "What is missing"
    if not replay.missing and not replay.damaged:
        return sheet(title, html.P(NOTHING_MISSING, className="note"))
    items = []
    for part in replay.missing[:MISSING_SHOWN]:
        whole = part.start <= replay.start and part.end >= replay.end
        span = f"{clock.text(part.start)} to {clock.text(part.end)}"
        when = "throughout" if whole else span
        items.append(html.Li(f"{words(part.about).capitalize()}, {when}: {part.why}"))
    rest = len(replay.missing) - MISSING_SHOWN
    more = [html.P(f"{rest:,} more are not listed here.", className="note")] if rest > 0 else []
    items += [html.Li(text) for text in replay.damaged]
    return sheet(title, html.Ul(items, className="plain"), *more)


def findings_part(
    findings: Sequence[Finding], clock: Clock, not_analysed: str = ""
) -> html.Section:
    """Return the findings of a transfer, each with its evidence and the limits it was judged by.

    ``not_analysed`` says from when on nothing was looked for, as `not_analysed` has it.
    """
    waiting = [html.P(not_analysed, className="warning")] if not_analysed else []
    if not findings:
        none = html.P("No findings for this transfer.", className="inline-state")
        return sheet("Findings", none, *waiting)
    items = [_finding(finding, clock) for finding in findings]
    return sheet("Findings", html.Ul(items, className="finding-list"), *waiting)


def not_analysed(replay: Replay, clock: Clock) -> str:
    """Return what of a replay waits for an analysis, in a sentence; empty where nothing does."""
    if not replay.waiting:
        return ""
    since = min((m.start for m in replay.missing if m.about == "results"), default=replay.start)
    if since > replay.start:
        return f"From {clock.text(since, '%d %b %H:%M:%S')} on not analysed yet."
    return "This is by an analysis before its last readings came: not analysed yet since."


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


def about_part(transfer: Transfer, station: Station, replay: Replay | None = None) -> html.Section:
    """Return what is known of a transfer; of one without readings what the results say."""
    fixed = station.is_fixed  # always bonded, or should be: nobody clamps it on
    said = None if replay is None else in_words(replay, transfer)
    exposed = _exposures(transfer, is_least=bool(said and said.unmeasured))
    return sheet(
        "The transfer",
        facts(
            [
                ("Id", transfer.id),
                ("Batch", transfer.batch or "no ticket"),
                ("Product", transfer.product),
                ("Operator", transfer.operator),
                ("Flow time", duration(transfer.flow_s)),
                *(_by_results(transfer, station) if said is None else _by_readings(said)),
                *exposed.items(),
                ("Time to bond", None if fixed else duration(transfer.time_to_bond_s)),
                ("Trips", str(transfer.trips)),
                ("Monitor", _monitor(station)),
            ]
        ),
    )


def _by_readings(said: Heading) -> list[tuple[str, str | None]]:
    return [("Quantity", said.volume or None), ("Bond", said.bond), ("Bypass", said.bypass)]


def _by_results(transfer: Transfer, station: Station) -> list[tuple[str, str | None]]:
    """Return the same as far as the results hold it: they do not tell what the meter missed."""
    quantity = None if transfer.volume is None else f"{transfer.volume:,.0f} {transfer.unit}"
    lead = transfer.bond_lead_s
    bonded = "never verified" if lead is None else f"by {duration(max(lead, 0))}"
    if lead is not None and lead < 0:
        bonded = f"no: {duration(-lead)} after flow began"
    return [
        ("Quantity", quantity),
        ("Bonded before flow", None if station.is_fixed else bonded),
        ("Bypassed", bypassed(transfer.bypassed_s, station)),
    ]


def _exposures(transfer: Transfer, is_least: bool) -> dict[str, str]:
    """Return for how long and how much flowed without a known bond, or bypassed."""
    told = {
        "Not bonded": (transfer.not_bonded_s, transfer.not_bonded_volume),
        "Bond unknown": (transfer.no_data_s, transfer.no_data_volume),
    }
    if transfer.bypassed_s:
        told["Flow while bypassed"] = (transfer.bypassed_s, transfer.bypassed_volume)
    return {
        title: _with_volume(seconds, volume, transfer.unit, is_least)
        for title, (seconds, volume) in told.items()
    }


def _with_volume(seconds: float, volume: float | None, unit: str | None, is_least: bool) -> str:
    if volume is None or not seconds or (is_least and not volume):
        return duration(seconds)
    if is_least:
        return f"{duration(seconds)}, at least {math.floor(volume):,} {unit}"
    return f"{duration(seconds)}, {volume:,.0f} {unit}"


def _monitor(station: Station) -> str | None:
    if station.unit is None:
        return None
    return station.unit if station.channel is None else f"{station.unit}, channel {station.channel}"


def limits_part(held: Sequence[Held], clock: Clock) -> html.Section:
    """Return the limits that held, and from when others did."""
    named = _named(held[0].station)
    changes = [_change(before, after, clock) for before, after in pairwise(held)]
    return sheet(
        "Limits in force",
        facts(named[:6]),
        html.Details([html.Summary("All limits"), facts(named[6:])]),
        *(html.P(text, className="warning") for text in changes),
        html.P(
            "As the site file had them on that day. Each finding names the limits that it was "
            "judged by.",
            className="note",
        ),
    )


def _named(station: Station) -> list[tuple[str, str]]:
    unit = f"{station.volume_unit}/min" if station.volume_unit else ""
    return [
        (words(name.removesuffix("_ohm").removesuffix("_s")), _limit(name, value, unit))
        for name, value in station.limits.model_dump().items()
    ]


def _change(before: Held, after: Held, clock: Clock) -> str:
    """Return what another site file changed of the limits, and when."""
    pairs = zip(_named(before.station), _named(after.station), strict=True)
    changed = [f"{name} {new} instead of {old}" for (name, old), (_, new) in pairs if old != new]
    return f"From {clock.text(after.since)} on: {', '.join(changed) or 'the same limits'}."


def _limit(name: str, value: float, flow_unit: str) -> str:
    if name.endswith("_ohm"):
        return ohms(value)
    if name == "flow_min":
        return f"{value:g} {flow_unit}".rstrip()
    return f"{value:g} s" if name.endswith("_s") else f"{value:g}"


def evidence_part(transfer_id: str) -> html.Section:
    """Return what makes a package of evidence of a transfer, and says how that went."""
    return sheet(
        "Evidence",
        html.Div(
            html.Button("Download the evidence", id="transfer-evidence", className="button"),
            className="filters",
        ),
        html.P(
            "A zip that stands alone: readings unchanged, events, findings, reviews, limits, "
            "estimate and figures, each with its SHA-256. It is not signed; the command "
            "bondtrail evidence signs one, and checks any. It names operators and reviewers. "
            "A long transfer takes some seconds.",
            className="note",
        ),
        dcc.Loading(
            html.P("", id="transfer-evidence-said", role="status", className="note"), type="dot"
        ),
        dcc.Download(id="transfer-evidence-file"),
        dcc.Store(id="transfer-evidence-of", data=transfer_id),
    )
