"""Taking decisions back, accepting plain days at one stroke, questions reopened."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from quality.models import (
    DayReview,
    DriftEpisode,
    LaneDay,
    LaneMonth,
    RecordFile,
    ReviewQuestion,
)
from quality.services import days_decide, derived_refresh
from quality.services.reopening import questions_refresh
from quality.services.reviewing import (
    days_accept_plain,
    decided_together,
    question_keep,
    reviews_undo,
)
from tests.factories import LaneFactory, MaintenanceVisitFactory
from tests.quality.factories import FIRST_ON, days_of
from wimprog.lib.errors import DomainError

pytestmark = [
    pytest.mark.django_db, pytest.mark.usefixtures("program", "held_clock"),
]  # fmt: skip
LONG_AGO = dt.datetime(2024, 6, 1, tzinfo=dt.UTC)
FOUND = [{"check": "gap", "weight": "set aside", "sentence": "Silent all day."}]


def day(place: int) -> dt.date:
    return FIRST_ON + dt.timedelta(days=place)


def page(name, *args):
    return reverse(f"quality:{name}", args=args)


@pytest.fixture
def lane():
    """April 2024, with a finding on the 10th."""
    lane = LaneFactory.create(number=1)
    days_of(lane, 30)
    RecordFile.objects.update(imported_at=dt.datetime(2024, 5, 1, tzinfo=dt.UTC))
    LaneDay.objects.filter(lane=lane, date=day(9)).update(findings=FOUND)
    derived_refresh(lane=lane, first_on=day(0), last_on=day(29), findings=False)
    return lane


def decide(lane, first, last, decision, by, at=LONG_AGO):
    return days_decide(
        lane=lane, from_on=day(first), to_on=day(last), decision=decision,
        reason="seen", by=by, decided_at=at,
    )  # fmt: skip


def counts(lane):
    month = LaneMonth.objects.get(lane=lane)
    return month.n_accepted, month.n_set_aside


def test_an_undo_brings_the_decision_before_back(lane, analyst, manager):
    decide(lane, 0, 9, "accepted", analyst)
    later = decide(lane, 5, 14, "set aside", analyst, LONG_AGO + dt.timedelta(days=1))
    assert counts(lane) == (5, 10)
    assert reviews_undo(reviews=[later], by=manager) == 10
    assert counts(lane) == (10, 0)
    later.refresh_from_db()
    assert (later.undone_by, later.undone_at is not None) == (manager, True)
    assert DayReview.objects.count() == 2
    with pytest.raises(DomainError, match="taken back already"):
        reviews_undo(reviews=[later], by=manager)


def test_an_undo_decides_no_day_that_came_after_the_earlier_decision(lane, analyst):
    decide(lane, 0, 9, "accepted", analyst)
    DayReview.objects.update(created_at=LONG_AGO)
    RecordFile.objects.update(imported_at=LONG_AGO + dt.timedelta(days=1))
    later = decide(lane, 0, 9, "set aside", analyst, LONG_AGO + dt.timedelta(days=2))
    reviews_undo(reviews=[later], by=analyst)
    assert counts(lane) == (0, 0)


def test_plain_days_are_accepted_at_one_stroke_and_taken_back_at_one(lane, analyst):
    decide(lane, 20, 20, "set aside", analyst)
    made = days_accept_plain(expected_days=28, by=analyst)
    assert counts(lane) == (28, 1)
    assert [(one.from_on, one.to_on) for one in made] == [
        (day(0), day(8)), (day(10), day(19)), (day(21), day(29)),
    ]  # fmt: skip
    assert LaneDay.objects.get(lane=lane, date=day(9)).review is None
    together = decided_together(made[0])
    assert {one.pk for one in together} == {one.pk for one in made}
    assert reviews_undo(reviews=together, by=analyst) == 28
    assert counts(lane) == (0, 1)


def test_other_days_than_were_shown_are_not_accepted(lane, analyst):
    with pytest.raises(DomainError, match="29 days are without a finding now, not 28"):
        days_accept_plain(expected_days=28, by=analyst)
    with pytest.raises(DomainError, match="no day without a finding"):
        days_accept_plain(expected_days=0, by=analyst, site_code="OV-nowhere")
    assert not DayReview.objects.exists()


def test_a_fault_entered_later_asks_about_accepted_days_once(lane, analyst):
    decide(lane, 0, 14, "accepted", analyst)
    decide(lane, 15, 20, "set aside", analyst)
    MaintenanceVisitFactory.create(
        wim_site=lane.wim_site, lane=lane, purpose="fault", findings="water in the pit",
        arrived_at=dt.datetime.combine(day(25), dt.time(12), tzinfo=dt.UTC),
    )  # fmt: skip
    assert (questions_refresh(), questions_refresh()) == (1, 0)
    question = ReviewQuestion.objects.get()
    assert (question.from_on, question.to_on) == (day(0), day(14))
    assert "water in the pit" in question.because
    question_keep(question=question, by=analyst)
    assert questions_refresh() == 0
    with pytest.raises(DomainError, match="answered already"):
        question_keep(question=question, by=analyst)


def drift(lane, **more):
    return DriftEpisode.objects.create(
        lane=lane, onset_on=day(7), onset_low_on=day(0), onset_high_on=day(13),
        found_on=day(40), last_on=day(42), size_pct=-5.0, size_low_pct=-6.0,
        size_high_pct=-4.0, n_weeks=5, n_trucks=900, shape="step", scope="one lane",
        method_version="1", **more,
    )  # fmt: skip


def test_a_new_decision_answers_the_question_and_its_undo_asks_again(lane, analyst):
    decide(lane, 0, 29, "accepted", analyst)
    drift(lane)
    drift(LaneFactory.create(number=2), measure="another")
    assert questions_refresh() == 1
    review = decide(lane, 0, 29, "set aside", analyst)
    question = ReviewQuestion.objects.get()
    assert question.settled_by == review
    reviews_undo(reviews=[review], by=analyst)
    question.refresh_from_db()
    assert question.settled_by is None


def test_what_was_decided_after_the_fact_is_not_in_question(lane, analyst):
    drift(lane)
    decide(lane, 0, 29, "accepted", analyst, dt.datetime(2099, 1, 1, tzinfo=dt.UTC))
    assert questions_refresh() == 0


# --- in the browser ----------------------------------------------------------------


def test_the_list_puts_questions_first_and_folds_plain_days(lane, analyst, client_for):
    decide(lane, 0, 4, "accepted", analyst)
    drift(lane)
    client = client_for(analyst)
    client.post(page("question-look"))
    text = client.get(page("review-list")).content.decode()
    assert text.index("Decisions in question") < text.index("Silent all day.")
    assert "Accept all with no findings (24 days of 1 lane)" in text
    client.post(page("question-answer", ReviewQuestion.objects.get().pk))
    answer = client.post(page("review-accept-plain"), {"expected_days": 24})
    assert answer.status_code == 302
    assert counts(lane) == (29, 0)
    stale = client.post(page("review-accept-plain"), {"expected_days": 24})
    assert stale.status_code == 422
    text = client.get(page("review-list")).content.decode()
    assert "Decisions in question" not in text
    made = DayReview.objects.first()
    client.post(page("review-undo", made.pk))
    assert counts(lane) == (5, 0)


def test_the_evidence_shows_weeks_hours_and_every_decision(
    lane, analyst, guest, client_for
):
    review = decide(lane, 8, 10, "set aside", analyst)
    reviews_undo(reviews=[review], by=analyst)
    where = page("review-evidence", lane.pk) + f"?first={day(8)}&last={day(10)}"
    text = client_for(guest).get(where).content.decode()
    assert "Silent all day." in text
    assert "Vehicles by day and hour" in text
    assert "Taken back" in text
    assert "10 vehicles" in text
    assert 'name="decision"' not in text
    assert 'name="decision"' in client_for(analyst).get(where).content.decode()


@pytest.mark.parametrize(
    "query", ["", "?first=soon&last=2024-04-10", "?last=1999-01-01"]
)
def test_the_evidence_opens_whatever_days_are_asked_for(query, lane, guest, client_for):
    where = page("review-evidence", lane.pk) + query
    assert client_for(guest).get(where).status_code == 200


def test_guests_take_nothing_back_and_answer_nothing(lane, analyst, guest, client_for):
    review = decide(lane, 0, 4, "accepted", analyst)
    drift(lane)
    questions_refresh()
    client = client_for(guest)
    for name, *args in (
        ("review-undo", review.pk),
        ("question-answer", ReviewQuestion.objects.get().pk),
        ("question-look",),
        ("review-accept-plain",),
    ):
        assert client.post(page(name, *args)).status_code == 403
