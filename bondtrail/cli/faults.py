"""What a user is told when something cannot be done: what, where, and what to do."""

from __future__ import annotations

import difflib
import re
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

from bondtrail.settings import hide_password

if TYPE_CHECKING:
    from bondtrail.site_problems import SiteError

CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""What must not reach a terminal from names and rows that came from outside.

Control characters, all but tab and line feed, steer it. Overrides of the direction of writing let
a text read as another than it is.
"""


class Fault(click.ClickException):
    """Something that a user can cause and mend; ``remedy`` says how."""

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(what)
        self.remedy = remedy


def translated(exc: Exception) -> Fault | None:
    """Return the fault behind an exception of one of the rooms; None for a defect of ours."""
    if isinstance(exc, OSError):  # none of the rooms': told before those are imported
        where = f"{exc.filename}: " if exc.filename else ""
        return Fault(f"{where}{exc.strerror or exc}")
    from bondtrail.site_problems import SiteError
    from ingest import IngestError
    from store import StoreError

    if isinstance(exc, SiteError):
        return Fault(site_message(exc))
    if isinstance(exc, StoreError | IngestError):
        return Fault(str(exc))
    return None


def site_message(exc: SiteError) -> str:
    """Return every problem of a site file, one a line."""
    lines = [str(problem) for problem in exc.problems]
    if len(lines) == 1:
        return f"{exc.source}: {lines[0]}"
    return "\n  ".join([f"{exc.source}: {len(lines)} problems", *lines])


def print_fault(exc: click.ClickException) -> None:
    """Write a fault to standard error; passwords and control characters are left out."""
    lines = [_one_line(exc.format_message()) if isinstance(exc, click.UsageError) else exc.message]
    if isinstance(exc, Fault) and exc.remedy:
        lines.append(f"  {exc.remedy}")
    elif isinstance(exc, click.UsageError) and exc.ctx is not None:
        lines.append(f"  See: {exc.ctx.command_path} --help")
    print_warning("\n".join(lines))


def print_warning(text: str) -> None:
    """Write a message to standard error."""
    print(printable(hide_password(f"bondtrail: {text}")), file=sys.stderr)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def printable(text: str) -> str:
    """Return the text with control characters replaced."""
    return CONTROL.sub("\N{REPLACEMENT CHARACTER}", text)


def near(wanted: str, known: Iterable[str]) -> str:
    """Return a hint that names what was probably meant, or some of what there is."""
    names = sorted(set(known))
    close = difflib.get_close_matches(wanted, names, n=3, cutoff=0.5)
    if close:
        return f"Did you mean {' or '.join(close)}?"
    more = ", ..." if len(names) > 8 else ""
    return f"There are: {', '.join(names[:8])}{more}" if names else "There are none yet."
