"""Plans: kept as typed, refused in plain words, shown with what they show, begun."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math

import pytest
from django.urls import reverse

from calibration.models import CalibrationSession, SessionPlan
from calibration.services import plans as services
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    TestVehicleFactory,
    unsaved_runs,
)
from tests.factories import LaneFactory
from wimprog.lib.errors import DomainError
from wimprog.lib.units import KMH_PER_MPH

pytestmark = pytest.mark.django_db

T_975_19 = 2.093
"""Student t, 0.975, 19 degrees (NIST/SEMATECH e-Handbook, table 1.3.6.7.2)."""
CHI2_19 = (8.907, 32.852)
"""Chi-square, 0.025 and 0.975, 19 degrees (the same handbook, table 1.3.6.7.4)."""


def page(name, *args):
    return reverse(f"calibration:{name}", args=args)


@pytest.fixture
def lane(program):
    return LaneFactory()


@pytest.fixture
def trucks(db):
    return [TestVehicleFactory(name="Truck A"), TestVehicleFactory(name="Truck B")]


def make_plan(lane, trucks, by, **options):
    values = {
        "planned_on": dt.date(2024, 6, 10),
        "speeds_kmh": [50 * KMH_PER_MPH, 60 * KMH_PER_MPH],
        "lane_positions": ["left", "centre", "right"],
        "traffic_control_plan": "TCP-31",
    }
    plan = SessionPlan(lane=lane, **values | options)
    return services.plan_save(plan=plan, vehicles=trucks, by=by, why="")


def sent(lane, trucks, **change):
    return {
        "lane": lane.pk,
        "planned_on": "2024-06-10",
        "standard": "astm-e1318",
        "wanted_class": "Type I",
        "plan": "R1",
        "environment": "I",
        "vehicles": [one.pk for one in trucks],
        "speeds_kmh": "50.0 60",
        "runs_per_vehicle": "10",
        "with_lane_edges": "on",
        "pavement_temps": "cool morning, hot afternoon",
        "bias_to_show_pct": "2",
        "expected_sd_pct": "3",
        **change,
    }


def test_a_plan_comes_back_as_typed(lane, trucks, analyst, client_for):
    client = client_for(analyst)
    answer = client.post(page("plan-add"), sent(lane, trucks))
    assert answer.status_code == 302
    plan = SessionPlan.objects.get()
    assert plan.speeds_kmh == pytest.approx([80.4672, 96.56064])  # miles of 1959
    assert list(plan.vehicles.all()) == trucks
    text = client.get(page("plan-edit", plan.pk)).content.decode()
    assert 'value="50.0 60"' in text
    assert plan.history.get().history_user == analyst


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"speeds_kmh": "50 55 60"}, "plan 9 or 12"),
        ({"speeds_kmh": "50 50"}, "A speed appears twice"),
        ({"speeds_kmh": "50 fast"}, "separate the speeds by spaces"),
        ({"wanted_class": "B(10)"}, "has no class"),
        ({"vehicles": []}, "Choose the vehicles"),
        ({"runs_per_vehicle": "2"}, "1 runs at a speed cannot be shared over 2"),
    ],
)
def test_what_cannot_be_driven_is_refused(
    lane, trucks, technician, client_for, change, words
):
    answer = client_for(technician).post(page("plan-add"), sent(lane, trucks, **change))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not SessionPlan.objects.exists()


def test_the_curves_are_those_of_the_tables(lane, trucks, manager, client_for):
    """20 runs of two trucks: t and chi-square from the handbook's printed tables.

    Spread 3 %, of which 1.5 % is the trucks' own: √(9 − 2.25) % is left for runs.
    """
    plan = make_plan(lane, trucks, manager)
    answer = client_for(manager).get(page("plan-export", plan.pk, "csv"))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    row = next(one for one in rows if one["planned"] == "yes")
    assert (row["runs of each"], row["runs in all"]) == ("10", "20")
    half = T_975_19 * math.sqrt(9 - 2.25) / math.sqrt(20)
    assert float(row["half-width of the bias, these trucks %"]) == pytest.approx(
        half, rel=1e-3
    )
    for name, chi2 in zip(
        ("spread high factor", "spread low factor"), CHI2_19, strict=True
    ):
        assert float(row[name]) == pytest.approx(math.sqrt(19 / chi2), rel=1e-3)
    # two trucks: t(0.975, 1) = 12.706 over their means
    like = 12.706 * math.hypot(1.5 / math.sqrt(2), math.sqrt(9 - 2.25) / math.sqrt(20))
    assert float(row["half-width, trucks like these %"]) == pytest.approx(
        like, rel=1e-3
    )
    text = client_for(manager).get(plan.get_absolute_url()).content.decode()
    assert "2 trucks are 2" in text
    assert f"±{half:.2f}" in text


def test_a_plan_says_what_the_standard_asks_and_how_sure_that_is(
    lane, trucks, manager, client_for
):
    """E1318: two vehicles, 20 runs, two speeds, both edges (facts.md 1.3, memory)."""
    plan = make_plan(
        lane, trucks[:1], manager, lane_positions=["centre"], runs_per_vehicle=4
    )
    text = client_for(manager).get(plan.get_absolute_url()).content.decode()
    assert "At least 2 vehicles" in text
    assert "At least 20 runs in all" in text
    assert "near the left edge" in text
    assert "not checked against the document" in text
    assert "not planned" in text
    assert "One truck says nothing about others" in text


def test_a_standard_without_a_rule_to_plan_for_says_so(
    lane, trucks, manager, client_for
):
    plan = make_plan(lane, trucks, manager, standard="oiml-r134", wanted_class="10-F")
    text = client_for(manager).get(plan.get_absolute_url()).content.decode()
    assert "has no rule for gross weight" in text
    assert "Chance of passing</title>" not in text
    assert "How well the spread is known" in text


def test_the_run_sheet_has_every_run_and_the_cautions(
    lane, trucks, manager, technician, client_for
):
    plan = make_plan(lane, trucks, manager, pavement_temps="cool; hot")
    text = client_for(technician).get(page("plan-sheet", plan.pk)).content.decode()
    assert text.count('<tr><th scope="row"') == 20
    assert "50 mph" in text
    assert "TCP-31" in text
    assert "Before you start" in text
    assert "Static weighing" in text


def test_the_expected_spread_is_that_of_earlier_sessions(lane, technician, client_for):
    """Two sessions of sd 1 and 2 % with as many runs: √((1 + 4)/2) = 1.58 %."""
    from calibration.services import runs_add

    weighing = StaticWeighingFactory()
    for year, sd in ((2022, 1.0), (2023, 2.0)):
        session = CalibrationSessionFactory(lane=lane, held_on=dt.date(year, 5, 14))
        errors = [sd / math.sqrt(4 / 3) * one for one in (1, -1, 1, -1)]
        runs_add(
            session=session,
            runs=unsaved_runs(weighing, errors),
            by=technician,
            why="typed",
        )
    answer = client_for(technician).get(page("plan-add"), {"lane": lane.pk})
    assert 'value="1.58"' in answer.content.decode()


def test_a_begun_session_is_as_planned_and_once(lane, trucks, technician, client_for):
    CalibrationSessionFactory(lane=lane, factor_after=1.04)
    plan = make_plan(lane, trucks, technician, wanted_class="Type II")
    client = client_for(technician)
    form = {"held_on": "2024-06-11", "purpose": "routine"}
    answer = client.post(page("plan-begin", plan.pk), form)
    session = CalibrationSession.objects.get(session_plan=plan)
    assert answer["Location"] == session.get_absolute_url()
    assert (session.lane, session.wanted_class) == (lane, "Type II")
    assert (session.held_on, session.factor_before) == (dt.date(2024, 6, 11), 1.04)
    assert session.traffic_control_plan == "TCP-31"
    again = client.post(page("plan-begin", plan.pk), form)
    assert again.status_code == 422
    assert "has begun already" in again.content.decode()
    with pytest.raises(DomainError, match="began from this plan"):
        services.plan_save(
            plan=SessionPlan.objects.get(), vehicles=trucks, by=technician, why=""
        )


def test_who_may_plan_and_who_may_begin(
    lane, trucks, manager, analyst, guest, outsider, client_for
):
    plan = make_plan(lane, trucks, manager)
    assert client_for(guest).get(page("plan-list")).status_code == 200
    assert client_for(guest).get(page("plan-add")).status_code == 403
    assert client_for(analyst).get(page("plan-edit", plan.pk)).status_code == 200
    assert client_for(analyst).get(page("plan-begin", plan.pk)).status_code == 403
    assert client_for(outsider).get(plan.get_absolute_url()).status_code == 403


def test_queries_do_not_grow_with_vehicles_or_plans(
    lane, trucks, manager, client_for, django_assert_max_num_queries
):
    client = client_for(manager)
    plan = make_plan(lane, trucks, manager)
    many = [TestVehicleFactory() for _ in range(6)]
    for _ in range(5):
        other = make_plan(LaneFactory(), many, manager)
    for one in (plan, other):
        with django_assert_max_num_queries(10):
            assert client.get(one.get_absolute_url()).status_code == 200
    with django_assert_max_num_queries(10):
        assert client.get(page("plan-list")).status_code == 200
