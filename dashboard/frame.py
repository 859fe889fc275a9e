"""What every page shares: the frame around it, the cautions, and the states without data."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html

from bondtrail.site import SiteError
from dashboard.access.addresses import SIGN_OUT
from dashboard.parts import aria
from dashboard.urls import alarms_url, compliance_url, data_url, stations_url
from store import StoreError

CAUTION = (
    "Bondtrail reads records and reports what they show; estimates are estimates. It is not a "
    "safety function and does not show that any operation was or is safe. Local codes, your "
    "site's own procedures and licensed practice decide."
)

BRIEFLY = (
    "A reading of records, not a safety function: it does not show that an operation was safe. "
    "Local codes, site procedures and licensed practice decide."
)

Layout = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who is signed in, and what the form to sign out must send back."""

    name: str
    token: str


def frame(
    site_name: str | None, content: Any, visitor: Visitor | None = None
) -> dmc.MantineProvider:
    """Return the whole document: header, page, cautions. Light or dark as the system asks."""
    return dmc.MantineProvider(
        defaultColorScheme="auto",
        theme={"fontFamily": "system-ui, sans-serif", "primaryColor": "gray", "focusRing": "auto"},
        children=[
            html.A("Skip to the page", href="#page", className="skip"),
            html.Header(_header(site_name, visitor), className="masthead"),
            html.Main(content, id="page", className="page", tabIndex="-1"),
            html.Footer([html.Strong("Caution. "), CAUTION], className="caution"),
        ],
    )


def _header(site_name: str | None, visitor: Visitor | None) -> list[Any]:
    return [
        dcc.Link("Bondtrail", href=stations_url(), className="wordmark"),
        html.Span(site_name or "no site yet", className="site-name"),
        html.Nav(
            [
                dcc.Link("Stations", href=stations_url()),
                dcc.Link("Compliance", href=compliance_url()),
                dcc.Link("Alarms", href=alarms_url()),
                dcc.Link("Data", href=data_url()),
            ],
            **aria("Pages"),
        ),
        dmc.ColorSchemeToggle(
            lightIcon="Dark view",
            darkIcon="Light view",
            variant="default",
            size="sm",
            className="scheme",
            **aria("Switch between light and dark"),
        ),
        None if visitor is None else _sign_out(visitor),
    ]


def _sign_out(visitor: Visitor) -> html.Form:
    """Return who is signed in, and the way out: a form, which no page from elsewhere can send."""
    return html.Form(
        [
            html.Span(visitor.name, className="visitor", title="Signed in"),
            dcc.Input(type="hidden", name="token", value=visitor.token, id="frame-token"),
            html.Button("Sign out", type="submit", className="chip"),
        ],
        action=SIGN_OUT,
        method="post",
        className="sign-out",
    )


def notice(title: str, *text: Any, tone: str = "quiet") -> html.Section:
    """Return a state in words: what is so, and what to do. ``tone`` is quiet or trouble."""
    return html.Section(
        [html.H1(title), *(html.P(part) for part in text)],
        className=f"notice notice-{tone}",
        role="alert" if tone == "trouble" else "status",
    )


def nothing_yet() -> html.Section:
    """Return what a page says before there are any results, and what to do."""
    return notice(
        "Nothing to show yet",
        html.Span(["Load readings with ", html.Code("bondtrail load FILE..."), "."]),
        html.Span(
            ["Then judge them with ", html.Code("bondtrail analyse"), ", and load this page again."]
        ),
    )


def caution_in_brief() -> html.P:
    """Return the caution in one line, to stand beside the figures that might be relied on."""
    return html.P([html.Strong("Caution. "), BRIEFLY], className="caution-brief")


def home_link(text: str = "All stations") -> dcc.Link:
    """Return the way back to the stations."""
    return dcc.Link(text, href=stations_url())


def civil(layout: Layout) -> Layout:
    """Return the layout with a page in plain words where the store or the site file fails."""

    @wraps(layout)
    def guarded(**query: Any) -> Any:
        try:
            return layout(**{key: _single(value) for key, value in query.items()})
        except StoreError as exc:
            return notice(
                "The history cannot be read",
                str(exc),
                "Nothing is lost by that. Once the database answers, load this page again.",
                tone="trouble",
            )
        except SiteError as exc:
            return notice("The site file in the history cannot be used", str(exc), tone="trouble")

    return guarded


def _single(value: Any) -> Any:
    """Return the last of the values that an address gives one key."""
    return value[-1] if isinstance(value, list) else value
