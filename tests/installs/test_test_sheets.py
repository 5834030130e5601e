"""A spreadsheet of tests through its pages: shown, kept whole, recognised again."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from installs.models import ElectricalTest, Instrument, Reading
from installs.services import ReadingInput
from installs.services import tests_record_many as keep_many
from installs.services.test_sheets import test_sheet_keep as keep_sheet
from installs.services.test_sheets import tests_from_sheet as plan_of
from tests import factories
from wimprog.lib.errors import DomainError, UnreadableInput

pytestmark = pytest.mark.django_db

HEAD = (
    "site,lane,position,serial,tested at,stage,instrument,tested by,"
    "pavement temp (°F),test voltage (V),insulation resistance (GΩ),capacitance (nF)"
)


def row(**changes):
    cells = {
        "site": "OV-014",
        "lane": "E1",
        "position": "piezo 1",
        "serial": "",
        "tested at": "2024-05-03 10:15",
        "stage": "visit",
        "instrument": "tester 3",
        "tested by": "T. Quist",
        "temp": "81.0",
        "volts": "500",
        "insulation": "> 2",
        "capacitance": "08.10",
    }
    return ",".join(str(cell) for cell in (cells | changes).values())


def sheet(*rows):
    return "\n".join((HEAD, *rows)).encode()


def plan(*rows, name="May.csv"):
    return plan_of(content=sheet(*rows), name=name)


def upload(*rows, name="May.csv"):
    return {"sheet": SimpleUploadedFile(name, sheet(*rows), "text/csv")}


def words(complaints):
    return " ".join(str(one) for one in complaints)


# --- the plan ----------------------------------------------------------------------


def test_a_row_becomes_a_test_with_what_was_typed(world, manager):
    known = Instrument.objects.create(kind="Tester", serial="3")
    found = plan(row())
    assert (found.complaints, found.questions, found.known) == ((), (), ())
    (made,) = keep_sheet(plan=found, by=manager)
    made.refresh_from_db()
    assert made.installation == world.live[0]
    # 10:15 on a day in May in Denver is six hours behind Greenwich.
    assert made.tested_at == dt.datetime(2024, 5, 3, 16, 15, tzinfo=dt.UTC)
    assert made.typed("pavement_temp_c").text == "81.0"
    assert made.pavement_temp_c == pytest.approx((81 - 32) / 1.8)
    assert made.test_voltage_v == 500.0
    assert (made.instrument, made.instrument_used) == ("tester 3", known)
    readings = {one.quantity: one for one in made.readings.all()}
    insulation = readings["insulation resistance"]
    assert (insulation.value, insulation.over_range) == (2000.0, True)
    assert insulation.typed == "> 2 GΩ"
    assert readings["capacitance"].typed == "08.10"
    (entry,) = made.history.all()
    assert entry.history_user == manager
    assert entry.history_change_reason == "imported from May.csv"


def test_the_life_is_the_one_that_covers_the_day(world):
    (old,) = plan(row(**{"tested at": "2020-05-03 10:15"})).new
    assert old.test.installation == world.failed
    by_serial = plan(row(position="", serial=world.live[0].sensor.serial.lower()))
    assert by_serial.new[0].test.installation == world.live[0]
    bench = plan(row(**{"tested at": "2021-06-14 10:15", "stage": "bench"}))
    assert bench.new[0].test.installation == world.live[0]
    assert plan(row(lane="1", site="ov-014")).new[0].test.installation == world.live[0]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"site": "OV-999"}, "No site has this code"),
        ({"lane": "W1"}, "no such lane. Found “W1”. Expected one of E1, E2"),
        ({"position": "piezo 9"}, "No sensor of this lane answers to it"),
        ({"serial": "unknown"}, "No sensor of this lane answers to it"),
        ({"tested at": "2017-05-03 10:15"}, "was installed on 2018-06-01"),
        ({"tested at": "2026-05-03 10:15"}, "lies ahead"),
        ({"tested at": "2024-03-10 02:30"}, "clocks went forward"),
    ],
)
def test_what_does_not_fit_what_is_stored_is_told_by_row(world, changes, said):
    found = plan(row(), row(**changes))
    (one,) = found.complaints
    assert one.row == 3
    assert said in str(one)
    with pytest.raises(DomainError, match=r"Nothing was stored"):
        keep_sheet(plan=found, by=None)
    assert ElectricalTest.objects.count() == 0


def test_two_lives_on_one_day_need_the_serial(world, manager):
    world.failed.ended_on = world.live[0].installed_on
    world.failed.save()
    on = {"tested at": "2021-06-15 10:15"}
    (one,) = plan(row(**on)).complaints
    assert "2 sensors were there that day" in one.message
    assert plan(row(serial=world.failed.sensor.serial, **on)).complaints == ()


def test_a_row_twice_in_a_sheet_is_told(world):
    found = plan(row(), row(capacitance="9"))
    assert "repeats the test of row 2" in words(found.complaints)


def test_the_same_sheet_again_adds_nothing(world, manager):
    rows = (row(), row(lane="E2"))
    assert len(keep_sheet(plan=plan(*rows), by=manager)) == 2
    again = plan(*rows)
    assert again.is_empty
    assert (len(again.known), again.complaints) == (2, ())
    assert keep_sheet(plan=again, by=manager) == []
    more = plan(*rows, row(**{"tested at": "2024-05-10 10:15"}))
    assert (len(more.new), len(more.known)) == (1, 2)
    assert len(keep_sheet(plan=more, by=manager)) == 1
    assert (ElectricalTest.objects.count(), Reading.objects.count()) == (3, 6)


def test_a_kept_test_with_other_values_is_told_and_not_overwritten(world, manager):
    keep_sheet(plan=plan(row()), by=manager)
    found = plan(row(capacitance="8.3"))
    (one,) = found.complaints
    assert "kept already, with other readings" in one.message
    assert "capacitance 8.1" in one.expected
    with pytest.raises(DomainError):
        keep_sheet(plan=found, by=manager)


def test_one_wrong_row_keeps_nothing(world, manager):
    found = plan(row(), row(lane="E2", capacitance="8,3"))
    assert found.complaints
    with pytest.raises(DomainError):
        keep_sheet(plan=found, by=manager)
    assert ElectricalTest.objects.count() == 0


def test_who_comes_second_is_told_so(world, manager):
    first, second = plan(row()), plan(row())
    keep_sheet(plan=first, by=manager)
    with pytest.raises(DomainError) as caught:
        keep_sheet(plan=second, by=manager)
    assert "already kept" in str(caught.value)
    assert caught.value.complaints[0].row == 2
    assert ElectricalTest.objects.count() == 1


def test_a_value_a_power_of_ten_off_is_questioned(world, manager):
    tests = [
        (
            factories.ElectricalTestFactory.build(
                installation=world.live[0],
                tested_at=dt.datetime(2023, month, 3, 16, tzinfo=dt.UTC),
            ),
            {"capacitance": ReadingInput(8.0 + month / 100, "8")},
        )
        for month in (1, 2, 3)
    ]
    keep_many(tests=tests, by=manager, why="before")
    found = plan(row(capacitance="81"))
    (one,) = found.questions
    assert (one.row, one.field, one.value) == (2, "capacitance", "81")
    assert "about 10 times" in one.message
    assert "n 3" in one.message
    assert found.complaints == ()
    with pytest.raises(DomainError, match="slip of the decimal point"):
        keep_sheet(plan=found, by=manager)
    assert len(keep_sheet(plan=found, by=manager, values_are_right=True)) == 1


def test_planning_asks_the_same_of_2_rows_and_of_40(world):
    def asked(n):
        at = dt.datetime(2024, 1, 1, 10, 15)  # noqa: DTZ001
        days = [at + dt.timedelta(days=i) for i in range(n)]
        rows = [row(**{"tested at": f"{day:%Y-%m-%d %H:%M}"}) for day in days]
        with CaptureQueriesContext(connection) as caught:
            assert len(plan(*rows).new) == n
        return len(caught)

    assert asked(2) == asked(40)


def test_what_is_no_sheet_is_refused(world):
    with pytest.raises(UnreadableInput):
        plan_of(content=b"\x00", name="x.csv")


# --- the pages ---------------------------------------------------------------------


def test_a_sheet_is_shown_first_and_kept_when_confirmed(client_for, technician, world):
    client = client_for(technician)
    url = reverse("installs:tests-import")
    assert "Nothing is stored before" in client.get(url).content.decode()
    shown = client.post(url, upload(row(), row(lane="E2")))
    assert shown.status_code == 200
    page = shown.content.decode()
    assert "&gt; 2 GΩ" in page
    assert "3 May 2024, 10:15" in page
    assert "Keep 2 tests, all or none" in page
    assert ElectricalTest.objects.count() == 0
    kept = client.post(url, {"held": shown.context["held"]}, follow=True)
    assert "2 tests are kept" in kept.content.decode()
    assert ElectricalTest.objects.count() == 2
    twice = client.post(url, {"held": shown.context["held"]}, follow=True)
    assert "Nothing was added" in twice.content.decode()
    again = client.post(url, upload(row(), row(lane="E2"))).content.decode()
    assert "There is nothing to add" in again
    assert "Keep 2" not in again


def test_faults_are_listed_and_there_is_no_way_to_keep_them(
    client_for, technician, world
):
    url = reverse("installs:tests-import")
    shown = client_for(technician).post(url, upload(row(), row(stage="never")))
    assert shown.status_code == 422
    page = shown.content.decode()
    assert "not a stage" in page
    assert "Keep " not in page
    held = shown.context["held"]
    forced = client_for(technician).post(url, {"held": held})
    assert forced.status_code == 422
    assert ElectricalTest.objects.count() == 0


def test_what_was_held_belongs_to_who_gave_it_and_cannot_be_changed(
    client_for, technician, world, django_user_model
):
    url = reverse("installs:tests-import")
    held = client_for(technician).post(url, upload(row())).context["held"]
    other = django_user_model.objects.create_user("other", password="x")
    other.groups.set(technician.groups.all())
    for client, text in (
        (client_for(other), held),
        (client_for(technician), held[:-3] + "abc"),
    ):
        answer = client.post(url, {"held": text})
        assert answer.status_code == 422
        assert "cannot be read any more" in answer.content.decode()
    assert ElectricalTest.objects.count() == 0


@pytest.mark.parametrize(
    "content", [b"", b"\x00\x01", b"PK\x03\x04", b"x" * 1_000_001], ids=len
)
def test_no_file_that_is_none_gets_past_the_form(client_for, technician, content):
    url = reverse("installs:tests-import")
    sent = {"sheet": SimpleUploadedFile("odd.xlsx", content)}
    answer = client_for(technician).post(url, sent)
    assert answer.status_code == 422
    assert "Nothing was" in answer.content.decode()


def test_only_who_records_tests_may_import(client_for, guest, analyst):
    for user in (guest, analyst):
        assert client_for(user).get(reverse("installs:tests-import")).status_code == 403
