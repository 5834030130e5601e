"""Reads of the instruments and product batches, each with whether it is in date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, Q

from installs.calc.dates_due import DueState, due_state
from installs.models import Instrument, ProductBatch
from sites.selectors import program_get
from wimprog.lib import clock


@dataclass(frozen=True)
class InstrumentRow:
    """An instrument and the state of its calibration on a day."""

    instrument: Instrument
    state: DueState


@dataclass(frozen=True)
class BatchRow:
    """A batch and whether it is good on a day."""

    batch: ProductBatch
    state: DueState


def program_day() -> dt.date:
    """Today on the program's own clock."""
    return clock.today(program_get().time_zone)


def _all_words(q: str, names: Iterable[str]) -> Q:
    """Every word somewhere in one of the fields."""
    found = Q()
    for word in q.split():
        one = Q()
        for name in names:
            one |= Q(**{f"{name}__icontains": word})
        found &= one
    return found


def instrument_rows(today: dt.date, q: str = "") -> list[InstrumentRow]:
    """Instruments, what is due first on top, those without a date last; one query."""
    rows = Instrument.objects.filter(_all_words(q, ("kind", "serial"))).order_by(
        F("calibration_due_on").asc(nulls_last=True), "kind", "serial"
    )
    return [
        InstrumentRow(one, due_state(one.calibration_due_on, today)) for one in rows
    ]


def batch_rows(today: dt.date, q: str = "") -> list[BatchRow]:
    """Batches, good ones first by the day they expire, expired ones last; one query."""
    rows = ProductBatch.objects.filter(
        _all_words(q, ("product", "lot"))
    ).select_related("curing_table")
    found = [BatchRow(one, due_state(one.expires_on, today)) for one in rows]
    far = dt.date.max

    def key(row: BatchRow) -> tuple[bool, dt.date, str, str]:
        gone = row.state is DueState.OUT_OF_DATE
        return gone, row.batch.expires_on or far, row.batch.product, row.batch.lot

    return sorted(found, key=key)
