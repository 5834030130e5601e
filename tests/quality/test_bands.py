"""History bands: few queries however many the lanes, and one rule for readings."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from installs.models import ElectricalLimit, ElectricalTest, Reading
from quality.bands import lane_bands
from tests.conftest import TODAY

pytestmark = pytest.mark.django_db


def test_the_number_of_queries_does_not_grow_with_the_lanes(program, world):
    ids = [lane.pk for lane in world.lanes]
    counts = []
    for some in (ids[:1], ids):
        with CaptureQueriesContext(connection) as caught:
            bands = lane_bands(some, program=program, today=TODAY)
        assert set(bands) == set(some)
        counts.append(len(caught))
    assert counts[0] == counts[1]


@pytest.mark.parametrize(
    ("low", "high", "value", "over_range", "ok"),
    [
        (20.0, None, 20.0, False, True),
        (20.0, None, 19.9, False, False),
        (20.0, None, 2000.0, True, True),
        (None, 5.0, 2.0, True, None),  # the meter's range ends short of the limit
        (None, 5.0, 5.0, True, False),
        (None, None, 5.0, False, None),
    ],
)
def test_a_tick_says_what_the_sensors_page_says(
    program, world, low, high, value, over_range, ok
):
    installation = world.live[0]
    model = installation.sensor.model
    ElectricalLimit.objects.all().delete()
    Reading.objects.all().delete()
    if low is not None or high is not None:
        ElectricalLimit.objects.create(
            sensor_model=model,
            quantity="insulation resistance",
            low=low,
            high=high,
            source="agency",
        )
    test = ElectricalTest.objects.create(
        installation=installation,
        tested_at=dt.datetime(2024, 5, 2, 18, tzinfo=dt.UTC),
        stage="visit",
        tested_by="T. Quist",
    )
    Reading.objects.create(
        test=test,
        quantity="insulation resistance",
        value=value,
        over_range=over_range,
    )
    lane_id = installation.lane_id
    band = lane_bands([lane_id], program=program, today=TODAY)[lane_id]
    assert [(tick.day, tick.ok) for tick in band.tests] == [(dt.date(2024, 5, 2), ok)]
