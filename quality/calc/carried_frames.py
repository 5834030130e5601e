"""What lanes carried as plain tables, one row a fact, for sheets and files.

A missing value is no data; zero is a count of nothing where something was looked for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from quality.calc.carried import Carried, EsalCounts
from quality.calc.load_spectra import GrossHistogram
from quality.calc.overweight import KINDS
from quality.calc.seasonal_factors import SeasonalFactors, seasonal_factors
from quality.calc.volumes import N_CLASSES, HourlyVolumes
from wimprog.lib.units import KG_PER_LB

TABLES = {
    "hourly": "Hourly volumes by class",
    "daily": "Daily volumes by class",
    "gross": "Gross weights by month and class",
    "spectra": "Axle load spectra",
    "esal": "Equivalent single axle loads",
    "overweight": "Vehicles over the limits",
    "months": "Monthly factors",
    "weekdays": "Day-of-week factors",
}
"""Name and title of each table."""


LONGEST_QUIET_H = 6
"""Empty hours in a row of one day that may still be quiet ones (own choice)."""


def hours_recorded(bits: np.ndarray, is_plain: np.ndarray) -> np.ndarray:
    """Which hours of days were recorded, bool, (d, 24).

    An hour was when it holds a vehicle or the file says that it had none. On a day that
    the check of missing hours has nothing against, up to :data:`LONGEST_QUIET_H` empty
    hours in a row are taken for quiet ones, too: a quiet road is no failure.

    Parameters
    ----------
    bits : int64, (d,)
        Bit h is set for an hour h that was seen; 0 for a day without records.
    is_plain : bool, (d,)
        Days without a finding of missing hours.

    Examples
    --------
    >>> hours_recorded(np.array([0xFFFFFE]), np.array([True])).sum()
    np.int64(24)
    >>> hours_recorded(np.array([0xFFFFFE]), np.array([False])).sum()
    np.int64(23)
    """
    seen = (bits[:, None] >> np.arange(24) & 1).astype(bool)
    run = np.zeros_like(seen, dtype=np.int64)
    for hour in range(24):  # length of the empty run up to here
        before = run[:, hour - 1] if hour else 0
        run[:, hour] = np.where(seen[:, hour], 0, before + 1)
    for hour in range(22, -1, -1):  # and as it is at its end
        longer = ~seen[:, hour] & ~seen[:, hour + 1]
        run[longer, hour] = run[longer, hour + 1]
    quiet = ~seen & (run <= LONGEST_QUIET_H) & is_plain[:, None]
    return np.asarray((seen | quiet) & (bits != 0)[:, None])


@dataclass(frozen=True)
class CarriedYear:
    """Sums of a period with the hours that stand behind them.

    Attributes
    ----------
    carried
        The sums.
    is_seen : bool, (d, 24)
        Hours that were recorded on days that are let in (:func:`hours_recorded`); for
        several lanes, in all of them.
    """

    carried: Carried
    is_seen: np.ndarray

    @property
    def volumes(self) -> HourlyVolumes:
        """Hourly volumes; an hour that was not seen is no data."""
        return self.carried.volumes(self.is_seen)

    def daily(self, vehicle_class: int | None = None) -> np.ndarray:
        """Vehicles of each day, (d,); NaN where an hour is missing."""
        by_class = self.volumes.daily()
        if vehicle_class is not None:
            return np.asarray(by_class[:, vehicle_class])
        return np.asarray(by_class.sum(axis=1))

    def factors(self, vehicle_class: int | None = None) -> SeasonalFactors | None:
        """Seasonal factors; None where the days are not of one calendar year."""
        days = self.carried.days
        if days[0].astype("datetime64[Y]") != days[-1].astype("datetime64[Y]"):
            return None
        return seasonal_factors(days, self.daily(vehicle_class))

    def hour_means(self, vehicle_class: int | None = None) -> np.ndarray:
        """Mean vehicles of each hour of the day, weekdays and weekend, (2, 24).

        Over the hours that were recorded; NaN where none was.
        """
        counts = self.carried.hourly
        chosen = (
            counts.sum(axis=2) if vehicle_class is None else counts[..., vehicle_class]
        )
        weekend = (self.carried.days.astype(np.int64) + 3) % 7 >= 5
        rows = []
        for which in (~weekend, weekend):
            n = self.is_seen[which].sum(axis=0)
            total = (chosen[which] * self.is_seen[which]).sum(axis=0)
            rows.append(np.divide(total, n, out=np.full(24, np.nan), where=n > 0))
        return np.array(rows)


def frame_of(name: str, year: CarriedYear) -> pd.DataFrame:
    """One of :data:`TABLES`.

    Raises
    ------
    KeyError
        For a name that is not among them.
    """
    carried = year.carried
    if name == "hourly":
        return year.volumes.hourly_frame()
    if name == "daily":
        return year.volumes.daily_frame()
    if name == "gross":
        return gross_frame(carried.gross)
    if name == "spectra":
        return carried.spectra.frame()
    if name == "esal":
        return esal_frame(carried)
    if name == "overweight":
        return overweight_frame(carried)
    factors = year.factors()
    frames = {"months": _months, "weekdays": _weekdays}
    return frames[name](factors)


def _months(factors: SeasonalFactors | None) -> pd.DataFrame:
    if factors is None:
        return pd.DataFrame(columns=["month", "n_days", "mean", "factor"])
    return factors.month_frame()


def _weekdays(factors: SeasonalFactors | None) -> pd.DataFrame:
    if factors is None:
        return pd.DataFrame(columns=["weekday", "n_days", "mean", "factor"])
    return factors.weekday_frame()


def gross_frame(gross: GrossHistogram) -> pd.DataFrame:
    """One row for each month, class and bin that holds a vehicle.

    ``to_kg`` is excluded, and missing above all bins.
    """
    month, vehicle_class, place = np.nonzero(gross.counts)
    edges = gross.edges_kg
    return pd.DataFrame(
        {
            "month": gross.months[month].astype("datetime64[s]"),
            "vehicle_class": vehicle_class,
            "from_kg": edges[place],
            "to_kg": np.append(edges[1:], np.nan)[place],
            "from_lb": np.round(edges[place] / KG_PER_LB, 1),
            "n": gross.counts[month, vehicle_class, place],
        }
    )


def esal_frame(carried: Carried) -> pd.DataFrame:
    """One row for each month and class with vehicles: n, and both loads."""
    month, vehicle_class = np.nonzero(carried.spectra.n_vehicles)

    def loads(counts: EsalCounts) -> np.ndarray:
        return np.asarray(counts.loads[month, vehicle_class])

    return pd.DataFrame(
        {
            "month": carried.spectra.months[month].astype("datetime64[s]"),
            "vehicle_class": vehicle_class,
            "n_vehicles": carried.spectra.n_vehicles[month, vehicle_class],
            "esal_flexible": loads(carried.flexible),
            "esal_rigid": loads(carried.rigid),
        }
    )


def overweight_frame(carried: Carried) -> pd.DataFrame:
    """One row for each class with vehicles: n, and those over each limit."""
    classes = np.flatnonzero(carried.by_class)
    over = {
        f"over_{kind.replace(' ', '_')}": carried.over[kind][classes] for kind in KINDS
    }
    return pd.DataFrame(
        {
            "vehicle_class": np.arange(N_CLASSES)[classes],
            "n_vehicles": carried.by_class[classes],
            **over,
        }
    )
