"""The job that writes the reports which the site file's ``[[report]]`` tables call for."""

from __future__ import annotations

import logging

from analytics.core.alarm_wording import counted
from analytics.schedule.turn import NotWellError, Turn
from analytics.site_files import stored_sites
from bondtrail.times import NS_PER_S

LATE_NS = 300 * NS_PER_S
"""How long after its end a period is left for its last readings to come in. [ns]"""

_log = logging.getLogger(__name__)


class NotWrittenError(NotWellError):
    """Reports that are due could not be written; its text says which and why."""


def write_reports(turn: Turn) -> str:
    """Write what is due; return what that came to.

    Raises
    ------
    NotWrittenError
        If something could not be written; what else was due is.
    """
    sites = stored_sites(turn.store)
    if not sites or not sites[-1][1].reports:
        return "the site file calls for no report"
    # Not before it is needed: what draws and writes reports takes a second to import.
    from analytics.reports.writing_due import ResultsBehindError, write_due

    found = write_due(
        turn.store,
        sites[-1][1],
        now=turn.now - LATE_NS,
        is_stopping=turn.is_stopping,
        on_written=lambda path: _log.info("wrote the report %s", path),
    )
    faults = [(path, exc) for path, exc in found.failed if not isinstance(exc, ResultsBehindError)]
    if faults:
        path, exc = faults[0]
        raise NotWrittenError(
            f"{counted(len(faults), 'report')} not written, the first: {path}: {exc}"
        ) from exc
    if found.failed:
        return f"{counted(len(found.failed), 'report')} due, and results of the period to come"
    return f"{counted(len(found.written), 'report')} written" if found.written else "none is due"
