"""Quantities of a plan: on the page, on the sheet and in the files alike."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from installs.calc.layout.types import WorkFigures, WorkStep
from installs.calc.types import Technology
from installs.models import WorkSettings
from installs.selectors.plans import layout_of, plan_rows, work_settings_get
from installs.selectors.quantities import quantities_of, usual_hours, work_figures
from installs.services.plans import plan_save, plan_start, work_settings_save
from wimprog.lib.units import M_PER_FT, UnitSystem

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan(world):
    lane = world.lanes[0]
    lane.width_m = 12 * M_PER_FT
    return plan_start(lane=lane, technology=Technology.POLYMER_PIEZO, by=None, why="")


def found_for(plan, **more):
    layout = layout_of(plan, plan_rows(plan))
    work = work_settings_get()
    return quantities_of(layout, work, system=UnitSystem.US, **more)


def amount(plan, key):
    return found_for(plan).takeoff.amount(key)


def sheet(client, plan, fmt, **query):
    address = reverse("installs:plan-quantities-export", args=[plan.pk, fmt])
    return client.get(address, query)


def rows_of_csv(answer):
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_supports_are_counted_by_hand(plan):
    """Two sensors of 11 ft, every 6 in: 22 gaps, 23 supports each; 46 + 10 % is 51."""
    assert amount(plan, "supports") == 51


def test_the_agencys_own_figures_are_reckoned_with(plan):
    """Without waste and every 12 in: 11 gaps, 12 supports on each of two sensors."""
    work = WorkSettings(
        support_spacing_mm=304.8,
        small_parts_waste_share=0.0,
        resin_kit_l=2.5,
        step_hours={WorkStep.LAYOUT.value: 3.5, "a step of long ago": 9},
    )
    work_settings_save(work=work, by=None, why="")
    assert amount(plan, "supports") == 24
    found = found_for(plan)
    hours = {line.step: line.amount for line in found.hours}
    assert hours[WorkStep.LAYOUT] == 3.5
    assert any("2.5 L" in line.name for line in found.pick_list)
    assert work_figures(work).crew_size == work.crew_size


def test_the_files_hold_the_numbers_of_the_calculation(client_for, guest, plan):
    found = found_for(plan)
    lines = [*found.pick_list, *found.work, *found.hours]
    rows = rows_of_csv(sheet(client_for(guest), plan, "csv"))
    kept = {row["key"]: row for row in rows}
    assert len(rows) == len(lines) + 1  # and the closure
    for line in lines:
        row = kept[line.key]
        assert float(row["amount (SI)"]) == pytest.approx(line.amount, rel=1e-12)
        assert row["unit (SI)"] == line.unit
        if line.unit == "m":
            shown = float(row["amount"]) * M_PER_FT
            assert row["unit"] == "ft"
            assert shown == pytest.approx(line.amount, rel=1e-12)
    assert float(kept["closure"]["amount"]) == pytest.approx(found.closure.hours)
    book = load_workbook(io.BytesIO(sheet(client_for(guest), plan, "xlsx").content))
    table = list(book.active.iter_rows(values_only=True))
    by_key = {row[1]: row for row in table[1:]}
    for line in lines:
        assert by_key[line.key][5] == pytest.approx(line.amount, rel=1e-12)


def test_only_csv_and_xlsx_can_be_had(client_for, guest, plan):
    assert sheet(client_for(guest), plan, "pdf").status_code == 404


def test_the_page_shows_pick_list_hours_and_closure(client_for, guest, plan):
    address = reverse("installs:plan-quantities", args=[plan.pk])
    page = client_for(guest).get(address).content.decode()
    for told in ("Chairs or clips", "Backer rod", "Grout kits", "Decides the closure"):
        assert told in page
    assert "Before you start" in page
    sheet_page = client_for(guest).get(reverse("installs:plan-sheet", args=[plan.pk]))
    assert "Chairs or clips" in sheet_page.content.decode()


def test_a_longer_cure_lengthens_the_closure_and_is_judged(client_for, guest, plan):
    """Where the cure decides, one hour more of it is one hour more of closure."""
    client = client_for(guest)
    address = reverse("installs:plan-quantities", args=[plan.pk])
    usual = client.get(address, {"cure": "120"}).context["quantities"].closure.hours
    query = {"cure": "180", "allowed": f"{usual + 0.5:.3f}"}
    found = client.get(address, query).context["quantities"].closure
    assert found.hours == pytest.approx(usual + 1.0)
    assert found.judgement.verdict == "misses"
    rows = rows_of_csv(sheet(client, plan, "csv", **query))
    assert float(rows[-1]["amount"]) == pytest.approx(usual + 1.0)
    wrong = client.get(address, {"cure": "soon"})
    assert wrong.status_code == 422
    assert "is not a number" in wrong.content.decode()


def test_the_agencys_longest_closure_holds_where_a_job_says_no_other(
    client_for, guest, plan
):
    work_settings_save(work=WorkSettings(longest_closure_h=1.0), by=None, why="")
    client = client_for(guest)
    address = reverse("installs:plan-quantities", args=[plan.pk])
    judged = client.get(address).context["quantities"].closure.judgement
    assert judged.verdict == "misses"
    assert judged.limit == "at most 1 h by the work settings"
    asked = client.get(address, {"allowed": "99"}).context["quantities"].closure
    assert asked.judgement.verdict == "meets"
    assert asked.judgement.limit == "at most 99 h by the traffic control plan"


def test_without_own_figures_the_settings_reckon_as_the_calculation_does():
    kept, usual = asdict(work_figures(WorkSettings())), asdict(WorkFigures())
    assert kept.pop("source") == "the agency's work settings"
    assert kept.pop("step_hours") == usual.pop("step_hours") == {}
    del usual["source"]
    assert kept == pytest.approx(usual, rel=1e-12)


def test_own_blade_wire_and_cable_are_reckoned_with(plan):
    """A kit for both sensors instead of one each; a cut of 20 mm once along 19 mm."""
    work_settings_save(work=WorkSettings(resin_kit_l=500.0), by=None, why="")
    fresh = found_for(plan).takeoff
    work = work_settings_get()
    own = {
        "blade_width_mm": 20.0,
        "blade_diameter_mm": 500.0,
        "wire_diameter_mm": 1.0,
        "lead_diameter_mm": 1.0,
        "kits_by_pour": False,
    }
    for name, value in own.items():
        setattr(work, name, value)
    work_settings_save(work=work, by=None, why="")
    figures = work_figures(work_settings_get())
    assert {name: getattr(figures, name) for name in own} == own
    taken = found_for(plan).takeoff
    assert (fresh.amount("grout-kits"), taken.amount("grout-kits")) == (2, 1)
    assert taken.amount("saw-cut") < fresh.amount("saw-cut")
    assert taken.amount("sealant-volume") > fresh.amount("sealant-volume")


def test_a_slot_without_its_depth_is_no_data_never_zero(client_for, guest, plan):
    row = next(r for r in plan_rows(plan) if r.kind == "axle sensor")
    row.slot_depth_mm = None
    plan_save(plan=plan, elements=[row], by=None, why="")
    address = reverse("installs:plan-quantities", args=[plan.pk])
    page = client_for(guest).get(address).content.decode()
    assert f"“{row.name}” has no" in page
    assert "no data" in page
    rows = rows_of_csv(sheet(client_for(guest), plan, "csv"))
    grout = next(r for r in rows if r["key"] == "grout-volume")
    assert grout["amount"] == ""


def test_a_body_larger_than_its_slot_is_refused_in_words(client_for, guest, plan):
    row = next(r for r in plan_rows(plan) if r.kind == "axle sensor")
    row.sensor_area_mm2 = 10_000.0
    plan_save(plan=plan, elements=[row], by=None, why="")
    for name in ("plan-quantities", "plan-sheet"):
        answer = client_for(guest).get(reverse(f"installs:{name}", args=[plan.pk]))
        assert answer.status_code == 200
        assert "more room than the slot has" in answer.content.decode()


def test_every_step_tells_what_it_usually_takes():
    assert set(usual_hours()) == {step.value for step in WorkStep}


def test_quantities_ask_the_same_of_few_elements_and_of_many(
    client_for, guest, plan, django_assert_num_queries
):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = client_for(guest)
    address = reverse("installs:plan-quantities", args=[plan.pk])

    def queries():
        client.get(address)
        with CaptureQueriesContext(connection) as caught:
            client.get(address)
        return len(caught)

    few = queries()
    for i in range(10):
        plan.elements.create(
            kind="temperature probe",
            name=f"probe {i}",
            start_m=8.0 + i,
            length_m=0.02,
            across_from_m=0.1,
            across_to_m=0.2,
        )
    assert queries() == few
