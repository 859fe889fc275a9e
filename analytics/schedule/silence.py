"""Which points have fallen silent: their last reading no longer holds."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping

from analytics.core.alarm_wording import counted
from analytics.schedule.turn import Turn
from analytics.site_files import stored_sites
from bondtrail.metrics import Metrics
from bondtrail.site import Point
from bondtrail.times import format_time, nanoseconds
from store import PointSummary

_log = logging.getLogger(__name__)
MOST_TOLD = 20
"""Lines of the log of one look; a gateway that is gone silences hundreds of points. [lines]"""


def silent(points: Iterable[Point], last: Mapping[str, int], now: int) -> set[str]:
    """Return the points whose last reading no longer holds.

    Parameters
    ----------
    points : iterable of Point
        Of the site file. One that was never heard is not silent: it never spoke.
    last : mapping of str to int
        The time of each point's last reading. [ns]
    now : int
        The clock. [ns]
    """
    return {
        point.name
        for point in points
        if point.name in last and last[point.name] + nanoseconds(point.stale_after_s) <= now
    }


class Watch:
    """Looks at every point and tells which fell silent, or speak again, since it last looked."""

    def __init__(self, metrics: Metrics) -> None:
        self._metrics = metrics
        self._before: set[str] | None = None

    def look(self, turn: Turn) -> str:
        """Look once; return what was seen in one sentence."""
        sites = stored_sites(turn.store)
        points = list(sites[-1][1].points()) if sites else []
        heard = {each.point: each for each in turn.store.points() if each.samples}
        found = silent(points, {name: each.last for name, each in heard.items()}, turn.now)
        self._metrics.silent.set(len(found))
        self._tell(found, heard)
        self._before = found
        spoke = sum(point.name in heard for point in points)
        return f"{len(found):,} of {counted(spoke, 'point')} that were heard are silent"

    def _tell(self, found: set[str], heard: Mapping[str, PointSummary]) -> None:
        if self._before is None:
            if found:
                _log.info("%s silent as the watch begins", counted(len(found), "point"))
            return
        lines = [
            f"{name} fell silent: its last reading, of {format_time(heard[name].last)}, no longer "
            "holds"
            for name in sorted(found - self._before)
        ]
        _log_some(logging.WARNING, lines, "fell silent")
        lines = [f"{name} speaks again" for name in sorted(self._before - found)]
        _log_some(logging.INFO, lines, "speak again")


def _log_some(level: int, lines: list[str], what: str) -> None:
    for line in lines[:MOST_TOLD]:
        _log.log(level, "%s", line)
    if len(lines) > MOST_TOLD:
        _log.log(level, "%s more %s", f"{len(lines) - MOST_TOLD:,}", what)
