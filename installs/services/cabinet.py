"""The roadside cabinet: what was found in it at a visit, what was fitted in it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from installs.calc.upkeep.types import CabinetFinding
from installs.models import CabinetCheck, CabinetUnit, MaintenanceVisit
from installs.services.visit_inputs import PartCheck, WorkFound
from installs.services.visit_rules import refuse_day_ahead
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


def checks_keep(
    visit: MaintenanceVisit, checks: Sequence[PartCheck], by: Any, why: str
) -> list[WorkFound]:
    """Keep what was found at each part; the work that it asks for comes back.

    Raises
    ------
    DomainError
        When a battery gives more under load than at rest.
    """
    found = []
    kept = {one.part: one for one in visit.cabinet_checks.all()}
    raised = set(visit.opened_work.exclude(part="").values_list("part", flat=True))
    for one in checks:
        row = kept.get(one.part)
        if row is None:
            if one.finding is CabinetFinding.NOT_CHECKED and not one.note:
                continue
            row = CabinetCheck(visit=visit, part=one.part.value)
        before = _said(row) if row.pk else None
        row.finding = one.finding.value
        row.note = one.note
        row.rest_voltage_v, row.load_voltage_v = one.rest_voltage_v, one.load_voltage_v
        row.load_current_a = one.load_current_a
        row.earth_resistance_ohm = one.earth_resistance_ohm
        row.as_typed = dict(one.as_typed)
        _refuse_load(one)
        if _said(row) != before:
            save_with_reason(row, by=by, why=why)
        if one.raises_work and one.part not in raised:
            reason = one.note or f"The {one.part} needs work."
            found.append(WorkFound(reason, part=one.part, cause=str(one.part)))
    return found


def _said(check: CabinetCheck) -> tuple[Any, ...]:
    return (
        check.finding,
        check.note,
        check.rest_voltage_v,
        check.load_voltage_v,
        check.load_current_a,
        check.earth_resistance_ohm,
        check.as_typed,
    )


def _refuse_load(one: PartCheck) -> None:
    """Refuse more volts under load than at rest (common practice, no source)."""
    rest, load = one.rest_voltage_v, one.load_voltage_v
    if rest is not None and load is not None and load > rest:
        raise DomainError(
            f"{str(one.part).capitalize()}: {load:g} V under load is above {rest:g} V "
            "at rest, which a battery alone cannot give. Swap them if they are "
            "crossed; with the charger on it is no load test: leave the voltage under "
            "load empty and say so in the note."
        )


@transaction.atomic
def cabinet_unit_add(*, unit: CabinetUnit, by: Any, why: str) -> CabinetUnit:
    """Say that a unit was fitted in a cabinet."""
    refuse_day_ahead(unit.fitted_on, unit.wim_site, "fitted_on")
    save_with_reason(unit, by=by, why=why or "unit fitted")
    return unit


@transaction.atomic
def cabinet_unit_end(
    *, unit: CabinetUnit, ended_on: dt.date, end_reason: str, by: Any, why: str
) -> CabinetUnit:
    """Say when a unit left its cabinet, and why.

    Raises
    ------
    DomainError
        When it has left already.
    """
    kept = CabinetUnit.objects.select_for_update().get(pk=unit.pk)
    if kept.ended_on is not None:
        raise DomainError(
            f"{kept.name} left the cabinet on {kept.ended_on} already "
            f"({kept.end_reason})."
        )
    refuse_day_ahead(ended_on, kept.wim_site, "ended_on")
    if ended_on < kept.fitted_on:
        raise ValidationError(
            {
                "ended_on": f"It was fitted on {kept.fitted_on}; it cannot leave "
                f"before that, on {ended_on}."
            }
        )
    kept.ended_on, kept.end_reason = ended_on, str(end_reason)
    save_with_reason(kept, by=by, why=why or str(end_reason))
    return kept
