"""A transfer beside the station's typical one, in words: what differed, and what differed first."""

from __future__ import annotations

from collections.abc import Mapping

from dash import html

from analytics.core.typical import FEW, NONE_DIFFERS, Comparison, Typical, by_chance
from bondtrail.endings import parted
from dashboard.figures.steps import Clock
from dashboard.figures.wording import duration, ohms, plural, significant, words
from dashboard.parts import aria, attributes, sheet

TITLE = "Beside the typical transfer"


def typical_part(typical: Typical | None, clock: Clock) -> html.Section | None:
    """Return the comparisons as a table, and which differed first; None without a transfer."""
    if typical is None:
        return None
    said = _basis(typical)
    if len(typical.transfers) < FEW:
        text = f"{said} Too few to call anything typical: at least {FEW} are needed."
        return sheet(TITLE, html.P(text, className="inline-state"), id="transfer-typical")
    return sheet(
        TITLE,
        html.P(_first(typical.first_difference, clock), className="verdict"),
        *_chance(typical.first_difference),
        _compare_button(typical),
        _table(typical, clock),
        html.P(f"{said} In the order in which they were settled.", className="note"),
        id="transfer-typical",
    )


def _basis(typical: Typical) -> str:
    product = f" of {typical.product}" if typical.product else ""
    count = plural(len(typical.transfers), "earlier good transfer")
    return f"Beside {count}{product} here: compliant, without a finding or a trip."


def _first(first: Comparison | None, clock: Clock) -> str:
    if first is None:
        return NONE_DIFFERS
    when = clock.text(first.moment, "%H:%M:%S.%L")
    return (
        f"First to differ, at {when}: {_name(first)} {_this_one(first)}, "
        f"the good ones {_range(first)}."
    )


def _chance(first: Comparison | None) -> list[html.P]:
    """Return how little a first difference may mean."""
    return [] if first is None else [html.P(by_chance(first.of), className="note")]


def _this_one(each: Comparison) -> str:
    if each.value is None:
        return "never" if each.differs else "not known"
    return _value(each, each.value)


def _compare_button(typical: Typical) -> html.Div | None:
    if not typical.courses:
        return None
    button = html.Button(
        "Lay the typical transfer over the replay",
        id="transfer-compare",
        className="button",
        type="button",
        **attributes(aria_pressed="false"),
    )
    return html.Div(button, className="filters")


def _table(typical: Typical, clock: Clock) -> html.Div:
    heads = ["At", "What", "Here", "Median", "Range", "Of", ""]
    body = [
        html.Tr(
            [
                html.Td(clock.text(each.moment)),
                html.Th(_name(each).capitalize(), scope="row"),
                html.Td(_this_one(each), className="figure"),
                html.Td(_value(each, each.median)),
                html.Td(_range(each)),
                html.Td(str(each.of)),
                html.Td(_differs(each)),
            ],
            className="is-different" if each.differs else "",
        )
        for each in typical.comparisons
    ]
    table = html.Table(
        [html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(body)],
        className="plain-table beside",
    )
    return html.Div(table, className="scrolls", tabIndex="0", role="group", **aria(TITLE))


def _differs(each: Comparison) -> str:
    if each.differs is None:
        return "too few to tell" if each.of < FEW else "not known"
    return "! outside the range" if each.differs else "within"


NAMES: Mapping[str, str] = {
    "bond_lead": "bonded before flow by",
    "contact_lead": "clamp on before flow by",
    "lowest": "lowest resistance",
    "median": "median resistance",
    "clamp_off_after": "clamp off after flow by",
    "no_data": "bond unknown",
    "resistance": "resistance as it ran",
    "volume": "quantity",
}
"""Figures by their name without its unit; any other is told by its own."""


def _name(each: Comparison) -> str:
    if each.name == "flow_s":
        return "flow time"
    if each.name.startswith("flow_"):
        return "flow as it ran"
    name, _ = parted(each.name)
    return NAMES.get(name, words(name))


def _range(each: Comparison) -> str:
    if each.low is None or each.high is None:
        return "-"
    return f"{_value(each, each.low)} to {_value(each, each.high)}"


def _value(each: Comparison, value: float | None) -> str:
    """Return one figure with its unit, which its name tells."""
    if value is None:
        return "none"
    _, unit = parted(each.name)
    if unit == "s":
        return duration(value) if value >= 0 else f"-{duration(-value)}"
    if unit == "ohm":
        return ohms(value)
    return f"{significant(value, 4)} {unit}".rstrip()
