"""Writing a report: the format is told by the file's name, and no crash leaves half a file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from analytics.files import write_files
from analytics.reports.csv_files import csv_files
from analytics.reports.html import html_file
from analytics.reports.json_file import json_file
from analytics.reports.report import Report
from analytics.reports.xlsx import xlsx_file

_WHOLE: Mapping[str, Callable[[Report], bytes]] = {
    ".html": html_file,
    ".xlsx": xlsx_file,
    ".json": json_file,
}
SUFFIXES = (".html", ".xlsx", ".csv", ".json")
"""What a report can be written as."""


def write_report(report: Report, path: Path) -> list[Path]:
    """Write a report, in place of an earlier one, and return the files.

    As CSV there is a file for each table beside ``path``, whose name gets ``-`` and that of the
    table; ``path`` itself holds the summary, and is written last: where it is, the rest is.

    Raises
    ------
    ValueError
        If the suffix is none of `SUFFIXES`.
    OSError
        If a file cannot be written.
    """
    contents = _contents(report, path)
    write_files(contents, path)
    return list(contents)


def _contents(report: Report, path: Path) -> dict[Path, bytes]:
    suffix = path.suffix.lower()
    if suffix == ".csv":
        tables = csv_files(report)
        first = tables.pop("summary")
        beside = {f"{path.stem}-{name}{path.suffix}": text for name, text in tables.items()}
        return {**{path.with_name(name): text for name, text in beside.items()}, path: first}
    if suffix not in _WHOLE:
        raise ValueError(f"{path}: a report is written as {', '.join(SUFFIXES)}")
    return {path: _WHOLE[suffix](report)}
