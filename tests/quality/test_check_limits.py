"""The agency's limits reach the checks; figures are kept; a file is asked about."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pyarrow as pa
import pytest

from quality.calc.checks import CHECKS
from quality.calc.daily import daily_sums
from quality.models import CheckLimit, LaneDay
from quality.records.schema import STORE_SCHEMA, LaneKey
from quality.selectors.limits import check_limits
from quality.services import records_import, records_preview
from quality.services.deriving import derived_refresh, lane_day_frame, lanes_beside
from quality.services.questioning import questions_of
from tests.factories import LaneFactory
from tests.quality.conftest import SAMPLES
from tests.quality.factories import FIRST_ON, LaneDayFactory, RecordFileFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("store", "program")]
WGT = SAMPLES / "orrin_w2016.wgt"
SHAPE = np.r_[[2] * 5, [6] * 3, [12] * 10, [6] * 4, [3] * 2]


def limit(key: str, value: float, **how) -> CheckLimit:
    return CheckLimit.objects.create(
        check_key=key, value=value, source="the agency's study", **how
    )


def day_with_unclassified(lane, share: float) -> LaneDay:
    day = LaneDayFactory.create(
        lane=lane, date=FIRST_ON, n_vehicles=1000, n_unclassified=int(1000 * share)
    )
    derived_refresh(lane=lane, first_on=FIRST_ON, last_on=FIRST_ON)
    day.refresh_from_db()
    return day


def test_a_lanes_own_limit_goes_before_the_one_for_all(django_assert_num_queries):
    lane, other = LaneFactory.create_batch(2)
    limit("unclassified", 0.1)
    limit("unclassified", 0.3, lane=lane)
    limit("volume", -5.0, lane=other, is_off=True)
    limit("a-check-that-was-once", 1.0)
    with django_assert_num_queries(1):
        assert check_limits(lane).values == {"unclassified": 0.3}
    assert check_limits(other).values == {"unclassified": 0.1, "volume": -5.0}
    assert check_limits(other).not_used == {"volume"}
    assert check_limits().values == {"unclassified": 0.1}


@pytest.mark.parametrize(
    ("value", "is_off", "found"),
    [(None, False, True), (0.15, False, False), (0.05, True, False)],
)
def test_limits_decide_what_is_found(value, is_off, found):
    lane = LaneFactory.create()
    if value is not None:
        limit("unclassified", value, is_off=is_off)
    day = day_with_unclassified(lane, 0.1)
    assert [one["check"] for one in day.findings] == ["unclassified"] * found
    if found:
        assert "limit 5.0 %" in day.findings[0]["sentence"]


def test_figures_are_stored_and_read_back(analyst):
    records_import(WGT, by=analyst)
    days = LaneDay.objects.filter(n_vehicles__gt=0)
    assert days
    for day in days:
        assert sum(day.figures["classes"]) == day.n_vehicles
        broken, tested = day.figures["checks"]["physical-limits"]
        assert (broken, tested) == (day.n_implausible, day.n_vehicles)
        assert "headway" not in day.figures["checks"]  # the record knows hours only
    first = days.order_by("date").first()
    frame = lane_day_frame(first.lane, first.date, first.date)
    assert frame["figures"].tolist() == [first.figures]


def test_record_limits_in_force_are_those_that_are_counted_with(analyst):
    limit("legal-gross", 1000.0)
    records_import(WGT, by=analyst)
    for day in LaneDay.objects.filter(n_vehicles__gt=0):
        broken, tested = day.figures["checks"]["legal-gross"]
        assert broken == tested == day.n_vehicles


def test_share_of_records_is_judged_by_day():
    lane = LaneFactory.create()
    LaneDayFactory.create(
        lane=lane, date=FIRST_ON, n_vehicles=500,
        figures={"checks": {"sum-of-axles": [60, 500]}},
    )  # fmt: skip
    derived_refresh(lane=lane, first_on=FIRST_ON, last_on=FIRST_ON)
    (finding,) = LaneDay.objects.get().findings
    assert finding["check"] == "sum-of-axles-share"
    assert finding["weight"] == "set aside"
    assert "60 of 500 vehicles (12.0 %" in finding["sentence"]
    assert {check.key for check in CHECKS} > {"sum-of-axles-share", "volume"}


def test_lanes_that_change_places_are_found_for_both():
    """Nine weeks of two lanes of one direction; in the last they are exchanged."""
    outer = LaneFactory.create(direction=3, number=1)
    inner = LaneFactory.create(wim_site=outer.wim_site, direction=3, number=2)
    far = LaneFactory.create(wim_site=outer.wim_site, direction=7, number=2)
    assert lanes_beside(outer) == [inner]
    assert lanes_beside(far) == []
    record_file = RecordFileFactory.create()
    rng = np.random.default_rng(4)
    for place in range(63):
        pair = (outer, inner) if place < 56 else (inner, outer)
        for lane, scale in zip(pair, (3.0, 1.0), strict=True):
            hourly = rng.poisson(SHAPE * scale)
            LaneDayFactory.create(
                lane=lane, date=FIRST_ON + dt.timedelta(days=place),
                record_file=record_file, n_vehicles=int(hourly.sum()),
                hourly=hourly.astype("<u2").tobytes(),
            )  # fmt: skip
    last_on = FIRST_ON + dt.timedelta(days=62)
    for lane in (outer, inner):
        derived_refresh(lane=lane, first_on=FIRST_ON, last_on=last_on)
        swapped = [
            day.date
            for day in LaneDay.objects.filter(lane=lane)
            if "lane-swap" in {one["check"] for one in day.findings}
        ]
        # the first of them, 27 May 2024, is Memorial Day and not judged
        assert swapped == [FIRST_ON + dt.timedelta(days=k) for k in range(57, 63)]
    limit("lane-swap", 0.3, is_off=True)
    derived_refresh(lane=outer, first_on=FIRST_ON, last_on=last_on)
    for day in LaneDay.objects.filter(lane=outer):
        assert "lane-swap" not in {one["check"] for one in day.findings}


# --- what a file is asked ---------------------------------------------------------


def usual_weeks(lane, first_on: dt.date, weeks: int = 8) -> None:
    record_file = RecordFileFactory.create()
    rng = np.random.default_rng(1)
    for place in range(7 * weeks):
        date = first_on - dt.timedelta(days=7 * weeks - place)
        hourly = rng.poisson(SHAPE * (1.0 if date.weekday() < 5 else 0.5))
        LaneDayFactory.create(
            lane=lane, date=date, record_file=record_file,
            n_vehicles=int(hourly.sum()), hourly=hourly.astype("<u2").tobytes(),
        )  # fmt: skip


@pytest.mark.parametrize(
    ("hours_ahead", "words"),
    [(0, None), (6, "was 6 hours ahead"), (12, "was 12 hours")],
)
def test_a_files_clock_is_asked_about(hours_ahead, words):
    lane = LaneFactory.create()
    first_on = dt.date(2024, 7, 1)  # a Monday, daylight saving time before and after
    usual_weeks(lane, first_on)
    rng = np.random.default_rng(2)
    times = []
    for place in range(7):
        start = dt.datetime.combine(first_on, dt.time()) + dt.timedelta(days=place)
        hourly = rng.poisson(SHAPE * (1.0 if place < 5 else 0.5))
        for hour, n in enumerate(np.roll(hourly, hours_ahead)):
            times += [start + dt.timedelta(hours=hour, minutes=30)] * int(n)
    records = pa.Table.from_pylist(
        [
            {"time": at, "vehicle_class": 5, "gvw_kg": 9000.0, "n_axles": 2,
             "w1_kg": 4000.0, "s1_m": 5.5, "w2_kg": 5000.0, "source_line": 1}
            for at in times
        ],
        schema=STORE_SCHEMA,
    )  # fmt: skip
    key = LaneKey("99", "000101", "3", "1")
    questions = questions_of("july.csv", {key: daily_sums(records)}, {key: lane})
    if words is None:
        assert questions == []
    else:
        (question,) = questions
        assert words in question
        assert str(lane) in question


def test_a_name_that_says_other_days_is_asked_about_and_no_obstacle():
    preview = records_preview(WGT, source_name="OV-001_2019-03.wgt")
    (question,) = [note for note in preview.notes if "file's name" in note]
    assert "“2019-03”" in question
    assert str(preview.first_on) in question
    assert preview.obstacles == records_preview(WGT, source_name="a.wgt").obstacles
    named = f"OV-001_{preview.first_on:%Y-%m}.wgt"
    assert not any(
        "file's name" in note for note in records_preview(WGT, source_name=named).notes
    )
