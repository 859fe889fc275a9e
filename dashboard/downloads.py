"""The report of a period as a file to download."""

from __future__ import annotations

import datetime as dt
import time

from dashboard.queries.compliance import members
from dashboard.queries.sites import site_in_force
from store import Store

LONGEST_DAYS = 400
"""A longer report takes too long for a page to wait for."""


class ReportError(Exception):
    """Why there is no report, in words for the person who asked for it."""


def report_file(
    store: Store, first: str, last: str, area: str | None, suffix: str
) -> tuple[str, bytes]:
    """Return the name and the content of a report.

    Parameters
    ----------
    first, last : str
        Days of the site, both included, as ISO dates.
    area : str or None
        Only its stations.
    suffix : str
        ``.html`` or ``.xlsx``.

    Raises
    ------
    ReportError
        If there is nothing to report on, or too much.
    """
    # Drawing and tables take a second to load, which no other page needs.
    from analytics.reports import Period, file_name, gather
    from analytics.reports.html import html_file
    from analytics.reports.xlsx import TooManyRowsError, xlsx_file

    site = site_in_force(store)
    if site is None:
        raise ReportError("There is no site yet.")
    period = Period(dt.date.fromisoformat(first), dt.date.fromisoformat(last) + dt.timedelta(1))
    if period.days > LONGEST_DAYS:
        raise ReportError(
            f"{period.days:,} days are too many for this page. Choose at most {LONGEST_DAYS}, or "
            f"run: bondtrail report --from {period.first} --to {period.end} --out FILE"
        )
    try:
        report = gather(store, site, period, now=time.time_ns(), stations=members(site, area))
        content = xlsx_file(report) if suffix == ".xlsx" else html_file(report)
    except TooManyRowsError as exc:
        raise ReportError(str(exc)) from exc
    except ValueError as exc:
        raise ReportError(f"There is no report: {exc}.") from exc
    return file_name(site.id, period, suffix.removeprefix(".")), content
