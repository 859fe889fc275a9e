"""A program that runs commands of ``bondtrail`` as processes of their own.

Each is forked off from here, after all is imported: to start an interpreter and to import takes
most of a second of processor time, and for thirty starts half a minute.

It takes an object a line on standard input and answers each with one. To start a command:
``arguments``; ``environment``, all of it; ``folder``, where it works; ``out`` and ``err``, the
files it writes to; ``settings``, values of modules that are others there, by dotted name. The
answer holds its ``pid``. To ask after one: ``pid``. The answer holds its exit ``status``, null
while it runs.
"""

from __future__ import annotations

import importlib
import json
import os
import signal
import sys
import traceback
from typing import Any

from bondtrail.cli import main as command
from bondtrail.quantities import DURATION, quantity

BEFORE = (
    "alembic.command",
    "analytics.schedule",
    "bondtrail.cli.analyse",
    "bondtrail.cli.feed",
    "bondtrail.cli.listen",
    "bondtrail.logs",
    "ingest.feeding",
    "ingest.live.listening",
    "pandas",  # by pyarrow, where it looks whether an array is one of these
    "psycopg",
    "store",
)
"""What commands import in time."""


def started(order: dict[str, Any]) -> int:
    """Fork a process that is the command; return its id."""
    child = os.fork()
    if child == 0:
        try:
            become(**order)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(1)  # it never comes back to the orders
    return child


def become(
    arguments: list[str],
    environment: dict[str, str],
    folder: str,
    out: str,
    err: str,
    settings: dict[str, Any],
) -> None:
    """Be that command, and nothing after it."""
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    for number, path in ((1, out), (2, err)):
        os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND), number)
    signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in the background of a shell
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
    for name, value in settings.items():
        module, _, variable = name.rpartition(".")
        getattr(importlib.import_module(module), variable)  # else the name is of no use
        setattr(sys.modules[module], variable, value)
    status = command(arguments)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


def ended(pid: int) -> int | None:
    """Return the exit status of a command, as `subprocess` has it; None while it runs."""
    gone, status = os.waitpid(pid, os.WNOHANG)
    return os.waitstatus_to_exitcode(status) if gone else None


def main() -> None:
    for module in BEFORE:
        importlib.import_module(module)
    quantity("1 s", DURATION)  # the units are read when the first is asked for
    for line in sys.stdin:
        order = json.loads(line)
        answer = {"status": ended(**order)} if "pid" in order else {"pid": started(order)}
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
