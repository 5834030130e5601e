"""Work, trips and preventive work stand in the calendar feed, read back by RFC 5545."""

import datetime as dt

import pytest
from django.test import Client
from django.urls import reverse
from icalendar import Calendar

from calibration.calc.calendar_feed import calendar_bytes
from calibration.views.years import feed_token
from installs.calc.upkeep.dated_events import DatedEvent
from installs.models import PreventiveRule, Trip
from installs.services.trips import trip_call_off, trip_save
from installs.services.work import work_done, work_found
from tests.conftest import TODAY
from wimprog.lib.errors import DomainError

DAY = dt.timedelta(days=1)


def events(user):
    answer = Client().get(reverse("calibration:due-feed", args=[feed_token(user)]))
    assert answer.status_code == 200
    found = Calendar.from_ical(answer.content).walk("VEVENT")
    return {str(one["uid"]).split("@")[0]: one for one in found}


@pytest.fixture
def item(world, technician):
    made = work_found(wim_site=world.wim_site, reason="Lid; loose, wet", by=technician)
    made.due_on = TODAY + 10 * DAY
    made.save()
    return made


def test_work_has_its_day_until_it_is_done(item, guest, manager):
    one = events(guest)[f"work-{item.pk}"]
    assert one.decoded("dtstart") == TODAY + 10 * DAY
    assert one.decoded("dtend") == TODAY + 11 * DAY  # the day after, as RFC 5545 asks
    assert str(one["summary"]) == "OV-014: Lid; loose, wet"
    work_done(item=item, done_on=TODAY, by=manager)
    assert f"work-{item.pk}" not in events(guest)


def test_a_trip_keeps_its_identifier_when_it_moves_and_is_struck_out_when_off(
    item, guest, manager
):
    trip = trip_save(
        trip=Trip(starts_on=TODAY + DAY, ends_on=TODAY + 2 * DAY, leader=manager),
        items=[item],
        by=manager,
    )
    one = events(guest)[f"trip-{trip.pk}"]
    assert (one.decoded("dtstart"), one.decoded("dtend")) == (
        TODAY + DAY,
        TODAY + 3 * DAY,
    )
    assert str(one["summary"]) == "Trip to OV-014"
    trip.starts_on, trip.ends_on = TODAY + 5 * DAY, None
    trip_save(trip=trip, by=manager)
    moved = events(guest)[f"trip-{trip.pk}"]
    assert moved.decoded("dtstart") == TODAY + 5 * DAY
    assert "status" not in moved
    trip_call_off(trip=trip, reason="Snow", by=manager)
    assert str(events(guest)[f"trip-{trip.pk}"]["status"]) == "CANCELLED"


def test_preventive_work_of_a_site_and_day_is_one_event(world, guest):
    for name in ("Pests", "Nests"):
        PreventiveRule.objects.create(
            name=name, part="pests", interval_months=1, source="invented"
        )
    PreventiveRule.objects.update(
        created_at=dt.datetime(2024, 5, 20, 12, tzinfo=dt.UTC)
    )
    (one,) = [e for uid, e in events(guest).items() if uid.startswith("preventive-")]
    assert one.decoded("dtstart") == dt.date(2024, 6, 20)
    assert str(one["summary"]) == "OV-014: preventive work (2)"


def test_the_calibrations_stay_as_they_were_beside_the_work(item, guest, world):
    found = events(guest)
    assert {f"calibration-{lane.pk}" for lane in world.lanes} <= set(found)


def test_an_event_that_cannot_be_is_refused():
    with pytest.raises(DomainError, match="ends before it begins"):
        DatedEvent("x", TODAY, TODAY - DAY, "Trip")
    twice = [DatedEvent("x", TODAY, TODAY, "Trip")] * 2
    with pytest.raises(DomainError, match="share the key x"):
        calendar_bytes(
            [], agency="A", now=dt.datetime(2024, 6, 1, tzinfo=dt.UTC), others=twice
        )
