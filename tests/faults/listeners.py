"""Listeners as processes of their own: started, watched, stopped, killed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import paho.mqtt.client as mqtt
import psutil

from tests.faults.plant import SITE, SITE_ID
from tests.services import MosquittoServer

ROOT = Path(__file__).parents[2]
_WAIT_S = 60.0


@dataclass
class Listener:
    """A running ``bondtrail listen``, and all that it writes."""

    pid: int
    output: Path

    @property
    def said(self) -> str:
        return self.output.read_text() if self.output.exists() else ""

    @property
    def is_there(self) -> bool:
        return psutil.pid_exists(self.pid)

    def wait_for(self, words: str, times: int = 1) -> None:
        """Wait until it has said these words so many times."""
        until(lambda: self.said.count(words) >= times, f"{words!r} in what it says", self)

    def kill(self) -> None:
        """kill -9."""
        os.kill(self.pid, signal.SIGKILL)
        until(lambda: not self.is_there, "its end", self)

    def stop(self) -> None:
        """Tell it to stop; it must obey, and say so."""
        os.kill(self.pid, signal.SIGTERM)
        until(lambda: not self.is_there, "its end", self)
        assert "Stopped; all that was committed is acknowledged." in self.said, self.said


@dataclass
class Fleet:
    """Starts listeners at one broker, into one store."""

    folder: Path
    broker: MosquittoServer
    store_url: str
    program: subprocess.Popen[str]
    started: list[Listener] = field(default_factory=list)

    def start(
        self, *options: str, wait: bool = True, environment: Mapping[str, str] | None = None
    ) -> Listener:
        """Start one, and wait until it listens unless told otherwise."""
        output = self.folder / f"listener-{len(self.started)}.log"
        order = {
            "arguments": [
                *("listen", "--broker", self.broker.url, "--site", str(self.folder / "site.toml")),
                *("--db", self.store_url, "--health", "off", *options),
            ],
            "environment": dict(environment or {}),
            "output": str(output),
        }
        assert self.program.stdin is not None
        assert self.program.stdout is not None
        self.program.stdin.write(json.dumps(order) + "\n")
        self.program.stdin.flush()
        listener = Listener(int(self.program.stdout.readline()), output)
        self.started.append(listener)
        if wait:
            listener.wait_for("Listening to ")
        return listener


@contextmanager
def fleet(folder: Path, broker: MosquittoServer, store_url: str) -> Iterator[Fleet]:
    """Start listeners for as long as the block lasts."""
    (folder / "site.toml").write_text(SITE)
    with subprocess.Popen(
        # By its path: an installed library may have a package named "tests" too.
        [sys.executable, str(Path(__file__).with_name("forking.py"))],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as program:
        ships = Fleet(folder, broker, store_url, program)
        try:
            yield ships
        finally:
            for listener in ships.started:
                with suppress(ProcessLookupError):
                    os.kill(listener.pid, signal.SIGKILL)


def until(reached: Callable[[], object], what: str, listener: Listener) -> None:
    """Wait, but not for ever, and not for a listener that has ended."""
    give_up = time.monotonic() + _WAIT_S
    while not reached():
        assert time.monotonic() < give_up, f"waited for {what}:\n{listener.said}"
        assert listener.is_there or reached(), f"it ended before {what}:\n{listener.said}"
        time.sleep(0.02)


@contextmanager
def statuses(broker: MosquittoServer, user: str = "", password: str = "") -> Iterator[list[str]]:
    """Collect the states that listeners tell at the broker, in their order."""
    heard: list[str] = []
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="watcher")
    if user:
        client.username_pw_set(user, password)
    client.on_connect = lambda *_: client.subscribe(f"bondtrail/{SITE_ID}/$service/+", 1)
    client.on_message = lambda _, __, told: heard.append(json.loads(told.payload)["state"])
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    try:
        yield heard
    finally:
        client.disconnect()
        client.loop_stop()
