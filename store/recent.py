"""Batches of the journal that were decoded lately: what comes again asks for the same ones."""

from __future__ import annotations

import threading
from collections import OrderedDict

from store.blocks import Batch

MOST = 1_000_000
"""Samples to hold: about 17 MB."""

Key = tuple[int, int]
"""The id of a row and its checksum: a store that was restored may give an id to another row."""


class Recent:
    """Holds decoded batches, the ones that were asked for longest ago go first; for any thread."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._held: OrderedDict[Key, Batch] = OrderedDict()
        self._samples = 0
        self._lock = threading.Lock()

    def get(self, key: Key) -> Batch | None:
        """Return the batch of a row, if it is held."""
        with self._lock:
            found = self._held.get(key)
            if found is not None:
                self._held.move_to_end(key)
            return found

    def put(self, key: Key, batch: Batch) -> None:
        """Hold the batch of a row, unless it is so large that few would fit."""
        size = len(batch.samples)
        if size > self._most // 4:
            return
        with self._lock:
            if key not in self._held:
                self._held[key] = batch
                self._samples += size
            while self._samples > self._most:
                _, gone = self._held.popitem(last=False)
                self._samples -= len(gone.samples)
