"""Makes and models with what they are held to, and data sheets, through their pages."""

from __future__ import annotations

import pytest
from django.urls import reverse

from installs.models import ElectricalLimit, Sensor, SensorModel
from installs.selectors.electrical_rules import (
    data_sheet_values,
    limits_by_model,
    rules_by_model,
)
from tests import factories

pytestmark = pytest.mark.django_db

EMPTY_SET = {
    "quantity": "",
    "low": "",
    "high": "",
    "source": "",
    "data_sheet_tolerance_pct": "",
    "baseline_tolerance_pct": "",
    "temp_coefficient_pct_per_c": "",
    "reference_temp_c": "",
    "coefficient_source": "",
}


def posted(*sets, initial=0, **more):
    data = {
        "maker": "Invented Works",
        "name": "Strip 7",
        "technology": "polymer piezo",
        "note": "",
        "why": "",
        "limits-TOTAL_FORMS": len(sets),
        "limits-INITIAL_FORMS": initial,
        "limits-MIN_NUM_FORMS": 0,
        "limits-MAX_NUM_FORMS": 20,
    }
    for i, cells in enumerate(sets):
        data |= {f"limits-{i}-{name}": v for name, v in (EMPTY_SET | cells).items()}
    return data | more


CAPACITANCE = {
    "quantity": "capacitance",
    "low": "7.50",
    "high": "",
    "source": "maker's sheet (invented)",
    "data_sheet_tolerance_pct": "15 %",
    "baseline_tolerance_pct": "10",
    "temp_coefficient_pct_per_c": "+0.20",
    "reference_temp_c": "68",
    "coefficient_source": "maker's sheet (invented)",
}


def test_a_model_is_added_with_its_limits_in_one_go(client_for, manager, program):
    client = client_for(manager)
    url = reverse("installs:sensor-model-add")
    insulation = {
        "quantity": "insulation resistance",
        "low": "1 GΩ",
        "source": "maker's sheet (invented)",
    }
    answer = client.post(url, posted(CAPACITANCE, insulation, {}), follow=True)
    assert answer.status_code == 200
    model = SensorModel.objects.get()
    limits = {one.quantity: one for one in model.limits.all()}
    assert limits["insulation resistance"].low == 1000.0
    assert limits["insulation resistance"].as_typed["low"] == ["1 GΩ", "MΩ"]
    one = limits["capacitance"]
    assert (one.low, one.high) == (7.5, None)
    assert (one.data_sheet_tolerance_pct, one.baseline_tolerance_pct) == (15.0, 10.0)
    assert one.temp_coefficient_pct_per_c == 0.2  # a share a degree, no temperature
    assert one.reference_temp_c == pytest.approx(20.0)
    assert one.typed("reference_temp_c").text == "68"
    page = answer.content.decode()
    assert "At least 7.5 nF" in page
    assert "Within ±15 % of it" in page
    assert "+0.2 % per °C about 68 °F" in page
    assert "At least 0.1 times them" in page  # the usual one, with its standing
    assert "from memory" in page


def test_typed_numbers_come_back_and_changes_keep_who_and_why(
    client_for, manager, program
):
    client = client_for(manager)
    client.post(reverse("installs:sensor-model-add"), posted(CAPACITANCE))
    model = SensorModel.objects.get()
    limit = model.limits.get()
    url = reverse("installs:sensor-model-edit", args=[model.pk])
    page = client.get(url).content.decode()
    for typed in ('value="7.50"', 'value="15 %"', 'value="+0.20"', 'value="68"'):
        assert typed in page
    changed = CAPACITANCE | {"low": "8.0", "id": limit.pk}
    data = posted(changed, {}, initial=1, why="new sheet of May")
    answer = client.post(url, data, follow=True)
    limit.refresh_from_db()
    assert limit.low == 8.0
    newest = limit.history.first()
    assert (newest.history_user, newest.history_change_reason) == (
        manager,
        "new sheet of May",
    )
    shown = answer.content.decode()
    assert "new sheet of May" in shown
    assert "changed: at least 8" in shown
    assert "added: at least 7.5" in shown


def test_a_limit_is_taken_away_with_its_history_kept(client_for, manager, program):
    limit = factories.ElectricalLimitFactory()
    model = limit.sensor_model
    gone = {
        "quantity": limit.quantity,
        "low": "20",
        "source": limit.source,
        "id": limit.pk,
        "DELETE": "on",
    }
    data = posted(gone, initial=1, why="never agreed") | {
        "maker": model.maker,
        "name": model.name,
    }
    url = reverse("installs:sensor-model-edit", args=[model.pk])
    page = client_for(manager).post(url, data, follow=True).content.decode()
    assert not ElectricalLimit.objects.exists()
    newest = ElectricalLimit.history.first()
    assert (newest.history_type, newest.history_change_reason) == ("-", "never agreed")
    assert newest.history_user == manager
    assert "removed: at least 20" in page


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"low": "", "data_sheet_tolerance_pct": ""}, None),
        ({"low": "9", "high": "8"}, "highest value is below the lowest"),
        ({"reference_temp_c": ""}, "needs its reference"),
        ({"coefficient_source": ""}, "needs its reference"),
        ({"low": "7,5"}, "without guessing"),
        ({"low": "> 7"}, "leave the “&gt;” out"),
        ({"low": "7 MΩ"}, "is not a unit of capacitance"),
        ({"temp_coefficient_pct_per_c": "30"}, "less than or equal to 20"),
        ({"data_sheet_tolerance_pct": "0"}, "greater than or equal to 0.01"),
        ({"source": ""}, "required"),
        (EMPTY_SET | {"quantity": "capacitance", "source": "own"}, "Give a lowest"),
    ],
)
def test_limits_that_cannot_be_say_why_and_nothing_is_kept(
    client_for, manager, program, cells, said
):
    url = reverse("installs:sensor-model-add")
    answer = client_for(manager).post(url, posted(CAPACITANCE | cells))
    if said is None:
        assert answer.status_code == 302
        return
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not SensorModel.objects.exists()


def test_one_quantity_twice_is_refused(client_for, manager, program):
    url = reverse("installs:sensor-model-add")
    answer = client_for(manager).post(url, posted(CAPACITANCE, CAPACITANCE))
    assert answer.status_code == 422
    assert not SensorModel.objects.exists()


def test_the_usual_limits_are_offered_with_their_standing(client_for, manager, program):
    model = factories.SensorModelFactory()
    url = reverse("installs:sensor-model-edit", args=[model.pk])
    page = client_for(manager).get(url, {"usual": ""}).content.decode()
    assert "in-service piezo practice (from memory)" in page
    assert 'value="20"' in page
    assert not model.limits.exists()


def test_the_list_counts_and_leads_on(client_for, guest, world):
    factories.ElectricalLimitFactory(sensor_model=world.live[0].sensor.model)
    client = client_for(guest)
    page = client.get(reverse("installs:sensor-model-list"))
    (row,) = (one.record for one in page.context["table"].rows)
    assert (row.n_limits, row.n_sensors) == (1, 3)
    detail = reverse("installs:sensor-model-detail", args=[row.pk])
    assert detail in page.content.decode()
    assert client.get(detail).status_code == 200
    listed = client.get(reverse("installs:sensor-list")).content.decode()
    assert reverse("installs:sensor-model-list") in listed


def test_only_the_manager_changes_limits(client_for, technician, guest, world):
    model = world.live[0].sensor.model
    for user in (technician, guest):
        client = client_for(user)
        for url in (
            reverse("installs:sensor-model-add"),
            reverse("installs:sensor-model-edit", args=[model.pk]),
        ):
            assert client.get(url).status_code == 403


# --- data sheets -------------------------------------------------------------------


def test_a_data_sheet_is_kept_as_typed(client_for, technician, world):
    sensor = world.live[0].sensor
    url = reverse("installs:sensor-data-sheet", args=[sensor.pk])
    client = client_for(technician)
    assert client.get(url).status_code == 200
    sent = {"capacitance": "08.40", "insulation resistance": "2 GΩ", "why": "typed in"}
    page = client.post(url, sent, follow=True).content.decode()
    sensor.refresh_from_db()
    assert sensor.data_sheet == {
        "capacitance": "08.40",
        "insulation resistance": "2 GΩ",
    }
    assert "08.40 nF" in page
    assert "2 GΩ" in page
    assert sensor.history.first().history_change_reason == "typed in"
    assert 'value="08.40"' in client.get(url).content.decode()


@pytest.mark.parametrize("text", ["0", "> 8", "-1", "8 MΩ", "about 8"])
def test_a_data_sheet_gives_numbers_above_zero(client_for, technician, world, text):
    sensor = world.live[0].sensor
    url = reverse("installs:sensor-data-sheet", args=[sensor.pk])
    answer = client_for(technician).post(url, {"capacitance": text})
    assert answer.status_code == 422
    assert Sensor.objects.get(pk=sensor.pk).data_sheet == {}


def test_data_sheets_are_read_in_the_quantitys_unit():
    found = data_sheet_values(
        {"capacitance": "8040 pF", "inductance": 121, "colour": "red", "lot": "7"}
    )
    assert found == {"capacitance": 8.04, "inductance": 121.0}
    assert data_sheet_values(None) == {}


# --- rules -------------------------------------------------------------------------


def test_a_row_without_a_side_is_no_limit():
    row = factories.ElectricalLimitFactory(low=None, baseline_tolerance_pct=5.0)
    pk = row.sensor_model_id
    assert limits_by_model([pk]).get(pk, {}) == {}
    rules = rules_by_model([pk])[pk][row.quantity]
    assert rules.limit is None
    assert (rules.first_tolerance.low, rules.first_tolerance.high) == (0.95, 1.05)
    assert rules.first_tolerance.standing == "agency's own"


def test_what_was_not_entered_is_usual_or_nothing():
    pk = factories.SensorModelFactory().pk
    rules = rules_by_model([pk])[pk]
    assert rules["capacitance"].data_sheet_tolerance.standing == "from memory"
    assert rules["capacitance"].coefficient is None
    assert rules["probe resistance"].first_tolerance is None
