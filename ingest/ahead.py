"""Steps made in a thread of their own while earlier ones are being worked on."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

S = TypeVar("S")
T = TypeVar("T")

_THREADS = min(4, os.cpu_count() or 1)


def ahead(steps: Generator[T, None, None], depth: int) -> Generator[T, None, None]:
    """Yield the steps in order while up to ``depth`` further ones are made in a thread.

    Closing it closes ``steps`` too.
    """
    end = object()
    pool = ThreadPoolExecutor(1, "read-ahead")
    pending: deque[Future[object]] = deque()
    try:
        while True:
            while len(pending) < depth:
                pending.append(pool.submit(next, steps, end))
            step = pending.popleft().result()
            if step is end:
                return
            yield step  # type: ignore[misc]
    finally:  # whoever stops listening must find nobody reading the file any more
        pool.shutdown(cancel_futures=True)
        steps.close()


def side_by_side(make: Callable[[S], T], items: Iterator[S]) -> Generator[T, None, None]:
    """Yield what ``make`` makes of each item, in order, while further ones are made in threads.

    One item more is taken than there are threads, so that none of them waits.
    """
    pool = ThreadPoolExecutor(_THREADS, "side-by-side")
    pending: deque[Future[T]] = deque()
    try:
        for item in items:
            pending.append(pool.submit(make, item))
            if len(pending) > _THREADS:
                yield pending.popleft().result()
        while pending:
            yield pending.popleft().result()
    finally:
        pool.shutdown(cancel_futures=True)
