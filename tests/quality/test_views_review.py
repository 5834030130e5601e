"""Days in the browser: the review list, decisions, the rows behind the counts."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from quality.models import DayReview, LaneDay, LaneMonth
from quality.services import days_decide, derived_refresh
from tests.factories import LaneFactory, SiteFactory
from tests.quality.factories import FIRST_ON, RecordFileFactory, days_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]


def page(name, *args):
    return reverse(f"quality:{name}", args=args)


def day(place: int) -> dt.date:
    return FIRST_ON + dt.timedelta(days=place)


@pytest.fixture
def lane():
    lane = LaneFactory.create(wim_site=SiteFactory.create(code="OV-014"), number=1)
    days_of(lane, 30, record_file=RecordFileFactory.create(source_name="april.wgt"))
    LaneDay.objects.filter(lane=lane, date=day(9)).update(
        findings=[
            {"check": "gap", "weight": "set aside", "sentence": "Silent for 14 hours."}
        ]
    )
    derived_refresh(lane=lane, first_on=day(0), last_on=day(29), findings=False)
    return lane


@pytest.fixture
def client(analyst, client_for):
    return client_for(analyst)


def decision(lane, **changes):
    return {
        "lane": lane.pk, "from_on": "2024-04-10", "to_on": "2024-04-10",
        "decision": "set aside", "reason": "Silent for 14 hours.", **changes,
    }  # fmt: skip


def test_the_review_list_proposes_with_the_reason_filled_in(client, lane):
    text = client.get(page("review-list")).content.decode()
    assert "30 days in 3 runs" in text
    assert "Proposed: set aside." in text
    assert 'value="Silent for 14 hours."' in text
    assert text.index("10 Apr 2024") < text.index("1 Apr 2024 to 9 Apr 2024")


def test_a_decision_is_kept_with_who_when_why_and_changes_the_month(
    client, lane, analyst, held_clock
):
    answer = client.post(page("review-decide"), decision(lane))
    assert answer.url == page("review-list")
    review = DayReview.objects.get()
    assert (review.decided_by, review.reason) == (analyst, "Silent for 14 hours.")
    assert review.decided_at.date() == held_clock
    assert LaneMonth.objects.get().n_set_aside == 1
    seen = client.get(answer.url).content.decode()
    assert "29 days in 2 runs" in seen
    assert "2024-04-10: set aside." in seen
    client.post(
        page("review-decide"),
        decision(lane, to_on="2024-04-30", decision="accepted", reason="sound"),
    )
    assert LaneMonth.objects.get().n_accepted == 21


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"reason": ""}, "required"),
        ({"to_on": "2024-04-01"}, "The last day is before the first."),
        ({"decision": "perhaps"}, "perhaps"),
        ({"from_on": "2020-01-01", "to_on": "2020-02-01"}, "recorded no day"),
        ({"from_on": "soon"}, "valid date"),
    ],
)
def test_a_decision_without_its_grounds_is_told_and_changes_nothing(
    change, words, client, lane
):
    answer = client.post(page("review-decide"), decision(lane, **change))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not DayReview.objects.exists()


def test_a_decision_goes_back_to_its_page_and_to_none_outside(client, lane):
    back = page("lane-days", lane.pk) + "?month=2024-04"
    answer = client.post(page("review-decide"), decision(lane, next=back))
    assert answer.url == back
    answer = client.post(
        page("review-decide"), decision(lane, next="https://example.org/records/")
    )
    assert answer.url == page("review-list")


def test_guests_and_technicians_look_and_do_not_decide(
    guest, technician, client_for, lane
):
    for user in (guest, technician):
        browser = client_for(user)
        seen = browser.get(page("review-list"))
        assert seen.status_code == 200
        assert 'name="decision"' not in seen.content.decode()
        assert browser.post(page("review-decide"), decision(lane)).status_code == 403
    assert not DayReview.objects.exists()


def test_an_empty_review_list_says_what_comes_next(client):
    text = client.get(page("review-list")).content.decode()
    assert "Every recorded day has been judged." in text


def test_the_days_behind_a_count_name_hours_findings_decision_and_file(
    client, lane, analyst
):
    LaneDay.objects.filter(lane=lane, date=day(9)).update(hours_seen=0b1111)
    days_decide(
        lane=lane, from_on=day(0), to_on=day(4), decision="accepted",
        reason="no finding", by=analyst,
    )  # fmt: skip
    text = client.get(page("lane-days", lane.pk)).content.decode()
    assert "4 of 24" in text
    assert "Silent for 14 hours." in text
    assert "april.wgt" in text
    assert "not judged" in text
    assert f"no finding ({analyst}" in text


@pytest.mark.parametrize(
    ("query", "n"),
    [
        ({}, 30),
        ({"month": "2024-04"}, 30),
        ({"month": "2024-05"}, 0),
        ({"decision": "accepted"}, 5),
        ({"decision": "open"}, 25),
        ({"month": "not a month", "decision": "nor this"}, 30),
    ],
)
def test_days_are_chosen_by_month_and_decision_and_exported(
    query, n, client, lane, analyst
):
    days_decide(
        lane=lane, from_on=day(0), to_on=day(4), decision="accepted",
        reason="no finding", by=analyst,
    )  # fmt: skip
    sheet = client.get(page("lane-days", lane.pk), query | {"as": "csv"})
    rows = sheet.content.decode("utf-8-sig").splitlines()
    assert len(rows) == 1 + n
    assert client.get(page("lane-days", lane.pk), query).status_code == 200


def test_the_weeks_are_drawn_and_listed_in_the_programs_units(client, lane):
    """Week of 1 April: mean 5,030 kg = 11,089 lb."""
    text = client.get(page("lane-weeks", lane.pk)).content.decode()
    assert "<svg" in text
    assert "11,089" in text
    assert "2,200" not in text.split("<svg")[0]
    assert "5 weeks, 3,000 class 9 vehicles" in text


def test_a_lane_without_weeks_says_what_comes_next(client):
    lane = LaneFactory.create()
    text = client.get(page("lane-weeks", lane.pk)).content.decode()
    assert "<svg" not in text.split("<main")[-1]
    assert "No class 9 vehicle has been recorded" in text


@pytest.mark.parametrize("name", ["review-list", "lane-days"])
def test_pages_take_as_many_queries_for_many_rows_as_for_few(name, client, lane):
    args = [lane.pk] if name == "lane-days" else []

    def queries():
        with CaptureQueriesContext(connection) as found:
            client.get(page(name, *args))
        return len(found)

    queries()
    LaneDay.objects.filter(lane=lane, date__gt=day(3)).update(lane=LaneFactory.create())
    few = queries()
    for _ in range(6):
        days_of(LaneFactory.create(), 3)
    for place in range(100, 120):
        LaneDay.objects.create(
            lane=lane, date=day(place), record_file=RecordFileFactory.create(),
            hours_seen=1, n_vehicles=1, method_version="daily-1",
        )  # fmt: skip
    assert queries() == few
