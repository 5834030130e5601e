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
from calibration.selectors.references import reference_of
from calibration.services.factors import factors_in_step
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
def weighing_save(
    *, weighing: StaticWeighing, by: Any, why: str, split_groups: bool = False
) -> StaticWeighing:
    """Add a static weighing, or correct one and recompute what rests on it.

    Where there are readings, the axle weights are computed from them: means of the
    repeats, closed on the gross weight.

    Parameters
    ----------
    split_groups
        Share the weight of a group evenly among axles that were not weighed alone.

    Raises
    ------
    DomainError
        When readings do not make up the vehicle, axles were weighed only in groups,
        or runs rest on the weighing and no reason is given.
    """
    is_new = weighing.pk is None
    has_runs = not is_new and weighing.runs.exists()
    if has_runs and not why.strip():
        raise DomainError(
            "Runs are held against this weighing, so a change of it changes their "
            "errors. Say why it is changed."
        )
    if weighing.readings:
        weighing.axle_weights_kg = axle_weights_of(weighing, split_groups=split_groups)
        weighing.as_typed.pop("axle_weights_kg", None)
    save_with_reason(weighing, by=by, why=why or "static weighing saved")
    if has_runs:
        for session in CalibrationSession.objects.filter(
            runs__weighing=weighing
        ).distinct():
            results_refresh(session)
    return weighing


def axle_weights_of(
    weighing: StaticWeighing, *, split_groups: bool = False
) -> list[float]:
    """Weight of each axle [kg] by the weighing's readings.

    Raises
    ------
    DomainError
        When the readings do not make up the vehicle, or leave an axle unknown.
    """
    found = reference_of(weighing)
    known = {one.axles[0]: one.load_kg for one in found.axles}
    missing = set(range(weighing.vehicle.n_axles)) - set(known)
    if missing and not split_groups:
        told = ", ".join(str(axle + 1) for axle in sorted(missing))
        raise DomainError(
            f"Axle {told} of {weighing.vehicle} was never alone on the scale, so its "
            "weight is not known. Weigh it alone, or share the group’s weight evenly "
            "among its axles."
        )
    for part in sorted(found.parts, key=lambda one: len(one.axles)):
        left = [axle for axle in part.axles if axle not in known]
        rest = part.load_kg - sum(known[a] for a in part.axles if a in known)
        for axle in left:
            known[axle] = rest / len(left)
    return [known[axle] for axle in range(weighing.vehicle.n_axles)]


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
        factors_in_step(session, by=by, why=why or "session saved")
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
    factors_in_step(session, by=by, why=why or "session closed")
    results_refresh(session)
    return session
