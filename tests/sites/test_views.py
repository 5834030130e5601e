"""Settings, sites and lanes: added, changed, refused in plain words."""

from __future__ import annotations

import pytest
from django.urls import reverse

from sites.models import Lane, Program, Site

pytestmark = pytest.mark.django_db

SETTINGS = {
    "name": "Orrin Valley Roads Agency",
    "unit_system": "us",
    "time_zone": "America/Denver",
    "currency": "$",
    "fiscal_year_start_month": "7",
    "default_standard": "astm-e1318",
    "default_class": "Type I",
    "calibration_interval_months": "12",
    "inspection_interval_months": "12",
    "watch_drift_pct": "2",
    "act_drift_pct": "4",
    "silent_days": "5",
    "legal_single_axle_kg": "20,000",
    "legal_tandem_kg": "34,000",
    "legal_gross_kg": "80,000",
    "price_growth_pct": "3",
    "why": "new law",
}
SITE = {
    "code": "OV-030",
    "state_code": "99",
    "station_id": "000030",
    "state": "planned",
    "route": "Quarry Road",
    "time_zone": "America/Denver",
}


def test_settings_are_kept_as_typed_with_who_and_why(client_for, manager, program):
    client = client_for(manager)
    url = reverse("sites:program-edit")
    assert client.post(url, SETTINGS).status_code == 302
    kept = Program.objects.get()
    assert kept.legal_gross_kg == pytest.approx(80_000 * 0.45359237)
    assert 'value="80,000"' in client.get(url).content.decode()
    entry = kept.history.first()
    assert (entry.history_user, entry.history_change_reason) == (manager, "new law")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"time_zone": "Denver"}, "is not a time zone"),
        ({"act_drift_pct": "1"}, "must not be below"),
        ({"legal_gross_kg": "80,00"}, "without guessing"),
        ({"outline": '{"type": "Circle"}'}, "Circle"),
        ({"default_standard": "astm-e1319"}, "not one of the available choices"),
        ({"default_class": "B(10)"}, "ASTM E1318 09 (reapproved 2017) has no class"),
    ],
)
def test_settings_that_cannot_be_are_sent_back(
    client_for, manager, program, change, words
):
    answer = client_for(manager).post(reverse("sites:program-edit"), SETTINGS | change)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Program.history.count() == 1  # as the fixture made it


def test_a_site_is_added_and_asks_for_its_lanes(client_for, manager, program):
    answer = client_for(manager).post(reverse("sites:site-add"), SITE)
    assert answer["Location"] == reverse("sites:lane-add", args=["OV-030"])
    assert Site.objects.get(code="OV-030").history.get().history_user == manager


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"state": "in service"}, "needs its first date"),
        ({"station_id": "30"}, "zero-filled on the left"),
        ({"latitude": "40"}, "both latitude and longitude"),
        ({"latitude": "95", "longitude": "-100"}, "90"),
        ({"time_zone": "Mars/Base"}, "is not a time zone"),
    ],
)
def test_a_site_that_cannot_be_is_sent_back(
    client_for, manager, program, change, words
):
    answer = client_for(manager).post(reverse("sites:site-add"), SITE | change)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Site.objects.exists()


def test_a_site_is_changed(client_for, manager, world):
    client = client_for(manager)
    url = reverse("sites:site-edit", args=["OV-014"])
    send = {k: v for k, v in SITE.items() if k != "state"}
    send |= {"code": "OV-014", "station_id": "000014", "why": "new road name"}
    assert client.post(url, send).status_code == 302
    world.wim_site.refresh_from_db()
    assert world.wim_site.route == "Quarry Road"
    assert world.wim_site.state == "in service"


def test_a_state_changes_from_a_day_with_a_reason(client_for, manager, world):
    client = client_for(manager)
    url = reverse("sites:site-state", args=["OV-014"])
    send = {"state": "suspended", "on": "2024-05-20", "why": "resurfacing"}
    assert client.post(url, send | {"on": "2024-07-01"}).status_code == 422
    assert client.post(url, send | {"why": ""}).status_code == 422
    assert client.post(url, send).status_code == 302
    world.wim_site.refresh_from_db()
    assert (world.wim_site.state, str(world.wim_site.suspended_on)) == (
        "suspended",
        "2024-05-20",
    )
    assert world.wim_site.history.first().history_change_reason == "resurfacing"


def test_a_retired_site_is_not_planned_again(client_for, manager, world):
    client = client_for(manager)
    url = reverse("sites:site-state", args=["OV-014"])
    client.post(url, {"state": "retired", "on": "2024-05-20", "why": "bypass"})
    answer = client.post(url, {"state": "planned", "on": "2024-05-21", "why": "?"})
    assert answer.status_code == 422
    assert "cannot become planned again" in answer.content.decode()


def test_a_lane_keeps_its_width_as_typed(client_for, manager, world):
    client = client_for(manager)
    url = reverse("sites:lane-add", args=["OV-014"])
    send = {"direction": "7", "number": "1", "width_m": "12.0"}
    assert client.post(url, send).status_code == 302
    lane = Lane.objects.get(direction=7)
    assert lane.width_m == pytest.approx(12 * 0.3048)
    edit = reverse("sites:lane-edit", args=[lane.pk])
    assert 'value="12.0"' in client.get(edit).content.decode()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"direction": "3"}, "has a lane E1 already"),
        ({"width_m": "60"}, "8"),
        ({"opened_on": "2020-01-01", "closed_on": "2019-01-01"}, "before it opened"),
    ],
)
def test_a_lane_that_cannot_be_is_sent_back(client_for, manager, world, change, words):
    answer = client_for(manager).post(
        reverse("sites:lane-add", args=["OV-014"]),
        {"direction": "7", "number": "1"} | change,
    )
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert Lane.objects.count() == 2


@pytest.mark.parametrize(
    "name", ["program-edit", "site-add", "site-edit", "site-state"]
)
def test_only_the_manager_writes(client_for, technician, analyst, guest, world, name):
    args = ["OV-014"] if name in ("site-edit", "site-state") else []
    url = reverse(f"sites:{name}", args=args)
    for user in (technician, analyst, guest):
        assert client_for(user).get(url).status_code == 403
        assert client_for(user).post(url, {}).status_code == 403


def test_what_is_missing_is_missing(client_for, manager, program):
    client = client_for(manager)
    assert client.get(reverse("sites:site-edit", args=["OV-999"])).status_code == 404
    assert client.get(reverse("sites:lane-edit", args=[99])).status_code == 404


def test_the_database_too_refuses_half_a_coordinate():
    from django.db import IntegrityError, transaction

    with pytest.raises(IntegrityError), transaction.atomic():
        Site.objects.create(
            code="OV-031", state_code="99", station_id="000031", route="Quarry Road",
            latitude=44.0,
        )  # fmt: skip
