"""The agency's own values of standards, and its settings of calibration."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from calibration.models import CalibrationSession, CalibrationSettings, StandardValue
from calibration.selectors.due import due_rules
from calibration.selectors.standards import value_row
from calibration.services.results import results_refresh
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def standard_value_set(
    *, standard: str, key: str, value: float, source: str, by: Any, why: str
) -> int:
    """Put the agency's own value in the place of a recalled one.

    Every result that rests on the standard is computed anew in the same transaction, so
    no page shows a verdict by the old value.

    Returns
    -------
    int
        Number of sessions whose results were computed anew.

    Raises
    ------
    DomainError
        When there is no such value, it cannot be used, or its source is not said.
    """
    row = value_row(standard, key)
    if row is None:
        raise DomainError(f"The standard “{standard}” has no value “{key}” to set.")
    checked = row.value.checked(value, source)
    own = row.own or StandardValue(standard=standard, key=key)
    own.value, own.source = checked, source.strip()
    save_with_reason(own, by=by, why=why or "value set from the document")
    return _results_refresh(standard)


@transaction.atomic
def standard_value_return(*, standard: str, key: str, by: Any, why: str) -> int:
    """Go back to the recalled value; the agency's own stays in its history.

    Returns
    -------
    int
        Number of sessions whose results were computed anew.

    Raises
    ------
    DomainError
        When no value of the agency's own is in use, or no reason is given.
    """
    own = StandardValue.objects.filter(standard=standard, key=key).first()
    if own is None:
        raise DomainError("No value of the agency’s own is in use here.")
    if not why.strip():
        raise DomainError("Say why the agency’s own value is given up.")
    own._history_user = by  # type: ignore[attr-defined]
    own._change_reason = why.strip()  # type: ignore[attr-defined]
    own.delete()
    return _results_refresh(standard)


def _results_refresh(standard: str) -> int:
    sessions = CalibrationSession.objects.filter(
        standard=standard, results__isnull=False
    ).distinct()
    for session in sessions:
        results_refresh(session)
    return len(sessions)


@transaction.atomic
def calibration_settings_save(
    *, settings: CalibrationSettings, by: Any, why: str
) -> CalibrationSettings:
    """Keep how the agency decides about calibrations.

    Raises
    ------
    DomainError
        When the rules of the due list contradict each other.
    """
    save_with_reason(settings, by=by, why=why or "calibration settings")
    due_rules(settings, longest_days=365)
    return settings
