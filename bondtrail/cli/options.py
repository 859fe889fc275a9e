"""Options that several commands share."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from bondtrail.cli.faults import Fault
from bondtrail.settings import (
    DB_VARIABLE,
    DEFAULT_DB,
    SITE_VARIABLE,
    SettingError,
    with_db_password,
)

Command = TypeVar("Command", bound=Any)


def site_option(command: Command) -> Command:
    """Add ``--site FILE``: the site file, if it is not the one that the store holds."""
    option = click.option(
        "--site",
        "site_file",
        type=click.Path(path_type=Path, dir_okay=False),
        envvar=SITE_VARIABLE,
        show_envvar=True,
        help="Site file (TOML). Left out, the copy in the store is used.",
    )
    decorated: Command = option(command)
    return decorated


def holds_from_option(command: Command) -> Command:
    """Add ``--holds-from TIME``: the moment from which the site file of ``--site`` holds."""
    option = click.option(
        "--holds-from",
        metavar="TIME",
        help="With --site: the moment from which this site file holds, if that is not now. "
        "Without an offset it is on the site's clock.",
    )
    decorated: Command = option(command)
    return decorated


def db_option(command: Command) -> Command:
    """Add ``--db URL``: the store."""
    option = click.option(
        "--db",
        metavar="URL",
        default=DEFAULT_DB,
        envvar=DB_VARIABLE,
        show_envvar=True,
        show_default=True,
        callback=lambda _context, _option, url: _with_password(url),
        help="Store: sqlite:///FILE, or postgresql://USER@HOST/NAME, the password in "
        "BONDTRAIL_DB_PASSWORD or a file that BONDTRAIL_DB_PASSWORD_FILE names.",
    )
    decorated: Command = option(command)
    return decorated


def _with_password(url: str) -> str:
    try:
        return with_db_password(url, os.environ)
    except SettingError as exc:
        raise Fault(str(exc)) from exc


def format_option(
    help_text: str = "For people, spreadsheets or programs.",
) -> Callable[[Command], Command]:
    """Return what adds ``--format``: how rows are printed."""
    return click.option(
        "--format",
        "form",
        type=click.Choice(["table", "csv", "json"]),
        default="table",
        show_default=True,
        help=help_text,
    )


def example(*lines: str) -> str:
    """Return what a command's help shows at its end, each line as it is typed."""
    return "\n".join(["\b", "Example:", *(f"  {line}" for line in lines)])
