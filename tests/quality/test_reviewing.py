"""Decisions on days: who, when and why; what they change and what they leave."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from quality import selectors
from quality.models import DayReview, LaneDay, LaneMonth, LaneWeek
from quality.services import days_decide, derived_refresh
from tests.factories import LaneFactory
from tests.quality.factories import FIRST_ON, LaneDayFactory, days_of
from wimprog.lib.errors import DomainError

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]


def day(place: int) -> dt.date:
    return FIRST_ON + dt.timedelta(days=place)


@pytest.fixture
def lane():
    """Thirty days of a lane from Monday 1 April 2024: the whole month."""
    lane = LaneFactory.create()
    days_of(lane, 30)
    derived_refresh(lane=lane, first_on=day(0), last_on=day(29), findings=False)
    return lane


def decide(lane, first, last, decision, by, reason="seen on site"):
    return days_decide(
        lane=lane, from_on=day(first), to_on=day(last), decision=decision,
        reason=reason, by=by,
    )  # fmt: skip


def test_a_decision_keeps_who_when_and_why(lane, analyst, held_clock):
    review = decide(lane, 0, 9, "accepted", analyst, "  no finding ")
    assert (review.decided_by, review.reason) == (analyst, "no finding")
    assert review.decided_at.date() == held_clock
    assert review.history.get().history_user == analyst
    assert LaneDay.objects.filter(review=review).count() == 10


def test_accepting_days_changes_the_accepted_share_of_the_month(lane, analyst):
    """20 of April's 30 days."""
    april = dt.date(2024, 4, 1)
    assert selectors.months_accepted([lane.pk]) == {lane.pk: [(april, 0.0)]}
    decide(lane, 0, 19, "accepted", analyst)
    assert selectors.months_accepted([lane.pk]) == {
        lane.pk: [(april, pytest.approx(20 / 30))]
    }


def test_days_set_aside_count_in_no_week_and_are_kept(lane, analyst):
    """Week of 1 April: means 5,000 to 5,060 kg; without the last three 5,015 kg."""
    week = LaneWeek.objects.get(lane=lane, week_on=day(0))
    assert (week.n_days, week.n_vehicles) == (7, 700)
    assert week.steering_mean_kg == pytest.approx(5030.0)
    decide(lane, 4, 6, "set aside", analyst)
    week = LaneWeek.objects.get(lane=lane, week_on=day(0))
    assert (week.n_days, week.n_vehicles) == (4, 400)
    assert week.steering_mean_kg == pytest.approx(5015.0)
    assert LaneDay.objects.filter(lane=lane).count() == 30


def test_a_week_set_aside_whole_is_no_week_at_all(lane, analyst):
    decide(lane, 0, 6, "set aside", analyst)
    assert not LaneWeek.objects.filter(lane=lane, week_on=day(0)).exists()
    assert LaneWeek.objects.filter(lane=lane, week_on=day(7)).exists()


def test_the_later_decision_holds_and_the_earlier_one_stays_on_record(lane, analyst):
    decide(lane, 0, 9, "set aside", analyst)
    decide(lane, 0, 4, "accepted", analyst, "the clock was right after all")
    month = LaneMonth.objects.get(lane=lane)
    assert (month.n_days, month.n_accepted, month.n_set_aside) == (30, 5, 5)
    assert DayReview.objects.count() == 2


def test_a_decision_touches_no_other_lane(lane, analyst):
    other = LaneFactory.create()
    days_of(other, 30)
    decide(lane, 0, 29, "accepted", analyst)
    assert not LaneDay.objects.filter(lane=other, review__isnull=False).exists()


@pytest.mark.parametrize(
    ("first", "last", "reason", "words"),
    [
        (0, 3, "   ", "Give the reason"),
        (5, 3, "seen", "before the first"),
        (400, 410, "seen", "recorded no day"),
    ],
)
def test_a_decision_without_its_grounds_is_refused(
    first, last, reason, words, lane, analyst
):
    with pytest.raises(DomainError, match=words):
        decide(lane, first, last, "accepted", analyst, reason)
    assert not DayReview.objects.exists()
    assert not LaneDay.objects.filter(review__isnull=False).exists()


def test_a_word_that_is_no_decision_is_refused_and_changes_nothing(lane, analyst):
    with pytest.raises(ValidationError):
        decide(lane, 0, 3, "perhaps", analyst)
    assert not LaneDay.objects.filter(review__isnull=False).exists()


def test_refreshing_twice_changes_nothing(lane):
    def rows():
        columns = ("lane", "week_on", "n_vehicles", "steering_mean_kg")
        return list(LaneWeek.objects.values_list(*columns).order_by("week_on"))

    before = rows()
    derived_refresh(lane=lane, first_on=day(3), last_on=day(12))
    assert rows() == before


def kill(lane, place):
    """A day without a vehicle, in the database as an import leaves it."""
    LaneDay.objects.filter(lane=lane, date=day(place)).update(
        n_vehicles=0, hours_seen=0, hourly=bytes(48), findings=[]
    )


def test_a_dead_day_gets_a_finding_and_loses_it_when_it_is_mended():
    lane = LaneFactory.create()
    days_of(lane, 50)
    kill(lane, 45)
    derived_refresh(lane=lane, first_on=day(45), last_on=day(45))
    dead = LaneDay.objects.get(lane=lane, date=day(45))
    assert {"check", "weight", "sentence"} == set(dead.findings[0])
    assert "No vehicle from 00:00 to 24:00" in dead.findings[0]["sentence"]
    LaneDay.objects.filter(pk=dead.pk).update(
        n_vehicles=240, hours_seen=0xFFFFFF, hourly=b"\x0a\x00" * 24
    )
    derived_refresh(lane=lane, first_on=day(45), last_on=day(45))
    dead.refresh_from_db()
    assert dead.findings == []


def test_what_is_found_does_not_depend_on_how_the_days_were_delivered():
    """A year at once, month by month, and one early month delivered again."""
    lane = LaneFactory.create()
    days_of(lane, 366)
    for place in range(366):
        noise = (place * 37) % 11 - 5
        LaneDay.objects.filter(lane=lane, date=day(place)).update(
            n_vehicles=240 + noise, n_unclassified=place % 29
        )
    for place in (60, 200, 201, 300):
        kill(lane, place)
    LaneDay.objects.filter(lane=lane, date=day(250)).update(n_vehicles=90)

    def found():
        rows = LaneDay.objects.filter(lane=lane).order_by("date")
        return [(one.date, one.findings) for one in rows if one.findings]

    derived_refresh(lane=lane, first_on=day(0), last_on=day(365))
    at_once = found()
    assert {day(60), day(200), day(201), day(250), day(300)} <= {d for d, _ in at_once}
    LaneDay.objects.filter(lane=lane).update(findings=[])
    for first in range(0, 366, 30):
        last = min(first + 29, 365)
        derived_refresh(lane=lane, first_on=day(first), last_on=day(last))
    assert found() == at_once
    derived_refresh(lane=lane, first_on=day(30), last_on=day(59))
    assert found() == at_once


# --- the review list --------------------------------------------------------------

DEAD = [{"check": "gap", "weight": "set aside", "sentence": "No vehicle all day."}]
ODD = [{"check": "volume", "weight": "look at", "sentence": "Half its usual volume."}]


def finding(lane, first, last, findings):
    days = LaneDay.objects.filter(lane=lane, date__range=(day(first), day(last)))
    for one in days:
        one.findings = findings
        one.save()


def test_undecided_days_make_runs_of_one_proposal_each(lane):
    finding(lane, 10, 12, DEAD)
    finding(lane, 20, 20, ODD)
    runs = selectors.review_runs()
    assert [(run.proposal, run.from_on, run.to_on, run.n_days) for run in runs] == [
        ("look at", day(20), day(20), 1),
        ("set aside", day(10), day(12), 3),
        ("accept", day(0), day(9), 10),
        ("accept", day(13), day(19), 7),
        ("accept", day(21), day(29), 9),
    ]
    assert runs[1].reason == "No vehicle all day."
    assert runs[2].reason == "No check found anything."
    assert runs[1].n_vehicles == 720


def test_a_gap_of_more_than_three_days_parts_a_run(lane):
    LaneDay.objects.filter(lane=lane, date__range=(day(10), day(12))).delete()
    assert [run.n_days for run in selectors.review_runs()] == [10, 17]


def test_decided_days_leave_the_list_and_a_site_can_be_chosen(lane, analyst):
    other = LaneFactory.create()
    LaneDayFactory.create(lane=other, date=day(0))
    decide(lane, 0, 28, "accepted", analyst)
    runs = selectors.review_runs(site_code=lane.wim_site.code)
    assert [(run.lane, run.from_on) for run in runs] == [(lane, day(29))]
    assert len(selectors.review_runs()) == 2
    assert [run.lane for run in selectors.review_runs(lane_id=other.pk)] == [other]


def test_a_run_never_covers_a_day_that_was_decided(lane, analyst):
    """Accepting the whole run must not undo what was set aside within it."""
    decide(lane, 10, 11, "set aside", analyst)
    runs = selectors.review_runs()
    assert [(run.from_on, run.to_on) for run in runs] == [
        (day(0), day(9)),
        (day(12), day(29)),
    ]
    for run in runs:
        days_decide(
            lane=lane, from_on=run.from_on, to_on=run.to_on, decision="accepted",
            reason=run.reason, by=analyst,
        )  # fmt: skip
    month = LaneMonth.objects.get(lane=lane)
    assert (month.n_accepted, month.n_set_aside) == (28, 2)


def test_the_review_list_takes_as_many_queries_for_many_lanes_as_for_one(
    lane, django_assert_num_queries
):
    LaneDay.objects.filter(lane=lane, date=day(10)).delete()
    with django_assert_num_queries(3):
        selectors.review_runs()
    for _ in range(5):
        days_of(LaneFactory.create(), 3)
    with django_assert_num_queries(3):
        assert len(selectors.review_runs()) == 6


# --- drift ------------------------------------------------------------------------


def test_drift_reads_the_weeks_since_each_lanes_calibration(
    lane, program, django_assert_num_queries
):
    """Only lanes with a calibration; weeks before it do not count."""
    other = LaneFactory.create()
    for place in range(30):
        LaneWeek.objects.create(
            lane=other, week_on=day(7 * place), n_vehicles=200, n_days=7,
            steering_mean_kg=5000.0 if place < 15 else 5250.0 + place % 2,
            steering_sd_kg=400.0, gvw_mean_kg=30_000.0,
        )  # fmt: skip
    with django_assert_num_queries(1):
        found = selectors.lane_drifts(
            [lane.pk, other.pk], {other.pk: day(0)}, today=day(300), program=program
        )
    assert set(found) == {other.pk}
    drift = found[other.pk]
    assert drift.judgement.value == pytest.approx(5.0, abs=0.2)
    late = selectors.lane_drifts(
        [other.pk], {other.pk: day(15 * 7)}, today=day(300), program=program
    )[other.pk]
    assert late.judgement.value == pytest.approx(0.0, abs=0.2)


def test_the_last_day_with_a_record_is_not_an_empty_day(lane):
    LaneDay.objects.filter(lane=lane, date=day(29)).update(n_vehicles=0)
    assert selectors.last_data_on([lane.pk]) == {lane.pk: day(28)}
