"""Factories of quality's models. Everything in them is invented."""

from __future__ import annotations

import datetime as dt
from typing import Any

import factory
import numpy as np
from factory.django import DjangoModelFactory

from quality import models
from sites.models import Lane
from tests.factories import LaneFactory

FIRST_ON = dt.date(2024, 4, 1)
"""A Monday."""


class RecordFileFactory(DjangoModelFactory[models.RecordFile]):
    class Meta:
        model = models.RecordFile

    source_name = factory.Sequence(lambda n: f"orrin_{n + 1}.wgt")
    sha256 = factory.Sequence(lambda n: f"{n + 1:064x}")
    layout = "TMG 2016 truck weight record, fixed width"
    size_bytes = 1000
    n_read = 10
    n_kept = 9
    n_refused = 1
    first_on = FIRST_ON
    last_on = FIRST_ON


class LaneDayFactory(DjangoModelFactory[models.LaneDay]):
    class Meta:
        model = models.LaneDay

    lane = factory.SubFactory(LaneFactory)
    record_file = factory.SubFactory(RecordFileFactory)
    date = factory.Sequence(lambda n: FIRST_ON + dt.timedelta(days=n))
    hours_seen = 0xFFFFFF
    n_vehicles = 240
    hourly = np.full(24, 10, dtype="<u2").tobytes()
    method_version = "daily-1"


def days_of(lane: Lane, n: int, **how: Any) -> list[models.LaneDay]:
    """``n`` days of a lane from :data:`FIRST_ON` on, each with 100 of class 9.

    The steering axles of a day weigh 5,000 kg on average, and 10 kg more each day.
    """
    record_file = how.pop("record_file", None) or RecordFileFactory.create()
    days = []
    for place in range(n):
        date = FIRST_ON + dt.timedelta(days=place)
        mean = 5000.0 + 10.0 * place
        days.append(
            LaneDayFactory.create(lane=lane, date=date, record_file=record_file, **how)
        )
        models.DailySummary.objects.create(
            lane=lane, date=date, vehicle_class=9, n_vehicles=100,
            gvw_sum_kg=100 * 30_000.0, steering_sum_kg=100 * mean,
            steering_sum_sq_kg2=100 * mean**2,
        )  # fmt: skip
    return days
