"""Pieces of a page that more than one page shows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import plotly.graph_objects as go
from dash import dcc, html

from analytics.core.rates import Rate
from analytics.core.shares import Share
from bondtrail.results import Severity
from dashboard.figures.calendar import COLOURS, MEANING, SIGNS, Cell
from dashboard.figures.palette import SEVERITY_SIGN
from dashboard.figures.wording import plural, share

GRAPH_CONFIG: Any = {"displaylogo": False, "displayModeBar": False, "responsive": True}


def aria(label: str) -> dict[str, Any]:
    """Return the attribute that names a part of the page for screen readers."""
    return {"aria-label": label}


def attributes(**named: str) -> dict[str, Any]:
    """Return attributes whose names have hyphens, written with underscores: ``data_track``."""
    return {name.replace("_", "-"): value for name, value in named.items()}


def severity_word(severity: Severity) -> str:
    """Return the sign and the word of a severity."""
    return f"{SEVERITY_SIGN[severity]} {severity.capitalize()}"


def severity_mark(severity: Severity) -> html.Span:
    """Return the mark of a severity: colour, sign and word."""
    return html.Span(severity_word(severity), className=f"mark mark-{severity}")


def severity_mark_of(severity: Severity, text: str) -> html.Span:
    """Return something that is out of order, marked by how grave it is: colour, sign and words."""
    return html.Span(f"{SEVERITY_SIGN[severity]} {text}", className=f"mark mark-{severity}")


def share_text(part: Share | None) -> str:
    """Return a share with its interval; too few to rank by say so instead."""
    if part is None or not part.of:
        return "no transfers"
    if part.is_few:
        return "too few to rank"
    low, high = share(part.low), share(part.high)
    return f"{share(part.value)} ({low.removesuffix(' %')} to {high.removesuffix(' %')})"


def interval_text(part: Share | None) -> str:
    """Return the count and interval that stand beside a share."""
    if part is None or not part.of:
        return "no transfers"
    count = f"{part.count:,} of {part.of:,}"
    if part.is_few:
        return f"{count}: too few to rank"
    return f"{count}, 95 %: {share(part.low)} to {share(part.high)}"


def rate_text(rate: Rate, nothing: str = "-") -> str:
    """Return a rate with its interval, such as ``3.1 (1.2 to 6.4)``."""
    if rate.value is None or rate.low is None or rate.high is None:
        return nothing
    return f"{_number(rate.value)} ({_number(rate.low)} to {_number(rate.high)})"


def _number(value: float) -> str:
    """Return about two or three digits, and never a small rate as none."""
    if value >= 100:
        return f"{value:,.0f}"
    return f"{value:.2g}" if value < 1 else f"{value:.1f}"


def tally(figures: Iterable[tuple[str, str, str]]) -> html.Dl:
    """Return figures side by side, each a name, a value and what stands behind it."""
    return html.Dl(
        [
            html.Div([html.Dt(name), html.Dd([value, html.Small(beside)])])
            for name, value, beside in figures
        ],
        className="tally",
    )


def facts(pairs: Sequence[tuple[str, Any]]) -> html.Dl:
    """Return names and values in two columns; values that are None are left out."""
    told = [(name, value) for name, value in pairs if value is not None]
    return html.Dl([part for n, v in told for part in (html.Dt(n), html.Dd(v))], className="facts")


def graph(graph_id: str, figure: go.Figure, label: str, **more: Any) -> html.Figure:
    """Return a drawn figure with a name for those who do not see it."""
    return html.Figure(
        dcc.Graph(id=graph_id, figure=figure, config=GRAPH_CONFIG, **more),
        role="img",
        **aria(label),
    )


def sheet(title: str, *content: Any, **more: Any) -> html.Section:
    """Return a titled part of a page."""
    return html.Section([html.H2(title), *content], className="sheet", **more)


def calendar_legend() -> html.Ul:
    """Return what the signs of the calendar mean."""
    codes = [Cell.CRITICAL, Cell.MAJOR, Cell.MINOR, Cell.TRANSFERS, Cell.QUIET, Cell.UNKNOWN]
    return html.Ul(
        [
            html.Li(
                [
                    html.B(SIGNS[code] or "\u00a0", style={"background": COLOURS[code]}),
                    MEANING[code],
                ]
            )
            for code in codes
        ],
        className="legend",
    )


def from_before_note(count: int) -> html.P | None:
    """Return what is said where findings go on that began before the period, if some do."""
    if not count:
        return None
    text = (
        f"Going on from before the period: {plural(count, 'finding')}, counted and listed here "
        "first. Transfers, trips and hookups count in the period in which they began."
    )
    return html.P(text, className="note")


def severity_counts(
    counts: Mapping[Severity, int], from_before: Mapping[Severity, int]
) -> list[tuple[str, str, str]]:
    """Return the counts of findings by severity, as figures of a tally.

    ``from_before`` says how many of them began before the period.
    """

    def beside(severity: Severity) -> str:
        before = from_before.get(severity, 0)
        return f"findings, {before:,} going on from before" if before else "findings"

    return [(severity_word(s), f"{counts.get(s, 0):,}", beside(s)) for s in Severity]
