"""The choice of a period: a pair of dates, and addresses for the usual ones."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import parse_qsl, urlencode

import dash_mantine_components as dmc
from dash import Input, Output, State, callback, dcc, html, no_update

from dashboard.parts import aria
from dashboard.period import Period

PRESETS = (7, 28, 90, 365)


def picker(period: Period, whole: Period, url: Callable[[Period], str]) -> html.Div:
    """Return the choice of period for a page; ``url`` gives the page's address for one."""
    presets = [
        _preset(f"Last {days} days", whole.latest(days), period, url)
        for days in PRESETS
        if days < whole.days
    ]
    return html.Div(
        [
            dcc.Store(id="period-shown", data=[str(period.first), str(period.last)]),
            dmc.DatePickerInput(
                id="period-picker",
                type="range",
                value=[str(period.first), str(period.last)],
                minDate=str(whole.first),
                maxDate=str(whole.last),
                valueFormat="D MMM YYYY",
                size="sm",
                allowSingleDateInRange=True,
                **aria("Period, site days"),
            ),
            html.Nav(
                [_preset("All", whole, period, url), *presets],
                className="presets",
                **aria("Usual periods"),
            ),
        ],
        className="period",
    )


def _preset(text: str, preset: Period, current: Period, url: Callable[[Period], str]) -> dcc.Link:
    chosen = " is-chosen" if preset == current else ""
    return dcc.Link(text, href=url(preset), className=f"chip{chosen}")


def register() -> None:
    """Tell Dash what a choice of dates does. Called once for each board."""
    callback(
        Output("board-go", "href"),
        Input("period-picker", "value"),
        State("period-shown", "data"),
        State("_pages_location", "pathname"),
        State("_pages_location", "search"),
        prevent_initial_call=True,
    )(with_period)


def with_period(
    value: list[str | None] | None, shown: list[str], pathname: str, search: str | None
) -> Any:
    """Return the current address under the chosen period, or no change."""
    chosen = [str(day)[:10] for day in value or () if day]
    if len(chosen) != 2 or chosen == shown:
        return no_update
    query = dict(parse_qsl((search or "").lstrip("?")))
    query |= {"from": chosen[0], "to": chosen[1]}
    return f"{pathname}?{urlencode(query, safe='/,')}"
