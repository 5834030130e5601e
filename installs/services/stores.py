"""Changes of the store: its parts, and the entries that say why a count changed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from installs.calc.upkeep.types import StockMove
from installs.models import MaintenanceVisit, Purchase, SparePart, StockEntry
from installs.selectors.stores import stock_of
from wimprog.lib.models import save_with_reason


@transaction.atomic
def spare_save(*, part: SparePart, by: Any, why: str) -> SparePart:
    """Add a part to the store's list, or keep what was changed in one.

    Raises
    ------
    django.core.exceptions.ValidationError
        When its name, or its sensor model, is kept already.
    """
    part.name = " ".join(part.name.split())
    part.place = part.place.strip()
    save_with_reason(part, by=by, why=why or "part saved")
    return part


@transaction.atomic
def stock_book(
    *,
    spare_part: SparePart,
    move: StockMove,
    quantity: int,
    moved_on: dt.date,
    visit: MaintenanceVisit | None = None,
    purchase: Purchase | None = None,
    note: str = "",
    by: Any,
    why: str,
) -> StockEntry:
    """Book one entry; what is booked is never altered, a new entry corrects it.

    More taken than there is is booked all the same: the part is in the road, and the
    count was wrong (:func:`below_zero` tells so).

    Raises
    ------
    django.core.exceptions.ValidationError
        By field, when a value cannot be.
    """
    entry = StockEntry(
        spare_part=spare_part,
        move=move.value,
        quantity=quantity,
        moved_on=moved_on,
        visit=visit,
        purchase=purchase,
        note=note.strip(),
    )
    save_with_reason(entry, by=by, why=why)
    return entry


@transaction.atomic
def stock_move(
    *, entry: StockEntry, today: dt.date, by: Any, why: str = ""
) -> list[str]:
    """Book what somebody tells of the store; gives what should be told of it.

    Raises
    ------
    django.core.exceptions.ValidationError
        By field: a day to come, or a purchase of another model or of a later day.
    """
    _refuse_day(entry.moved_on, today)
    if entry.purchase is not None:
        _refuse_purchase(entry)
    kept = stock_book(
        spare_part=entry.spare_part,
        move=StockMove(entry.move),
        quantity=entry.quantity,
        moved_on=entry.moved_on,
        purchase=entry.purchase,
        note=entry.note,
        by=by,
        why=why or entry.note or entry.move,
    )
    later = (
        StockEntry.objects.filter(
            spare_part=kept.spare_part,
            move=StockMove.COUNTED.value,
            moved_on__gt=kept.moved_on,
        )
        .order_by("moved_on")
        .last()
    )
    told = below_zero([kept.spare_part])
    if later is not None:
        told.append(
            f"The store was counted on {later.moved_on}, after it; that count stands, "
            "so the stock of today is the same as before."
        )
    return told


def below_zero(parts: Iterable[SparePart]) -> list[str]:
    """What to tell of parts of which more was taken than there was."""
    wanted = list(parts)
    stock = stock_of([one.pk for one in wanted])
    return [
        f"The count of {one} stands at {stock[one.pk]} now, below zero: count what "
        "lies in the store and book the count."
        for one in wanted
        if stock[one.pk] < 0
    ]


def _refuse_day(day: dt.date, today: dt.date) -> None:
    if day > today:
        raise ValidationError(
            {
                "moved_on": f"{day} is still to come; today is {today}. Give the "
                "day on which it happened."
            }
        )


def _refuse_purchase(entry: StockEntry) -> None:
    purchase, part = entry.purchase, entry.spare_part
    if purchase is None:
        return
    if entry.move != StockMove.RECEIVED.value:
        raise ValidationError(
            {
                "purchase": f"A purchase belongs to what was received, not to what was "
                f"{entry.move}. Leave it empty."
            }
        )
    if purchase.sensor_model_id and purchase.sensor_model_id != part.sensor_model_id:
        raise ValidationError(
            {
                "purchase": f"{purchase} is an order of {purchase.sensor_model}, "
                f"not of {part}."
            }
        )
    if entry.moved_on < purchase.bought_on:
        raise ValidationError(
            {
                "moved_on": f"{purchase} was bought on {purchase.bought_on}; it cannot "
                f"have come on {entry.moved_on}, before that."
            }
        )
