"""`manage.py derive`, and the records that a corrected or set-aside day gives out."""

from __future__ import annotations

import datetime as dt
import io

import numpy as np
import pytest
from django.core.management import call_command

from quality.calc.scaled_weights import scaling_of
from quality.models import BackCorrection, LaneDay, LaneWeek, RecordPart, RecordSettings
from quality.selectors.corrections import weights_of
from quality.selectors.weeks import stored_figures
from quality.services import days_decide, records_import
from tests.quality.conftest import SAMPLES

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]


@pytest.fixture
def lane(store, analyst):
    """The sample's busiest lane, all days accepted."""
    records_import(SAMPLES / "orrin_w2016.wgt", by=analyst)
    week = LaneWeek.objects.order_by("-n_vehicles").first()
    lane = week.lane
    days = lane.days.order_by("date")
    days_decide(
        lane=lane, from_on=days.first().date, to_on=days.last().date,
        decision="accepted", reason="seen", by=analyst,
    )  # fmt: skip
    return lane


def span(lane):
    days = lane.days.order_by("date")
    return {"first_on": days.first().date, "last_on": days.last().date}


def derive(*args):
    out, err = io.StringIO(), io.StringIO()
    call_command("derive", *args, stdout=out, stderr=err)
    return out.getvalue()


def test_derive_works_out_what_is_missing_and_goes_on_where_it_stopped(lane):
    whole = {week.pk: week.figures for week in LaneWeek.objects.all()}
    gone = LaneWeek.objects.filter(lane=lane)
    gone.update(figures={})
    LaneDay.objects.filter(lane=lane).update(
        findings=[{"check": "old", "weight": "look at"}]
    )
    told = derive("--figures-only", "--site", lane.wim_site.code)
    assert f"{lane}: {len(gone)} weeks worked out, 0 up to date" in told
    assert "Drift looked for in" in told
    again = {week.figures["made_of"] for week in LaneWeek.objects.all()}
    assert again == {figures["made_of"] for figures in whole.values()}
    derive()
    checks = {one["check"] for day in lane.days.all() for one in day.findings}
    assert "old" not in checks
    assert "0 weeks worked out" in derive("--figures-only")


def test_derive_fails_on_a_part_that_cannot_be_read(lane, store, capsys):
    for path in RecordPart.objects.values_list("path", flat=True):
        (store / path).unlink()
    LaneWeek.objects.update(figures={})
    with pytest.raises(SystemExit) as refused:
        derive()
    assert refused.value.code == 2


def test_a_site_without_lanes_is_refused(lane):
    with pytest.raises(SystemExit) as refused:
        derive("--site", "OV-nowhere")
    assert refused.value.code == 2


def test_set_aside_days_are_kept_and_given_out_to_nobody(lane, analyst, store):
    (piece,) = weights_of(lane, **span(lane))
    first = span(lane)["first_on"]
    n_parts = RecordPart.objects.count()
    days_decide(
        lane=lane, from_on=first, to_on=first, decision="set aside",
        reason="seen", by=analyst,
    )  # fmt: skip
    for only in (True, False):
        (left,) = weights_of(lane, accepted_only=only, **span(lane))
        on = np.asarray(left.records.column("time")).astype("datetime64[D]")
        assert 0 < left.records.num_rows < piece.records.num_rows
        assert np.datetime64(first) not in on
    assert RecordPart.objects.count() == n_parts
    assert all((store / path).exists() for path in
               RecordPart.objects.values_list("path", flat=True))  # fmt: skip


def test_corrected_days_are_scaled_marked_and_the_others_as_recorded(lane):
    days = span(lane)
    start = days["first_on"] + dt.timedelta(days=1)
    raw = weights_of(lane, **days)[0].records
    one = BackCorrection.objects.create(
        lane=lane, from_on=start, to_on=days["last_on"], factor=1.05, factor_low=1.04,
        factor_high=1.06, n_weeks=9, n_trucks=900, basis="a drift", state="allowed",
    )  # fmt: skip
    assert len(weights_of(lane, **days)) == 1
    RecordSettings.objects.create(use_corrections=True)
    before, after = weights_of(lane, **days)
    assert (before.correction, after.correction) == (None, one)
    assert scaling_of(before.records.schema) is None
    assert scaling_of(after.records.schema).factor == 1.05
    on = np.asarray(raw.column("time")).astype("datetime64[D]")
    gvw = np.asarray(raw.column("gvw_kg"))[on >= np.datetime64(start)]
    np.testing.assert_allclose(
        np.asarray(after.records.column("gvw_kg")), gvw * 1.05, rtol=1e-6
    )


def test_weeks_after_a_calibration_are_held_against_its_first(lane, monkeypatch):
    """The last week's peaks come once the eight weeks after a calibration are there."""
    from quality.services import week_figuring

    figures = stored_figures(LaneWeek.objects.filter(lane=lane).first())
    first = LaneWeek.objects.filter(lane=lane).order_by("week_on").first()
    monkeypatch.setattr(
        week_figuring, "calibration_days", lambda ids: {lane.pk: [first.week_on]}
    )
    for place in range(1, 12):
        LaneWeek.objects.update_or_create(
            lane=lane,
            week_on=first.week_on + dt.timedelta(weeks=place),
            defaults={
                "n_vehicles": 900, "n_days": 7, "steering_mean_kg": 5000.0,
                "steering_sd_kg": 400.0, "gvw_mean_kg": 30_000.0,
                "figures": many(figures) | {"made_of": "x"},
            },
        )  # fmt: skip
    LaneWeek.objects.filter(pk=first.pk).update(
        figures=many(figures) | {"made_of": "x"}
    )
    n_held = week_figuring._hold(lane, first.week_on, first.week_on)
    assert n_held == 12
    last = LaneWeek.objects.filter(lane=lane).order_by("week_on").last()
    found = stored_figures(last)
    assert found.peaks is not None
    assert found.peaks.gain_offset.gain == pytest.approx(1.0, abs=0.01)
    assert found.distance is not None
    assert week_figuring._hold(lane, first.week_on, first.week_on) == 0


def many(figures):
    """A week of 2,000 trucks with peaks at 15 and 35 t, in place of its own."""
    from dataclasses import replace

    from quality.calc.mixture_fit import N_STEPS, STEP_KG

    rng = np.random.default_rng(3)
    gvw = np.r_[
        rng.normal(15_000, 1_500, 700), rng.normal(24_000, 5_000, 500),
        rng.normal(35_000, 1_500, 800),
    ]  # fmt: skip
    steps = np.clip((gvw / STEP_KG).astype(int), 0, N_STEPS)
    counts = np.bincount(steps, minlength=N_STEPS + 1).astype(np.int64)
    return replace(figures, counts=counts).as_dict()


def test_a_long_delivery_leaves_its_weeks_to_derive_and_drops_stale_figures(
    lane, monkeypatch, analyst
):
    from quality.services import deriving

    monkeypatch.setattr(deriving, "MOST_WEEKS", 0)
    first = span(lane)["first_on"]
    days_decide(
        lane=lane, from_on=first, to_on=first, decision="set aside",
        reason="seen", by=analyst,
    )  # fmt: skip
    week = LaneWeek.objects.get(
        lane=lane, week_on=first - dt.timedelta(days=first.weekday())
    )
    assert week.figures == {}
