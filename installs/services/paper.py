"""Typing in what was written on a paper sheet: a whole stage at once, or nothing."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from installs.calc.types.records import EntrySource
from installs.models import InstallationRecord, Instrument, ProductBatch, TemplateItem
from installs.services.answers import answer_save
from wimprog.lib.errors import Complaint, DomainError


@dataclass(frozen=True)
class PaperAnswer:
    """One item's answer as it stands on the sheet."""

    item: TemplateItem
    seen: int
    numbers_typed: tuple[tuple[str, str], ...] = ()
    answer: str = ""
    reason: str = ""
    instrument: Instrument | None = None
    batch: ProductBatch | None = None


@transaction.atomic
def paper_save(
    *,
    record: InstallationRecord,
    answers: Sequence[PaperAnswer],
    observed_at: dt.datetime,
    written_by: str,
    by: Any,
) -> int:
    """Keep the answers of a paper sheet; how many were kept.

    Raises
    ------
    DomainError
        Naming every item whose answer cannot be taken; nothing is kept then.
    """
    complaints: list[Complaint] = []
    for one in answers:
        try:
            answer_save(
                record=record,
                item=one.item,
                client_id=uuid.uuid4(),
                seen=one.seen,
                numbers_typed=list(one.numbers_typed),
                answer=one.answer,
                reason=one.reason,
                instrument=one.instrument,
                batch=one.batch,
                over_range=False,
                observed_at=observed_at,
                source=EntrySource.PAPER,
                written_by=written_by,
                by=by,
            )
        except DomainError as error:
            complaints += error.complaints or [
                Complaint(
                    error.message,
                    field=f"{one.item.stage.title}, item {one.item.number}",
                )
            ]
    if complaints:
        raise DomainError(
            f"{len(complaints)} answers of the sheet cannot be taken; nothing was "
            "kept yet.",
            tuple(complaints),
        )
    return len(answers)
