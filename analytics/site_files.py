"""The site files of a store, read once: many ask, and a file of many stations takes its time."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from analytics.source import HasSites
from bondtrail.site import Site, parse_site

MOST_OTHERS = 16
"""Site files kept beside those of the store that was asked last."""

_known: dict[str, Site] = {}
"""By their text, those that were asked for last at the end."""
_knowing = threading.Lock()


def stored_sites(store: HasSites) -> list[tuple[int, Site]]:
    """Return every site file of a store with the moment from which it holds, in order. [ns]

    Raises
    ------
    SiteError
        If one of them cannot be read any more.
    """
    stored = store.sites()
    with _knowing:
        return [(since, site) for (since, _), site in zip(stored, _parsed(stored), strict=True)]


def _parsed(stored: Sequence[tuple[int, str]]) -> list[Site]:
    """Return the site file of each text; all of a store stay known, however many it holds."""
    asked = {text for _, text in stored}
    for text in asked & _known.keys():
        _known[text] = _known.pop(text)
    found = []
    for _, text in stored:
        if text not in _known:
            _known[text] = parse_site(text, "stored site file")
        found.append(_known[text])
    for text in list(_known)[: -len(asked) - MOST_OTHERS]:
        del _known[text]
    return found
