"""The command line: every command of Bondtrail behind one front door.

The module of a command is imported when that command is called, and imports the other rooms
inside its functions, so that ``--help`` and a wrong option answer at once.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator, MutableMapping, Sequence
from contextlib import suppress
from importlib import import_module

import click

from bondtrail import __version__
from bondtrail.cli.faults import print_fault, translated
from bondtrail.cli.options import example

NOTHING_DONE = 2
INTERRUPTED = 130
PIPE_CLOSED = 141
"""What a shell reports for a program that a closed pipe ended."""


COMMANDS = (
    "demo",
    "load",
    "listen",
    "feed",
    "analyse",
    "show",
    "compare",
    "review",
    "replay",
    "evidence",
    "report",
    "serve",
    "user",
    "run",
    "check",
)
"""Each is `command` of the module of that name, in the order in which a newcomer needs them."""


class _OnDemand(MutableMapping[str, click.Command]):
    """The commands by name; the module of each is imported when it is first asked for."""

    def __init__(self, names: Sequence[str]) -> None:
        self._held: dict[str, click.Command | None] = dict.fromkeys(names)

    def __getitem__(self, name: str) -> click.Command:
        held = self._held[name]
        if held is None:
            held = self._held[name] = import_module(f"{__name__}.{name}").command
        return held

    def __setitem__(self, name: str, command: click.Command) -> None:
        self._held[name] = command

    def __delitem__(self, name: str) -> None:
        del self._held[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._held)

    def __len__(self) -> int:
        return len(self._held)


class _InOrder(click.Group):
    """A group that lists its commands in their own order."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands."""
        return list(self.commands)


@click.group(
    cls=_InOrder,
    commands=_OnDemand(COMMANDS),
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
