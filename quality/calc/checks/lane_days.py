"""A lane's days as the checks read them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from quality.calc.days import HOUR_COLUMNS, as_day


@dataclass(frozen=True)
class LaneDays:
    """Consecutive days of one lane, n of them, missing days included.

    Attributes
    ----------
    date : datetime64[D], (n,)
    is_recorded : bool, (n,)
        Whether anything was delivered for the day.
    n_vehicles, n_unclassified, n_implausible : (n,)
        Vehicles, and how many have no class or break a physical limit.
    hours_seen : (n,)
        Bit h set when hour h held a vehicle or was marked as recorded and empty.
    hourly : (n, 24)
        Vehicles of each hour.
    figures : (n,) mappings
        What :mod:`quality.calc.day_figures` has counted; empty for days that were
        taken in before it did, which is "no data".
    is_holiday : bool, (n,)
        Days that follow no weekday: left out of what is learnt and not judged by
        volume, class mix or the shape of their hours.
    clock_ahead_h : int, (n,)
        Hours that people's clocks are ahead of the records' standard time: 1 while
        daylight saving time is kept, 0 otherwise or where nothing is known of it.
    """

    date: np.ndarray
    is_recorded: np.ndarray
    n_vehicles: np.ndarray
    n_unclassified: np.ndarray
    n_implausible: np.ndarray
    hours_seen: np.ndarray
    hourly: np.ndarray
    figures: Sequence[Mapping[str, Any]] = ()
    is_holiday: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))
    clock_ahead_h: np.ndarray = field(
        default_factory=lambda: np.zeros(0, dtype=np.int64)
    )

    def __post_init__(self) -> None:
        """Lay what was not given out as "no data", "no holiday" and standard time."""
        n = len(self.date)
        if len(self.figures) == 0:
            object.__setattr__(self, "figures", ({},) * n)
        if len(self.is_holiday) == 0:
            object.__setattr__(self, "is_holiday", np.zeros(n, dtype=bool))
        if len(self.clock_ahead_h) == 0:
            object.__setattr__(self, "clock_ahead_h", np.zeros(n, dtype=np.int64))

    def figure(self, *path: str, place: int | None = None) -> np.ndarray:
        """One figure of each day, (n,); NaN where the day has none.

        Parameters
        ----------
        *path
            Keys from the outside in.
        place
            Place in a list, where the figure is one.
        """
        out = np.full(len(self.date), np.nan)
        for row, of_day in enumerate(self.figures):
            value: Any = of_day
            for key in path:
                value = value.get(key) if isinstance(value, Mapping) else None
            if place is not None and value is not None:
                value = value[place]
            if value is not None:
                out[row] = value
        return out

    @classmethod
    def from_frame(
        cls,
        by_day: pd.DataFrame,
        *,
        first_on: np.datetime64 | dt.date | None = None,
        last_on: np.datetime64 | dt.date | None = None,
        holidays: Collection[np.datetime64 | dt.date] = (),
        clock_ahead_h: Callable[[np.ndarray], np.ndarray] | None = None,
    ) -> LaneDays:
        """From :attr:`quality.calc.daily.Daily.by_day`.

        ``first_on`` and ``last_on`` (included) say which days were to be expected;
        without them those between the first and the last that were recorded. Days
        without a row are kept as "no data", never as zero. ``holidays`` may hold
        days outside the period; ``clock_ahead_h`` gives the hours of
        :attr:`clock_ahead_h` for the days it is called with.
        """
        dates = pd.to_datetime(by_day["date"]).to_numpy().astype("datetime64[D]")
        if first_on is None or last_on is None:
            if len(dates) == 0:
                raise ValueError("give first_on and last_on when there are no days")
            first_on = dates.min() if first_on is None else first_on
            last_on = dates.max() if last_on is None else last_on
        first, last = as_day(first_on), as_day(last_on)
        every = np.arange(first, last + 1)
        inside = (dates >= first) & (dates <= last)
        place = (dates[inside] - first).astype(np.int64)
        recorded = np.zeros(len(every), dtype=bool)
        recorded[place] = True

        def spread(name: str) -> np.ndarray:
            out = np.zeros(len(every), dtype=np.int64)
            if name in by_day.columns:
                out[place] = by_day[name].to_numpy(dtype=np.int64)[inside]
            return out

        figures: list[Mapping[str, Any]] = [{}] * len(every)
        if "figures" in by_day.columns:
            chosen = by_day["figures"].to_numpy()[inside]
            for row, of_day in zip(place, chosen, strict=True):
                figures[row] = of_day or {}
        return cls(
            date=every,
            is_recorded=recorded,
            n_vehicles=spread("n_vehicles"),
            n_unclassified=spread("n_unclassified"),
            n_implausible=spread("n_implausible"),
            hours_seen=spread("hours_seen"),
            hourly=np.column_stack([spread(name) for name in HOUR_COLUMNS]),
            figures=figures,
            is_holiday=np.isin(every, [as_day(day) for day in holidays]),
            clock_ahead_h=np.zeros(len(every), dtype=np.int64)
            if clock_ahead_h is None
            else clock_ahead_h(every),
        )
