"""Figures of weeks: from the stored records, kept, made anew only when needed."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from quality.models import LaneDay, LaneWeek, RecordPart
from quality.records.store import read_parts
from quality.selectors.weeks import MADE_OF, stored_figures
from quality.services import days_decide, records_import
from quality.services.week_figuring import week_figures_refresh
from tests.quality.conftest import SAMPLES

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]


@pytest.fixture
def week(store, analyst):
    records_import(SAMPLES / "orrin_w2016.wgt", by=analyst)
    return LaneWeek.objects.order_by("-n_vehicles").first()


def by_hand(store, week):
    """The week's five-axle class 9 records, read with plain pandas."""
    paths = RecordPart.objects.filter(lane=week.lane).values_list("path", flat=True)
    frame = read_parts(store, paths).to_pandas()
    start = np.datetime64(week.week_on)
    rows = (frame["time"] >= start) & (frame["time"] < start + np.timedelta64(7, "D"))
    return frame[rows]


def test_a_weeks_figures_are_those_of_its_records(store, week):
    figures = stored_figures(week)
    frame = by_hand(store, week)
    assert figures.n_vehicles == len(frame) > 0
    kind = frame[(frame["vehicle_class"] == 9) & (frame["n_axles"] == 5)]
    assert 0 < figures.n_trucks <= len(kind)
    assert figures.counts.sum() == figures.n_trucks
    assert figures.peaks is None
    assert "no reference period" in figures.notes[0]


def test_looking_again_works_nothing_out(week):
    done = week_figures_refresh(lane=week.lane)
    assert (done.n_worked_out, done.n_held) == (0, 0)
    assert done.n_let_be == LaneWeek.objects.filter(lane=week.lane).count()


def test_days_set_aside_leave_the_weeks_figures_and_come_back(store, week, analyst):
    before = stored_figures(week)
    day = LaneDay.objects.filter(
        lane=week.lane, date__range=(week.week_on, week.week_on + dt.timedelta(days=6))
    ).first()
    gone = int((by_hand(store, week)["time"].dt.date == day.date).sum())

    def decide(decision):
        days_decide(
            lane=week.lane, from_on=day.date, to_on=day.date, decision=decision,
            reason="seen on site", by=analyst,
        )  # fmt: skip
        found = LaneWeek.objects.filter(lane=week.lane, week_on=week.week_on).first()
        return stored_figures(found) if found else None

    without = decide("set aside")
    assert (without.n_vehicles if without else 0) == before.n_vehicles - gone
    assert decide("accepted") == before


def test_a_part_that_cannot_be_read_leaves_the_week_without_figures(
    store, week, analyst, caplog
):
    for path in RecordPart.objects.values_list("path", flat=True):
        (store / path).unlink()
    LaneWeek.objects.filter(pk=week.pk).update(figures={})
    days_decide(
        lane=week.lane, from_on=week.week_on,
        to_on=week.week_on + dt.timedelta(days=6),
        decision="accepted", reason="seen", by=analyst,
    )  # fmt: skip
    again = LaneWeek.objects.get(lane=week.lane, week_on=week.week_on)
    assert MADE_OF not in again.figures
    assert "cannot be read" in caplog.text
