"""Failures: a life ends with what is known of it; corrections; warranty claims."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from installs.calc.failure_modes import modes_of
from installs.calc.types import EndReason, FailureMode
from installs.calc.upkeep.types import WarrantyClaim
from installs.models import FailureReport, Installation, MaintenanceVisit
from installs.services.road import installation_end
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

NOT_WRITTEN = "not written down"
_C = WarrantyClaim
_NEXT_CLAIMS: dict[WarrantyClaim, tuple[WarrantyClaim, ...]] = {
    _C.NOT_MADE: (_C.MADE,),
    _C.MADE: (_C.GRANTED, _C.REFUSED, _C.NOT_MADE),
    _C.GRANTED: (_C.MADE,),
    _C.REFUSED: (_C.MADE,),
}


@dataclass(frozen=True)
class FailureKnown:
    """What is known of a failure beside its mode and the day the life ended.

    ``found_on`` None: on the day the life ended.
    """

    found_by: str = ""
    found_on: dt.date | None = None
    day_is_known: bool = False
    last_good_on: dt.date | None = None
    first_bad_on: dt.date | None = None
    evidence: str = ""
    lead_checked: bool = False
    visit: MaintenanceVisit | None = None


@transaction.atomic
def installation_fail(
    *,
    installation: Installation,
    ended_on: dt.date,
    failure_mode: FailureMode | str,
    known: FailureKnown,
    by: Any,
    why: str,
) -> FailureReport:
    """End a life in failure and keep what is known of the failure, in one step.

    Raises
    ------
    django.core.exceptions.ValidationError
        When the mode is missing or the days are crossed.
    DomainError
        When it has ended already, the mode is none of its technology's, a day lies
        ahead, or the visit was elsewhere.
    """
    installation_end(
        installation=installation,
        ended_on=ended_on,
        end_reason=EndReason.FAILED,
        failure_mode=failure_mode,
        by=by,
        why=why,
    )
    return failure_report(
        installation=installation,
        failure_mode=failure_mode,
        known=known,
        by=by,
        why=why or "failure reported",
    )


@transaction.atomic
def failure_report(
    *,
    installation: Installation,
    failure_mode: FailureMode | str,
    known: FailureKnown,
    by: Any,
    why: str,
) -> FailureReport:
    """Keep what is known of a failure whose life has ended already.

    Raises
    ------
    DomainError
        When the life did not end in failure, or its failure is reported already.
    """
    Installation.objects.select_for_update().get(pk=installation.pk)
    if installation.end_reason != EndReason.FAILED or installation.ended_on is None:
        raise DomainError(
            f"{installation.sensor} did not fail in “{installation.position}” "
            f"({installation.end_reason or 'it is in the road'}); end its "
            "installation as failed first."
        )
    if FailureReport.objects.filter(installation=installation).exists():
        raise DomainError(
            f"The failure of {installation.sensor} in “{installation.position}” is "
            "reported already; correct that report."
        )
    report = FailureReport(
        installation=installation,
        found_on=known.found_on or installation.ended_on,
        found_by=known.found_by.strip() or str(by),
        mode=str(failure_mode),
        day_is_known=known.day_is_known,
        last_good_on=known.last_good_on,
        first_bad_on=known.first_bad_on,
        evidence=known.evidence.strip() or NOT_WRITTEN,
        visit=known.visit,
        lead_checked=known.lead_checked,
    )
    return _keep(report, installation.ended_on, by=by, why=why or "failure reported")


@transaction.atomic
def failure_correct(
    *, report: FailureReport, ended_on: dt.date, by: Any, why: str
) -> FailureReport:
    """Keep what was corrected in a report, with the reason.

    The installation's day and mode follow, so that its life and its report agree.

    Raises
    ------
    DomainError
        Without a reason, or as for a new report.
    """
    if not why.strip():
        raise DomainError(
            "Say why the report is corrected: its days decide how long the sensor is "
            "taken to have lived."
        )
    return _keep(report, ended_on, by=by, why=why.strip())


@transaction.atomic
def failure_claim(
    *,
    report: FailureReport,
    claim: WarrantyClaim | str,
    claim_ref: str,
    by: Any,
    why: str,
) -> FailureReport:
    """Say how far the claim under the warranty is.

    Raises
    ------
    DomainError
        When the step cannot follow the last one, or a claim has no reference.
    """
    kept = FailureReport.objects.select_for_update().get(pk=report.pk)
    now, wanted = WarrantyClaim(kept.claim), WarrantyClaim(claim)
    ref = claim_ref.strip()
    if wanted is not now and wanted not in _NEXT_CLAIMS[now]:
        may = " or ".join(f"“{one}”" for one in _NEXT_CLAIMS[now])
        raise DomainError(
            f"A claim that is “{now}” cannot become “{wanted}”; it can become {may}."
        )
    if wanted is not WarrantyClaim.NOT_MADE and not ref:
        raise DomainError(
            "Give the reference under which the supplier knows the claim: a number, or "
            "the day of the letter."
        )
    if (wanted, ref) == (now, kept.claim_ref):
        return kept
    kept.claim, kept.claim_ref = wanted.value, ref
    save_with_reason(kept, by=by, why=why or f"warranty claim {wanted}")
    return kept


def _keep(
    report: FailureReport, ended_on: dt.date, *, by: Any, why: str
) -> FailureReport:
    life = report.installation
    _refuse_days(report, ended_on)
    _refuse_mode_and_visit(report)
    if (life.ended_on, life.failure_mode) != (ended_on, report.mode):
        life.ended_on, life.failure_mode = ended_on, report.mode
        save_with_reason(life, by=by, why=why)
    save_with_reason(report, by=by, why=why)
    return report


def _refuse_days(report: FailureReport, ended_on: dt.date) -> None:
    life = report.installation
    today = clock.today(life.lane.wim_site.time_zone)
    if report.found_on > today:
        raise DomainError(
            f"It cannot have been found failed on {report.found_on}, which lies ahead "
            f"of today ({today})."
        )
    if ended_on > report.found_on:
        raise DomainError(
            f"It was found failed on {report.found_on}, before its life ended on "
            f"{ended_on}; correct one of the days."
        )
    bounds = (report.last_good_on, report.first_bad_on)
    if report.day_is_known and any(bounds):
        raise DomainError(
            "The very day is known, or it lies between a last good and a first bad "
            "day: give the one or the other."
        )
    last_good = report.last_good_on
    if last_good is not None and last_good > ended_on:
        raise DomainError(
            f"It still worked on {last_good}, after its life ended on {ended_on}; "
            "correct one of the days."
        )


def _refuse_mode_and_visit(report: FailureReport) -> None:
    life = report.installation
    technology = life.sensor.model.technology
    may = modes_of(technology)
    if report.mode and report.mode not in may:
        raise DomainError(
            f"A {technology} sensor has no {report.mode} that could fail; choose one "
            f"of {', '.join(may)}."
        )
    visit = report.visit
    if visit is not None and visit.wim_site_id != life.lane.wim_site_id:
        raise DomainError(
            f"The visit {visit} was to another site; choose one to "
            f"{life.lane.wim_site.code}, or none."
        )
