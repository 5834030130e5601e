"""The agency's own limits of checks: set, switched off, returned to the default.

Every change is kept with who and why. What the limits find on stored days is worked out
again by a worker, never while somebody waits.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from django.db import transaction
from django.db.models import Max, Min

from quality.models import CheckLimit, LaneDay
from quality.selectors.limit_rows import check_of
from quality.services.deriving import derived_refresh
from sites.models import Lane
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def limit_set(
    *,
    check_key: str,
    lane: Lane | None,
    value: float | None,
    is_off: bool,
    source: str,
    by: Any,
) -> CheckLimit:
    """Set the agency's limit of a check, for all lanes or for one.

    Raises
    ------
    DomainError
        For a check that there is not, without a reason, or for what is no number.
    """
    check = check_of(check_key)
    if not source.strip():
        raise DomainError("Say why this limit: its source, or the reason.")
    wanted = check.default_limit if value is None else value
    if not math.isfinite(wanted):
        raise DomainError(f"A limit is a number, not {value}.")
    limit = CheckLimit.objects.filter(check_key=check_key, lane=lane).first()
    limit = limit or CheckLimit(check_key=check_key, lane=lane)
    limit.value, limit.is_off, limit.source = wanted, is_off, source.strip()
    save_with_reason(limit, by=by, why=source.strip())
    return limit


@transaction.atomic
def limit_return(*, limit: CheckLimit, reason: str, by: Any) -> None:
    """Return to the default (or, for a lane, to the limit for all lanes).

    Raises
    ------
    DomainError
        Without a reason.
    """
    if not reason.strip():
        raise DomainError("Give the reason; it stays in the history.")
    limit._history_user = by  # type: ignore[attr-defined]
    limit._change_reason = reason.strip()[:100]  # type: ignore[attr-defined]
    limit.delete()


def findings_refresh(
    *, lane_id: int | None = None, progress: Callable[[int, int], None] | None = None
) -> int:
    """Find anew on all stored days, of one lane or of all; how many lanes.

    Each lane is whole or as it was; doing it twice changes nothing.
    """
    rows = Lane.objects.select_related("wim_site").order_by("pk")
    if lane_id is not None:
        rows = rows.filter(pk=lane_id)
    lanes = list(rows)
    for place, lane in enumerate(lanes, start=1):
        span = LaneDay.objects.filter(lane=lane).aggregate(a=Min("date"), b=Max("date"))
        if span["a"] is not None:
            derived_refresh(lane=lane, first_on=span["a"], last_on=span["b"])
        if progress is not None:
            progress(place, len(lanes))
    return len(lanes)
