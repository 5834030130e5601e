"""Factors as they were found and as they are left, in step with the session."""

from __future__ import annotations

import math
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from calibration.models import CalibrationSession, FactorSet, RunStage
from calibration.services.results import results_refresh
from calibration.services.runs import refuse_if_closed
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

OF_SESSION = {
    RunStage.AS_FOUND.value: "factor_before",
    RunStage.AS_LEFT.value: "factor_after",
}
"""The session's own field of each stage's one factor."""

SPEED_RANGE_KMH = (1.0, 200.0)
FACTOR_RANGE = (0.05, 20.0)
"""A factor beyond this is a slip (common practice, no source)."""


@transaction.atomic
def factors_save(*, factors: FactorSet, by: Any, why: str) -> FactorSet:
    """Keep the factors that a lane worked by, or was left with.

    The session's factor before or after follows ``overall``, and its results with it.

    Raises
    ------
    DomainError
        When the session is closed, nothing is given, or a set that was kept is changed
        without a reason.
    ValidationError
        When a factor or speed cannot be.
    """
    session = CalibrationSession.objects.select_for_update().get(pk=factors.session_id)
    refuse_if_closed(session)
    if factors.pk and not why.strip():
        raise DomainError("Factors that were kept are changed with a reason. Say why.")
    if factors.overall is None and not factors.by_speed and not factors.by_sensor:
        raise DomainError("Give at least one factor.")
    check_factors(factors)
    save_with_reason(factors, by=by, why=why or f"factors {factors.stage}")
    name = OF_SESSION[factors.stage]
    if factors.overall is not None and getattr(session, name) != factors.overall:
        setattr(session, name, factors.overall)
        reason = why or "as in the controller"
        save_with_reason(session, by=by, why=f"factors {factors.stage}: {reason}")
        results_refresh(session)
    return factors


def check_factors(factors: FactorSet) -> None:
    """Refuse factors and speeds that cannot be.

    Raises
    ------
    ValidationError
        By field.
    """
    faults: dict[str, list[str]] = {}
    low, high = FACTOR_RANGE
    speeds = [speed for speed, _ in factors.by_speed]
    if len(set(speeds)) < len(speeds):
        faults.setdefault("by_speed", []).append("A speed is there twice.")
    slow, fast = SPEED_RANGE_KMH
    if any(not slow <= speed <= fast for speed in speeds):
        faults.setdefault("by_speed", []).append("A speed cannot be right.")
    named = {
        "overall": [] if factors.overall is None else [factors.overall],
        "by_speed": [factor for _, factor in factors.by_speed],
        "by_sensor": list(factors.by_sensor.values()),
    }
    for name, values in named.items():
        for value in values:
            if not (math.isfinite(value) and low <= value <= high):
                faults.setdefault(name, []).append(
                    f"{value:g} cannot be a factor; {low:g} to {high:g} is expected."
                )
    if faults:
        raise ValidationError(faults)


def factors_in_step(session: CalibrationSession, *, by: Any, why: str) -> None:
    """Bring the kept factor sets in step with the session's own factors.

    Only sets that exist and that say otherwise are changed.
    """
    for kept in session.factor_sets.all():
        wanted = getattr(session, OF_SESSION[kept.stage])
        if wanted is not None and kept.overall != wanted:
            kept.overall = wanted
            save_with_reason(kept, by=by, why=f"in step with the session: {why}")
