"""A sensor's page: three judgements, as read and corrected; what the tests point to."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from installs import selectors
from installs.models import ElectricalTest, Installation, Instrument
from installs.views.common import installations
from tests import factories

pytestmark = pytest.mark.django_db

FIRST = dt.datetime(2022, 1, 3, 18, tzinfo=dt.UTC)


def with_tests(installation, *tests, quantity="capacitance", step=120, **more):
    """Tests ``step`` days apart: a value, or (value, pavement °C)."""
    made = []
    for i, one in enumerate(tests):
        value, temp_c = one if isinstance(one, tuple) else (one, None)
        test, _ = ElectricalTest.objects.get_or_create(
            installation=installation,
            tested_at=FIRST + dt.timedelta(days=step * i),
            stage="visit",
            defaults={"tested_by": "M. Tarn", "pavement_temp_c": temp_c, **more},
        )
        factories.ReadingFactory(test=test, quantity=quantity, value=value)
        made.append(test)
    return made


def shown(installation):
    return selectors.installation_tests(installations().get(pk=installation.pk))


def held_to(installation, **columns):
    defaults = {"quantity": "capacitance", "low": None, "source": "invented"}
    return factories.ElectricalLimitFactory(
        sensor_model=installation.sensor.model, **(defaults | columns)
    )


COEFFICIENT = {
    "temp_coefficient_pct_per_c": 0.5,
    "reference_temp_c": 20.0,
    "coefficient_source": "maker's sheet (invented)",
}


def test_the_latest_value_is_judged_three_ways(world):
    one = world.live[0]
    held_to(one, low=7.0, high=9.0)
    one.sensor.data_sheet = {"capacitance": "10"}
    one.sensor.save()
    with_tests(one, 8.0, 8.8)
    (story,) = shown(one).stories
    (way,) = story.ways
    # 7 ≤ 8.8 ≤ 9; 8.8 is 0.88 of 10; 8.8 is 1.1 of 8.
    assert [str(j.verdict) for j in way.judgements] == ["meets", "meets", "meets"]
    assert [j.n for j in way.judgements] == [1, 1, 1]
    assert "data sheet's 10 nF" in way.data_sheet.limit
    assert "first readings' 8 nF" in way.first.limit
    assert story.corrected is None


def test_the_agencys_tolerances_take_the_place_of_the_usual_ones(world):
    one = world.live[0]
    held_to(one, data_sheet_tolerance_pct=5.0, baseline_tolerance_pct=5.0)
    one.sensor.data_sheet = {"capacitance": "10"}
    one.sensor.save()
    with_tests(one, 8.0, 8.8)
    way = shown(one).stories[0].as_read
    assert [str(j.verdict) for j in way.judgements] == [
        "cannot say",
        "misses",
        "misses",
    ]
    assert way.first.standing == "agency's own"


def test_a_hot_pavement_is_corrected_before_it_is_judged(world):
    """+0.5 % a °C: 9.68 nF at 62 °C is 9.68 / 1.21 = 8 nF at 20 °C."""
    one = world.live[0]
    held_to(one, low=7.0, high=9.0, **COEFFICIENT)
    with_tests(one, (8.0, 20.0), (9.68, 62.0))
    (story,) = shown(one).stories
    assert str(story.as_read.limit.verdict) == "misses"
    assert str(story.as_read.first.verdict) == "misses"
    assert story.corrected.reading.value == pytest.approx(8.0)
    assert str(story.corrected.limit.verdict) == "meets"
    assert str(story.corrected.first.verdict) == "meets"
    assert "maker's sheet (invented)" in story.corrected.how


def test_the_trend_follows_corrected_values_when_there_are_enough(world):
    """Truly steady at 8 nF; as read it climbs with the season's heat."""
    one = world.live[0]
    held_to(one, low=7.0, high=9.0, **COEFFICIENT)
    heat = (10.0, 20.0, 30.0, 40.0, 50.0)
    with_tests(one, *((8.0 * (1 + 0.005 * (t - 20)), t) for t in heat))
    (story,) = shown(one).stories
    assert story.followed.is_corrected
    assert story.trend.slope_per_year == pytest.approx(0.0, abs=1e-9)
    assert story.crossing.expected_on is None
    lane = [one.lane_id]
    assert selectors.electrical_findings(lane)[one.lane_id].crossings == ()


def test_without_temperatures_the_trend_stays_as_read_and_says_so(world, client_for):
    one = world.live[0]
    held_to(one, low=7.0, **COEFFICIENT)
    with_tests(one, (8.0, 20.0), 8.1, 8.2, 8.3)
    (story,) = shown(one).stories
    assert not story.followed.is_corrected
    assert "known on 1 day" in story.followed.why_not
    assert story.trend.n == 4


def test_zero_output_below_zero_is_kept_and_judged(client_for, technician, world):
    model = factories.SensorModelFactory(technology="load cell", name="Cell")
    cell = factories.InstallationFactory(
        lane=world.lanes[0],
        position="cell 1",
        sensor=factories.SensorFactory(model=model, lead_length_m=30.0),
    )
    factories.ElectricalLimitFactory(
        sensor_model=model, quantity="zero output", low=-0.1, high=0.1
    )
    client = client_for(technician)
    url = reverse("installs:test-add", args=[cell.pk])
    meter = Instrument.objects.create(kind="Bridge tester", serial="7")
    sent = {
        "reading_zero_output": "−0.02",
        "reading_insulation_resistance": "> 2 GΩ",
        "reading_lead_length": "100",
        "tested_at": "2024-05-03T10:15",
        "stage": "visit",
        "tested_by": "M. Tarn",
        "test_voltage_v": "50",
        "instrument_used": meter.pk,
    }
    answer = client.post(url, sent, follow=True)
    assert answer.status_code == 200
    test = ElectricalTest.objects.get(installation=cell)
    kept = {one.quantity: one for one in test.readings.all()}
    assert kept["zero output"].value == -0.02
    assert kept["zero output"].typed == "−0.02"
    assert kept["insulation resistance"].value == 2000.0
    assert kept["insulation resistance"].typed == "> 2 GΩ"
    assert kept["lead length"].value == pytest.approx(30.48)
    assert kept["lead length"].typed == "100 ft"
    assert (test.test_voltage_v, test.instrument_used) == (50.0, meter)
    page = answer.content.decode()
    assert "-0.1 to 0.1 mV/V" in page
    assert "50 V" in page
    assert "Bridge tester no. 7" in page


def test_the_page_says_what_the_tests_point_to(client_for, guest, world):
    one = world.live[0]
    with_tests(one, 900.0, 4.0, quantity="insulation resistance")
    with_tests(one, 8.0, 8.1)
    answer = client_for(guest).get(one.get_absolute_url())
    page = answer.content.decode()
    assert answer.context["tests"].diagnosis.word == "points to a fault"
    assert "Water in the lead or splice" in page
    assert "Could also be" in page
    assert "Test next" in page
    assert "0.00444 times its first readings" in page
    assert "traffic control plan" in page


def test_one_test_is_not_enough_to_say(client_for, guest, world):
    with_tests(world.live[0], 8.0)
    page = client_for(guest).get(world.live[0].get_absolute_url()).content.decode()
    assert "only one reading of each quantity" in page
    assert "one of the first readings itself" in page


def test_an_instrument_past_its_calibration_is_doubted_first(world):
    meter = Instrument.objects.create(
        kind="Tester", serial="3", calibration_due_on=dt.date(2022, 4, 1)
    )
    with_tests(world.live[0], 8.0, 8.0, instrument_used=meter)
    found = shown(world.live[0]).diagnosis
    assert str(found.findings[0].cause) == "instrument suspect"
    assert "its calibration ended on 2022-04-01" in found.findings[0].sentence


def test_sensors_of_one_visit_are_held_against_each_other(world):
    others = [
        factories.InstallationFactory(lane=world.lanes[1], position=f"piezo {i}")
        for i in (5, 6)
    ]
    for one in (world.live[0], *others):
        with_tests(one, 8.0, 8.0, 9.6, instrument="meter 4")
    found = shown(world.live[0]).diagnosis
    told = [one.sentence for one in found.findings]
    assert any("of all 3 sensors tested that day" in sentence for sentence in told)
    elsewhere = factories.InstallationFactory(position="piezo 1")
    with_tests(elsewhere, 8.0, 8.0, 9.6, instrument="meter 4")
    alone = shown(elsewhere).diagnosis
    assert not any(str(one.cause) == "instrument suspect" for one in alone.findings)


def test_before_the_lead_in_readings_stand_in_for_first_ones(world):
    one = world.live[0]
    bench = factories.ElectricalTestFactory(
        installation=one, stage="bench", tested_at=FIRST - dt.timedelta(days=9)
    )
    factories.ReadingFactory(test=bench, quantity="capacitance", value=8.0)
    with_tests(one, 3.0)
    found = shown(one).diagnosis
    assert [str(f.cause) for f in found.findings] == ["open lead"]
    assert "before the lead-in" in found.findings[0].sentence


def test_the_page_asks_no_more_with_more_sensors_and_tests(world, client_for, guest):
    def asked():
        client = client_for(guest)
        client.get(world.live[0].get_absolute_url())
        with CaptureQueriesContext(connection) as caught:
            assert client.get(world.live[0].get_absolute_url()).status_code == 200
        return len(caught)

    with_tests(world.live[0], 8.0, 8.1)
    few = asked()
    for i in range(5):
        other = factories.InstallationFactory(
            lane=world.lanes[1], position=f"piezo {i + 3}"
        )
        with_tests(other, 8.0, 8.1, 8.2)
    with_tests(world.live[0], *([500.0] * 9), quantity="insulation resistance")
    assert asked() == few
    assert Installation.objects.count() == 8


def test_the_chart_says_what_its_trend_follows(client_for, guest, world):
    one = world.live[0]
    held_to(one, low=7.0, high=9.0, **COEFFICIENT)
    with_tests(one, *((8.0 * (1 + 0.005 * (t - 20)), t) for t in (10, 20, 30, 40)))
    page = client_for(guest).get(one.get_absolute_url()).content.decode()
    assert "Trend on values corrected to 20 °C by +0.5 % a °C" in page
    assert "Corrected to 20 °C" in page


# --- what a loop should read -------------------------------------------------------


def test_a_loop_of_three_turns_six_feet_a_side(client_for, guest, program):
    """24/4 × (9 + 3) = 72 µH; 100 ft of pair adds 22 to 24 µH.

    (72 + 200) ft of wire at 2.5 Ω per 1,000 ft is 0.68 Ω.
    """
    url = reverse("installs:tool-loop")
    client = client_for(guest)
    assert client.get(url).status_code == 200
    asked = {"perimeter_m": "24", "turns": "3", "lead_m": "100", "gauge_awg": "14"}
    page = client.get(url, asked).content.decode()
    assert "72.0 µH" in page
    assert "94.0 to 96.0 µH" in page
    assert "0.68 Ω" in page
    assert "from memory" in page
    bare = client.get(url, asked | {"lead_m": ""}).content.decode()
    assert "no lead given" in bare
    assert "0.18 Ω" in bare


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"perimeter_m": "0"}, "above zero"),
        ({"perimeter_m": ""}, "required"),
        ({"turns": "0"}, "greater than or equal to 1"),
        ({"lead_m": "-5"}, "above zero"),
        ({"gauge_awg": "3"}, "Select a valid choice"),
    ],
)
def test_loops_that_cannot_be_say_why(client_for, guest, program, changes, said):
    asked = {"perimeter_m": "24", "turns": "3", "lead_m": "100", "gauge_awg": "14"}
    answer = client_for(guest).get(reverse("installs:tool-loop"), asked | changes)
    assert answer.status_code == 422
    assert said in answer.content.decode()
