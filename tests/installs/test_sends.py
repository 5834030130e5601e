"""A form sent from a phone is kept once, whatever the network does."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from calibration.models import TruckRun
from installs.models import ElectricalTest, MaintenanceVisit, RoadsideSend
from installs.selectors.sends import clash_of_send, perhaps_same_visits, version_of
from tests import factories
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    TruckRunFactory,
)

LIVE = {"X-Roadside": "live"}
WAITING = {"X-Roadside": "waiting"}


def visit_fields(**changes: Any) -> dict[str, Any]:
    """What a person types into the visit form; the mark and the phone's clock."""
    now = timezone.now()
    return {
        "client_id": str(uuid.uuid4()),
        "typed_at": now.isoformat(),
        "sent_at": now.isoformat(),
        "purpose": "routine check",
        "arrived_at": "2024-05-30T09:00",
        "left_at": "2024-05-30T10:30",
        "people": "M. Tarn",
        "findings": "Lead-in box dry.",
    } | changes


@pytest.fixture
def phone(world, technician, client_for):
    """A browser in which the technician is signed in."""
    return client_for(technician)


def add_url(world) -> str:
    return f"{reverse('installs:visit-add')}?site={world.wim_site.code}"


# --- once ----------------------------------------------------------------------------


def test_the_same_mark_twice_makes_one_visit_and_one_receipt(phone, world):
    fields = visit_fields()
    first = phone.post(add_url(world), fields, headers=LIVE).json()
    again = phone.post(add_url(world), fields, headers=LIVE).json()
    visit = MaintenanceVisit.objects.get()
    assert first["target"] == again["target"] == visit.get_absolute_url()
    assert (first["again"], again["again"]) == (False, True)
    send = RoadsideSend.objects.get()
    assert (send.state, send.form) == ("kept", "visit")
    assert str(send.client_id) == fields["client_id"]


def test_a_plain_form_with_a_mark_is_led_to_the_same_page_twice(phone, world):
    fields = visit_fields()
    answers = [phone.post(add_url(world), fields) for _ in range(2)]
    visit = MaintenanceVisit.objects.get()
    assert [(one.status_code, one["Location"]) for one in answers] == [
        (302, visit.get_absolute_url())
    ] * 2


def test_a_form_without_a_mark_leaves_no_receipt(phone, world):
    answer = phone.post(add_url(world), visit_fields(client_id=""))
    assert answer.status_code == 302
    assert MaintenanceVisit.objects.count() == 1
    assert not RoadsideSend.objects.exists()


def test_the_receipt_of_a_form_sent_later_carries_what_the_page_would_say(phone, world):
    told = phone.post(add_url(world), visit_fields(), headers=WAITING).json()
    assert told["message"]
    page = phone.get(told["target"]).content.decode()
    assert told["message"] not in page  # said once, by the receipt


def test_a_live_form_leaves_its_message_to_the_page_it_leads_to(phone, world):
    told = phone.post(add_url(world), visit_fields(), headers=LIVE).json()
    assert told["message"] in phone.get(told["target"]).content.decode()


def test_a_form_that_is_wrong_makes_no_receipt_and_comes_back_as_typed(phone, world):
    fields = visit_fields(arrived_at="yesterday", findings="Kept as typed.")
    answer = phone.post(add_url(world), fields, headers=LIVE)
    assert answer.status_code == 422
    assert b"Kept as typed." in answer.content
    assert not RoadsideSend.objects.exists()
    assert not MaintenanceVisit.objects.exists()
    # mended, the same mark is as good as new
    fields["arrived_at"] = "2024-05-30T09:00"
    assert phone.post(add_url(world), fields, headers=LIVE).status_code == 200
    assert MaintenanceVisit.objects.count() == 1


def test_somebody_elses_mark_is_refused_and_shows_nothing(
    phone, world, manager, client_for
):
    fields = visit_fields()
    target = phone.post(add_url(world), fields, headers=LIVE).json()["target"]
    answer = client_for(manager).post(add_url(world), fields, headers=LIVE)
    assert answer.status_code == 409
    assert "Somebody else" in answer.json()["problem"]
    assert target not in answer.content.decode()
    assert MaintenanceVisit.objects.count() == 1


def test_a_form_changed_after_it_arrived_is_told_and_changes_nothing(phone, world):
    fields = visit_fields()
    target = phone.post(add_url(world), fields, headers=LIVE).json()["target"]
    answer = phone.post(add_url(world), fields | {"people": "B. Oake"}, headers=LIVE)
    assert answer.status_code == 409
    assert answer.json()["target"] == target
    assert MaintenanceVisit.objects.get().people == "M. Tarn"


def test_a_mark_that_is_no_identifier_is_named(phone, world):
    answer = phone.post(add_url(world), visit_fields(client_id="seven"))
    assert answer.status_code == 409
    assert "seven" in answer.content.decode()
    assert not MaintenanceVisit.objects.exists()


def test_nobody_sends_what_their_account_may_not(world, guest, client_for):
    answer = client_for(guest).post(add_url(world), visit_fields(), headers=LIVE)
    assert answer.status_code == 403
    assert not RoadsideSend.objects.exists()


# --- tests and runs ------------------------------------------------------------------


def test_an_electrical_test_sent_twice_is_kept_once(phone, world):
    url = reverse("installs:test-add", args=[world.live[0].pk])
    fields = {
        "client_id": str(uuid.uuid4()),
        "tested_at": "2024-05-30T09:20",
        "stage": "visit",
        "tested_by": "M. Tarn",
        "reading_insulation_resistance": "> 2000",
    }
    receipts = [phone.post(url, fields, headers=LIVE).json() for _ in range(2)]
    assert receipts[0]["target"] == receipts[1]["target"]
    assert ElectricalTest.objects.get().readings.get().value == 2000.0


def run_fields(weighing, **changes: Any) -> dict[str, Any]:
    return {
        "client_id": str(uuid.uuid4()),
        "weighing": weighing.pk,
        "axle_weights_kg": "11,500 17,000 16,900 17,200 17,100",
        "speed_kmh": "55",
        "run_at": "2024-05-14T08:00:00",
        "stage": "as found",
        "lane_position": "centre",
        "next": "1",
    } | changes


def test_a_truck_run_sent_twice_is_kept_once(phone):
    session, weighing = CalibrationSessionFactory(), StaticWeighingFactory()
    url = reverse("calibration:run-add", args=[session.pk])
    fields = run_fields(weighing)
    receipts = [phone.post(url, fields, headers=LIVE).json() for _ in range(2)]
    assert TruckRun.objects.get().number == 1
    assert receipts[0]["target"] == receipts[1]["target"]
    assert receipts[0]["target"].startswith(url)


def test_a_run_changed_meanwhile_is_refused_in_words(phone):
    run = TruckRunFactory()
    url = reverse("calibration:run-edit", args=[run.pk])
    seen = version_of(run)
    run.pavement_temp_c = 21.0
    run.save()
    fields = run_fields(run.weighing, seen_version=seen, why="mistyped", number="1")
    answer = phone.post(url, fields, headers=LIVE)
    assert answer.status_code == 409
    assert "changed by somebody else" in answer.json()["problem"]
    assert not RoadsideSend.objects.exists()


# --- clocks --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ahead_min", "told"),
    [(125, "2 h 5 min ahead"), (-1500, "1 day 1 h behind"), (1, None)],
)
def test_the_phones_clock_is_told_and_times_stay_as_typed(
    phone, world, ahead_min, told
):
    phones = timezone.now() + dt.timedelta(minutes=ahead_min)
    fields = visit_fields(sent_at=phones.isoformat(), typed_at=phones.isoformat())
    message = phone.post(add_url(world), fields, headers=WAITING).json()["message"]
    send = RoadsideSend.objects.get()
    assert send.clock_skew_s == pytest.approx(60 * ahead_min, abs=20)
    assert send.typed_at == phones
    assert (told or "clock is") in message if told else "clock is" not in message
    arrived = MaintenanceVisit.objects.get().arrived_at
    assert arrived == dt.datetime(2024, 5, 30, 15, 0, tzinfo=dt.UTC)  # 09:00 in Denver


def test_an_arrival_ahead_is_refused_with_both_clocks(phone, world):
    phones = timezone.now() + dt.timedelta(days=3)
    fields = visit_fields(
        arrived_at="2024-06-04T09:00", left_at="", sent_at=phones.isoformat()
    )
    answer = phone.post(add_url(world), fields, headers=LIVE)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "3 days ahead" in page
    assert f"{phones:%Y-%m-%d %H:%M}" in page
    assert not MaintenanceVisit.objects.exists()


# --- clashes -------------------------------------------------------------------------


@pytest.fixture
def clash(phone, world, technician, manager, client_for):
    """A change typed without signal, of a visit that the manager changed meanwhile."""
    visit = factories.MaintenanceVisitFactory.create(
        wim_site=world.wim_site,
        arrived_at=dt.datetime(2024, 5, 30, 15, 0, tzinfo=dt.UTC),
        left_at=dt.datetime(2024, 5, 30, 16, 30, tzinfo=dt.UTC),
        findings="Box dry.",
    )
    url = reverse("installs:visit-edit", args=[visit.pk])
    seen = version_of(visit)
    desk = visit_fields(client_id="", findings="Box damp.", weather="rain", why="told")
    assert client_for(manager).post(url, desk).status_code == 302
    fields = visit_fields(
        seen_version=seen,
        findings="Box full of water.",
        actions="Drained.",
        weather="",
        lane="",
        traffic_control_plan="",
        next_action="",
    )
    told = phone.post(url, fields, headers=WAITING).json()
    assert told["state"] == "clash"
    send = RoadsideSend.objects.get()
    assert told["target"] == reverse("installs:send-clash", args=[send.pk])
    visit.refresh_from_db()
    assert visit.findings == "Box damp."
    return visit, send, fields


def test_a_clash_sent_again_answers_with_the_same_clash(phone, clash):
    visit, send, fields = clash
    url = reverse("installs:visit-edit", args=[visit.pk])
    told = phone.post(url, fields, headers=WAITING).json()
    assert (told["state"], told["again"]) == ("clash", True)
    assert RoadsideSend.objects.get() == send


def test_a_clash_shows_both_sides_of_the_fields_that_differ(phone, clash):
    visit, send, _ = clash
    shown = clash_of_send(send, visit)
    assert {pair.name: (pair.kept, pair.typed) for pair in shown.different} == {
        "findings": ("Box damp.", "Box full of water."),
        "actions": ("", "Drained."),
        "weather": ("rain", ""),
    }
    assert {pair.name: pair.suggested for pair in shown.different} == {
        "findings": "kept",  # both changed it
        "actions": "typed",  # only the phone did
        "weather": "kept",  # only the manager did
    }
    assert {"purpose", "people", "arrived_at", "left_at"} <= {
        pair.name for pair in shown.alike
    }
    page = phone.get(reverse("installs:send-clash", args=[send.pk])).content.decode()
    assert "Box damp." in page
    assert "Box full of water." in page
    assert "manager" in page
    listed = phone.get(reverse("installs:send-list")).content.decode()
    assert reverse("installs:send-clash", args=[send.pk]) in listed


@pytest.mark.parametrize(
    ("choice", "findings", "actions", "weather"),
    [
        ({"choice": "kept"}, "Box damp.", "", "rain"),
        ({"choice": "typed"}, "Box full of water.", "Drained.", ""),
        ({"choice": "each"}, "Box damp.", "Drained.", "rain"),
        (
            {"choice": "each", "take_findings": "typed", "take_actions": "kept"},
            "Box full of water.",
            "",
            "rain",
        ),
    ],
)
def test_a_clash_is_settled_by_choice(
    phone, clash, technician, choice, findings, actions, weather
):
    visit, send, _ = clash
    url = reverse("installs:send-clash", args=[send.pk])
    answer = phone.post(url, {"seen_version": version_of(visit), **choice})
    assert answer.status_code == 302
    visit.refresh_from_db()
    kept = visit.findings, visit.actions, visit.weather
    assert kept == (findings, actions, weather)
    send.refresh_from_db()
    assert send.state == "settled"
    assert send.settled_by == technician
    assert send.settled_at is not None
    assert phone.get(url).status_code == 200


def test_a_clash_over_a_visit_changed_once_more_is_shown_again(phone, clash):
    visit, send, _ = clash
    seen = version_of(visit)
    visit.weather = "snow"
    visit.save()
    url = reverse("installs:send-clash", args=[send.pk])
    answer = phone.post(url, {"seen_version": seen, "choice": "typed"}, follow=True)
    assert "changed once more" in answer.content.decode()
    visit.refresh_from_db()
    assert visit.findings == "Box damp."
    send.refresh_from_db()
    assert send.state == "clash"


def test_a_guest_cannot_settle(clash, guest, client_for):
    _, send, _ = clash
    url = reverse("installs:send-clash", args=[send.pk])
    answer = client_for(guest).post(url, {"choice": "kept"})
    assert answer.status_code == 403


# --- the same visit twice ------------------------------------------------------------


def test_a_visit_typed_twice_by_two_people_is_told_and_both_are_kept(
    phone, world, manager, client_for
):
    phone.post(add_url(world), visit_fields(people="M. Tarn, B. Oake"))
    other = visit_fields(arrived_at="2024-05-30T09:05", people="b. oake & M. Tarn")
    told = client_for(manager).post(add_url(world), other, headers=WAITING).json()
    assert "Perhaps the same visit" in told["message"]
    assert MaintenanceVisit.objects.count() == 2


@pytest.mark.parametrize(
    "changes",
    [
        {"people": "C. Fell"},
        {"arrived_at": "2024-05-30T12:00", "left_at": "2024-05-30T13:00"},
    ],
)
def test_other_people_or_another_time_is_another_visit(phone, world, changes):
    phone.post(add_url(world), visit_fields())
    told = phone.post(add_url(world), visit_fields(**changes), headers=WAITING).json()
    assert "Perhaps" not in told["message"]


def test_the_same_people_at_another_site_made_another_visit(world):
    one = factories.MaintenanceVisitFactory.create(wim_site=world.wim_site)
    factories.MaintenanceVisitFactory.create()
    assert perhaps_same_visits(one) == []


# --- pages and the worker ------------------------------------------------------------


def test_the_token_says_who_is_signed_in(phone, technician):
    told = phone.get(reverse("installs:send-token"))
    assert told.json()["user"] == str(technician.pk)
    assert len(told.json()["token"]) == 64
    assert "no-store" in told["Cache-Control"]


def test_only_pages_of_the_roadside_carry_the_mark_to_be_kept(phone, world, technician):
    mark = f'name="roadside-user" content="{technician.pk}"'
    session = CalibrationSessionFactory()
    marked = [
        reverse("installs:roadside"),
        add_url(world),
        reverse("installs:test-add", args=[world.live[0].pk]),
        reverse("calibration:run-add", args=[session.pk]),
        reverse("installs:send-list"),
    ]
    for url in marked:
        assert mark in phone.get(url).content.decode(), url
    for name in ("health", "site-list", "installs:forecast", "quality:report"):
        assert 'name="roadside-user"' not in phone.get(reverse(name)).content.decode()
    assert (
        'name="roadside-user"'
        not in phone.get(session.get_absolute_url()).content.decode()
    )


def test_the_worker_is_served_from_the_root_with_its_version(client, db):
    answer = client.get("/roadside-worker.js")
    body = answer.content.decode()
    assert answer["Content-Type"].startswith("text/javascript")
    assert "no-store" in answer["Cache-Control"]
    assert body.startswith('self.ROADSIDE = {"version": "')
    assert reverse("logout") in body
