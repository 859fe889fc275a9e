"""Steps made in a thread of their own while earlier ones are being worked on."""

from __future__ import annotations

from collections import deque
from collections.abc import Generator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")


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
