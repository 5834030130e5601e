"""A visit kept whole: what was found, done, used, begun and ended, or nothing of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from installs.calc.upkeep.types import StockMove
from installs.models import (
    MaintenanceVisit,
    PreventiveDone,
    SparePart,
    WorkItem,
)
from installs.selectors.visits import used_at_visit
from installs.services import work
from installs.services.cabinet import checks_keep
from installs.services.downtime import bring_back, take_down
from installs.services.stores import below_zero, stock_book
from installs.services.visit_inputs import (
    CameBack,
    PartCheck,
    PartUsed,
    RuleDone,
    VisitKept,
    WentDown,
    WorkDone,
    WorkFound,
)
from installs.services.visit_rules import day_of, refuse_foreign, refuse_times
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def visit_log(
    *,
    visit: MaintenanceVisit,
    work_done: Sequence[WorkDone] = (),
    work_found: Sequence[WorkFound] = (),
    checks: Sequence[PartCheck] = (),
    parts: Sequence[PartUsed] = (),
    down: Sequence[WentDown] = (),
    back: Sequence[CameBack] = (),
    preventive: Sequence[RuleDone] | None = None,
    work_undone: Sequence[WorkItem] = (),
    by: Any,
    why: str,
) -> VisitKept:
    """Keep a visit with all that belongs to it; the same call corrects it later.

    Parameters
    ----------
    visit
        New, or kept before and changed.
    work_done
        Work items seen to. One that somebody closed meanwhile stays as it is, with a
        warning.
    checks
        One a part; a part checked before at this visit is corrected.
    parts
        What the visit used in all, a part each; the difference to what is booked
        already is booked, and a part not named stays as it is.
    preventive
        All that was done at this visit: what is missing from it is taken back, unless
        a work item of the schedule closed here says so. None leaves it as it is.
    work_undone
        Work said to be done at this visit that was not, after all.

    Raises
    ------
    DomainError
        Naming what belongs to another site or cannot be; nothing is kept.
    django.core.exceptions.ValidationError
        By field, when a time or another value of the visit cannot be.
    """
    refuse_times(visit)
    first = visit.pk is None
    save_with_reason(visit, by=by, why=why or f"visit: {visit.purpose}")
    why = why or ("logged with the visit" if first else "visit corrected")
    for item in work_undone:
        if item.done_at_visit_id == visit.pk:
            work.work_reopen(item=item, reason=why, by=by)
    warnings = _close(visit, work_done, by)
    _open(visit, work_found, by)
    _open(visit, checks_keep(visit, checks, by, why), by)
    warnings += _use(visit, parts, by, why)
    take_down(visit, down, by, why)
    bring_back(visit, back, by, why)
    if preventive is not None:
        _keep_preventive(visit, preventive, by, why)
    return VisitKept(visit, tuple(warnings))


# --- work ----------------------------------------------------------------------------


def _close(visit: MaintenanceVisit, done: Sequence[WorkDone], by: Any) -> list[str]:
    warnings = []
    for one in done:
        item = WorkItem.objects.select_for_update().get(pk=one.item.pk)
        if item.wim_site_id != visit.wim_site_id:
            raise DomainError(
                f"“{item.reason}” is work of another site, not of "
                f"{visit.wim_site.code}; nothing was saved. Reload the page and choose "
                "from its list."
            )
        if item.done_at_visit_id == visit.pk:
            continue
        if item not in WorkItem.objects.open():
            warnings.append(
                f"“{item.reason}” was closed already ({item.state}"
                f"{f' on {item.done_on}' if item.done_on else ''}); it stays as it is."
            )
            continue
        work.work_done(
            item=item, visit=visit, done_on=day_of(visit), note=one.note, by=by
        )
    return warnings


def _open(visit: MaintenanceVisit, found: Sequence[WorkFound], by: Any) -> None:
    for one in found:
        refuse_foreign(visit, one.lane, one.installation)
        work.work_found(
            wim_site=visit.wim_site,
            lane=one.lane,
            installation=one.installation,
            part=str(one.part),
            reason=one.reason,
            cause=one.cause,
            is_hazard=one.is_hazard,
            lane_is_down=one.lane_is_down,
            spoils_data=one.spoils_data,
            visit=visit,
            since_on=day_of(visit),
            by=by,
        )


# --- parts used ----------------------------------------------------------------------


def _use(
    visit: MaintenanceVisit, parts: Sequence[PartUsed], by: Any, why: str
) -> list[str]:
    wanted: dict[int, PartUsed] = {}
    for one in parts:
        before = wanted.get(one.spare_part.pk)
        more = before.quantity if before else 0
        wanted[one.spare_part.pk] = PartUsed(one.spare_part, one.quantity + more)
    booked = used_at_visit(visit)
    moved: list[SparePart] = []
    for pk, one in wanted.items():
        difference = one.quantity - booked.get(pk, 0)
        if difference == 0:
            continue
        stock_book(
            spare_part=one.spare_part,
            move=StockMove.USED if difference > 0 else StockMove.RETURNED,
            quantity=abs(difference),
            moved_on=day_of(visit),
            visit=visit,
            by=by,
            why=why,
        )
        moved.append(one.spare_part)
    return below_zero(moved)


# --- preventive work -----------------------------------------------------------------


def _keep_preventive(
    visit: MaintenanceVisit, done: Sequence[RuleDone], by: Any, why: str
) -> None:
    kept = {
        (one.rule_id, one.installation_id): one for one in visit.preventive_done.all()
    }
    wanted = {
        (one.rule.pk, one.installation.pk if one.installation else None): one
        for one in done
    }
    for key, one in wanted.items():
        refuse_foreign(visit, None, one.installation)
        if key in kept:
            continue
        row = PreventiveDone(
            rule=one.rule,
            wim_site=visit.wim_site,
            installation=one.installation,
            visit=visit,
            done_on=day_of(visit),
        )
        save_with_reason(row, by=by, why=why)
    scheduled = {
        work.schedule_key(key[0], visit.wim_site_id, key[1]): key for key in kept
    }
    closed = visit.closed_work.filter(source_key__in=scheduled)
    stays = {scheduled[one.source_key] for one in closed}
    for key, gone in kept.items():
        if key not in wanted and key not in stays:
            gone._history_user = by  # type: ignore[attr-defined]
            gone._change_reason = why  # type: ignore[attr-defined]
            gone.delete()  # its history stays
