"""Session plans: kept, and begun as sessions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from calibration.calc.types import SessionPurpose
from calibration.models import CalibrationSession, SessionPlan, TestVehicle
from calibration.selectors import factor_in_use
from calibration.selectors.plans import runs_of
from calibration.services.facts import session_save
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def plan_save(
    *, plan: SessionPlan, vehicles: Iterable[TestVehicle], by: Any, why: str
) -> SessionPlan:
    """Keep a plan with its vehicles.

    Raises
    ------
    DomainError
        When its session has begun, or its runs cannot be put in order.
    ValidationError
        When there is no such standard or class.
    """
    chosen = sorted(vehicles, key=lambda one: one.name)
    if plan.session_id is not None:
        raise DomainError(
            f"The session of {plan.session.held_on} began from this plan, so it stays "  # type: ignore[union-attr]
            "as it is. Draw up another for the next session."
        )
    _check_class(plan)
    runs_of(plan, [one.name for one in chosen])
    named = ", ".join(one.name for one in chosen)
    save_with_reason(plan, by=by, why=why or f"session planned with {named}")
    plan.vehicles.set(chosen)
    return plan


def _check_class(plan: SessionPlan) -> None:
    from calibration.calc.standards import find_standard
    from calibration.calc.standards.base import check_class

    try:
        standard = find_standard(plan.standard)
    except DomainError as error:
        raise ValidationError({"standard": error.message}) from None
    try:
        found = check_class(standard, plan.wanted_class)
    except DomainError as error:
        raise ValidationError({"wanted_class": error.message}) from None
    plan.standard, plan.wanted_class = standard.key, found or standard.default_class


@transaction.atomic
def plan_begin(
    *, plan: SessionPlan, held_on: dt.date, purpose: SessionPurpose | str, by: Any
) -> CalibrationSession:
    """Open the session that was planned, as it was planned; the two stay linked.

    Raises
    ------
    DomainError
        When it has begun already.
    """
    locked = SessionPlan.objects.select_for_update(of=("self",)).get(pk=plan.pk)
    if locked.session_id is not None:
        raise DomainError("The session of this plan has begun already.")
    session = session_save(
        session=CalibrationSession(
            lane=locked.lane,
            held_on=held_on,
            purpose=str(purpose),
            plan=locked.plan,
            environment=locked.environment,
            standard=locked.standard,
            wanted_class=locked.wanted_class,
            factor_before=factor_in_use(locked.lane),
            traffic_control_plan=locked.traffic_control_plan,
        ),
        by=by,
        why="session opened from its plan",
    )
    locked.session = session
    save_with_reason(locked, by=by, why="session begun")
    plan.session = session
    return session
