"""Files to download: the report of a period, and the evidence of a transfer."""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import dataclass

from dashboard.queries.compliance import members
from dashboard.queries.sites import site_in_force
from store import Store

LONGEST_DAYS = 400
"""A longer report takes too long for a page to wait for."""


class DownloadError(Exception):
    """Why there is no file, in words for the person who asked for it."""


@dataclass(frozen=True, slots=True)
class EvidenceFile:
    """A package of evidence, and what to say of it.

    ``sha256`` is of the content. ``faults`` are sentences on what a check of it will find wrong.
    """

    name: str
    content: bytes
    sha256: str
    faults: tuple[str, ...]


def evidence_file(store: Store, transfer_id: str) -> EvidenceFile:
    """Return the evidence of a transfer, not signed, as the command makes it.

    Raises
    ------
    DownloadError
        If there is no such transfer, or a package of it cannot be made now.
    """
    # Drawing takes a second to load, which no other page needs.
    from analytics.evidence import EvidenceError, build

    try:
        package = build(store, transfer_id)
    except EvidenceError as exc:
        todo = f" {exc.remedy}." if exc.remedy else ""
        raise DownloadError(f"There is no evidence: {exc}.{todo}") from exc
    faults = (
        *(f"Stored readings cannot be read: {line}." for line in package.damaged),
        *(f"The rules do not give this again: {line}." for line in package.unexplained),
    )
    return EvidenceFile(package.name, package.content, package.sha256, faults)


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
    DownloadError
        If there is nothing to report on, or too much.
    """
    # Drawing and tables take a second to load, which no other page needs.
    from analytics.reports import Period, file_name, gather
    from analytics.reports.html import html_file
    from analytics.reports.xlsx import TooManyRowsError, xlsx_file

    site = site_in_force(store)
    if site is None:
        raise DownloadError("There is no site yet.")
    period = Period(dt.date.fromisoformat(first), dt.date.fromisoformat(last) + dt.timedelta(1))
    if period.days > LONGEST_DAYS:
        raise DownloadError(
            f"{period.days:,} days are too many for this page. Choose at most {LONGEST_DAYS}, or "
            f"run: bondtrail report --from {period.first} --to {period.end} --out FILE"
        )
    try:
        report = gather(store, site, period, now=time.time_ns(), stations=members(site, area))
        content = xlsx_file(report) if suffix == ".xlsx" else html_file(report)
    except TooManyRowsError as exc:
        raise DownloadError(str(exc)) from exc
    except ValueError as exc:
        raise DownloadError(f"There is no report: {exc}.") from exc
    return file_name(site.id, period, suffix.removeprefix(".")), content
