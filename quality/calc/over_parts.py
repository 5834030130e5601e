"""Apply a pure function to stored parts, wherever the executor works.

Several parts travel together, because sending a task to a cluster costs more than the
work on a small part. The results stay one a part and in the parts' order: how they were
grouped, and on how many workers, changes no bit of what is added up from them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Generic, TypeVar

import numpy as np
import pyarrow as pa

from quality.calc.executor import Executor
from quality.records.store import iter_parts

R = TypeVar("R")

PARTS_TOGETHER = 16
"""A site's month is some 20 ms of work; a task on a cluster costs 1.5 ms (measured)."""


@dataclass(frozen=True)
class PartWork(Generic[R]):
    """Read parts and apply a function to each; picklable when its function is.

    Attributes
    ----------
    function
        Takes a part's records (``STORE_SCHEMA`` or its named columns).
    root
        Root folder of the store, as every worker sees it.
    columns, first, last
        As :func:`quality.records.store.iter_parts` takes them.
    """

    function: Callable[[pa.Table], R]
    root: str
    columns: tuple[str, ...] | None = None
    first: np.datetime64 | None = None
    last: np.datetime64 | None = None

    def __call__(self, paths: Sequence[str]) -> list[R]:
        """One result a part, in order."""
        tables = iter_parts(
            self.root, paths, columns=self.columns, first=self.first, last=self.last
        )
        return [self.function(table) for table in tables]


def over_parts(
    executor: Executor,
    work: PartWork[R],
    paths: Iterable[str],
    *,
    together: int = PARTS_TOGETHER,
) -> Iterator[R]:
    """One result a part, in the order of ``paths``.

    Parameters
    ----------
    executor
        Where to work; see :func:`quality.calc.executor.executor`.
    work
        What to read and what to do with it.
    paths
        The manifest's paths.
    together
        Parts a task.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a part is missing or cannot be read, as if read here.
    """
    for results in executor.map(work, _groups(paths, together)):
        yield from results


def _groups(paths: Iterable[str], size: int) -> Iterator[tuple[str, ...]]:
    rest = iter(paths)
    while group := tuple(islice(rest, size)):
        yield group
