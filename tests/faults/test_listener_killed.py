"""kill -9 of listeners under a steady stream: every published reading once, none lost."""

from __future__ import annotations

import random
import time
from pathlib import Path

from store import open_store
from tests.faults.listeners import fleet, until
from tests.faults.plant import hold_to, publishing, stored, wait_until_stored
from tests.services import KEEPS_ALL_IN_MEMORY, mosquitto

SEED = 30


def test_killed_thirty_times_at_random(tmp_path: Path) -> None:
    moments = random.Random(SEED)
    url = f"sqlite:///{tmp_path}/store.db"
    with mosquitto(lines=KEEPS_ALL_IN_MEMORY) as broker, fleet(tmp_path, broker, url) as listeners:
        listener = listeners.start()
        with publishing(broker.port, 2000) as plant, open_store(url) as store:
            grown = []
            for number in range(30):
                if number % 3:  # every third may be killed before it listens
                    listener.wait_for("Listening to ")
                time.sleep(moments.uniform(0.0, 0.6))
                listener.kill()
                grown.append(stored(store))
                listener = listeners.start(wait=False)
            assert len(set(grown)) > 3, f"it hardly ever came to store anything: {grown}"
            listener.wait_for("Listening to ")
            count = plant.finish()
        assert plant.trouble == []
        assert count > 10_000
        wait_until_stored(url, count)
        listener.stop()
        hold_to(url, count)
        # What it has acknowledged is gone from the broker: another start reads nothing again.
        again = listeners.start()
        time.sleep(1.0)
        again.stop()
        hold_to(url, count)


def test_one_of_two_that_share_is_killed(tmp_path: Path) -> None:
    # What the broker has given to the one that is gone waits for it, and so does its share of
    # what comes meanwhile: it gets both when it is back under its own client id.
    url = f"sqlite:///{tmp_path}/store.db"
    with mosquitto(lines=KEEPS_ALL_IN_MEMORY) as broker, fleet(tmp_path, broker, url) as listeners:
        names = ("one", "other")
        one, other = (listeners.start("--share", "both", "--client-id", name) for name in names)
        with publishing(broker.port, 2000) as plant, open_store(url) as store:
            until(lambda: stored(store) > 2000, "readings", other)
            other.kill()
            time.sleep(2.0)
            waiting = plant.acknowledged - stored(store)
            print("waiting for the one that is gone:", waiting, "of", plant.acknowledged)
            back = listeners.start("--share", "both", "--client-id", "other")
            time.sleep(1.0)
            count = plant.finish()
        wait_until_stored(url, count)
        one.stop()
        back.stop()
        hold_to(url, count)
