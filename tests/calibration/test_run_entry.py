"""Runs at the roadside: what is kept, questioned and refused, and what they show."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from calibration.models import SessionPlan, SessionResult, TruckRun
from calibration.selectors import live_now
from calibration.services import run_change, runs_add, session_close
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    unsaved_runs,
)
from tests.calibration.test_services import ERRORS_PCT
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(program):
    return CalibrationSessionFactory(factor_before=1.0)


@pytest.fixture
def weighing(db):
    return StaticWeighingFactory(scale_step_kg=10.0, scale_expanded_kg=20.0)


def page(name, *args):
    return reverse(f"calibration:{name}", args=args)


def entry(weighing, **more):
    return {
        "number": "",
        "stage": "as found",
        "weighing": weighing.pk,
        "run_at": "2024-05-14T08:00:00",
        "axle_weights_kg": "11,500 17,000 16,900 17,200 17,100",
        "speed_kmh": "55",
        "pavement_temp_c": "061",
        "lane_position": "centre",
        **more,
    }


def fill(session, weighing, errors, by, **options):
    runs = unsaved_runs(weighing, errors, **options)
    return runs_add(session=session, runs=runs, by=by, why="typed")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"axle_weights_kg": "11,500 17,000 16,900 17,200"}, "which has 5 axles"),
        ({"axle_weights_kg": "1 2 3 4 5 6"}, "which has 5 axles"),
        ({"axle_weights_kg": "11,500 0 16,900 17,200 17,100"}, "greater than zero"),
        ({"axle_weights_kg": "11,500 -5 16,900 17,200 17,100"}, "greater than zero"),
        ({"axle_weights_kg": "11,500 lots 1 2 3"}, "is not a number"),
        ({"axle_weights_kg": ""}, "required"),
        ({"run_at": "2024-05-14T05:00:00"}, "earlier than the static weighing"),
        ({"run_at": "noon"}, "Enter a valid date/time"),
        ({"speed_kmh": "0"}, "greater than or equal to 1"),
        ({"speed_kmh": "-55"}, "greater than or equal to 1"),
        ({"pavement_temp_c": "400"}, "less than or equal to 90"),
        ({"axle_spacings_m": "16.7 4.3"}, "2 axle spacings"),
        ({"left_wheel_weights_kg": "5 5 5 5 5"}, "both sides, or none at all"),
        (
            {
                "left_wheel_weights_kg": "5,000 8,500 8,400 8,600 8,500",
                "right_wheel_weights_kg": "1,000 8,500 8,500 8,600 8,600",
            },
            "do not make up its axle weight",
        ),
        (
            {"axle_weights_kg": "17,100 17,200 16,900 17,000 11,500"},
            "much better from rear to front",
        ),
        ({"axle_spacings_m": "4.1 32.5 4.3 16.7"}, "much better from rear to front"),
        ({"axle_spacings_m": "1.1 0.3 2.2 0.3"}, "times the wheelbase"),
        ({"axle_weights_kg": "16.7 4.3 32.5 4.1 5"}, "not the spacings"),
        ({"axle_weights_kg": "5200 7700 7650 7800 7750"}, "pounds to kilograms"),
    ],
)
def test_a_run_that_cannot_be_is_refused_in_words(
    more, said, session, weighing, technician, client_for
):
    answer = client_for(technician).post(
        page("run-add", session.pk), entry(weighing, **more)
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    for value in more.values():
        assert value in text  # what was typed is still there
    assert not TruckRun.objects.exists()


def test_a_questioned_run_is_taken_when_the_figures_are_right(
    session, weighing, technician, client_for
):
    typed = entry(weighing, axle_weights_kg="17,100 17,200 16,900 17,000 11,500")
    client = client_for(technician)
    assert client.post(page("run-add", session.pk), typed).status_code == 422
    typed["units_are_right"] = "on"
    assert client.post(page("run-add", session.pk), typed).status_code == 302


def test_a_truck_is_not_back_within_a_minute(session, weighing, technician, client_for):
    client = client_for(technician)
    assert client.post(page("run-add", session.pk), entry(weighing)).status_code == 302
    again = client.post(
        page("run-add", session.pk), entry(weighing, run_at="2024-05-14T08:00:40")
    )
    assert "cannot be back so soon" in again.content.decode()
    other = StaticWeighingFactory()
    answer = client.post(
        page("run-add", session.pk), entry(other, run_at="2024-05-14T08:00:40")
    )
    assert answer.status_code == 302


def test_the_same_pass_twice_is_refused(session, weighing, technician, client_for):
    client = client_for(technician)
    client.post(page("run-add", session.pk), entry(weighing))
    again = client.post(page("run-add", session.pk), entry(weighing))
    assert "the same vehicle at the same time as run 1" in again.content.decode()
    number = client.post(
        page("run-add", session.pk),
        entry(weighing, number="1", run_at="2024-05-14T08:30:00"),
    )
    assert "Run number 1 is already taken" in number.content.decode()
    assert TruckRun.objects.count() == 1


def test_the_next_run_starts_from_the_last(session, weighing, technician, client_for):
    client = client_for(technician)
    client.post(page("run-add", session.pk), entry(weighing, stage="as left"))
    text = client.get(page("run-add", session.pk)).content.decode()
    assert 'value="as left" required' in text.replace(" checked", "")
    assert text.count(" checked>") == 3  # stage, vehicle, position
    assert 'value="061"' in text
    assert "Kept from the run before" in text


def test_one_run_gives_no_verdict_and_says_why(
    session, weighing, technician, client_for
):
    fill(session, weighing, [1.5], technician)
    text = client_for(technician).get(page("run-add", session.pk)).content.decode()
    assert "One run shows no spread" in text
    assert SessionResult.objects.get().verdict_word == "cannot say"


def test_after_each_run_the_page_says_how_it_stands(
    session, weighing, technician, client_for
):
    fill(session, weighing, ERRORS_PCT, technician)
    text = client_for(technician).get(page("run-add", session.pk)).content.decode()
    assert "So far, as found: 12 runs" in text
    assert "12 runs give the mean error to" in text
    assert "ASTM E1318" in text
    assert "static weights’ own uncertainty" in text


def test_the_plan_says_how_many_runs_are_wanted(session, weighing, technician):
    fill(session, weighing, ERRORS_PCT[:5], technician)
    SessionPlan.objects.create(
        lane=session.lane,
        session=session,
        planned_on=session.held_on,
        speeds_kmh=[80.0],
        bias_to_show_pct=1.0,
    )
    session.refresh_from_db()
    live = live_now(session, "as found", system="us")
    assert live.worth.wanted == 1.0
    assert live.worth.n_wanted > 5
    assert f"takes {live.worth.n_wanted} runs" in live.worth.sentence


def test_an_outlier_is_advice_and_sets_nothing_aside(session, weighing, technician):
    fill(session, weighing, [*ERRORS_PCT, 40.0], technician)
    live = live_now(session, "as found", system="us")
    assert [flag.run for flag in live.outliers.flags] == ["13"]
    assert live.n == 13


def test_a_slip_of_units_is_asked_about_again_where_it_was_let_through(
    session, weighing, technician
):
    runs = unsaved_runs(weighing, [120.46, 121.0])
    runs_add(
        session=session, runs=runs, by=technician, why="typed", units_are_right=True
    )
    live = live_now(session, "as found", system="us")
    assert "2 of 2 runs weigh about 2.2" in live.unit_question


def test_a_run_is_corrected_with_why_and_results_follow(
    session, weighing, technician, client_for
):
    client = client_for(technician)
    client.post(page("run-add", session.pk), entry(weighing))
    fill(session, weighing, [1.0, 2.0], technician, start=20)
    run = TruckRun.objects.get(number=1)
    before = SessionResult.objects.get()
    form = client.get(page("run-edit", run.pk)).content.decode()
    assert "11,500 17,000 16,900 17,200 17,100" in form
    changed = entry(
        weighing, number="1", axle_weights_kg="11,900 17,000 16,900 17,200 17,100"
    )
    refused = client.post(page("run-edit", run.pk), changed)
    assert refused.status_code == 422
    assert SessionResult.objects.get().pk == before.pk
    answer = client.post(page("run-edit", run.pk), changed | {"why": "misread a 5"})
    assert answer.status_code == 302
    run.refresh_from_db()
    kept = run.history.latest()
    assert (kept.history_user, kept.history_change_reason) == (
        technician,
        "misread a 5",
    )
    assert SessionResult.objects.get().gvw_mean_pct > before.gvw_mean_pct
    text = client.get(page("run-edit", run.pk)).content.decode()
    assert "misread a 5" in text
    assert "changed: axle weights" in text


def test_a_corrected_run_is_held_to_the_same_rules(session, weighing, technician):
    made = fill(session, weighing, [1.0, 2.0], technician)
    run = TruckRun.objects.select_related("session", "weighing__vehicle").get(
        pk=made[1].pk
    )
    run.run_at = made[0].run_at
    with pytest.raises(DomainError) as caught:
        run_change(run=run, by=technician, why="clock")
    assert "same vehicle at the same time" in str(caught.value.complaints[0])
    run.run_at = weighing.weighed_at - dt.timedelta(hours=1)
    with pytest.raises(DomainError) as caught:
        run_change(run=run, by=technician, why="clock")
    assert "earlier than the static weighing" in str(caught.value.complaints[0])


def test_a_closed_session_keeps_its_runs(session, weighing, technician, client_for):
    run = fill(session, weighing, ERRORS_PCT, technician)[0]
    session_close(session=session, factor_after=1.0, by=technician, why="done")
    answer = client_for(technician).post(
        page("run-edit", run.pk),
        entry(weighing, number="1", why="late"),
    )
    assert answer.status_code == 422
    assert "is closed" in answer.content.decode()


def test_wheel_loads_are_kept_as_typed(session, weighing, technician, client_for):
    client = client_for(technician)
    typed = entry(
        weighing,
        left_wheel_weights_kg="5,900 8,600 8,500 8,700 8,600",
        right_wheel_weights_kg="5,600 8,400 8,400 8,500 8,500",
    )
    assert client.post(page("run-add", session.pk), typed).status_code == 302
    run = TruckRun.objects.get()
    assert run.as_typed["left_wheel_weights_kg"] == [
        "5,900 8,600 8,500 8,700 8,600",
        "lb",
    ]
    text = client.get(session.get_absolute_url()).content.decode()
    assert "Left against right" in text


def test_entry_asks_as_much_after_30_runs_as_after_3(
    session, weighing, technician, client_for, django_assert_max_num_queries
):
    client = client_for(technician)

    def count():
        with django_assert_max_num_queries(30) as seen:
            assert client.get(page("run-add", session.pk)).status_code == 200
        return len(seen)

    fill(session, weighing, ERRORS_PCT[:3], technician)
    count()
    few = count()
    fill(session, weighing, ERRORS_PCT * 2, technician, start=20)
    assert count() == few
