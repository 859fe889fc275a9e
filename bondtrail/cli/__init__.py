"""The command line: every command of Bondtrail behind one front door.

Command modules import the other rooms inside their functions, so that ``--help`` and a wrong
option answer at once.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence
from contextlib import suppress

import click

from bondtrail import __version__
from bondtrail.cli import (
    analyse,
    check,
    compare,
    demo,
    evidence,
    load,
    replay,
    report,
    review,
    serve,
    show,
)
from bondtrail.cli.faults import print_fault, translated
from bondtrail.cli.options import example

NOTHING_DONE = 2
INTERRUPTED = 130
PIPE_CLOSED = 141
"""What a shell reports for a program that a closed pipe ended."""


class _InOrder(click.Group):
    """A group that lists its commands in the order in which a newcomer needs them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands."""
        return list(self.commands)


@click.group(
    cls=_InOrder,
    epilog=example(
        "bondtrail load readings.csv --site site.toml",
        "bondtrail analyse",
        "bondtrail show findings",
    ),
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(__version__, message="bondtrail %(version)s")
def bondtrail() -> None:
    """Keep the history of static-bonding monitors and say what it shows.

    Readings go in with `load`, findings come out with `analyse` and `show`, and `serve` opens
    the board. `report` writes a period's compliance report. `demo` does all of it on an invented
    site.

    Bondtrail reads and reports; it is not a safety function. Local codes and licensed practice
    govern.
    """


for module in (demo, load, analyse, show, compare, review, replay, evidence, report, serve, check):
    bondtrail.add_command(module.command)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Parameters
    ----------
    arguments : sequence of str, optional
        Without the program's name; those of the process when left out.

    Returns
    -------
    int
        0 done, 2 wrong use or nothing could be done, 3 done with rejects or something wrong,
        130 interrupted, 141 the reader of the output went away.
    """
    _accept_any_text()
    try:
        return _run(sys.argv[1:] if arguments is None else list(arguments))
    except BrokenPipeError:
        _drop_output()
        return PIPE_CLOSED
    except (click.Abort, KeyboardInterrupt):
        return INTERRUPTED
    except Exception as exc:
        fault = exc if isinstance(exc, click.ClickException) else translated(exc)
        if fault is None:
            raise
        print_fault(fault)
        if isinstance(exc, OSError):
            _drop_output()
        return NOTHING_DONE


def _run(arguments: list[str]) -> int:
    """Run a command to its end; output that cannot be written is noticed here, not later."""
    try:
        with bondtrail.make_context("bondtrail", arguments) as ctx:
            bondtrail.invoke(ctx)
        status = 0
    except click.exceptions.Exit as exc:
        status = exc.exit_code
    sys.stdout.flush()
    return status


def _accept_any_text() -> None:
    """Let a character that the terminal's encoding lacks become a question mark."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")


def _drop_output() -> None:
    """Point standard output at nothing: Python flushes it once more when it ends."""
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
