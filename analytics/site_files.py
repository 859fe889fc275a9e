"""The site files of a store, read once: many ask, and a file of many stations takes its time."""

from __future__ import annotations

from functools import lru_cache

from analytics.source import HasSites
from bondtrail.site import Site, parse_site


def stored_sites(store: HasSites) -> list[tuple[int, Site]]:
    """Return every site file of a store with the moment from which it holds, in order. [ns]

    Raises
    ------
    SiteError
        If one of them cannot be read any more.
    """
    return [(since, _parsed(text)) for since, text in store.sites()]


@lru_cache(maxsize=16)
def _parsed(text: str) -> Site:
    return parse_site(text, "stored site file")
