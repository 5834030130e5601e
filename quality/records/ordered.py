"""Work done side by side whose results come in order."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import chain, islice
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")

WORKERS = 2
"""Threads: numpy lets go of the interpreter while it works on a block."""


def in_order(work: Callable[[T], R], items: Iterable[T]) -> Iterator[R]:
    """``work`` of each item, in the items' order, a few of them at a time.

    Items are fetched as they are needed, so that few wait in memory. The first is done
    by the caller itself: a small file needs no threads. An error comes where its item
    stands; what was begun after it is let run out and forgotten.
    """
    source = iter(items)
    for item in islice(source, 1):
        yield work(item)
    second = list(islice(source, 1))
    if not second:
        return
    waiting: deque[Future[R]] = deque()
    pool = ThreadPoolExecutor(WORKERS, thread_name_prefix="records")
    try:
        for item in chain(second, source):
            waiting.append(pool.submit(work, item))
            if len(waiting) > WORKERS:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
