"""Listeners as processes of their own: started, watched, stopped, killed."""

from __future__ import annotations

import json
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt

from tests import waiting
from tests.commands import Command, Commands
from tests.faults.plant import SITE, SITE_ID
from tests.services import MosquittoServer

PATIENT = {"ingest.live.status._GOODBYE_S": waiting.LONG_S}
"""It leaves when its last word has been heard, however slow the machine is."""
SHORT_PAUSES = PATIENT | {
    "ingest.live.listening._FIRST_PAUSE_S": 0.1,
    "ingest.live.listening._LONGEST_PAUSE_S": 1.0,
}
"""What is away is tried again more often than the 30 s to which the pauses else double up."""


@dataclass
class Listener:
    """A running ``bondtrail listen``."""

    command: Command

    @property
    def pid(self) -> int:
        return self.command.pid

    @property
    def said(self) -> str:
        return self.command.said

    @property
    def is_there(self) -> bool:
        return self.command.poll() is None

    def wait_for(self, words: str, times: int = 1) -> None:
        """Wait until it has said these words so many times."""
        until(lambda: self.said.count(words) >= times, f"{words!r} in what it says", self)

    def kill(self) -> None:
        """kill -9."""
        self.command.kill()
        assert self.command.wait() == -signal.SIGKILL, self.said

    def stop(self) -> None:
        """Tell it to stop; it must obey, and say so."""
        self.command.send_signal(signal.SIGTERM)
        assert self.command.wait() == 0, self.said
        assert "Stopped; all that was committed is acknowledged." in self.said, self.said


@dataclass
class Fleet:
    """Starts listeners at one broker, into one store."""

    commands: Commands
    folder: Path
    broker: MosquittoServer
    store_url: str
    settings: Mapping[str, Any]
    started: list[Listener] = field(default_factory=list)

    def start(
        self, *options: str, wait: bool = True, environment: Mapping[str, str] | None = None
    ) -> Listener:
        """Start one, and wait until it listens unless told otherwise."""
        command = self.commands.start(
            [
                *("listen", "--broker", self.broker.url, "--site", "site.toml"),
                *("--db", self.store_url, "--health", "off", *options),
            ],
            self.folder,
            out=self.folder / f"listener-{len(self.started)}.log",
            environment={**os.environ, **(environment or {})},
            settings=self.settings,
        )
        listener = Listener(command)
        self.started.append(listener)
        if wait:
            listener.wait_for("Listening to ")
        return listener


@contextmanager
def fleet(
    commands: Commands,
    folder: Path,
    broker: MosquittoServer,
    store_url: str,
    settings: Mapping[str, Any] = SHORT_PAUSES,
) -> Iterator[Fleet]:
    """Start listeners for as long as the block lasts."""
    (folder / "site.toml").write_text(SITE)
    ships = Fleet(commands, folder, broker, store_url, settings)
    try:
        yield ships
    finally:
        for listener in ships.started:
            listener.command.kill()


def until(reached: Callable[[], object], what: str, listener: Listener) -> None:
    """Wait, but not for ever, and not for a listener that has ended."""

    def outcome() -> str:
        is_there = listener.is_there  # looked at first: it may come to it and then end
        return "reached" if reached() else "" if is_there else "it ended before"

    try:
        found = waiting.until(outcome, what)
    except AssertionError as exc:
        raise AssertionError(f"{exc}\n{listener.said}") from exc
    assert found == "reached", f"{found} {what}:\n{listener.said}"


@contextmanager
def statuses(broker: MosquittoServer, user: str = "", password: str = "") -> Iterator[list[str]]:
    """Collect the states that listeners tell at the broker, in their order."""
    heard: list[str] = []
    listens = threading.Event()
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="watcher")
    if user:
        client.username_pw_set(user, password)
    client.on_connect = lambda *_: client.subscribe(f"bondtrail/{SITE_ID}/$service/+", 1)
    client.on_subscribe = lambda *_: listens.set()
    client.on_message = lambda _, __, told: heard.append(json.loads(told.payload)["state"])
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    try:
        assert listens.wait(waiting.LONG_S)
        yield heard
    finally:
        client.disconnect()
        client.loop_stop()
