"""Commit a batch, whatever the store says to it, before its messages are acknowledged."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from time import perf_counter
from typing import Protocol

from bondtrail.metrics import Metrics
from bondtrail.pauses import Pauses
from bondtrail.results import Reject
from bondtrail.running import Given, Source
from bondtrail.samples import Samples
from bondtrail.times import format_time
from store import Store, StoreError, Written

_RAW = 4096
"""Characters of what was refused to keep."""

log = logging.getLogger(__name__)


class Batch(Protocol):
    """What is committed together."""

    @property
    def batch(self) -> Mapping[str, Samples]:
        """Samples by point."""

    @property
    def rejects(self) -> Sequence[Reject]:
        """What could not be taken."""

    @property
    def sources(self) -> Sequence[Source]:
        """Who sent."""

    @property
    def given(self) -> Sequence[Given]:
        """Who gives points from now on."""


class Committer:
    """Writes batches into a store and waits for it as long as it takes.

    Parameters
    ----------
    store : Store
        Where to.
    where : str
        What rejects of ours name as their source.
    metrics : Metrics
        To be told of what was written.
    wait : callable
        Waits for some seconds; True when the wait is to end for good.
    on_trouble : callable
        Told of each error of the store that is waited for.
    pauses : Pauses
        Between attempts.
    """

    def __init__(
        self,
        store: Store,
        where: str,
        metrics: Metrics,
        *,
        wait: Callable[[float], bool],
        on_trouble: Callable[[StoreError], None],
        pauses: Pauses,
    ) -> None:
        self._store = store
        self._where = where
        self._metrics = metrics
        self._wait = wait
        self._on_trouble = on_trouble
        self._pauses = pauses

    def commit(self, batch: Batch, arrived: int) -> bool:
        """Commit a batch; False if the wait for the store was ended before all is committed.

        Whatever the database refuses is waited for: it may be a right that is taken away, a rule
        that somebody added or a damaged page, and then the readings are as good as ever.

        Parameters
        ----------
        batch : Batch
            What is committed.
        arrived : int
            When the newest message of it came. [ns]
        """
        if not (batch.batch or batch.rejects or batch.sources or batch.given):
            return True
        self._pauses.reset()
        while True:
            begun = perf_counter()
            try:
                written = self._written(batch, arrived)
            except StoreError as exc:
                self._on_trouble(exc)
                if self._wait(self._pauses.next_s()):
                    return False
            else:
                self._note(written, batch, perf_counter() - begun)
                return True

    def _written(self, batch: Batch, arrived: int) -> Written:
        """Write it as one, or point by point where it holds what no store can."""
        try:
            return self._store.write(
                batch.batch,
                arrived=arrived,
                rejects=batch.rejects,
                sources=batch.sources,
                given=batch.given,
            )
        except ValueError as exc:
            log.warning("a batch was refused and is written point by point: %s", exc)
        written = Written()
        rejects = list(batch.rejects)
        for point, samples in batch.batch.items():
            try:
                written += self._store.write({point: samples}, arrived=arrived)
            except ValueError as exc:
                rejects.append(self._refused(point, samples, exc, arrived))
        self._store.write(
            {}, arrived=arrived, rejects=rejects, sources=batch.sources, given=batch.given
        )
        self._metrics.rejects.inc(sum(r.count for r in rejects[len(batch.rejects) :]))
        return written

    def _refused(self, point: str, samples: Samples, exc: Exception, at: int) -> Reject:
        log.error("%s: %d readings were refused by the store: %s", point, len(samples), exc)
        some = slice(0, 100)
        lines = zip(samples.time[some], samples.value[some], samples.quality[some], strict=True)
        raw = "\n".join(f"{format_time(int(t))},{float(v)!r},{q}" for t, v, q in lines)[:_RAW]
        reason = f"the store refused it: {exc}"
        return replace(
            Reject(self._where, f"point {point}", reason, raw, at),
            count=len(samples),
            point=point,
            time=int(samples.time.min()),
        )

    def _note(self, written: Written, batch: Batch, seconds: float) -> None:
        metrics = self._metrics
        metrics.commit.observe(seconds)
        metrics.samples.labels("new").inc(written.new)
        metrics.samples.labels("repeated").inc(written.repeated)
        metrics.samples.labels("replaced").inc(written.replaced)
        metrics.rejects.inc(sum(reject.count for reject in batch.rejects))
        for source in batch.sources:
            if source.lag_median_s is not None:
                metrics.lag.observe(source.lag_median_s)
