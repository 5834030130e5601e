"""Volumes, seasonal factors, overweight and back-correction against plain counting."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from quality.calc.overweight import KINDS, overweight
from quality.calc.scaled_weights import Scaling, scaled, scaling_of
from quality.calc.seasonal_factors import seasonal_factors
from quality.calc.volumes import hourly_volumes
from quality.records.schema import TimeResolution, resolution_of, with_resolution
from tests.quality.calc.trucks import record, records, semitrailers
from wimprog.lib.errors import DomainError

LIGHT = [10000, 12000, 12000, 12000, 12000]
GAPS = [17.0, 4.4, 33.0, 4.1]


def test_hours_without_data_are_not_zero() -> None:
    table = records(
        record(LIGHT, GAPS, when="2030-01-07T05:10"),
        record(LIGHT, GAPS, when="2030-01-07T05:50"),
        record([9000, 9000], [18.0], when="2030-01-07T07:00", vehicle_class=5),
        record(LIGHT, GAPS, when="2030-01-09T00:00"),
        record(LIGHT, GAPS, when="2030-01-20T00:00"),
    )
    classes = np.array([9, 9, 5, 9, 9], np.int8)
    first, last = dt.date(2030, 1, 7), dt.date(2030, 1, 9)
    found = hourly_volumes(table, classes, first_on=first, last_on=last)
    assert found.counts.sum() == 4  # the 20th is outside
    assert found.counts[0, 5, 9] == 2
    assert found.counts[0, 7, 5] == 1
    assert found.is_seen[0].nonzero()[0].tolist() == [5, 6, 7]
    hourly = found.hourly_frame()
    assert hourly["total"].iloc[5:8].tolist() == [2.0, 0.0, 1.0]
    assert hourly["total"].iloc[:5].isna().all()
    assert found.daily_frame()["total"].isna().all()  # no day was recorded whole
    seen = np.ones((3, 24), dtype=bool)
    seen[1] = False
    told = hourly_volumes(table, classes, first_on=first, last_on=last, is_seen=seen)
    daily = told.daily_frame()
    assert daily["total"].tolist()[::2] == [3.0, 1.0]
    assert np.isnan(daily["total"][1])
    assert daily["class_09"].tolist()[::2] == [2.0, 1.0]


def test_volumes_refuse_what_does_not_fit() -> None:
    table, classes = records(record(LIGHT, GAPS)), np.array([9], np.int8)
    day, after = dt.date(2030, 1, 7), dt.date(2030, 1, 8)
    with pytest.raises(DomainError, match="after the last day"):
        hourly_volumes(table, classes, first_on=after, last_on=day)
    with pytest.raises(DomainError, match="hours seen"):
        hourly_volumes(
            table, classes, first_on=day, last_on=day, is_seen=np.ones((2, 24), bool)
        )


def year(month_size: np.ndarray, weekday_size: np.ndarray) -> tuple:
    days = np.arange("2030-01-01", "2031-01-01", dtype="datetime64[D]")
    month = days.astype("datetime64[M]").astype(int) % 12
    weekday = (days.astype(int) + 3) % 7
    return days, month, weekday, month_size[month] * weekday_size[weekday]


def test_factors_of_a_year_that_is_month_times_weekday() -> None:
    """Then the factors are the ratios of the means, whatever days are missing."""
    month_size = np.linspace(80, 130, 12)
    weekday_size = np.array([1.1, 1.2, 1.2, 1.2, 1.1, 0.7, 0.5])
    days, month, _, volumes = year(month_size, weekday_size)
    rng = np.random.default_rng(7)
    lost = rng.random(len(days)) < 0.15
    for data in (volumes, np.where(lost, np.nan, volumes)):
        found = seasonal_factors(days, data)
        assert found.is_whole_year  # no month lost all of one day of the week
        assert found.year_mean == pytest.approx(month_size.mean() * weekday_size.mean())
        assert found.month_factor == pytest.approx(month_size.mean() / month_size)
        assert found.weekday_factor == pytest.approx(weekday_size.mean() / weekday_size)
    assert found.n_days.sum() == (~lost).sum()
    assert found.n_weekdays.sum() == (~lost).sum()
    assert found.month_frame()["n_days"][0] == (~lost[month == 0]).sum()


def test_a_month_that_lacks_a_weekday_is_no_data() -> None:
    days, month, weekday, volumes = year(np.full(12, 100.0), np.ones(7))
    volumes = np.where((month == 4) & (weekday == 6), np.nan, volumes)
    found = seasonal_factors(days, volumes)
    assert found.n_months == 11
    assert not found.is_whole_year
    assert np.isnan(found.month_factor[4])
    assert found.n_days[4] == 27
    assert found.year_mean == pytest.approx(100.0)
    empty = seasonal_factors(days[:3], np.full(3, np.nan))
    assert empty.year_mean is None
    assert np.isnan(empty.weekday_factor).all()
    assert empty.weekday_frame()["n_days"].tolist() == [0] * 7


def test_factors_refuse_two_years_and_a_day_twice() -> None:
    days = np.array(["2030-12-31", "2031-01-01"], dtype="datetime64[D]")
    with pytest.raises(DomainError, match="one calendar year"):
        seasonal_factors(days, np.ones(2))
    with pytest.raises(DomainError, match="twice"):
        seasonal_factors(days[[0, 0]], np.ones(2))


def test_overweight_by_each_limit() -> None:
    """Federal limits 20,000, 34,000 and 80,000 lb; at the limit is not over it."""
    at_limit = record([12000, 17000, 17000, 17000, 17000], [17.0, 4.4, 33.0, 4.1])
    rows = (
        at_limit,
        record([12000, 17000, 17010, 17000, 16900], [17.0, 4.4, 33.0, 4.1]),
        record([20010, 10000], [18.0]),
        record([15000] * 6, [12.0, 4.4, 20.0, 4.1, 4.1]),
        record([10000] * 5, [17.0, 4.4, 33.0, 4.1]),
    )
    found = overweight(records(*rows))
    assert found.single.tolist() == [False, False, True, False, False]
    assert found.tandem.tolist() == [False, True, False, False, False]
    assert found.gross.tolist() == [False, False, False, True, False]
    assert found.bridge[3]
    shares = found.shares()
    assert tuple(shares) == KINDS
    assert (shares["any"].part, shares["any"].n) == (int(found.any.sum()), 5)
    classes = found.by_class(np.array([9, 9, 5, 10, 9], np.int8))
    assert classes["n"][9] == 3
    assert classes["tandem"][9] == 1
    assert classes["single axle"][5] == 1
    mask = np.array([True, False, False, False, False])
    own = overweight(records(*rows), over_bridge=mask)
    assert own.bridge.tolist() == mask.tolist()
    with pytest.raises(DomainError, match="mask of 2"):
        overweight(records(*rows), over_bridge=mask[:2])
    none = overweight(records())
    assert none.shares()["gross"].share is None


def test_scaled_weights_leave_the_raw_ones_alone_and_say_so() -> None:
    raw = semitrailers(np.random.default_rng(5), 200)
    raw = raw.cast(with_resolution(raw.schema, TimeResolution.INSTANT))
    before = raw.column("gvw_kg").to_numpy().copy()
    scaling = Scaling(0.96, 0.95, 0.97, 0.9)
    found = scaled(raw, scaling)
    assert (raw.column("gvw_kg").to_numpy() == before).all()
    for name in ("gvw_kg", "w1_kg", "w5_kg"):
        ratio = found.column(name).to_numpy() / raw.column(name).to_numpy()
        assert ratio == pytest.approx(0.96, rel=1e-6)
    assert found.column("w6_kg").null_count == 200
    assert found.column("s2_m").equals(raw.column("s2_m"))
    assert scaling_of(raw.schema) is None
    assert scaling_of(found.schema) == scaling
    assert resolution_of(found.schema) is TimeResolution.INSTANT
    with pytest.raises(DomainError, match="already"):
        scaled(found, scaling)
    value, interval = scaling.of(1000.0)
    assert (value, interval.low, interval.high, interval.level) == (960, 950, 970, 0.9)


def test_undoing_a_drift() -> None:
    found = Scaling.undoing(4.0, 3.0, 5.0)
    assert found.factor == pytest.approx(1 / 1.04)
    assert (found.low, found.high) == (pytest.approx(1 / 1.05), pytest.approx(1 / 1.03))
    for make in (
        lambda: Scaling.undoing(4.0, 5.0, 6.0),
        lambda: Scaling.undoing(-100.0, -101.0, 0.0),
        lambda: Scaling(0.0, 0.0, 1.0),
        lambda: Scaling(1.0, 1.1, 1.2),
        lambda: Scaling(1.0, 0.9, float("inf")),
        lambda: Scaling(1.0, 0.9, 1.1, 95),
    ):
        with pytest.raises(DomainError):
            make()
