"""Test vehicles and static weighings: readings, uncertainty, expiry, corrections."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from django.urls import reverse

from calibration.drawings import axle_layout_svg
from calibration.forms.readings import read_readings, write_readings
from calibration.models import (
    CalibrationSettings,
    SessionResult,
    StaticWeighing,
    TestVehicle,
)
from calibration.selectors import (
    fuel_burnt_kg,
    reference_parts,
    reference_sheet,
    session_errors,
)
from calibration.services import runs_add, weighing_save
from tests.calibration.factories import (
    MORNING,
    CalibrationSessionFactory,
    StaticWeighingFactory,
    TestVehicleFactory,
    unsaved_runs,
)
from wimprog.lib.errors import DomainError, UnreadableInput
from wimprog.lib.units import KG_PER_LB, UNITS

pytestmark = pytest.mark.django_db
LB = UNITS["lb"]

READINGS = "axle 1: 11,480 11,460 11,500\naxles 2-3: 34,020 34,060\naxle 2: 17,010\n"
READINGS += "axle 3: 17030\naxle 4: 17,200\naxle 5: 17,080\nwhole: 79,800"


def page(name, *args):
    return reverse(f"calibration:{name}", args=args)


def weighing_entry(**more):
    return {
        "weighed_at": "2024-05-14T06:40:00",
        "scale": "Orrin public scale",
        "certificate": "SC-12",
        "certified_on": "2024-01-10",
        "certificate_until": "2025-01-10",
        "scale_step_kg": "20",
        "scale_expanded_kg": "40",
        "scale_coverage_k": "2",
        "readings_text": READINGS,
        **more,
    }


def test_readings_are_read_line_by_line():
    found = read_readings(
        "axle 1: 11,480 11,460\n2-3 = 34,020 lb\nwhole: 36.2 t", LB, 5
    )
    assert [one["axles"] for one in found] == [[0], [0], [1, 2], [0, 1, 2, 3, 4]]
    assert found[0]["kg"] == pytest.approx(11480 * KG_PER_LB)
    assert found[3]["kg"] == pytest.approx(36200)
    again = read_readings(write_readings(found, LB, 5), LB, 5)
    assert [one["axles"] for one in again] == [one["axles"] for one in found]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("11,480", "This is not a reading of the scale"),
        ("axle 6: 11,480", "cannot have stood on the scale together"),
        ("axle 0: 11,480", "cannot have stood on the scale together"),
        ("axles 3-2: 11,480", "cannot have stood on the scale together"),
        ("axle 1: -5", "greater than zero"),
        ("axle 1: 0", "greater than zero"),
        ("axle 1: 11,48", "without guessing"),
        ("axle 1:", "The line has no weight"),
    ],
)
def test_a_reading_that_cannot_be_names_its_line(text, said):
    with pytest.raises(UnreadableInput) as caught:
        read_readings(f"axle 1: 100\n{text}", LB, 5)
    (complaint,) = caught.value.complaints
    assert complaint.row == 2
    assert said in str(complaint)


def test_axle_weights_are_means_closed_on_the_gross(program, technician, client_for):
    """Means and one ratio by hand (ASTM E1318's proportional closing, from memory)."""
    vehicle = TestVehicleFactory()
    answer = client_for(technician).post(
        page("weighing-add", vehicle.pk), weighing_entry()
    )
    assert answer.status_code == 302
    weighing = StaticWeighing.objects.get()
    assert weighing.gvw_kg == pytest.approx(79800 * KG_PER_LB)
    parts_lb = 11480 + 34040 + 17200 + 17080
    ratio = 79800 / parts_lb
    assert weighing.axle_weights_kg[0] == pytest.approx(11480 * ratio * KG_PER_LB)
    tandem_kg = weighing.axle_weights_kg[1] + weighing.axle_weights_kg[2]
    assert tandem_kg == pytest.approx(34040 * ratio * KG_PER_LB)
    text = client_for(technician).get(answer["Location"]).content.decode()
    assert "closed on the gross weight" in text
    assert "JCGM 100:2008" in text


def test_typed_readings_come_back_exactly(program, technician, client_for):
    client = client_for(technician)
    client.post(page("weighing-add", TestVehicleFactory().pk), weighing_entry())
    weighing = StaticWeighing.objects.get()
    text = client.get(page("weighing-edit", weighing.pk)).content.decode()
    assert READINGS in text
    assert 'value="20"' in text


def test_the_uncertainty_is_that_of_the_budget(program):
    """One reading each: step/√12 and 40 lb at k 2, which adds up over five axles."""
    weighing = StaticWeighingFactory(
        scale_step_kg=20.0, scale_expanded_kg=40.0, scale_coverage_k=2.0
    )
    sheet = reference_sheet(weighing, program)
    gross = sheet.reference.gross
    by_hand = math.hypot(math.sqrt(5) * 20 / math.sqrt(12), 5 * 40 / 2)
    assert gross.u_kg == pytest.approx(by_hand)
    assert sheet.budget_rows[-1].together == pytest.approx(by_hand)


def test_a_reference_that_eats_the_tolerance_warns(program, guest, client_for):
    """2u of the gross against a third of ±10 %: 3.33 % of 36,100 kg is 1,203 kg."""
    weighing = StaticWeighingFactory(scale_expanded_kg=300.0, scale_coverage_k=2.0)
    text = client_for(guest).get(page("weighing-detail", weighing.pk)).content.decode()
    assert "Too uncertain to judge by" in text
    assert " lb, " in text  # told in the program's units
    assert "at most 3.33 % (33 % of ±10 %)" in text
    CalibrationSettings.objects.create(reference_share=1.0)
    text = client_for(guest).get(page("weighing-detail", weighing.pk)).content.decode()
    assert "The reference takes much of the tolerance" not in text


def test_no_uncertainty_known_is_said_and_is_not_zero(program, guest, client_for):
    weighing = StaticWeighingFactory()
    text = client_for(guest).get(page("weighing-detail", weighing.pk)).content.decode()
    assert "No uncertainty is known" in text
    assert "0.00 %" not in text


def test_an_expired_certificate_is_said(program, technician, client_for):
    client = client_for(technician)
    entry = weighing_entry(certificate_until="2024-05-01")
    answer = client.post(
        page("weighing-add", TestVehicleFactory().pk), entry, follow=True
    )
    text = answer.content.decode()
    assert "had expired 13 days before this weighing" in text
    weighing = StaticWeighing.objects.get()
    listed = client.get(page("vehicle-detail", weighing.vehicle.pk)).content.decode()
    assert "certificate had expired" in listed


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"readings_text": ""}, "Give the readings of the scale"),
        ({"axle_weights_kg": "1 2 3 4 5"}, "not both"),
        ({"readings_text": "axle 1: 11,480"}, "do not make up the vehicle"),
        (
            {"readings_text": "axle 1: 11480\naxles 2-3: 34020\naxles 4-5: 34000"},
            "never alone on the scale",
        ),
        ({"readings_text": "", "axle_weights_kg": "1 2 3 4"}, "4 axle weights"),
        ({"readings_text": "", "axle_weights_kg": "1 2 3 4 0"}, "greater than zero"),
        ({"certified_on": "2024-06-01"}, "dated after the weighing"),
    ],
)
def test_a_weighing_that_cannot_be_is_refused(
    more, said, program, technician, client_for
):
    answer = client_for(technician).post(
        page("weighing-add", TestVehicleFactory().pk), weighing_entry(**more)
    )
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not StaticWeighing.objects.exists()


def test_groups_are_shared_evenly_only_when_asked(program, technician, client_for):
    client, vehicle = client_for(technician), TestVehicleFactory()
    entry = weighing_entry(
        readings_text="axle 1: 11480\naxles 2-3: 34020\naxles 4-5: 34000",
        split_groups="on",
    )
    answer = client.post(page("weighing-add", vehicle.pk), entry)
    kept = StaticWeighing.objects.get()
    shares_lb = [one / KG_PER_LB for one in kept.axle_weights_kg]
    assert shares_lb == pytest.approx([11480, 17010, 17010, 17000, 17000])
    assert "never alone on the scale" in client.get(answer["Location"]).content.decode()


def test_a_weighing_in_use_is_changed_with_why_and_results_follow(
    program, technician, client_for
):
    client, session = client_for(technician), CalibrationSessionFactory()
    weighing = StaticWeighingFactory()
    runs_add(
        session=session,
        runs=unsaved_runs(weighing, [1.0, 2.0, 3.0]),
        by=technician,
        why="typed",
    )
    before = SessionResult.objects.get(session=session)
    entry = weighing_entry(
        readings_text="", axle_weights_kg=" ".join(["11,000"] * 5), why=""
    )
    refused = client.post(page("weighing-edit", weighing.pk), entry)
    assert refused.status_code == 422
    assert SessionResult.objects.get(session=session).pk == before.pk
    entry["why"] = "axle 1 was misread"
    assert client.post(page("weighing-edit", weighing.pk), entry).status_code == 302
    after = SessionResult.objects.get(session=session)
    assert after.inputs_sha256 != before.inputs_sha256
    assert after.gvw_mean_pct != before.gvw_mean_pct
    text = client.get(page("weighing-detail", weighing.pk)).content.decode()
    assert "axle 1 was misread" in text
    assert "axle weights" in text


def test_a_weighing_cannot_be_moved_behind_its_runs(program, technician):
    session, weighing = CalibrationSessionFactory(), StaticWeighingFactory()
    runs_add(
        session=session, runs=unsaved_runs(weighing, [1.0]), by=technician, why="typed"
    )
    weighing.weighed_at = MORNING + dt.timedelta(hours=5)
    with pytest.raises(DomainError) as caught:
        weighing_save(weighing=weighing, by=technician, why="clock was wrong")
    assert "earlier than the static weighing" in str(caught.value.complaints[0])
    weighing.refresh_from_db()
    assert weighing.weighed_at == MORNING


def test_a_vehicle_is_drawn_and_changed_with_why(program, technician, client_for):
    client = client_for(technician)
    vehicle = StaticWeighingFactory().vehicle
    text = client.get(page("vehicle-detail", vehicle.pk)).content.decode()
    assert "5 axles, front to rear 16.7, 4.3, 32.5, 4.1 ft apart" in text
    assert "axles 2–3 tandem; axles 4–5 tandem" in text
    entry = {
        "name": vehicle.name,
        "vehicle_class": "9",
        "axle_spacings_m": "16.7 4.3 32.5 4.1",
        "origin": "test vehicle",
        "tyres": "295/75 twin",
    }
    refused = client.post(page("vehicle-edit", vehicle.pk), entry)
    assert refused.status_code == 422
    answer = client.post(page("vehicle-edit", vehicle.pk), entry | {"why": "new tyres"})
    assert answer.status_code == 302
    vehicle.refresh_from_db()
    assert vehicle.tyres == "295/75 twin"
    assert "new tyres" in client.get(answer["Location"]).content.decode()


def test_a_layout_of_two_axles_is_drawn():
    drawn = axle_layout_svg([6.0], system="si", drawing_id="a")
    assert "no axle group" in drawn
    assert drawn.count("<circle") == 2


def test_a_vehicle_from_traffic_is_weighed_once_and_said_so(
    program, technician, client_for
):
    client = client_for(technician)
    entry = {
        "name": "Traffic 12",
        "vehicle_class": "5",
        "axle_spacings_m": "18.5",
        "origin": "drawn from traffic",
    }
    client.post(page("vehicle-add"), entry)
    vehicle = TestVehicle.objects.get()
    answer = client.post(
        page("weighing-add", vehicle.pk),
        weighing_entry(readings_text="axle 1: 9,200\naxle 2: 15,300"),
        follow=True,
    )
    assert "Weighed once: axle 1, axle 2" in answer.content.decode()


def test_fuel_burnt_since_the_weighing_comes_off_the_reference(program, technician):
    """20 kg an hour: an hour after the weighing 20 kg are gone, in proportion."""
    weighing = StaticWeighingFactory(fuel_kg_per_hour=20.0)
    session = CalibrationSessionFactory()
    runs = unsaved_runs(weighing, [0.0, 0.0])
    runs[1].run_at = weighing.weighed_at + dt.timedelta(hours=1)
    kept = runs_add(session=session, runs=runs, by=technician, why="typed")
    assert fuel_burnt_kg(kept[1]) == pytest.approx(20.0)
    errors = session_errors(session, "as found")
    from calibration.calc.types import Quantity

    gross = errors[Quantity.GROSS_WEIGHT]
    assert gross.reference[1] == pytest.approx(weighing.gvw_kg - 20.0)
    assert gross.errors[1] == pytest.approx(100 * 20 / (weighing.gvw_kg - 20))
    assert reference_parts(kept)[weighing.vehicle.name].u_pct > 0


def test_pages_of_vehicles_ask_as_much_for_many_weighings_as_for_one(
    program, guest, client_for, django_assert_max_num_queries
):
    client, vehicle = client_for(guest), TestVehicleFactory()
    StaticWeighingFactory(vehicle=vehicle)
    client.get(page("vehicle-detail", vehicle.pk))

    def count():
        with django_assert_max_num_queries(25) as seen:
            assert client.get(page("vehicle-detail", vehicle.pk)).status_code == 200
        return len(seen)

    few = count()
    for n in range(1, 9):
        StaticWeighingFactory(
            vehicle=vehicle, weighed_at=MORNING + dt.timedelta(days=n)
        )
    assert count() == few
