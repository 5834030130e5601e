"""Services of the roadside: rules told in plain words, history with who and why."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from installs import services
from installs.models import ElectricalTest, Installation, MaintenanceVisit, Reading
from installs.services import ReadingInput
from tests import factories
from wimprog.lib.errors import DomainError

INSULATION = "insulation resistance"
CAPACITANCE = "capacitance"


def _test_at(installation, hour=16, day=3, **more):
    return ElectricalTest(
        installation=installation,
        tested_at=dt.datetime(2023, 5, day, hour, tzinfo=dt.UTC),
        stage=more.pop("stage", "visit"),
        tested_by="M. Tarn",
        **more,
    )


def test_a_taken_position_is_refused_and_names_who_holds_it(world, technician):
    with pytest.raises(ValidationError) as refusal:
        services.sensor_install(
            sensor=factories.SensorFactory(),
            lane=world.lanes[0],
            position="piezo 1",
            installed_on=dt.date(2023, 1, 1),
            by=technician,
            why="",
        )
    words = " ".join(refusal.value.messages)
    assert str(world.live[0].sensor) in words
    assert "already holds a live sensor" in words
    assert Installation.objects.count() == 3


def test_a_sensor_still_elsewhere_is_refused(world, technician):
    with pytest.raises(ValidationError, match="still installed elsewhere"):
        services.sensor_install(
            sensor=world.live[0].sensor,
            lane=world.lanes[1],
            position="piezo 2",
            installed_on=dt.date(2023, 1, 1),
            by=technician,
            why="",
        )


def test_two_past_lives_cannot_share_a_position(world):
    inside = Installation(
        sensor=factories.SensorFactory(),
        lane=world.lanes[0],
        position="piezo 1",
        installed_on=dt.date(2019, 1, 1),
        ended_on=dt.date(2020, 1, 1),
        end_reason="pavement works",
    )
    with pytest.raises(ValidationError, match="two sensors cannot be in one place"):
        inside.full_clean()


def test_a_position_freed_on_a_day_can_be_filled_on_that_day(world, technician):
    kept = services.sensor_install(
        sensor=factories.SensorFactory(),
        lane=world.lanes[0],
        position="  piezo   2 ",
        installed_on=world.failed.ended_on,
        by=technician,
        why="",
    )
    assert kept.position == "piezo 2"


def test_a_day_ahead_is_refused(world, technician):
    with pytest.raises(DomainError, match="lies ahead of today"):
        services.sensor_install(
            sensor=factories.SensorFactory(),
            lane=world.lanes[0],
            position="piezo 9",
            installed_on=dt.date(2024, 6, 2),
            by=technician,
            why="",
        )


@pytest.mark.parametrize(
    ("reason", "mode"), [("failed", ""), ("pavement works", "lead")]
)
def test_a_failure_needs_a_mode_and_nothing_else_has_one(
    world, technician, reason, mode
):
    with pytest.raises(ValidationError, match="A failure needs its mode"):
        services.installation_end(
            installation=world.live[0],
            ended_on=dt.date(2024, 5, 1),
            end_reason=reason,
            failure_mode=mode,
            by=technician,
            why="",
        )
    world.live[0].refresh_from_db()
    assert world.live[0].ended_on is None


def test_an_ending_keeps_who_and_why(world, technician):
    services.installation_end(
        installation=world.live[0],
        ended_on=dt.date(2024, 5, 1),
        end_reason="failed",
        failure_mode="lead",
        by=technician,
        why="cut by a mower",
    )
    entry = world.live[0].history.first()
    assert (entry.history_user, entry.history_change_reason) == (
        technician,
        "cut by a mower",
    )
    with pytest.raises(DomainError, match="correct that entry"):
        services.installation_end(
            installation=Installation.objects.get(pk=world.live[0].pk),
            ended_on=dt.date(2024, 5, 2),
            end_reason="failed",
            failure_mode="lead",
            by=technician,
            why="",
        )


def test_a_sensor_tested_later_cannot_have_left_earlier(world, technician):
    factories.ElectricalTestFactory(installation=world.live[0])
    with pytest.raises(DomainError, match="It was tested in the road on 2023-05-03"):
        services.installation_end(
            installation=world.live[0],
            ended_on=dt.date(2023, 5, 2),
            end_reason="removed while working",
            by=technician,
            why="",
        )


def test_a_test_keeps_its_values_and_what_was_typed(world, technician):
    kept = services.test_record(
        test=_test_at(world.live[0]),
        readings={
            INSULATION: ReadingInput(2000.0, "> 2,000", over_range=True),
            CAPACITANCE: ReadingInput(0.0, "0"),
        },
        by=technician,
        why="",
    )
    found = set(kept.readings.values_list("quantity", "value", "typed", "over_range"))
    assert found == {
        (INSULATION, 2000.0, "> 2,000", True),
        (CAPACITANCE, 0.0, "0", False),
    }
    assert kept.history.get().history_user == technician


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ({}, "holds no reading"),
        ({INSULATION: ReadingInput(-1.0, "-1")}, "cannot be below zero"),
        ({"colour": ReadingInput(1.0)}, "not a quantity"),
        ({INSULATION: ReadingInput(float("nan"))}, "cannot be below zero"),
    ],
)
def test_readings_that_cannot_be_are_refused(world, technician, readings, words):
    with pytest.raises(DomainError, match=words):
        services.test_record(
            test=_test_at(world.live[0]), readings=readings, by=technician, why=""
        )
    assert not ElectricalTest.objects.exists()


def test_a_test_before_installation_is_a_bench_test_or_a_mistake(world, technician):
    early = dt.datetime(2021, 6, 10, 12, tzinfo=dt.UTC)
    readings = {INSULATION: ReadingInput(900.0)}
    wrong = _test_at(world.live[0])
    wrong.tested_at = early
    with pytest.raises(DomainError, match="was installed on 2021-06-15"):
        services.test_record(test=wrong, readings=readings, by=technician, why="")
    bench = _test_at(world.live[0], stage="bench")
    bench.tested_at = early
    services.test_record(test=bench, readings=readings, by=technician, why="")
    assert ElectricalTest.objects.count() == 1


def test_a_sheet_of_tests_is_kept_whole_with_history(world, technician):
    rows = [
        (_test_at(one, day=day), {INSULATION: ReadingInput(500.0 - day)})
        for one in world.live
        for day in (3, 4)
    ]
    kept = services.tests_record_many(tests=rows, by=technician, why="sheet of May")
    assert len(kept) == ElectricalTest.objects.count() == Reading.objects.count() == 4
    by_test = {t.pk: t.readings.get().value for t in ElectricalTest.objects.all()}
    assert by_test == {
        test.pk: 500.0 - test.tested_at.day for test in ElectricalTest.objects.all()
    }
    entries = ElectricalTest.history.all()
    assert {(e.history_user, e.history_change_reason) for e in entries} == {
        (technician, "sheet of May")
    }


def test_a_sheet_with_wrong_lines_keeps_nothing_and_names_them(world, technician):
    factories.ElectricalTestFactory(installation=world.live[0])
    rows = [
        (_test_at(world.live[0]), {INSULATION: ReadingInput(1.0)}),  # kept already
        (_test_at(world.live[1]), {INSULATION: ReadingInput(1.0)}),
        (_test_at(world.live[1]), {INSULATION: ReadingInput(-5.0, "-5")}),  # repeated
    ]
    with pytest.raises(DomainError) as refusal:
        services.tests_record_many(tests=rows, by=technician, why="")
    told = sorted((c.row, c.message) for c in refusal.value.complaints)
    assert told == [
        (1, "This test is already kept."),
        (3, "A reading cannot be below zero."),
        (3, "This repeats the test of line 2."),
    ]
    assert ElectricalTest.objects.count() == 1


def test_a_sheet_takes_the_same_queries_for_3_lines_and_30(world, technician):
    def queries(first_day, n):
        rows = [
            (
                _test_at(world.live[0], hour=i % 24, day=first_day + i // 24),
                {INSULATION: ReadingInput(1.0)},
            )
            for i in range(n)
        ]
        with CaptureQueriesContext(connection) as caught:
            services.tests_record_many(tests=rows, by=technician, why="")
        return len(caught)

    assert queries(1, 3) == queries(10, 30)


def test_a_visit_of_another_sites_lane_is_refused(world, technician):
    other = factories.LaneFactory()
    visit = MaintenanceVisit(
        wim_site=world.wim_site,
        lane=other,
        arrived_at=dt.datetime(2023, 5, 3, 15, tzinfo=dt.UTC),
        purpose="fault",
        people="M. Tarn",
    )
    with pytest.raises(ValidationError, match="belongs to another site"):
        services.visit_log(visit=visit, by=technician, why="")
