"""docker-compose.yml as it stands, and its services as processes of this machine.

No container engine is at hand where the tests run. So a service's entrypoint, command and
environment are taken from the file, and only what a container gives is put in its place: host
names, ports, and the paths of what is mounted.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

import bondtrail
from tests.commands import Command, Commands
from tests.waiting import LONG_S

ROOT = Path(__file__).parents[2]
FILE = ROOT / "docker-compose.yml"
TLS_FILE = ROOT / "deploy" / "tls.yml"
_VARIABLE = re.compile(r"\$(?:(?P<twice>\$)|\{(?P<name>\w+)(?::-(?P<default>[^}]*))?\})")

Process = subprocess.Popen[bytes] | Command


def read(path: Path, variables: Mapping[str, str] | None = None) -> dict[str, Any]:
    """Return a file of Compose with its variables replaced."""

    def value(found: re.Match[str]) -> str:
        if found["twice"]:
            return "$"
        return (variables or {}).get(found["name"]) or found["default"] or ""

    plain = _replaced(yaml.safe_load(path.read_text(encoding="utf-8")), value)
    assert isinstance(plain, dict)
    return plain


def _replaced(item: Any, value: Any) -> Any:
    if isinstance(item, dict):
        return {key: _replaced(held, value) for key, held in item.items()}
    if isinstance(item, list):
        return [_replaced(held, value) for held in item]
    return _VARIABLE.sub(value, item) if isinstance(item, str) else item


@dataclass
class Machine:
    """Where the services run as processes.

    Attributes
    ----------
    folder : Path
        For their logs and what is mounted.
    swaps : mapping of str to str
        What stands for what in commands and environments: hosts, ports and paths.
    health : mapping of str to int
        The port that stands for 8711, which each container has for itself.
    commands : Commands or None
        Starts what is ours.
    """

    folder: Path
    swaps: Mapping[str, str]
    health: Mapping[str, int] = field(default_factory=dict)
    commands: Commands | None = None
    services: dict[str, Any] = field(default_factory=lambda: read(FILE)["services"])
    running: dict[str, Process] = field(default_factory=dict)

    def words(self, name: str, command: Sequence[str] | None = None) -> list[str]:
        """Return what a service runs: its entrypoint, or that of the image, and its command."""
        service = self.services[name]
        own = service.get("entrypoint", ["bondtrail"])
        words = [*own, *(service.get("command", []) if command is None else command)]
        return [self._swapped(name, word) for word in words]

    def environment(self, name: str) -> dict[str, str]:
        """Return the environment of a service: that of the file, and what Python needs here."""
        told = self.services[name].get("environment", {})
        path = os.environ.get("PATH", "") + ":/usr/sbin"
        here = {"PATH": path, "HOME": str(self.folder), "MPLCONFIGDIR": str(self.folder)}
        given = {key: self._swapped(name, value) for key, value in told.items()}
        return {**here, "PYTHONPATH": str(Path(bondtrail.__file__).parents[1]), **given}

    def start(self, name: str) -> None:
        """Start a service."""
        words, env = self.words(name), self.environment(name)
        self.running[name] = self._begun(words, env, self.log(name))

    def run(self, name: str, *command: str, **more: str) -> int:
        """Run another command as a service would, to its end; return its status."""
        words, env = self.words(name, command), {**self.environment(name), **more}
        log = self.log(f"{name}-{command[0] if command else 'run'}")
        return self._begun(words, env, log).wait(LONG_S)

    def _begun(self, words: list[str], env: Mapping[str, str], log: Path) -> Process:
        if words[0] == "bondtrail":
            assert self.commands is not None
            return self.commands.start(words[1:], self.folder, out=log, environment=env)
        with log.open("ab") as written:
            return subprocess.Popen(words, env=env, cwd=self.folder, stdout=written, stderr=written)

    def check(self, name: str) -> int:
        """Run the health check of a service; return its status."""
        _, *words = self.services[name]["healthcheck"]["test"]
        words = [self._swapped(name, word) for word in words]
        words[0] = sys.executable if words[0] == "python" else words[0]
        return subprocess.run(words, env=self.environment(name)).returncode

    def stop(self, name: str) -> int:
        """End a service as a container is ended; return its status."""
        process = self.running.pop(name)
        process.send_signal(signal.SIGTERM)
        return process.wait(LONG_S)

    def kill(self) -> None:
        """End what still runs."""
        for process in self.running.values():
            process.kill()
            process.wait(LONG_S)

    def log(self, name: str) -> Path:
        """Return the file of what a service said."""
        return self.folder / f"{name}.log"

    def said(self) -> str:
        """Return all that was said."""
        return "\n".join(path.read_text(errors="replace") for path in self.folder.glob("*.log"))

    def _swapped(self, name: str, text: str) -> str:
        health = str(self.health.get(name, 8711))
        return swapped(text, {**self.swaps, ":8711": f":{health}"})


def swapped(text: str, swaps: Mapping[str, str]) -> str:
    """Return a text with one thing in the place of another; what was put there stays."""
    sought = "|".join(re.escape(each) for each in sorted(swaps, key=len, reverse=True))
    return re.sub(sought, lambda found: swaps[found[0]], text)


def broker_files(folder: Path, port: int, tls_port: int | None = None) -> dict[str, str]:
    """Put the broker's files into a folder, with ports and paths of this machine.

    The user ``feed`` is let in, as docs/deploy.md says. Returns what stands for what in its
    command.
    """
    places = {"config": ROOT / "deploy" / "broker", "more": ROOT / "deploy" / "more"}
    if tls_port is not None:
        places["more"] = ROOT / "deploy" / "tls"
    swaps = {f"/mosquitto/{name}": str(folder / name) for name in ("config", "more", "data")}
    swaps["/tmp/"] = f"{folder}/tmp/"
    for name in ("data", "tmp"):
        (folder / name).mkdir(parents=True)
    for name, source in places.items():
        shutil.copytree(source, folder / name)
    for file in (*(folder / "config").iterdir(), *(folder / "more").glob("*.conf")):
        text = fed(swapped(file.read_text(), swaps))
        text = text.replace("listener 1883\n", f"listener {port} 127.0.0.1\n")
        text = text.replace("listener 8883\n", f"listener {tls_port} 127.0.0.1\n")
        if os.geteuid() == 0 and file.suffix == ".conf" and file.parent.name == "config":
            text += "user root\n"  # else it becomes a user that cannot reach the folder
        file.write_text(text)
    return swaps


def fed(acl: str) -> str:
    """Return the broker's rules with the marks before those of ``feed`` taken away."""
    before, user, after = acl.partition("# user feed\n")
    rules, gap, rest = after.partition("\n\n")
    return before + user.removeprefix("# ") + rules.replace("# ", "") + gap + rest
