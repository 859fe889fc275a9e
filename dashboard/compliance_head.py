"""The head of the compliance page: the figure, what is missing, and its course over time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from dash import html

from analytics.allowances import in_words
from analytics.core.worst import Worst
from analytics.holes import LEAST_S
from dashboard.figures.shares import ABOVE, ABOVE_ROUGH, BELOW, share_course, signs
from dashboard.figures.wording import duration, plural, share
from dashboard.frame import caution_in_brief
from dashboard.parts import aria, graph, sheet, tally
from dashboard.queries.compliance import ComplianceView, Group
from dashboard.queries.holes import NamedHole

WEEKS_NAMED = 8
"""So many stretches outside their limits are named, the latest."""


def headline(view: ComplianceView) -> html.Section:
    """Return the figure with its interval, what is behind the rest, and how much is known."""
    part, worst = view.total.compliance, view.worst
    said = "No transfers in this period."
    if part.value is not None:
        said = (
            f"{part.count:,} of {plural(part.of, 'transfer')} ran within the allowances of the "
            "site file, without a finding against them. With 95 % confidence, as far as chance "
            f"goes, the share behind it lies between {share(part.low)} and {share(part.high)} "
            "(Wilson's interval)."
        )
    return html.Section(
        [
            html.P(
                [html.Strong(share(part.value), className="headline"), html.Span(said)],
                className="headline-row",
            ),
            _allowances(view),
            tally([*_worst_figures(view, worst), *_time_figures(view.total)]),
            html.P(
                "Compliant: a verified bond from first flow to last, within the allowances of the "
                "site file; never bypassed, never unknown for longer than those. A transfer that "
                "is not verifiable may have been good or bad: it is told apart from one whose bond "
                "is known to have been bad. Each transfer counts once, by the worst behind it. "
                "Time is that of all stations together up to now, and unknown where readings came "
                "too late or of bad quality. While it is unknown whether product flows, no "
                "transfer can be seen.",
                className="note",
            ),
            caution_in_brief(),
        ],
        className="sheet",
        **aria("Compliance of the period"),
    )


def _allowances(view: ComplianceView) -> html.P | None:
    if view.allowed is None or not view.total.compliance.count:
        return None
    return html.P(in_words(view.allowed, view.total.compliance.count))


def _worst_figures(view: ComplianceView, worst: Counter[Worst]) -> Iterator[tuple[str, str, str]]:
    without, of = view.without_bypass
    unseen = f"; not recorded at {without:,} of {plural(of, 'station')}" if without else ""
    yield "◆ Bad bond", f"{worst[Worst.BAD_BOND]:,}", "transfers, known to be bad"
    yield "▲ Bypassed", f"{worst[Worst.BYPASSED]:,}", f"transfers, bond not known bad{unseen}"
    yield "? Not verifiable", f"{worst[Worst.UNVERIFIABLE]:,}", "transfers, bond unknown only"


def _time_figures(total: Group) -> Iterator[tuple[str, str, str]]:
    whole = total.coverage.station_s
    told = [
        ("Bond state known", total.known_s),
        ("Bond state unknown", total.unknown_s),
        ("No record at all", total.no_record_s),
    ]
    if total.not_analysed_s >= LEAST_S:
        told.append(("Not analysed", total.not_analysed_s))
    if total.flow_unknown_s >= LEAST_S:
        told.append(("Flow unknown", total.flow_unknown_s))
    for name, value in told:
        part = share(value / whole) if whole else "-"
        yield name, _part_words(part, value), duration(round(value))


def _part_words(part: str, value: float) -> str:
    return "< 0.1 %" if part == "0.0 %" and value >= 1 else part


def holes(view: ComplianceView) -> html.Div | None:
    """Return what of the records is missing, in plain words; None where nothing is."""
    if not view.holes:
        return None
    cases = [_hole(hole) for hole in view.holes]
    more = view.with_holes - len(view.holes)
    if more > 0:
        cases.append(f"and {plural(more, 'more station')} with smaller ones.")
    return html.Div(
        [
            html.P(
                f"The records have holes at {plural(view.with_holes, 'station')}. Nothing is "
                "claimed of these times, neither good nor bad."
            ),
            html.Details([html.Summary("Where and when"), html.Ul([html.Li(c) for c in cases])]),
        ],
        className="warning",
        role="note",
    )


def _hole(hole: NamedHole) -> str:
    of = hole.coverage
    parts = [
        f"{what} for {duration(round(length))}"
        for what, length in (
            ("bond unknown", of.unknown_s),
            ("no record", of.no_record_s),
            ("not analysed", of.not_analysed_s),
            ("flow unknown", of.flow_unknown_s),
        )
        if length >= LEAST_S
    ]
    days = f"; much is missing of {hole.days}" if hole.days else ""
    return f"{hole.name}: {', '.join(parts)}{days}"


def course(view: ComplianceView) -> html.Section:
    """Return the share of each week with its limits, and in words which lie outside."""
    told_of = view.course
    title = f"Not compliant by {told_of.unit}"
    if not any(told_of.of):
        return sheet(title, html.P("No transfers in this period.", className="inline-state"))
    figure = share_course(told_of.edges, told_of.of, told_of.chart)
    told = list(_outside(view))
    label = f"{title}: {' '.join(told)}"
    return sheet(
        title,
        graph("compliance-course", figure, label),
        html.Ul([html.Li(text) for text in told], className="plain"),
        html.P(
            f"A p-chart: the limits lie three standard deviations from the share of the whole "
            f"period, for as many transfers as the {told_of.unit} had. A {told_of.unit} inside "
            "them gives no reason to look for a cause of its own; one above them does. Where fewer "
            "than five are expected on either side the limits are a rough guide. "
            f"{told_of.unit.capitalize()}s are cut where the period is.",
            className="note",
        ),
    )


def _outside(view: ComplianceView) -> Iterator[str]:
    """Yield, in words, which stretches lie outside their limits, and which have too few."""
    course = view.course
    found = [
        (n, sign)
        for n, sign in enumerate(signs(course.chart))
        if sign in (ABOVE, ABOVE_ROUGH, BELOW)
    ]
    if not found:
        yield f"No {course.unit} lies outside its limits."
    for n, sign in found[-WEEKS_NAMED:]:
        side, limits = (
            ("below", course.chart.lower) if sign is BELOW else ("above", course.chart.upper)
        )
        weak = ", but few were expected: a weak sign" if sign is ABOVE_ROUGH else ""
        yield (
            f"{course.unit.capitalize()} from {course.edges[n]}: {course.bad[n]:,} of "
            f"{course.of[n]:,} ({share(float(course.chart.share[n]))}), {side} its limit of "
            f"{share(float(limits[n]))}{weak}."
        )
    if len(found) > WEEKS_NAMED:
        yield f"Besides, {len(found) - WEEKS_NAMED} earlier ones lie outside."
    rough = sum(
        bool(few) and bool(of) for few, of in zip(course.chart.is_rough, course.of, strict=True)
    )
    if rough:
        yield (
            f"In {rough:,} of {plural(sum(map(bool, course.of)), course.unit)} too few were "
            "expected for good limits."
        )
