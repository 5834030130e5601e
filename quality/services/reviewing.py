"""The analyst's decisions on days."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from quality.models import DayDecision, DayReview, LaneDay
from quality.services.deriving import derived_refresh
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


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
    kept and count in no figure of accepted data.

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
    derived_refresh(lane=lane, first_on=from_on, last_on=to_on, findings=False)
    return review
