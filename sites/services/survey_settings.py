"""Changes of what surveys are judged by: thresholds, and the agency's own limits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.db import transaction

from sites.calc.suitability.registry import all_standards
from sites.calc.suitability.values import check_order, shows
from sites.models import SurveyLimit, SurveySettings
from sites.selectors import LimitRow, limit_row, suitability_settings
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason
from wimprog.lib.units import UnitSystem


@transaction.atomic
def survey_settings_save(
    *, settings: SurveySettings, by: Any, why: str
) -> SurveySettings:
    """Keep how the agency judges surveys.

    Raises
    ------
    DomainError
        When no standard would count, or one that there is not.
    django.core.exceptions.ValidationError
        When a threshold cannot be.
    """
    known = all_standards()
    strangers = [key for key in settings.governing if key not in known]
    if strangers:
        raise DomainError(
            f"There is no site standard “{strangers[0]}”. There are {', '.join(known)}."
        )
    if not settings.governing:
        raise DomainError(
            "No standard counts: every survey would come to “cannot say”. Choose at "
            "least one."
        )
    settings.governing = [key for key in known if key in settings.governing]
    save_with_reason(settings, by=by, why=why or "survey settings")
    return settings


@transaction.atomic
def survey_limit_set(
    *,
    standard: str,
    key: str,
    value: float,
    source: str,
    by: Any,
    why: str,
    system: UnitSystem | str = UnitSystem.SI,
    typed: tuple[str, str] | None = None,
) -> SurveyLimit:
    """Put the agency's own limit in the place of a recalled one.

    Parameters
    ----------
    value
        The limit [SI unit of the limit].
    source
        Where it stands, or who decided it.
    system
        Unit system of messages.
    typed
        Text and unit as typed.

    Raises
    ------
    DomainError
        When there is no such limit, the value cannot be or contradicts another of the
        same standard, or its source is not said.
    """
    row = _row(standard, key, system)
    checked = row.value.checked(value, source, shows(UnitSystem(system)))
    own = row.own or SurveyLimit(standard=standard, key=key)
    own.value, own.source = checked, source.strip()
    own.as_typed = {"value": list(typed)} if typed else {}
    save_with_reason(own, by=by, why=why or "limit set by the agency")
    _check_order(standard, system)
    return own


@transaction.atomic
def survey_limit_return(
    *,
    standard: str,
    key: str,
    by: Any,
    why: str,
    system: UnitSystem | str = UnitSystem.SI,
) -> None:
    """Go back to the recalled limit; the agency's own stays in its history.

    Raises
    ------
    DomainError
        When no limit of the agency's own is in use, no reason is given, or the recalled
        one would contradict another of the agency's own.
    """
    own = _row(standard, key, system).own
    if own is None:
        raise DomainError("No limit of the agency’s own is in use here.")
    if not why.strip():
        raise DomainError("Say why the agency’s own limit is given up.")
    own._history_user = by  # type: ignore[attr-defined]
    own._change_reason = why.strip()  # type: ignore[attr-defined]
    own.delete()
    _check_order(standard, system)


def _row(standard: str, key: str, system: UnitSystem | str) -> LimitRow:
    row = limit_row(standard, key, system)
    if row is None:
        raise DomainError(f"The standard “{standard}” has no limit “{key}” to set.")
    return row


def _check_order(standard: str, system: UnitSystem | str) -> None:
    """Refuse a contradiction in either unit system: the program may change its own."""
    in_use = suitability_settings(system)
    others = [one for one in UnitSystem if one != in_use.unit_system]
    for one in (in_use.unit_system, *others):
        check_order(all_standards()[standard], replace(in_use, unit_system=one))
