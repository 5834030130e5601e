"""A closed session signed by role: what was true is kept with it and sealed.

Runs of a closed session stay as they are. Its head, its static weighings and the
agency's own values of a standard can still be corrected, each with a reason; a
signature then no longer agrees, which :mod:`calibration.selectors.signatures` finds
and the page and the papers say, and the role may sign anew.
"""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction

from calibration.calc.sealing import fingerprint, frozen
from calibration.calc.words import SessionRole
from calibration.models import CalibrationSession, SessionSignature, SessionState
from calibration.selectors.record import SessionRecord, session_record
from calibration.selectors.record_facts import facts_now, utc
from calibration.selectors.signatures import signature_views
from sites.selectors import program_get
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.version import version

ENGINEER = "calibration.change_calibrationsettings"
"""Who may sign as engineer: those who set how the agency decides."""


@transaction.atomic
def session_sign(
    *,
    session: CalibrationSession,
    role: SessionRole | str,
    name_signed: str,
    client_id: uuid.UUID,
    by: Any,
    now: dt.datetime | None = None,
) -> SessionSignature:
    """Sign a closed session in a role; sent twice it is signed once.

    Raises
    ------
    DomainError
        When the session is open, the role is not the signer's to take or has signed
        the record as it is already, or no name is given.
    """
    # The row is held so that two who sign at once are taken one after the other.
    CalibrationSession.objects.select_for_update().get(pk=session.pk)
    held = CalibrationSession.objects.select_related("lane__wim_site").get(
        pk=session.pk
    )
    kept = SessionSignature.objects.filter(client_id=client_id).first()
    if kept is not None:
        return _signed_again(kept, held, role)
    if held.state != SessionState.CLOSED:
        raise DomainError(
            f"The session of {held.held_on} is still open. Close it with the factor it "
            "leaves; then it is signed."
        )
    role = _role(role, by)
    name = " ".join(name_signed.split())
    if not name:
        raise DomainError("Sign with your name; an empty signature says nothing.")
    record = session_record(held, unit_system=program_get().unit_system)
    _refuse_twice(record, role)
    signed_at = now or clock.now()
    truth = what_is_true(record, role=role, name=name, by=by, at=signed_at)
    return SessionSignature.objects.create(
        client_id=client_id,
        session=held,
        role=role.value,
        name_signed=name,
        signed_by=by,
        signed_at=signed_at,
        what_was_true=truth,
        fingerprint=fingerprint(truth),
    )


def _signed_again(
    kept: SessionSignature, session: CalibrationSession, role: SessionRole | str
) -> SessionSignature:
    if (kept.session_id, kept.role) != (session.pk, str(role)):
        raise DomainError(
            "Another signature was kept under the same mark already, so this one was "
            "not; open the page again and sign there."
        )
    return kept


def _role(role: SessionRole | str, by: Any) -> SessionRole:
    try:
        found = SessionRole(str(role))
    except ValueError:
        told = " or ".join(one.value for one in SessionRole)
        raise DomainError(f"A session is signed as {told}, not as {role}.") from None
    if found is SessionRole.ENGINEER and not by.has_perm(ENGINEER):
        raise DomainError(
            "Only somebody who may change the calibration settings signs as engineer."
        )
    return found


def _refuse_twice(record: SessionRecord, role: SessionRole) -> None:
    for view in signature_views(record):
        if view.stands and view.signature.role == role.value:
            raise DomainError(
                f"It is signed as {role.value} already, by "
                f"{view.signature.name_signed}, for everything as it stands."
            )


def what_is_true(
    record: SessionRecord, *, role: SessionRole, name: str, by: Any, at: dt.datetime
) -> dict[str, Any]:
    """Everything that a signature stands for, as plain JSON with numbers as text."""
    truth: dict[str, Any] = frozen(
        {
            "session": record.session.pk,
            "place": str(record.session.lane),
            "software": version(),
            "role": role.value,
            "name_signed": name,
            "account": by.pk,
            "signed_by": by.get_username(),
            "signed_at": utc(at),
            **facts_now(record),
        }
    )
    return truth


def may_sign_as(by: Any) -> list[SessionRole]:
    """Roles that somebody may sign in."""
    return [
        role
        for role in SessionRole
        if role is not SessionRole.ENGINEER or by.has_perm(ENGINEER)
    ]
