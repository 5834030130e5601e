"""Test vehicles, static weighings and sessions: added, changed, closed."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from calibration.models import (
    CalibrationSession,
    SessionState,
    StaticWeighing,
    TestVehicle,
)
from calibration.services.results import results_refresh
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def vehicle_save(*, vehicle: TestVehicle, by: Any, why: str) -> TestVehicle:
    """Add a test vehicle or keep what was changed in one.

    Raises
    ------
    DomainError
        When the number of axles would change under weighings that were already made.
    """
    if vehicle.pk:
        before = TestVehicle.objects.get(pk=vehicle.pk)
        if before.n_axles != vehicle.n_axles and before.weighings.exists():
            raise DomainError(
                f"{before} was weighed with {before.n_axles} axles, so it cannot have "
                f"{vehicle.n_axles}. Add another vehicle for the new layout."
            )
    save_with_reason(vehicle, by=by, why=why or "test vehicle saved")
    for session in CalibrationSession.objects.filter(
        runs__weighing__vehicle=vehicle
    ).distinct():
        results_refresh(session)
    return vehicle


@transaction.atomic
def weighing_save(*, weighing: StaticWeighing, by: Any, why: str) -> StaticWeighing:
    """Add a static weighing, or correct one and recompute what rests on it."""
    is_new = weighing.pk is None
    save_with_reason(weighing, by=by, why=why or "static weighing saved")
    if not is_new:
        for session in CalibrationSession.objects.filter(
            runs__weighing=weighing
        ).distinct():
            results_refresh(session)
    return weighing


def check_standard(session: CalibrationSession) -> None:
    """Refuse a standard or a class that there is not."""
    from calibration.calc.standards import find_standard
    from calibration.calc.standards.base import check_class

    try:
        standard = find_standard(session.standard)
    except DomainError as error:
        raise ValidationError({"standard": error.message}) from None
    try:
        session.wanted_class = (
            check_class(standard, session.wanted_class) or standard.default_class
        )
    except DomainError as error:
        raise ValidationError({"wanted_class": error.message}) from None
    session.standard = standard.key


@transaction.atomic
def session_save(
    *, session: CalibrationSession, by: Any, why: str
) -> CalibrationSession:
    """Open a session or keep what was changed in one; its results follow."""
    check_standard(session)
    is_new = session.pk is None
    save_with_reason(session, by=by, why=why or "session saved")
    if not is_new:
        results_refresh(session)
    return session


@transaction.atomic
def session_close(
    *, session: CalibrationSession, factor_after: float | None, by: Any, why: str
) -> CalibrationSession:
    """End a session with the factor it leaves behind.

    Raises
    ------
    DomainError
        When it is closed already.
    """
    if session.state == SessionState.CLOSED:
        raise DomainError(f"The session of {session.held_on} is closed already.")
    session.factor_after = factor_after
    session.state = SessionState.CLOSED
    save_with_reason(session, by=by, why=why or "session closed")
    results_refresh(session)
    return session
