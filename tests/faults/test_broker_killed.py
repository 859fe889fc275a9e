"""kill -9 of the broker, which keeps on its disk what it has.

mosquitto acknowledges a message before it saves it, however often it is told to save: of what
came in its last milliseconds, a message or two are gone when it is back. While somebody listens
nothing is lost: the broker sends a message on before it acknowledges it, and the listener stores
what came before the connection broke. (The broker must say ``set_tcp_nodelay true``, see
`tests.services`.) While nobody does, only the publisher can bring it back: here the plant
publishes its last second again after its connection has broken, which the store takes for what
it is.
"""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from tests.commands import Commands
from tests.faults.listeners import Listener, fleet, until
from tests.faults.plant import hold_to, publishing, wait_until_stored
from tests.services import mosquitto

SEED = 5
RATE = 500


@pytest.mark.parametrize(
    ("kills", "listens", "repeats"),
    [
        pytest.param(4, True, 0, id="while-somebody-listens"),
        pytest.param(6, False, RATE, id="at-any-moment"),
    ],
)
def test_killed_under_a_stream_and_started_again(
    commands: Commands, tmp_path: Path, kills: int, listens: bool, repeats: int
) -> None:
    moments = random.Random(SEED)
    url = f"sqlite:///{tmp_path}/store.db"
    with mosquitto() as broker, fleet(commands, tmp_path, broker, url) as listeners:
        listener = listeners.start("--mqtt", "3.1.1")
        with publishing(broker.port, RATE, repeats=repeats) as plant:
            for number in range(kills):
                if listens:
                    until(lambda n=number: is_listening(listener, n), "it to listen", listener)
                time.sleep(moments.uniform(0.1, 0.6))
                broker.kill()
                time.sleep(moments.uniform(0.0, 0.3))
                broker.start()
                taken = plant.acknowledged
                until(lambda at=taken: plant.acknowledged > at, "the plant", listener)
            count = plant.finish()
        assert len(plant.trouble) >= kills
        wait_until_stored(url, count)
        listener.stop()
        assert "waiting for the broker" in listener.said
        hold_to(url, count)


def is_listening(listener: Listener, losses: int) -> bool:
    """Whether it listens, and has done so again after so many losses."""
    states = [line for line in listener.said.splitlines() if "ingest.live.standing: " in line]
    heard = [state.endswith(": listening") for state in states]
    return sum(heard) > losses and heard[-1]
