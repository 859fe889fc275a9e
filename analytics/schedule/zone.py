"""The clock of the site, by which the daily jobs go."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from analytics.site_files import stored_sites
from analytics.source import HasSites
from bondtrail.times import NS_PER_S

UTC = ZoneInfo("UTC")
LOOK_AGAIN_NS = 600 * NS_PER_S
"""How often the site files are read again for it: each look of a daily job would read them all,
every minute, and a site hardly ever moves. [ns]"""


class SiteZone:
    """The time zone of the site file in force, which is read now and then."""

    def __init__(self) -> None:
        self._found: tuple[int, ZoneInfo] | None = None

    def of(self, store: HasSites, now: int) -> ZoneInfo:
        """Return it; UTC as long as there is no site file.

        Parameters
        ----------
        store : HasSites
            That holds the site files.
        now : int
            The clock. [ns]

        Raises
        ------
        SiteError
            If a site file cannot be read any more.
        """
        if self._found is not None and 0 <= now - self._found[0] < LOOK_AGAIN_NS:
            return self._found[1]
        sites = stored_sites(store)
        if not sites:
            return UTC
        zone = sites[-1][1].zone
        self._found = now, zone
        return zone
