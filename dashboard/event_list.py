"""What happened in a transfer, moment by moment: the list that follows the player's cursor."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from analytics.core.events import ABNORMAL, Basis, Event, What
from bondtrail.results import Finding
from bondtrail.times import format_time
from dashboard.figures.steps import Clock
from dashboard.figures.wording import words
from dashboard.parts import aria, severity_mark, sheet

EVENTS_SHOWN = 1000

BASIS_WORD = {Basis.KNOWN: "", Basis.INFERRED: "inferred", Basis.MISSING: "nothing known"}


SIGNS = (
    "Inferred: a rule says so, from readings. Nothing known: from here on. Order not certain: "
    "whether it came before or after the event above cannot be told, they lie closer than their "
    "points report or their clocks agree. Uncertain: the time of the reading may be that of its "
    "arrival."
)


def event_list(events: Sequence[Event], clock: Clock, clocks: str) -> html.Section:
    """Return the sequence of events; the arrow keys step through it, a click goes to one.

    ``clocks`` says how far the clocks of the site's devices are trusted.
    """
    shown = events[:EVENTS_SHOWN]
    rest = len(events) - len(shown)
    parts: list[Any] = [
        html.Ol(
            [_event(event, clock) for event in shown],
            id="transfer-event-list",
            className="events",
            tabIndex="0",
            **aria("Sequence of events. The up and down arrows step through it."),
        )
    ]
    if rest:
        parts.append(html.P(f"{rest:,} later events are not listed here.", className="note"))
    parts.append(html.P(f"{SIGNS} {clocks}", className="note"))
    return sheet("Sequence of events", *parts, id="transfer-events")


def _event(event: Event, clock: Clock) -> html.Li:
    told, name = _told(event, clock)
    return html.Li(
        [
            html.Time(clock.text(event.time, "%H:%M:%S.%L"), dateTime=format_time(event.time)),
            html.Span([*told, *_asides(event)]),
        ],
        className=name,
    )


def _told(event: Event, clock: Clock) -> tuple[list[Any], str]:
    """Return what an event says, and the class by which it is shown."""
    if event.finding is not None:
        return _finding(event, event.finding, clock), f"is-{event.finding.severity}"
    name = words(event.what).capitalize()
    abnormal = event.what in ABNORMAL
    detail = html.Span(f" {event.detail}", className="detail") if event.detail else ""
    return [html.B(f"! {name}") if abnormal else name, detail], "is-abnormal" if abnormal else ""


def _finding(event: Event, finding: Finding, clock: Clock) -> list[Any]:
    """Return a finding among the events, with the mark of its severity."""
    since = ""
    if event.what is What.GOING_ON:
        since = f", going on since {clock.text(finding.start, '%d %b %H:%M:%S')}"
    said = f" {words(finding.kind)}{since}: {finding.summary}"
    return [severity_mark(finding.severity), html.Span(said, className="detail")]


def _asides(event: Event) -> list[html.Span]:
    """Return what is said of how sure an event is, where there is something to say."""
    said = [BASIS_WORD[event.basis], "" if event.order_certain else "order not certain"]
    return [html.Span(text, className="aside") for text in said if text]
