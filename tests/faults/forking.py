"""A program that runs commands of ``bondtrail`` as processes of their own.

It takes one object a line on standard input: ``arguments``, ``environment`` and ``output``, the
file to which the command writes; it answers with the process id. Each is forked off from here,
after all is imported: thirty starts of an interpreter would take half a minute.
"""

from __future__ import annotations

import json
import os
import signal
import sys

import psycopg  # noqa: F401

import bondtrail.cli.listen
import bondtrail.logs  # noqa: F401
import ingest.live.decoding
import ingest.live.listening  # noqa: F401
import store  # noqa: F401
from bondtrail.cli import main as command


def become(arguments: list[str], environment: dict[str, str], output: str) -> None:
    """Be that command, and nothing after it."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.environ.update(environment)
    written = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(written, 1)
    os.dup2(written, 2)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    status = command(arguments)
    sys.stdout.flush()
    os._exit(status)


def main() -> None:
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # whoever ends leaves nothing behind
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            become(**json.loads(line))
        print(child, flush=True)


if __name__ == "__main__":
    main()
