"""Decisions about answers that are out of limits, and limits of one record alone."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from installs.calc.types.records import DispositionKind, ItemKind, LimitSource
from installs.models import (
    Disposition,
    InstallationRecord,
    ItemEntry,
    RecordLimit,
    SignOff,
    TemplateItem,
)
from installs.selectors.record_entries import disposition_of, judge_entry
from installs.selectors.record_facts import context_of, item_facts, spec_of
from installs.services.answers import open_record, refuse_foreign
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def dispose(
    *,
    entry: ItemEntry,
    kind: DispositionKind | str,
    decided_by: str,
    reason: str,
    by: Any,
) -> Disposition:
    """Keep what was decided about an answer that is out of limits, or weak.

    Raises
    ------
    DomainError
        When there is nothing to decide, it was decided already, or nobody is named.
    """
    record = open_record(entry.record)
    if not decided_by.strip() or not reason.strip():
        raise DomainError("Say who decided, by name, and why.")
    facts = item_facts(record.pk, entry.item)
    spec = spec_of(entry.item, facts.limits.get(entry.item_id))
    kept = next(one for one in facts.entries[entry.item_id] if one.pk == entry.pk)
    decided = disposition_of(kept)
    if decided is not None:
        raise DomainError(
            f"{decided.decided_by} decided this already ({decided.kind}: "
            f"{decided.reason}); answer the item again instead."
        )
    finding = judge_entry(facts, spec, kept, context_of(facts))
    if not finding.needs_disposition and not finding.warnings:
        raise DomainError(
            f"“{spec.prompt}” is {finding.state} here, so there is nothing to decide."
        )
    return Disposition.objects.create(
        entry=kept,
        kind=str(DispositionKind(kind)),
        decided_by=decided_by.strip(),
        reason=reason.strip(),
        entered_by=by,
    )


@transaction.atomic
def limit_set(
    *,
    record: InstallationRecord,
    item: TemplateItem,
    low: float | None,
    high: float | None,
    largest_range: float | None = None,
    limit_source: LimitSource | str,
    limit_reference: str,
    by: Any,
    why: str,
) -> RecordLimit:
    """Hold one record to another limit than its template's, such as the contract's.

    Raises
    ------
    DomainError
        When the stage is signed, the item has no numbers, no side is given, the sides
        are crossed, or nothing says where the limit is from.
    """
    record = open_record(record)
    refuse_foreign(record, item)
    if SignOff.objects.filter(record=record, stage_id=item.stage_id).exists():
        raise DomainError(
            f"“{item.stage.title}” is signed, and its limits with it; a decision about "
            "an answer can still be kept."
        )
    if ItemKind(item.kind).n_numbers == 0:
        raise DomainError(f"“{item.prompt}” has no number that a limit could hold.")
    if low is None and high is None and largest_range is None:
        raise DomainError("Give a lowest, a highest or a largest range.")
    if low is not None and high is not None and high < low:
        raise DomainError(f"The highest value {high:g} is below the lowest {low:g}.")
    if largest_range is not None and largest_range < 0:
        raise DomainError("A range cannot be below zero.")
    if not limit_reference.strip():
        raise DomainError("Name the clause, sheet or drawing that the limit is from.")
    limit = RecordLimit.objects.filter(record=record, item=item).first()
    limit = limit or RecordLimit(record=record, item=item)
    limit.low, limit.high, limit.largest_range = low, high, largest_range
    limit.limit_source = str(LimitSource(limit_source))
    limit.limit_reference = limit_reference.strip()
    save_with_reason(limit, by=by, why=why or f"limit of {item.prompt}")
    return limit
