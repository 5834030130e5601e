"""The analyst's decisions on days, and taking them back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any
from uuid import uuid4

from django.db import transaction

from quality.models import DayDecision, DayReview, LaneDay, ReviewQuestion
from quality.selectors.review import PlainMonth, plain_months
from quality.services.deriving import derived_refresh
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

PLAIN_REASON = "No check found anything."
STROKE = "accepted in one stroke, "


@transaction.atomic
def days_decide(
    *,
    lane: Lane,
    from_on: dt.date,
    to_on: dt.date,
    decision: DayDecision | str,
    reason: str,
    by: Any,
    decided_at: dt.datetime | None = None,
) -> DayReview:
    """Accept or set aside a lane's days, with the reason.

    The latest decision holds; the earlier one stays in the history. Set-aside days are
    kept and count in no figure of accepted data. A question that lies within the days
    is answered by it.

    Raises
    ------
    DomainError
        Without a reason, or when no day of the period was recorded.
    """
    if not reason.strip():
        raise DomainError("Give the reason of the decision; it stands in the report.")
    if to_on < from_on:
        raise DomainError(f"The last day ({to_on}) is before the first ({from_on}).")
    days = LaneDay.objects.filter(lane=lane, date__range=(from_on, to_on))
    if not days.exists():
        raise DomainError(
            f"{lane} recorded no day from {from_on} to {to_on}, so there is nothing "
            "to decide."
        )
    review = DayReview(
        lane=lane,
        from_on=from_on,
        to_on=to_on,
        decision=decision,
        reason=reason.strip(),
        decided_by=by,
        decided_at=decided_at or clock.now(),
    )
    save_with_reason(review, by=by, why=reason.strip())
    days.update(review=review)
    _settle(review, by)
    derived_refresh(lane=lane, first_on=from_on, last_on=to_on, findings=False)
    return review


def _settle(review: DayReview, by: Any) -> None:
    questions = ReviewQuestion.objects.filter(
        lane=review.lane,
        settled_by__isnull=True,
        kept_as_is_at__isnull=True,
        from_on__gte=review.from_on,
        to_on__lte=review.to_on,
    )
    for question in questions:
        question.settled_by = review
        save_with_reason(question, by=by, why=review.reason[:100])


@transaction.atomic
def days_accept_plain(
    *, expected_days: int, by: Any, site_code: str = "", lane_id: int | None = None,
    month: dt.date | None = None,
) -> list[DayReview]:  # fmt: skip
    """Accept all days on which no check found anything, as they were counted.

    Parameters
    ----------
    expected_days
        The number that was shown. When records came in between it differs, and then
        nothing is accepted: nobody has seen those days.
    site_code, lane_id, month
        Which days; all when left out.

    Raises
    ------
    DomainError
        When the number differs, or there is none.
    """
    chosen = [
        one for one in plain_months(site_code=site_code)
        if (lane_id is None or one.lane.pk == lane_id)
        and (month is None or one.month == month)
    ]  # fmt: skip
    n_days = sum(one.n_days for one in chosen)
    if n_days != expected_days:
        raise DomainError(
            f"{n_days} days are without a finding now, not {expected_days}: records "
            "came in or days were decided. Look at the list again."
        )
    if not chosen:
        raise DomainError("There is no day without a finding to accept.")
    at, stroke = clock.now(), STROKE + uuid4().hex
    made = []
    for lane, months in _by_lane(chosen):
        for one in months:
            made.extend(_accept_month(one, by, at, stroke))
        days = [day for one in months for day in one.dates]
        derived_refresh(
            lane=lane, first_on=min(days), last_on=max(days), findings=False
        )
    return made


def _by_lane(chosen: Iterable[PlainMonth]) -> list[tuple[Lane, list[PlainMonth]]]:
    found: dict[int, tuple[Lane, list[PlainMonth]]] = {}
    for one in chosen:
        found.setdefault(one.lane.pk, (one.lane, []))[1].append(one)
    return list(found.values())


def _accept_month(
    one: PlainMonth, by: Any, at: dt.datetime, stroke: str
) -> list[DayReview]:
    """One decision for each stretch of days on end: it covers no other day."""
    made = []
    for from_on, to_on in one.stretches:
        review = DayReview(
            lane=one.lane, from_on=from_on, to_on=to_on,
            decision=DayDecision.ACCEPTED, reason=PLAIN_REASON, decided_by=by,
            decided_at=at,
        )  # fmt: skip
        save_with_reason(review, by=by, why=stroke)
        LaneDay.objects.filter(
            lane=one.lane, date__range=(from_on, to_on), review__isnull=True
        ).update(review=review)
        made.append(review)
    return made


def decided_together(review: DayReview) -> list[DayReview]:
    """The decisions that were made in one stroke with this one, itself among them."""
    first = review.history.earliest()
    if not str(first.history_change_reason).startswith(STROKE):
        return [review]
    pks = DayReview.history.filter(
        history_change_reason=first.history_change_reason
    ).values_list("id", flat=True)
    return list(DayReview.objects.filter(pk__in=set(pks), undone_at=None))


@transaction.atomic
def reviews_undo(*, reviews: Sequence[DayReview], by: Any) -> int:
    """Take decisions back; their days have the decision again that held before.

    A day that no earlier decision was made on is undecided again. Returns the days
    that changed.

    Raises
    ------
    DomainError
        When one of them was taken back already.
    """
    n_days = 0
    for review in reviews:
        review = DayReview.objects.select_for_update().get(pk=review.pk)
        if review.undone_at is not None:
            raise DomainError(f"This decision was taken back already ({review}).")
        review.undone_by, review.undone_at = by, clock.now()
        save_with_reason(review, by=by, why="taken back")
        n_days += _restore(review)
        for question in ReviewQuestion.objects.filter(settled_by=review):
            question.settled_by = None
            save_with_reason(question, by=by, why="the decision was taken back")
        derived_refresh(
            lane=review.lane,
            first_on=review.from_on,
            last_on=review.to_on,
            findings=False,
        )
    return n_days


def _restore(review: DayReview) -> int:
    earlier = list(
        DayReview.objects.filter(
            lane=review.lane,
            undone_at=None,
            from_on__lte=review.to_on,
            to_on__gte=review.from_on,
        ).order_by("-decided_at", "-pk")
    )
    days = list(LaneDay.objects.filter(review=review).select_related("record_file"))
    for day in days:
        # a decision is on what was there: later deliveries it does not cover
        day.review = next(
            (
                one for one in earlier
                if one.from_on <= day.date <= one.to_on
                and day.record_file.imported_at <= max(one.decided_at, one.created_at)
            ),
            None,
        )  # fmt: skip
    LaneDay.objects.bulk_update(days, ["review"], batch_size=500)
    return len(days)


@transaction.atomic
def question_keep(*, question: ReviewQuestion, by: Any) -> ReviewQuestion:
    """Somebody looked again and leaves the decision as it was.

    Raises
    ------
    DomainError
        When the question was answered already.
    """
    if question.settled_by_id or question.kept_as_is_at:
        raise DomainError("This question was answered already.")
    question.kept_as_is_by, question.kept_as_is_at = by, clock.now()
    save_with_reason(question, by=by, why="looked at again and kept as it is")
    return question
