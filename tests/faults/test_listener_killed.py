"""kill -9 of listeners under a steady stream: every published reading once, none lost."""

from __future__ import annotations

import random
import time
from pathlib import Path

from store import open_store
from tests.commands import Commands
from tests.faults.listeners import Listener, fleet, until
from tests.faults.plant import (
    SITE_ID,
    Plant,
    hold_to,
    message,
    publishing,
    stored,
    wait_until_stored,
)
from tests.publishing import still_held
from tests.services import KEEPS_ALL_IN_MEMORY, mosquitto

SEED = 30


def test_killed_thirty_times_at_random(commands: Commands, tmp_path: Path) -> None:
    moments = random.Random(SEED)
    url = f"sqlite:///{tmp_path}/store.db"
    with (
        mosquitto(lines=KEEPS_ALL_IN_MEMORY) as broker,
        fleet(commands, tmp_path, broker, url) as listeners,
    ):
        listener = listeners.start()
        with publishing(broker.port, 2000) as plant, open_store(url) as store:
            for number in range(30):
                if number % 3:  # every third may be killed before it listens
                    listener.wait_for("Listening to ")
                if number % 6 == 1:  # the others, where the machine is slow, before they store
                    before = stored(store)
                    until(lambda n=before: stored(store) > n, "it to store", listener)
                time.sleep(moments.uniform(0.0, 0.4))
                listener.kill()
                listener = listeners.start(wait=False)
            listener.wait_for("Listening to ")
            until(lambda: plant.acknowledged > 10_000, "the plant", listener)
            count = plant.finish()
        assert plant.trouble == []
        wait_until_stored(url, count)
        listener.stop()
        hold_to(url, count)
        assert still_held(broker.port, f"bondtrail-{SITE_ID}", message(count)[0]) == []


def test_one_of_two_that_share_is_killed(commands: Commands, tmp_path: Path) -> None:
    # What the broker has given to the one that is gone waits for it, and so does its share of
    # what comes meanwhile: it gets both when it is back under its own client id.
    url = f"sqlite:///{tmp_path}/store.db"
    with (
        mosquitto(lines=KEEPS_ALL_IN_MEMORY) as broker,
        fleet(commands, tmp_path, broker, url) as listeners,
    ):
        names = ("one", "other")
        one, other = (listeners.start("--share", "both", "--client-id", name) for name in names)
        with publishing(broker.port, 2000) as plant, open_store(url) as store:
            until(lambda: stored(store) > 2000, "readings", other)
            other.kill()
            more(plant, 3000, one)
            back = listeners.start("--share", "both", "--client-id", "other")
            more(plant, 1000, back)
            count = plant.finish()
        wait_until_stored(url, count)
        one.stop()
        back.stop()
        hold_to(url, count)


def more(plant: Plant, count: int, listener: Listener) -> None:
    """Wait until so many more are published."""
    enough = plant.acknowledged + count
    until(lambda: plant.acknowledged >= enough, "the plant", listener)
