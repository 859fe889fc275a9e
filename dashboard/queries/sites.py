"""The site, its clock and the days of which there are results."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache
from zoneinfo import ZoneInfo

from analytics.core.shifts import Cells, Roster, cells
from analytics.site_files import stored_sites
from bondtrail.site import Site, parse_site
from bondtrail.times import NS_PER_S, local
from dashboard.figures.steps import Clock
from dashboard.period import Period
from store import Store


def site_in_force(store: Store) -> Site | None:
    """Return the site as its latest file has it, or None before the first."""
    sites = store.sites()
    return _parsed(sites[-1][1]) if sites else None


@lru_cache(maxsize=16)
def _parsed(text: str) -> Site:
    return parse_site(text)


def shift_cells(store: Store, first: dt.date, last: dt.date, zone: ZoneInfo) -> Cells:
    """Return the days ``first`` to ``last`` cut where the shifts of their time begin and end."""
    rosters = tuple((since, site.shifts) for since, site in stored_sites(store))
    return _cells(first, last, zone, rosters)


@lru_cache(maxsize=8)
def _cells(first: dt.date, last: dt.date, zone: ZoneInfo, rosters: tuple[Roster, ...]) -> Cells:
    return cells(first, last, zone, rosters)


def clock_at(moment: int, zone: ZoneInfo) -> Clock:
    """Return the site's clock as it stood at a moment (ns)."""
    shown = local(moment, zone)
    offset = shown.utcoffset() or dt.timedelta()
    hours = f"{shown:%z}"
    return Clock(
        round(offset.total_seconds()) * NS_PER_S, f"{zone.key}, UTC{hours[:3]}:{hours[3:]}"
    )


def site_of_day(store: Store, moment: int) -> Site | None:
    """Return the site as the file in force at a moment (ns) has it; before the first, that one."""
    sites = store.sites()
    held = [text for since, text in sites if since <= moment]
    text = held[-1] if held else sites[0][1] if sites else None
    return None if text is None else _parsed(text)


def whole_period(store: Store) -> Period | None:
    """Return the days of which there are results, or None."""
    span = store.summaries.day_span()
    return None if span is None else Period(*span)
