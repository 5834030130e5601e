"""Pages of the roadside and of renewal: they work, they refuse, they say what to do."""

from __future__ import annotations

import csv
import datetime as dt
import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from installs.models import ElectricalTest, Installation, MaintenanceVisit, Sensor
from tests import factories

pytestmark = pytest.mark.django_db


def queries_of(client, url):
    client.get(url)  # caches of content types and permissions
    with CaptureQueriesContext(connection) as caught:
        assert client.get(url).status_code == 200
    return len(caught)


def test_the_roadside_lists_sites_and_finds_one(client_for, technician, world):
    factories.SiteFactory(code="OV-020", route="Quarry Road", station_id="000020")
    client = client_for(technician)
    page = client.get(reverse("installs:roadside")).content.decode()
    assert "OV-014" in page
    assert "OV-020" in page
    found = client.get(reverse("installs:roadside"), {"q": "014"})
    assert found.context["chosen"] == world.wim_site
    page = found.content.decode()
    assert reverse("installs:test-add", args=[world.live[0].pk]) in page
    assert f"{reverse('installs:visit-add')}?site=OV-014" in page
    assert "traffic control plan" in page


def test_the_roadside_says_what_to_do_when_nothing_is_there(
    client_for, technician, program
):
    page = client_for(technician).get(reverse("installs:roadside"))
    assert "No sites yet." in page.content.decode()
    page = client_for(technician).get(reverse("installs:roadside"), {"q": "nowhere"})
    assert "No site matches." in page.content.decode()


@pytest.mark.parametrize("name", ["sensor-list", "visit-list", "forecast"])
def test_empty_lists_say_what_to_do_next(client_for, technician, program, name):
    page = client_for(technician).get(reverse(f"installs:{name}")).content.decode()
    assert 'class="empty"' in page


def test_the_sensor_list_filters_and_exports(client_for, guest, world):
    client = client_for(guest)
    url = reverse("installs:sensor-list")
    assert len(client.get(url).context["table"].rows) == 3
    failed = client.get(url, {"state": "failed"}).context["table"].rows
    assert [row.record for row in failed] == [world.failed.sensor]
    assert len(client.get(url, {"wim_site": "OV-014"}).context["table"].rows) == 3
    got = client.get(
        reverse("installs:sensor-export", args=["csv"]), {"state": "in the road"}
    )
    rows = list(csv.DictReader(io.StringIO(got.content.decode("utf-8-sig"))))
    assert {row["serial"] for row in rows} == {one.sensor.serial for one in world.live}
    assert {row["lane"] for row in rows} == {"E1", "E2"}
    assert (
        client.get(reverse("installs:sensor-export", args=["pdf"])).status_code == 404
    )


@pytest.mark.parametrize("name", ["sensor-list", "visit-list", "roadside", "forecast"])
def test_pages_ask_the_same_questions_of_3_rows_and_of_more(
    client_for, guest, world, name
):
    def add(n):
        for _ in range(n):
            one = factories.InstallationFactory(lane=world.lanes[0])
            factories.ElectricalTestFactory(installation=one)
            factories.MaintenanceVisitFactory(wim_site=world.wim_site)
            factories.SiteFactory()

    url = reverse(f"installs:{name}")
    add(1)
    few = queries_of(client_for(guest), url)
    add(20)
    assert queries_of(client_for(guest), url) == few


def test_a_sensors_page_asks_the_same_of_3_tests_and_30(client_for, guest, world):
    one = world.live[0]

    def add(first, n):
        for i in range(first, first + n):
            test = factories.ElectricalTestFactory(
                installation=one,
                tested_at=dt.datetime(2022, 1, 1, 18, tzinfo=dt.UTC)
                + dt.timedelta(days=7 * i),
            )
            factories.ReadingFactory(test=test, value=900.0 - 10 * i)

    add(0, 3)
    few = queries_of(client_for(guest), one.get_absolute_url())
    add(3, 27)
    assert queries_of(client_for(guest), one.get_absolute_url()) == few


def test_a_sensors_page_judges_values_and_dates_the_crossing(client_for, guest, world):
    """Insulation falls by exactly one decade a year towards its limit of 20 MΩ.

    1000 MΩ on 2022-01-03 and a tenth of it a year: 20 MΩ after log10(50) = 1.69897
    years, 620.5 days: 2023-09-15 (counted by hand).
    """
    one = world.live[0]
    factories.ElectricalLimitFactory(sensor_model=one.sensor.model)
    for i in range(9):
        test = factories.ElectricalTestFactory(
            installation=one,
            tested_at=dt.datetime(2022, 1, 3, 18, tzinfo=dt.UTC)
            + dt.timedelta(days=60 * i),
        )
        factories.ReadingFactory(test=test, value=1000 * 10 ** (-60 * i / 365.25))
    answer = client_for(guest).get(one.get_absolute_url())
    page = answer.content.decode()
    (story, _), *_ = answer.context["stories"]
    assert story.judgement.verdict == "meets"
    assert story.crossing.expected_on in (dt.date(2023, 9, 15), dt.date(2023, 9, 16))
    assert "at least 20 MΩ" in page
    assert "reaches the limit about" in page
    assert "Within" in page


def test_a_test_is_kept_as_typed_and_judged_at_once(client_for, technician, world):
    one = world.live[0]
    factories.ElectricalLimitFactory(sensor_model=one.sensor.model)
    client = client_for(technician)
    url = reverse("installs:test-add", args=[one.pk])
    assert "Discharge" in client.get(url).content.decode() or (
        "discharge" in client.get(url).content.decode()
    )
    answer = client.post(
        url,
        {
            "reading_insulation_resistance": "> 2,000",
            "reading_capacitance": "07.50",
            "tested_at": "2024-05-03T10:15",
            "stage": "visit",
            "pavement_temp_c": "81.0",
            "tested_by": "M. Tarn",
        },
        follow=True,
    )
    assert answer.status_code == 200
    page = answer.content.decode()
    assert "&gt; 2,000" in page
    assert "07.50" in page
    assert "81.0 °F" in page
    assert "meets" in page
    test = ElectricalTest.objects.get()
    # 10:15 on the clock at the site (America/Denver in May is UTC − 6 h).
    assert test.tested_at == dt.datetime(2024, 5, 3, 16, 15, tzinfo=dt.UTC)
    assert test.pavement_temp_c == pytest.approx((81 - 32) / 1.8)
    assert test.readings.get(quantity="insulation resistance").over_range
    assert test.history.get().history_user == technician


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("7,5", "without guessing"),
        ("fine", "is not a number"),
        (">", "upper end"),
        ("-3", "below zero"),
        ("", "at least one value"),
    ],
)
def test_a_reading_that_cannot_be_read_is_sent_back(
    client_for, technician, world, typed, words
):
    answer = client_for(technician).post(
        reverse("installs:test-add", args=[world.live[0].pk]),
        {
            "reading_insulation_resistance": typed,
            "tested_at": "2024-05-03T10:15",
            "stage": "visit",
            "tested_by": "M. Tarn",
        },
    )
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    if typed and typed != ">":
        assert f'value="{typed}"' in page
    assert not ElectricalTest.objects.exists()


def test_a_sensor_is_added_with_lengths_as_typed(client_for, technician, world):
    client = client_for(technician)
    model = world.live[0].sensor.model
    answer = client.post(
        f"{reverse('installs:sensor-add')}?lane={world.lanes[0].pk}",
        {
            "model": model.pk,
            "serial": "X-1",
            "length_m": "11.50",
            "lead_length_m": "1,00",
        },
    )
    assert answer.status_code == 422  # "1,00" cannot be read without guessing
    answer = client.post(
        f"{reverse('installs:sensor-add')}?lane={world.lanes[0].pk}",
        {"model": model.pk, "serial": "X-1", "length_m": "11.50"},
    )
    sensor = Sensor.objects.get(serial="X-1")
    assert answer["Location"].endswith(f"?sensor={sensor.pk}")
    assert sensor.length_m == pytest.approx(11.5 * 0.3048)
    assert "11.50 ft" in client.get(sensor.get_absolute_url()).content.decode()


def test_installing_where_a_sensor_is_live_is_refused_in_plain_words(
    client_for, technician, world
):
    client = client_for(technician)
    url = reverse("installs:installation-add", args=[world.lanes[0].pk])
    free = factories.SensorFactory()
    page = client.get(url).content.decode()
    assert str(free) in page
    assert f'value="{world.live[0].sensor_id}"' not in page
    send = {"position": "piezo 1", "installed_on": "2024-05-01"}
    answer = client.post(url, send | {"sensor": free.pk})
    assert answer.status_code == 422
    assert "already holds a live sensor" in answer.content.decode()
    answer = client.post(
        url, send | {"sensor": world.live[1].sensor_id, "position": "piezo 7"}
    )
    assert "still installed elsewhere" in answer.content.decode()
    answer = client.post(url, send | {"sensor": free.pk, "position": "piezo 2"})
    assert answer.status_code == 302
    assert Installation.objects.live().filter(sensor=free).exists()


def test_an_installation_is_ended_with_its_mode(client_for, technician, world):
    client = client_for(technician)
    url = reverse("installs:installation-end", args=[world.live[0].pk])
    send = {"ended_on": "2024-05-01", "end_reason": "failed", "failure_mode": ""}
    answer = client.post(url, send)
    assert answer.status_code == 422
    assert "“unknown” is an answer" in answer.content.decode()
    assert client.post(url, send | {"failure_mode": "lead"}).status_code == 302
    world.live[0].refresh_from_db()
    assert world.live[0].failure_mode == "lead"


def test_a_visit_is_logged_changed_and_shown(client_for, technician, world):
    client = client_for(technician)
    url = f"{reverse('installs:visit-add')}?site=OV-014"
    assert "Before you start" in client.get(url).content.decode()
    send = {
        "purpose": "fault",
        "arrived_at": "2024-05-03T09:00",
        "left_at": "2024-05-03T08:00",
        "people": "M. Tarn, J. Ford",
        "findings": "Water in the pit",
    }
    answer = client.post(url, send)
    assert answer.status_code == 422
    assert "Nobody can leave before arriving." in answer.content.decode()
    answer = client.post(url, send | {"left_at": "2024-05-03T11:00"}, follow=True)
    page = answer.content.decode()
    assert "Water in the pit" in page
    assert "09:00" in page
    visit = MaintenanceVisit.objects.get()
    edit = reverse("installs:visit-edit", args=[visit.pk])
    assert 'value="2024-05-03T09:00"' in client.get(edit).content.decode()
    client.post(edit, send | {"left_at": "2024-05-03T12:00", "why": "left later"})
    assert visit.history.first().history_change_reason == "left later"


def test_a_visit_needs_its_site_first(client_for, technician, world):
    client = client_for(technician)
    answer = client.get(reverse("installs:visit-add"))
    assert answer["Location"] == reverse("installs:roadside")
    assert client.get(f"{reverse('installs:visit-add')}?site=OV-999").status_code == 404


def test_the_forecast_page_shows_what_it_rests_on(client_for, guest, world):
    factories.TechnologyProfileFactory()
    answer = client_for(guest).get(reverse("installs:forecast"), {"years": "3"})
    page = answer.content.decode()
    found = answer.context["found"]
    assert len(found.fleet.years) == 3
    assert found.fleet.total_cost.expected > 0
    assert [risk.installation for risk in found.risks] == [
        world.live[1],  # a year older
        world.live[0],
    ]
    assert "3 lives, 1 failure" in page
    assert "at risk" in page
    assert "invented for the tests" in page
    got = client_for(guest).get(reverse("installs:forecast-export", args=["csv"]))
    rows = list(csv.DictReader(io.StringIO(got.content.decode("utf-8-sig"))))
    assert [row["position"] for row in rows] == ["piezo 1", "piezo 1"]
    assert float(rows[0]["chance within 2 y"]) == pytest.approx(
        found.risks[0].chance_2y, abs=1e-4
    )


def test_without_costs_the_forecast_says_no_data(client_for, guest, world):
    page = client_for(guest).get(reverse("installs:forecast")).content.decode()
    assert "No technology has a replacement cost yet" in page


@pytest.mark.parametrize("years", ["0", "-3", "abc", "999", ""])
def test_odd_numbers_of_years_show_a_forecast_all_the_same(
    client_for, guest, world, years
):
    answer = client_for(guest).get(reverse("installs:forecast"), {"years": years})
    assert answer.status_code == 200


def test_the_lives_page_lists_the_rows_behind_the_curve(client_for, guest, world):
    url = reverse("installs:lives")
    answer = client_for(guest).get(url, {"technology": "polymer piezo"})
    assert "3 lives, 1 failed" in answer.content.decode()
    assert client_for(guest).get(url, {"technology": "magic"}).status_code == 404


WRITES = [
    ("sensor-add", ()),
    ("sensor-edit", ("sensor",)),
    ("installation-add", ("lane",)),
    ("installation-end", ("installation",)),
    ("test-add", ("installation",)),
    ("visit-add", ()),
]


@pytest.mark.parametrize(("name", "keys"), WRITES)
def test_a_guest_and_an_analyst_cannot_write(
    client_for, guest, analyst, world, name, keys
):
    pks = {
        "sensor": world.live[0].sensor_id,
        "lane": world.lanes[0].pk,
        "installation": world.live[0].pk,
    }
    url = reverse(f"installs:{name}", args=[pks[key] for key in keys])
    for user in (guest, analyst):
        client = client_for(user)
        assert client.get(url).status_code == 403
        assert client.post(url, {}).status_code == 403


def test_a_stranger_signs_in_first(client, world):
    answer = client.get(reverse("installs:roadside"))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("login"))


def test_what_is_missing_is_missing(client_for, technician, world):
    client = client_for(technician)
    for name in ("sensor-detail", "installation-end", "test-add", "visit-detail"):
        assert client.get(reverse(f"installs:{name}", args=[9999])).status_code == 404


def test_new_visits_and_tests_begin_with_now_at_the_site(
    client_for, technician, world, held_clock
):
    client = client_for(technician)
    visit = client.get(f"{reverse('installs:visit-add')}?site=OV-014")
    test = client.get(reverse("installs:test-add", args=[world.live[0].pk]))
    noon_there = held_clock.isoformat() + "T06:00"  # noon UTC in summer at the site
    assert world.wim_site.time_zone == "America/Denver"
    for page in (visit.content.decode(), test.content.decode()):
        assert f'value="{noon_there}"' in page
    assert '<option value="visit" selected>' in test.content.decode()
