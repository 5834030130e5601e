"""Factors proposed and set: the numbers, the stop rule, in step with the session."""

from __future__ import annotations

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from calibration.models import FactorSet, SessionResult
from calibration.selectors import factor_page
from calibration.services import factors_save, runs_add, session_close, session_save
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    TestVehicleFactory,
    unsaved_runs,
)
from tests.calibration.test_services import ERRORS_PCT
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(program):
    return CalibrationSessionFactory(factor_before=1.02)


@pytest.fixture
def weighing(db):
    return StaticWeighingFactory(vehicle=TestVehicleFactory(name="Truck A"))


def page(name, *args):
    return reverse(f"calibration:{name}", args=args)


def fill(session, weighing, errors, by, **options):
    runs = unsaved_runs(weighing, errors, **options)
    return runs_add(session=session, runs=runs, by=by, why="typed")


def test_the_ratio_is_that_of_the_sums_and_of_the_means(session, weighing, technician):
    """By numpy from the errors put in; all static weights are alike."""
    errors = [error + 6.0 for error in ERRORS_PCT]
    fill(session, weighing, errors, technician)
    found = factor_page(session, system="us").proposals
    measured = 1 + np.array(errors) / 100
    sums, inverse, mean = (one.estimate.ratio for one in found.by_method)
    assert sums == pytest.approx(1 / measured.mean())
    assert inverse == pytest.approx(1 / measured.mean())
    assert mean == pytest.approx((1 / measured).mean())
    assert found.overall.new == pytest.approx(1.02 / measured.mean())
    assert found.overall.estimate.se_runs > 0


def test_the_prediction_leaves_each_run_out(session, weighing, technician):
    """A loop over the runs, each under the ratio of all the others."""
    errors = [error + 6.0 for error in ERRORS_PCT]
    fill(session, weighing, errors, technician)
    found = factor_page(session, system="us").proposals
    measured = 1 + np.array(errors) / 100
    by_hand = [
        100 * (one / np.delete(measured, place).mean() - 1)
        for place, one in enumerate(measured)
    ]
    one = next(
        e.prediction for e in found.expected if e.prediction.label == "one factor"
    )
    assert one.errors == pytest.approx(by_hand)
    assert one.sd == pytest.approx(np.std(by_hand, ddof=1))


def test_a_change_within_its_noise_is_left_alone(
    session, weighing, guest, client_for, technician
):
    fill(session, weighing, [3.0, -3.1, 2.0, -2.2, 1.0, -0.8], technician)
    text = client_for(guest).get(page("session-factors", session.pk)).content.decode()
    assert "Leave it alone." in text
    assert "within its noise" in text
    assert "Use the one factor" not in text


def test_a_bias_is_shown_with_the_factor_to_use(
    session, weighing, technician, client_for
):
    fill(session, weighing, [e + 6 for e in ERRORS_PCT], technician)
    client = client_for(technician)
    text = client.get(page("session-factors", session.pk)).content.decode()
    assert "One new factor." in text
    assert "each run left out in turn" in text
    form = client.get(
        page("factors-edit", session.pk, "as-left") + "?use=one"
    ).content.decode()
    new = 1.02 / (1 + (np.mean(ERRORS_PCT) + 6) / 100)
    assert f'value="{new:.4f}"' in form
    answer = client.post(
        page("factors-edit", session.pk, "as-left"),
        {"overall_text": f"{new:.4f}", "method": "ratio of sums"},
    )
    assert answer.status_code == 302
    kept = FactorSet.objects.get()
    assert kept.predicted["n"] == 12
    assert kept.predicted["overall"] == pytest.approx(new)
    session.refresh_from_db()
    assert session.factor_after == pytest.approx(new, abs=5e-5)
    shown = client.get(page("session-factors", session.pk)).content.decode()
    assert "Predicted with them" in shown


def test_factors_by_speed_are_drawn_and_offered(
    session, weighing, technician, client_for
):
    slow, fast = 72.42048, 104.60736  # 45 and 65 mph
    noise = [0.3, -0.2, 0.1, -0.4, 0.2]
    fill(session, weighing, [8 + e for e in noise], technician, speed_kmh=slow)
    fill(
        session, weighing, [-2 + e for e in noise], technician, start=9, speed_kmh=fast
    )
    client = client_for(technician)
    text = client.get(page("session-factors", session.pk)).content.decode()
    assert "New factors by speed." in text
    assert "between the points" in text
    assert "45.0 mph" in text
    form = client.get(
        page("factors-edit", session.pk, "as-left") + "?use=speed"
    ).content.decode()
    assert f"45: {1.02 / 1.08:.5g}" in form


def test_typed_factors_come_back_exactly(session, technician, client_for):
    client = client_for(technician)
    entry = {
        "overall_text": "1.0200",
        "speed_lines": "45: 1.010\n65 mph = 1.0300",
        "sensor_lines": "piezo 1: 0.9850\npiezo 2: 1.0150",
    }
    url = page("factors-edit", session.pk, "as-found")
    assert client.post(url, entry).status_code == 302
    kept = FactorSet.objects.get()
    assert kept.by_speed[0] == pytest.approx([45 * 1.609344, 1.01])
    assert kept.by_sensor == {"piezo 1": 0.985, "piezo 2": 1.015}
    text = client.get(url).content.decode()
    assert 'value="1.0200"' in text
    assert "65 mph = 1.0300" in text
    assert "piezo 2: 1.0150" in text
    refused = client.post(url, entry | {"overall_text": "1.03"})
    assert refused.status_code == 422
    assert client.post(url, entry | {"why": "misread"}).status_code == 302
    assert FactorSet.objects.get().history.latest().history_change_reason == "misread"


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ({"note": ""}, "Give at least one factor"),
        ({"overall_text": "0"}, "greater than zero"),
        ({"overall_text": "-1"}, "greater than zero"),
        ({"overall_text": "one"}, "is not a number"),
        ({"overall_text": "1020"}, "cannot be a factor"),
        ({"speed_lines": "45 1.01"}, "a speed, a colon and a factor"),
        ({"speed_lines": "45: 1.01\n45: 1.02"}, "A speed is there twice"),
        ({"speed_lines": "900: 1.01"}, "A speed cannot be right"),
        ({"speed_lines": "45: 0"}, "greater than zero"),
        ({"sensor_lines": "piezo 1"}, "the sensor’s name, a colon"),
        ({"sensor_lines": "a: 1\na: 1"}, "is there twice"),
    ],
)
def test_factors_that_cannot_be_are_refused(
    entry, said, session, technician, client_for
):
    answer = client_for(technician).post(
        page("factors-edit", session.pk, "as-found"), entry
    )
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not FactorSet.objects.exists()


def test_the_session_and_its_factors_stay_in_step(session, weighing, technician):
    fill(session, weighing, ERRORS_PCT, technician)
    factors = FactorSet(session=session, stage="as found", overall=1.05)
    factors_save(factors=factors, by=technician, why="as in the controller")
    session.refresh_from_db()
    assert session.factor_before == 1.05
    session.factor_before = 1.04
    session_save(session=session, by=technician, why="misread")
    factors.refresh_from_db()
    assert factors.overall == 1.04
    left = FactorSet(session=session, stage="as left", overall=0.99)
    factors_save(factors=left, by=technician, why="set")
    session.refresh_from_db()
    session_close(session=session, factor_after=0.995, by=technician, why="done")
    left.refresh_from_db()
    assert left.overall == 0.995
    assert "in step with the session" in left.history.latest().history_change_reason
    with pytest.raises(DomainError, match="is closed"):
        factors_save(factors=left, by=technician, why="late")


def test_a_slip_of_the_point_is_refused_by_the_service(session, technician):
    factors = FactorSet(session=session, stage="as left", by_sensor={"a": 98.5})
    with pytest.raises(ValidationError, match="cannot be a factor"):
        factors_save(factors=factors, by=technician, why="set")


def test_verification_runs_prove_the_adjustment(
    session, weighing, technician, client_for
):
    fill(session, weighing, [e + 6 for e in ERRORS_PCT], technician)
    fill(
        session, weighing, [e - 1 for e in ERRORS_PCT], technician, start=30,
        stage="as left",
    )  # fmt: skip
    client = client_for(technician)
    for name in ("session-detail", "session-factors"):
        text = client.get(page(name, session.pk)).content.decode()
        assert "Did the adjustment work?" in text
        assert "The adjustment worked" in text
    assert SessionResult.objects.filter(session=session).count() == 2


def test_without_runs_the_page_says_so(session, guest, client_for):
    text = client_for(guest).get(page("session-factors", session.pk)).content.decode()
    assert "There is no run in use" in text


def test_a_guest_sets_nothing(session, guest, client_for):
    url = page("factors-edit", session.pk, "as-left")
    assert client_for(guest).get(url).status_code == 403


def test_no_third_stage(session, technician, client_for):
    url = page("factors-edit", session.pk, "in-between")
    assert client_for(technician).get(url).status_code == 404


def test_the_page_asks_as_much_for_30_runs_as_for_3(
    session, weighing, technician, client_for, django_assert_max_num_queries
):
    client = client_for(technician)

    def count():
        with django_assert_max_num_queries(25) as seen:
            url = page("session-factors", session.pk)
            assert client.get(url).status_code == 200
        return len(seen)

    fill(session, weighing, ERRORS_PCT[:3], technician)
    count()
    few = count()
    fill(session, weighing, ERRORS_PCT * 2, technician, start=20)
    assert count() == few
