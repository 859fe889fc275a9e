"""A program that loads and folds a known sequence until it is killed.

Started as ``python loading.py URL`` it takes ``go N`` on standard input, forks a
child that loads batch N and on, says the child's process id, then the number of each batch
once it is committed, and ``gone`` when the child has ended. Forking spares each of many
rounds the start of an interpreter.
"""

from __future__ import annotations

import os
import sys

import numpy as np

from bondtrail.samples import Samples
from store import Store, open_store

S = 10**9
T0 = 1_767_225_600 * S
POINTS = ["rail-1.resistance", "rail-1.flow", "drum-2.status"]
SIZE = 400
STEP = 300
"""Each batch overlaps the one before it: those samples are replaced."""


def batch(number: int) -> dict[str, Samples]:
    """Return the batch of a number; every seventh comes late, into the middle of what is there."""
    first = STEP * number if number % 7 else STEP * (number // 2)
    time = T0 + S * np.arange(first, first + SIZE)
    value = np.where(np.arange(SIZE) % 50 == 0, np.inf, number + np.arange(SIZE) / 1000)
    return {point: Samples.of(time, value + add) for add, point in enumerate(POINTS)}


def arrival(number: int) -> int:
    """Return when the batch of a number arrives: hours after the one before, as its lag tells."""
    return T0 + 40 * 86_400 * S + 7_000 * S * number


def load(store: Store, number: int) -> None:
    """Commit one batch in one of the ways there are, and fold now and then."""
    if number % 3:
        store.write(batch(number), arrived=arrival(number))
    else:
        with store.bulk(flush_rows=500, arrived=lambda: arrival(number)) as bulk:
            for point, samples in batch(number).items():
                bulk.add(point, samples)
    if number % 4 == 0:
        store.fold()


def load_from(url: str, number: int) -> None:
    with open_store(url) as store:
        while True:
            load(store, number)
            print(number, flush=True)
            number += 1


def main(url: str) -> None:
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            load_from(url, int(line.split()[1]))
        print("pid", child, flush=True)
        os.waitpid(child, 0)
        print("gone", flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
