"""A program that keeps the schedule of a store, as ``bondtrail analyse --every`` does.

Started as ``python scheduling.py URL`` it takes a line on standard input for each run: it forks a
child that is the command, says its process id, and ``gone`` and its exit status when it has ended.
Forking spares each of many rounds the start of an interpreter; what the command imports and makes
on its way is there before.
"""

from __future__ import annotations

import os
import sys

import ingest  # noqa: F401
from analytics.schedule import Jobs  # noqa: F401
from bondtrail.cli import analyse, main
from bondtrail.quantities import DURATION, quantity

EVERY = "1s"


def keep(url: str) -> None:
    """Run the command; it judges what is new every second until it is told to stop."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os._exit(main(["analyse", "--every", EVERY, "--health", "off", "--db", url]))


def run_each(url: str) -> None:
    assert analyse.command
    quantity(EVERY, DURATION)
    for _ in sys.stdin:
        child = os.fork()
        if child == 0:
            keep(url)
        print("pid", child, flush=True)
        _, status = os.waitpid(child, 0)
        print("gone", os.waitstatus_to_exitcode(status), flush=True)


if __name__ == "__main__":
    run_each(sys.argv[1])
