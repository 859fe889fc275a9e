"""No room left for the store: on its disk, or by the quota of whom it runs as."""

from __future__ import annotations

import resource
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from tests.commands import Commands
from tests.faults.listeners import Fleet, Listener, fleet, statuses, until
from tests.faults.plant import hold_to, publishing, wait_until_stored
from tests.services import KEEPS_ALL_IN_MEMORY, MosquittoServer, mosquitto

FULL_S = 2.0


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of three megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("mounting a small disk takes rights that this user has not: see the quota")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.fixture
def broker() -> Iterator[MosquittoServer]:
    with mosquitto(lines=KEEPS_ALL_IN_MEMORY) as server:
        yield server


def test_a_disk_that_is_full_is_waited_for(
    small_disk: Path, broker: MosquittoServer, commands: Commands, tmp_path: Path
) -> None:
    stone = small_disk / "stone"
    stone.write_bytes(bytes(1 << 20))

    def make_room(_: Listener) -> None:
        stone.unlink()
        subprocess.run(["mount", "-o", "remount,size=64m", str(small_disk)], check=True)

    ships = fleet(commands, tmp_path, broker, f"sqlite:///{small_disk}/store.db")
    said = full_then_not(ships, lambda _: None, make_room)
    assert "the disk is full: free some space" in said


def test_a_quota_that_is_used_up_is_waited_for(
    broker: MosquittoServer, commands: Commands, tmp_path: Path
) -> None:
    # The size of a file that a process may write stands for the quota of a user.
    def limit(listener: Listener) -> None:
        _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.prlimit(listener.pid, resource.RLIMIT_FSIZE, (1 << 20, most))

    def make_room(listener: Listener) -> None:
        _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.prlimit(listener.pid, resource.RLIMIT_FSIZE, (most, most))

    ships = fleet(commands, tmp_path, broker, f"sqlite:///{tmp_path}/store.db")
    said = full_then_not(ships, limit, make_room)
    assert "the quota of this user is used up" in said


def full_then_not(
    ships: AbstractContextManager[Fleet],
    fill: Callable[[Listener], None],
    make_room: Callable[[Listener], None],
) -> str:
    """Publish until there is no room, and on, and make room; return what the listener said."""
    with ships as listeners, statuses(listeners.broker) as heard:
        listener = listeners.start()
        fill(listener)
        with publishing(listeners.broker.port, 3000) as plant:
            until(lambda: "waiting for the store" in heard, "the store to be full", listener)
            time.sleep(FULL_S)
            before = plant.acknowledged
            until(lambda: plant.acknowledged > before, "the plant, which carries on", listener)
            make_room(listener)
            until(lambda: heard[-1] == "listening", "it to carry on", listener)
            count = plant.finish()
        wait_until_stored(listeners.store_url, count)
        listener.stop()
        hold_to(listeners.store_url, count)
        assert "waiting for the store: sqlite:///" in listener.said
        assert "refused by the store" not in listener.said
        return listener.said
