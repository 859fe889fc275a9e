"""Commands of ``bondtrail`` as processes of their own: started, watched, told to stop, killed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.waiting import LONG_S, until

ROOT = Path(__file__).parents[1]


@dataclass
class Command:
    """A command that was started, and all that it wrote; used as `subprocess.Popen` is."""

    program: subprocess.Popen[str]
    pid: int
    out: Path
    err: Path
    returncode: int | None = None

    def poll(self) -> int | None:
        """Return its exit status, minus the signal that ended it; None while it runs."""
        if self.returncode is None:
            self.returncode = asked(self.program, {"pid": self.pid})["status"]
        return self.returncode

    def wait(self, seconds: float = LONG_S) -> int:
        """Return its exit status once it has ended."""
        until(lambda: self.poll() is not None, f"the end of process {self.pid}", seconds)
        assert self.returncode is not None
        return self.returncode

    def send_signal(self, number: signal.Signals) -> None:
        """Send it a signal, unless it has ended."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """kill -9."""
        self.send_signal(signal.SIGKILL)

    @property
    def said(self) -> str:
        """What it wrote, errors after the rest unless they go to the same file."""
        paths = dict.fromkeys((self.out, self.err))
        return "".join(path.read_text() for path in paths if path.exists())


@dataclass
class Commands:
    """Starts commands."""

    program: subprocess.Popen[str]
    started: list[Command] = field(default_factory=list)

    def start(
        self,
        arguments: Sequence[str],
        folder: Path,
        *,
        out: Path,
        err: Path | None = None,
        environment: Mapping[str, str] = os.environ,
        settings: Mapping[str, Any] | None = None,
    ) -> Command:
        """Start ``bondtrail`` with these arguments.

        Parameters
        ----------
        arguments : sequence of str
            Without the name of the program.
        folder : Path
            Where it works.
        out, err : Path
            What it writes is added there; what it writes of errors goes to ``out``, too, if
            ``err`` is None.
        environment : mapping of str to str
            All of it.
        settings : mapping of str to anything that JSON can hold
            Values of modules that are others there, by dotted name: pauses, mostly.
        """
        err = out if err is None else err
        order = {
            "arguments": list(arguments),
            "environment": dict(environment),
            "folder": str(folder),
            "out": str(out),
            "err": str(err),
            "settings": dict(settings or {}),
        }
        command = Command(self.program, asked(self.program, order)["pid"], out, err)
        self.started.append(command)
        return command


def asked(program: subprocess.Popen[str], order: Mapping[str, Any]) -> dict[str, Any]:
    """Return the answer to an order; see `tests.forking`."""
    assert program.stdin is not None
    assert program.stdout is not None
    program.stdin.write(json.dumps(order) + "\n")
    program.stdin.flush()
    answer: dict[str, Any] = json.loads(program.stdout.readline())
    return answer


@contextmanager
def running_commands() -> Iterator[Commands]:
    """Start commands for as long as the block lasts."""
    with subprocess.Popen(
        # By its path: an installed library may have a package named "tests" too. With -P the tests
        # of the rooms do not stand before the rooms.
        [sys.executable, "-P", str(Path(__file__).with_name("forking.py"))],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as program:
        commands = Commands(program)
        try:
            yield commands
        finally:
            for command in commands.started:
                command.kill()
