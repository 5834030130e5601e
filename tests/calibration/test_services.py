"""Runs are kept all or none, with who and why; results follow; sheets repeat safely."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from scipy import stats

from calibration.models import (
    SessionResult,
    StaticWeighing,
    TestVehicle,
    TruckRun,
)
from calibration.services import (
    results_refresh,
    run_restore,
    run_set_aside,
    runs_add,
    runs_from_sheets,
    session_close,
    session_save,
    sheets_keep,
)
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    pounds,
    unsaved_runs,
)
from wimprog.lib.errors import DomainError, UnreadableInput

pytestmark = pytest.mark.django_db
ERRORS_PCT = [1.5, -2.0, 3.1, 0.4, 2.2, -0.7, 4.0, 1.1, -1.9, 2.6, 0.2, 1.8]

STATIC = (
    b"vehicle,class,scale_certificate,weighed_at,axle_1_lb,axle_2_lb,axle_3_lb,"
    b"spacing_1_ft,spacing_2_ft\n"
    b"T1,5,SC-1,2024-05-14T06:40,11000,9000,9100,16.8,4.4\n"
)
RUNS = (
    b"run,vehicle,time,speed_mph,axle_1_lb,axle_2_lb,axle_3_lb\n"
    b"1,T1,2024-05-14T08:00:00,48,11100,9050,9000\n"
    b'2,T1,2024-05-14T08:10:00,55.50,"10,900",9150,9200\n'
)


@pytest.fixture
def session(program):
    return CalibrationSessionFactory(factor_before=1.02)


@pytest.fixture
def weighing(db):
    return StaticWeighingFactory()


def add(session, runs, by, **options):
    return runs_add(session=session, runs=runs, by=by, why="typed", **options)


def test_results_are_those_of_scipy(session, weighing, technician):
    """Mean, sd and t interval by numpy and scipy from the errors that were put in."""
    add(session, unsaved_runs(weighing, ERRORS_PCT), technician)
    result = SessionResult.objects.get(session=session)
    n = len(ERRORS_PCT)
    mean, sd = np.mean(ERRORS_PCT), np.std(ERRORS_PCT, ddof=1)
    low, high = stats.t.interval(0.95, n - 1, loc=mean, scale=sd / np.sqrt(n))
    assert (result.stage, result.n_runs) == ("as found", n)
    assert result.gvw_mean_pct == pytest.approx(mean)
    assert result.gvw_sd_pct == pytest.approx(sd)
    assert (result.gvw_low_pct, result.gvw_high_pct) == pytest.approx((low, high))
    assert result.verdict["standard"] == "astm-e1318"
    assert len(result.inputs_sha256) == 64
    assert result.method_version


def test_every_run_has_a_history_with_who_and_why(session, weighing, technician):
    made = add(session, unsaved_runs(weighing, ERRORS_PCT[:3]), technician)
    kept = TruckRun.history.filter(id=made[0].pk).get()
    assert (kept.history_user, kept.history_change_reason) == (technician, "typed")
    assert TruckRun.history.count() == 3


def test_one_bad_run_keeps_all_out(session, weighing, technician):
    runs = unsaved_runs(weighing, ERRORS_PCT[:4])
    runs[1].axle_weights_kg = runs[1].axle_weights_kg[:4]
    runs[2].axle_weights_kg[0] = -5.0
    runs[3].run_at = weighing.weighed_at - dt.timedelta(minutes=1)
    with pytest.raises(DomainError) as caught:
        add(session, runs, technician)
    said = [str(one) for one in caught.value.complaints]
    assert len(said) == 3
    assert any("Run 2 has 4 axle weights" in one for one in said)
    assert any("greater than zero" in one for one in said)
    assert any("Run 4 is earlier than the static weighing" in one for one in said)
    assert TruckRun.objects.count() == 0
    assert TruckRun.history.count() == 0


def test_a_failure_after_the_runs_takes_them_back(
    session, weighing, technician, monkeypatch
):
    def fail(session):
        raise RuntimeError("the results could not be kept")

    monkeypatch.setattr("calibration.services.runs.results_refresh", fail)
    with pytest.raises(RuntimeError, match="could not be kept"):
        add(session, unsaved_runs(weighing, ERRORS_PCT[:2]), technician)
    assert TruckRun.objects.count() == 0
    assert TruckRun.history.count() == 0


def test_copies_are_refused_by_number_and_by_pass(session, weighing, technician):
    add(session, unsaved_runs(weighing, [1.0, 2.0]), technician)
    same_number = unsaved_runs(weighing, [1.0], start=2)
    same_pass = unsaved_runs(weighing, [1.0], start=1)
    same_pass[0].number = 9
    with pytest.raises(DomainError) as caught:
        add(session, [*same_number, *same_pass], technician)
    first, second = (str(one) for one in caught.value.complaints)
    assert "Run number 2 is already taken" in first
    assert "same time as run 1" in second


def test_pounds_for_kilograms_are_questioned(session, weighing, technician):
    runs = unsaved_runs(weighing, [0.5, 0.7])
    for run in runs:
        run.axle_weights_kg = pounds(run.axle_weights_kg)
    with pytest.raises(DomainError) as caught:
        add(session, runs, technician)
    assert "pounds to kilograms" in str(caught.value.complaints[0])
    assert TruckRun.objects.count() == 0
    assert len(add(session, runs, technician, units_are_right=True)) == 2


def test_runs_without_a_number_get_the_next_free_ones(session, weighing, technician):
    add(session, unsaved_runs(weighing, [1.0], start=7), technician)
    runs = unsaved_runs(weighing, [1.0, 2.0], start=20)
    for run in runs:
        run.number = None
    assert [run.number for run in add(session, runs, technician)] == [8, 9]


def test_a_closed_session_refuses_runs(session, weighing, technician):
    made = add(session, unsaved_runs(weighing, [1.0]), technician)
    session_close(session=session, factor_after=1.01, by=technician, why="done")
    session.refresh_from_db()
    assert (session.state, session.factor_after) == ("closed", 1.01)
    with pytest.raises(DomainError, match="is closed"):
        add(session, unsaved_runs(weighing, [1.0], start=5), technician)
    with pytest.raises(DomainError, match="is closed"):
        run_set_aside(run=made[0], reason="late thought", by=technician)
    with pytest.raises(DomainError, match="closed already"):
        session_close(session=session, factor_after=1.5, by=technician, why="")


def test_setting_a_run_aside_changes_the_result_and_keeps_why(
    session, weighing, technician
):
    made = add(session, unsaved_runs(weighing, [1.0, 2.0, 9.0]), technician)
    before = SessionResult.objects.get(session=session)
    run_set_aside(run=made[2], reason="braked on the sensor", by=technician)
    after = SessionResult.objects.get(session=session)
    assert after.n_runs == 2
    assert after.gvw_mean_pct == pytest.approx(1.5)
    assert after.inputs_sha256 != before.inputs_sha256
    latest = TruckRun.history.filter(id=made[2].pk).latest()
    assert "braked on the sensor" in latest.history_change_reason
    run_restore(run=made[2], by=technician)
    again = SessionResult.objects.get(session=session)
    assert again.inputs_sha256 == before.inputs_sha256
    assert again.n_runs == 3


def test_a_run_is_not_set_aside_without_a_reason(session, weighing, technician):
    (made,) = add(session, unsaved_runs(weighing, [1.0]), technician)
    with pytest.raises(DomainError, match="with a reason"):
        run_set_aside(run=made, reason="  ", by=technician)
    made.refresh_from_db()
    assert made.excluded is False


def test_one_run_gives_no_verdict(session, weighing, technician):
    add(session, unsaved_runs(weighing, [1.0]), technician)
    result = SessionResult.objects.get(session=session)
    assert result.verdict_word == "cannot say"
    assert result.gvw_sd_pct is None
    assert "1 run" in result.verdict["overall"]["sentence"]


def test_stages_are_kept_apart(session, weighing, technician):
    add(session, unsaved_runs(weighing, [4.0, 5.0]), technician)
    add(
        session,
        unsaved_runs(weighing, [0.0, 1.0], start=10, stage="as left"),
        technician,
    )
    means = {r.stage: r.gvw_mean_pct for r in results_refresh(session)}
    assert means == pytest.approx({"as found": 4.5, "as left": 0.5})


def test_an_unknown_class_is_refused(session, technician):
    from django.core.exceptions import ValidationError

    session.wanted_class = "Type IX"
    with pytest.raises(ValidationError, match="no class"):
        session_save(session=session, by=technician, why="")


def plan_of(session, **options):
    return runs_from_sheets(
        session=session, static_file=STATIC, runs_file=RUNS, **options
    )


def test_sheets_are_planned_without_writing_then_kept(session, technician):
    plan = plan_of(session)
    assert TestVehicle.objects.count() == StaticWeighing.objects.count() == 0
    assert (len(plan.vehicles_new), len(plan.weighings_new)) == (1, 1)
    assert len(plan.runs_new) == 2
    sheets_keep(session=session, plan=plan, by=technician, why="import")
    run = TruckRun.objects.get(session=session, number=2)
    assert run.as_typed["axle_weights_kg"] == ["10,900 9150 9200", "lb"]
    assert run.as_typed["speed_kmh"] == ["55.50", "mph"]
    # 08:10 in Denver in May is 14:10 UTC
    assert run.run_at == dt.datetime(2024, 5, 14, 14, 10, tzinfo=dt.UTC)
    assert SessionResult.objects.get(session=session).n_runs == 2


def test_the_same_sheets_again_add_nothing(session, technician):
    sheets_keep(session=session, plan=plan_of(session), by=technician, why="import")
    again = plan_of(session)
    assert again.is_empty
    assert (len(again.vehicles_known), len(again.weighings_known)) == (1, 1)
    assert len(again.runs_known) == 2
    assert sheets_keep(session=session, plan=again, by=technician, why="import") == []
    assert TruckRun.objects.count() == 2


def test_a_grown_sheet_adds_only_what_is_new(session, technician):
    sheets_keep(session=session, plan=plan_of(session), by=technician, why="import")
    grown = RUNS + b"3,T1,2024-05-14T08:20:00,50,11000,9000,9050\n"
    plan = runs_from_sheets(session=session, static_file=STATIC, runs_file=grown)
    assert (len(plan.runs_new), len(plan.runs_known)) == (1, 2)
    sheets_keep(session=session, plan=plan, by=technician, why="import")
    assert TruckRun.objects.count() == 3


def test_a_stored_run_with_other_weights_is_not_overwritten(session, technician):
    sheets_keep(session=session, plan=plan_of(session), by=technician, why="import")
    changed = RUNS.replace(b"11100,9050,9000", b"11900,9050,9000")
    with pytest.raises(UnreadableInput) as caught:
        runs_from_sheets(session=session, static_file=STATIC, runs_file=changed)
    assert "stored already as run 1" in str(caught.value.complaints[0])


def test_a_taken_number_says_which_are_free(session, technician):
    sheets_keep(session=session, plan=plan_of(session), by=technician, why="import")
    later = RUNS.replace(b"T08:", b"T11:")
    with pytest.raises(UnreadableInput) as caught:
        runs_from_sheets(
            session=session, static_file=STATIC, runs_file=later, stage="as left"
        )
    assert "numbers from 3 on" in str(caught.value.complaints[0])


def test_a_failing_run_takes_the_new_vehicle_back(session, technician, monkeypatch):
    def fail(**options):
        raise DomainError("no room for runs")

    plan = plan_of(session)
    monkeypatch.setattr("calibration.services.sheets.runs_add", fail)
    with pytest.raises(DomainError, match="no room"):
        sheets_keep(session=session, plan=plan, by=technician, why="import")
    assert TestVehicle.objects.count() == StaticWeighing.objects.count() == 0
