"""Where per-part work runs: here, in threads, in processes, or on a cluster.

One seam, :meth:`Executor.map`: a pure function and the parts it is to be applied to.
Results come back in the order of the parts, whatever finished first, so that sums taken
over them are added in one order and come out equal to the last bit everywhere. The
function must depend on its argument only; for processes and clusters it and its results
must be picklable (a function of a module, a frozen dataclass, ``functools.partial``).

At most a few parts a worker are on their way at a time: what waits in memory does not
grow with the number of parts.
"""

from __future__ import annotations

import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Protocol, TypeVar

from wimprog.lib.errors import DomainError

P = TypeVar("P")
R = TypeVar("R")

AHEAD = 4
"""Parts on their way for each worker."""
RETRIES = 2
"""Times a part is tried again on a cluster when the work on it was lost."""


class Where(StrEnum):
    """Where the work runs."""

    SERIAL = "serial"
    THREADS = "threads"
    PROCESSES = "processes"
    CLUSTER = "cluster"


@dataclass(frozen=True)
class Choice:
    """A place to run and its size.

    Attributes
    ----------
    where
        The kind of place.
    workers
        Threads or processes; by default one a processor. A cluster has its own.
    address
        Of a cluster's scheduler.
    """

    where: Where = Where.THREADS
    workers: int | None = None
    address: str = ""

    @classmethod
    def parse(cls, text: str) -> Choice:
        """Read a setting.

        Parameters
        ----------
        text
            ``serial``, ``threads``, ``threads:4``, ``processes:2``, or
            ``cluster:tcp://10.0.0.5:8786``.

        Raises
        ------
        wimprog.lib.errors.DomainError
            When it reads as none of them; names what was expected.

        Examples
        --------
        >>> Choice.parse("processes:2").workers
        2
        """
        kind, _, rest = text.strip().partition(":")
        if kind == Where.CLUSTER and rest:
            return cls(Where.CLUSTER, address=rest)
        if kind == Where.SERIAL and not rest:
            return cls(Where.SERIAL)
        if kind in (Where.THREADS, Where.PROCESSES):
            if not rest:
                return cls(Where(kind))
            if rest.isdecimal() and int(rest) > 0:
                return cls(Where(kind), workers=int(rest))
        raise DomainError(
            f"“{text}” does not say where records are worked on. Write serial, "
            "threads or processes (with a number of workers if wanted: threads:4), "
            "or cluster and the scheduler's address (cluster:tcp://10.0.0.5:8786)."
        )


class Executor(Protocol):
    """Applies a pure function to parts."""

    def map(self, function: Callable[[P], R], parts: Iterable[P]) -> Iterator[R]:
        """Results in the order of the parts.

        The first error of a part is raised when its turn comes; parts that have not
        begun by then are dropped.
        """
        ...


class Serial:
    """One part after the other, in this thread."""

    def map(self, function: Callable[[P], R], parts: Iterable[P]) -> Iterator[R]:
        """See :class:`Executor`."""
        return map(function, parts)


class Pooled:
    """Anything that takes one call and gives a future for it."""

    def __init__(
        self, submit: Callable[..., Any], n_workers: Callable[[], int]
    ) -> None:
        self._submit, self._n_workers = submit, n_workers

    def map(self, function: Callable[[P], R], parts: Iterable[P]) -> Iterator[R]:
        """See :class:`Executor`."""
        waiting: deque[Future[R]] = deque()
        try:
            for part in parts:
                waiting.append(self._submit(function, part))
                if len(waiting) >= AHEAD * max(self._n_workers(), 1):
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()


@contextmanager
def executor(choice: Choice) -> Iterator[Executor]:
    """Open the place that was chosen, and close it afterwards.

    A cluster is only joined and left; starting and stopping it is not our work.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a cluster does not answer, or its engine is not installed here.
    """
    workers = choice.workers or os.cpu_count() or 1
    if choice.where is Where.SERIAL:
        yield Serial()
    elif choice.where is Where.THREADS:
        with ThreadPoolExecutor(workers, thread_name_prefix="part") as pool:
            yield Pooled(pool.submit, lambda: workers)
    elif choice.where is Where.PROCESSES:
        # fresh processes: a fork would copy open files, locks and connections
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(workers, mp_context=context) as pool:
            yield Pooled(pool.submit, lambda: workers)
    else:
        with _joined(choice.address) as client:
            yield on_cluster(client)


def on_cluster(client: Any) -> Executor:
    """Run on a cluster that a ``distributed.Client`` is connected to."""

    def submit(function: Callable[[P], R], part: P) -> Any:
        # never by content (pure=False): a file may have changed under the same name
        return client.submit(function, part, pure=False, retries=RETRIES)

    return Pooled(submit, lambda: len(client.scheduler_info()["workers"]))


@contextmanager
def _joined(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError:
        raise DomainError(
            "Working on a cluster needs the package “distributed” here and on every "
            "worker, of the same version. Install requirements.txt, or set "
            "WIMPROG_EXECUTOR to threads."
        ) from None
    try:
        client = Client(address, set_as_default=False, timeout=10)
    except (OSError, ValueError) as error:
        raise DomainError(
            f"The cluster at {address} does not answer ({error}). Start its scheduler "
            "and workers, or set WIMPROG_EXECUTOR to threads."
        ) from None
    try:
        yield client
    finally:
        client.close()
