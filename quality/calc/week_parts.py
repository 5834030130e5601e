"""Figures of a lane's weeks from its stored parts, a few weeks at a time.

A week lies across two months' parts as often as not, so what an executor is given is a
run of weeks with the parts that hold them, and each part is read once for the run.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from quality.calc.class9_week import DEFAULTS, WeekSettings, week_figures
from quality.calc.days import as_day
from quality.records.store import read_parts

WEEKS_TOGETHER = 5
"""A month of one lane: what a worker holds in memory at a time."""
WEEK = np.timedelta64(7, "D")


@dataclass(frozen=True)
class StoredPart:
    """A part of the manifest: its path and the days of its first and last record."""

    path: str
    first_on: dt.date
    last_on: dt.date


@dataclass(frozen=True)
class WeeksJob:
    """A run of weeks of one lane.

    Attributes
    ----------
    root
        The store, as every worker sees it.
    paths
        Parts that hold records of those weeks.
    mondays
        The weeks, in order.
    dropped
        Days whose records are left out.
    settings
        Bands, limits, pavements.
    """

    root: str
    paths: tuple[str, ...]
    mondays: tuple[dt.date, ...]
    dropped: frozenset[dt.date] = frozenset()
    settings: WeekSettings = DEFAULTS


def figures_of(job: WeeksJob) -> list[tuple[dt.date, dict[str, Any]]]:
    """Figures of a job's weeks without a reference, as JSON-ready values.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a part is missing or cannot be read.
    """
    first, last = as_day(job.mondays[0]), as_day(job.mondays[-1]) + WEEK
    table = read_parts(job.root, job.paths, first=first, last=last)
    time = np.asarray(table.column("time")).astype("datetime64[D]")
    keep = ~np.isin(time, np.array(sorted(job.dropped), "datetime64[D]"))
    found = []
    for monday in job.mondays:
        start = as_day(monday)
        rows = keep & (time >= start) & (time < start + WEEK)
        week = table.filter(pa.array(rows)).combine_chunks()
        found.append((monday, week_figures(week, settings=job.settings).as_dict()))
    return found


def jobs_of(
    root: str,
    parts: Sequence[StoredPart],
    mondays: Iterable[dt.date],
    *,
    dropped: Iterable[dt.date] = (),
    settings: WeekSettings = DEFAULTS,
) -> list[WeeksJob]:
    """The weeks as jobs, each with the parts and left-out days that bear on it."""
    away = set(dropped)
    jobs = []
    for run in _runs(sorted(mondays)):
        first, last = run[0], run[-1] + dt.timedelta(days=6)
        jobs.append(
            WeeksJob(
                root,
                tuple(one.path for one in parts if meets(one, first, last)),
                tuple(run),
                frozenset(day for day in away if first <= day <= last),
                settings,
            )
        )
    return jobs


def _runs(mondays: Sequence[dt.date]) -> list[list[dt.date]]:
    """Weeks in runs that span at most :data:`WEEKS_TOGETHER` weeks."""
    reach = dt.timedelta(weeks=WEEKS_TOGETHER)
    runs: list[list[dt.date]] = []
    for monday in mondays:
        if runs and monday - runs[-1][0] < reach:
            runs[-1].append(monday)
        else:
            runs.append([monday])
    return runs


def meets(part: StoredPart, first: dt.date, last: dt.date) -> bool:
    """Whether a part may hold records of these days."""
    return part.first_on <= last and part.last_on >= first
