"""Reports of a period: gathered once, written as a page, a workbook, CSV or JSON."""

from analytics.reports.gather import gather
from analytics.reports.period import Period, file_name, latest_month, latest_week
from analytics.reports.report import Report
from analytics.reports.writing import SUFFIXES, write_report
from analytics.reports.xlsx import TooManyRowsError

__all__ = [
    "SUFFIXES",
    "Period",
    "Report",
    "TooManyRowsError",
    "file_name",
    "gather",
    "latest_month",
    "latest_week",
    "write_report",
]
