"""The demo's upkeep: cabinets, preventive rules, times down, money and works. Invented.

Everything comes from the causes of the plan: the cabinets' visits are the routine
visits, the times down are the failures and faults that the scenario gave.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from installs.calc.types import EndReason, VisitPurpose
from installs.calc.upkeep.types import (
    CabinetFinding,
    CabinetPart,
    DowntimeCause,
    PolicyKind,
)
from installs.models import (
    CabinetUnit,
    DownSpell,
    Installation,
    MaintenanceVisit,
    PavementWork,
    PreventiveRule,
    RenewalSettings,
    TechnologyMoney,
)
from installs.services.cabinet import cabinet_unit_add, cabinet_unit_end
from installs.services.downtime import down_spell_save
from installs.services.preventive import rules_start
from installs.services.renewal_settings import (
    pavement_work_save,
    renewal_settings_save,
    technology_money_save,
)
from installs.services.visit_inputs import PartCheck, RuleDone
from installs.services.visits import visit_log
from sites.models import Lane, Site, SiteState
from wimprog.demo.scenario import LanePlan, SitePlan
from wimprog.demo.standing import WHY
from wimprog.lib.dates import add_months

LATEST_VISITS = 4
"""Routine visits of a site, latest first, that have cabinet checks."""
LATEST_DOWN = dt.timedelta(days=3 * 365)
BATTERY_YEARS = 4
FAULT_CAUSE = {
    "power": DowntimeCause.POWER,
    "communications": DowntimeCause.COMMUNICATIONS,
}
MONEY = {
    "polymer piezo": (14_500, 5_200, 1_350, 900),
    "quartz piezo": (33_000, 6_900, 6_400, 1_500),
    "bending plate": (41_000, 7_400, 14_500, 2_600),
}
"""A lane's renewal and yearly upkeep, then parts and work of one sensor."""


def upkeeping(
    *,
    lanes: Iterable[tuple[Lane, LanePlan, SitePlan]],
    as_of: dt.date,
    manager: Any,
    technician: Any,
) -> None:
    """Cabinets, rules, times down, and what renewal is reckoned with."""
    rules_start(by=manager)
    _money(as_of, manager)
    for wim_site in Site.objects.exclude(in_service_on=None):
        _cabinet(wim_site, as_of, technician)
    for lane, one, site in lanes:
        _times_down(lane, one, site, as_of, technician)


def _cabinet(wim_site: Site, as_of: dt.date, by: Any) -> None:
    rng = np.random.default_rng([wim_site.pk, 31])
    begun = wim_site.in_service_on or as_of
    last = wim_site.retired_on or wim_site.suspended_on or as_of
    cabinet_unit_add(
        unit=CabinetUnit(
            wim_site=wim_site, part=CabinetPart.CONTROLLER,
            name=wim_site.controller or "controller",
            serial=f"C{wim_site.pk:03d}-{begun.year}", fitted_on=begun,
        ),
        by=by, why=WHY,
    )  # fmt: skip
    fitted, old = begun, None
    while fitted < last:
        if old is not None:
            cabinet_unit_end(
                unit=old, ended_on=fitted, end_reason=EndReason.FAILED.value, by=by,
                why=WHY,
            )  # fmt: skip
        old = cabinet_unit_add(
            unit=CabinetUnit(
                wim_site=wim_site, part=CabinetPart.BATTERY,
                name="sealed battery 12 V, 100 Ah", fitted_on=fitted,
            ),
            by=by, why=WHY,
        )  # fmt: skip
        fitted = add_months(fitted, int(12 * BATTERY_YEARS + rng.integers(-8, 9)))
    _checks(wim_site, old.fitted_on if old else begun, rng, by)


def _checks(
    wim_site: Site, battery_on: dt.date, rng: np.random.Generator, by: Any
) -> None:
    """The latest routine visits looked at the cabinet part by part."""
    visits = MaintenanceVisit.objects.filter(
        wim_site=wim_site, purpose=VisitPurpose.ROUTINE_CHECK.value
    ).order_by("-arrived_at")[:LATEST_VISITS]
    rule = PreventiveRule.objects.filter(part=CabinetPart.BATTERY.value).first()
    for visit in visits:
        aged = max((visit.arrived_at.date() - battery_on).days, 0) / 365.25
        rest = round(float(12.85 - 0.09 * aged + rng.normal(0, 0.04)), 2)
        load = round(float(rest - 0.35 - 0.22 * aged - abs(rng.normal(0, 0.06))), 2)
        is_weak = load < 11.5
        checks = [
            PartCheck(
                CabinetPart.BATTERY,
                CabinetFinding.NEEDS_WORK if is_weak else CabinetFinding.SOUND,
                note="Replace before winter." if is_weak else "",
                rest_voltage_v=rest, load_voltage_v=load, load_current_a=25.0,
            ),
            PartCheck(
                CabinetPart.GROUNDING, CabinetFinding.SOUND,
                earth_resistance_ohm=round(float(rng.uniform(3.0, 14.0)), 1),
            ),
            PartCheck(CabinetPart.COMMUNICATIONS, CabinetFinding.SOUND),
            PartCheck(CabinetPart.MOISTURE, CabinetFinding.SOUND),
            PartCheck(
                CabinetPart.PESTS,
                CabinetFinding.MENDED if rng.random() < 0.15 else CabinetFinding.SOUND,
            ),
        ]  # fmt: skip
        done = [RuleDone(rule)] if rule else None
        visit_log(visit=visit, checks=checks, preventive=done, by=by, why=WHY)


def _times_down(
    lane: Lane, one: LanePlan, site: SitePlan, as_of: dt.date, by: Any
) -> None:
    """The cabinet's faults that silenced the lane, as somebody noted them later."""
    zone = ZoneInfo(lane.wim_site.time_zone)
    for fault in one.faults:
        cause = FAULT_CAUSE.get(fault.kind)
        if cause is None or fault.to_on < as_of - LATEST_DOWN or fault.from_on > as_of:
            continue
        is_over = fault.to_on < as_of
        down_spell_save(
            spell=DownSpell(
                lane=lane, cause=cause.value,
                began_at=dt.datetime.combine(fault.from_on, dt.time(), zone),
                ended_at=dt.datetime.combine(fault.to_on, dt.time(13), zone)
                if is_over
                else None,
                note=f"{site.code}: {fault.kind} lost.",
            ),
            by=by, why=WHY,
        )  # fmt: skip


def _money(as_of: dt.date, by: Any) -> None:
    renewal_settings_save(
        settings=RenewalSettings(
            mobilisation=Decimal(2400), closure_rate_per_hour=Decimal(420),
            closure_setup_hours=1.5, closure_hours_each=4.0,
            urgent_extra=Decimal(1200), yearly_budget=Decimal(180_000),
            months_to_replace=3.5, policy=PolicyKind.ON_FAILURE.value,
            source="the agency's contract of last year (invented)",
        ),
        by=by, why=WHY,
    )  # fmt: skip
    used = set(Installation.objects.values_list("sensor__model__technology", flat=True))
    for word, (renewal, upkeep, parts, work) in MONEY.items():
        if word in used:
            technology_money_save(
                money=TechnologyMoney(
                    technology=word, renewal_cost=Decimal(renewal),
                    upkeep_per_year=Decimal(upkeep), parts_each=Decimal(parts),
                    work_each=Decimal(work), equipment_cost=Decimal(9_800),
                    price_year=as_of.year - 1,
                    source="the agency's contracts, averaged (invented)",
                ),
                by=by, why=WHY,
            )  # fmt: skip
    sites = Site.objects.filter(state=SiteState.IN_SERVICE).order_by("pavement_year")
    for place, wim_site in enumerate(sites[:3]):
        pavement_work_save(
            work=PavementWork(
                wim_site=wim_site, what="mill and overlay",
                planned_on=dt.date(as_of.year + 1 + place % 2, 6 + place, 15),
                reference=f"paving programme {as_of.year + 1 + place % 2}",
            ),
            by=by, why=WHY,
        )  # fmt: skip
