"""Changes of purchases, and of which sensors came with them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from installs.models import Installation, Purchase, Sensor
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def purchase_save(
    *, purchase: Purchase, today: dt.date, by: Any, why: str
) -> list[str]:
    """Add a purchase or keep what was changed in one; gives what should be told.

    Raises
    ------
    django.core.exceptions.ValidationError
        By field: a day to come, terms that do not fit together, an order kept already.
    """
    purchase.order_ref = purchase.order_ref.strip()
    purchase.supplier = " ".join(purchase.supplier.split())
    purchase.what = " ".join(purchase.what.split())
    wrong = {}
    if purchase.bought_on and purchase.bought_on > today:
        wrong["bought_on"] = (
            f"{purchase.bought_on} is still to come; today is {today}. Give the day on "
            "the invoice."
        )
    latest = purchase.latest_months_from_purchase
    if not purchase.warranty_months:
        for name in ("full_months", "latest_months_from_purchase"):
            if getattr(purchase, name) is not None:
                wrong[name] = (
                    "Give the months of the warranty too, or leave this empty."
                )
    elif latest is not None and latest < 1:
        wrong["latest_months_from_purchase"] = (
            "The latest end must lie after the purchase: 1 month or more."
        )
    if wrong:
        raise ValidationError(wrong)
    save_with_reason(purchase, by=by, why=why or "purchase saved")
    return installed_before(purchase)


@transaction.atomic
def purchase_sensors(
    *, purchase: Purchase, sensors: Iterable[Sensor], by: Any, why: str
) -> list[str]:
    """Set which sensors came with a purchase; gives what should be told.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When one belongs to another purchase or is of another model; nothing is kept.
    """
    wanted = {one.pk: one for one in sensors}
    now = {one.pk: one for one in Sensor.objects.filter(purchase=purchase)}
    fresh = [wanted[pk] for pk in wanted.keys() - now.keys()]
    wrong = [found for one in fresh if (found := _refusal(one, purchase))]
    if wrong:
        raise DomainError("Nothing was changed.", tuple(wrong))
    why = why or f"came with {purchase}"
    for one in fresh:
        one.purchase = purchase
        save_with_reason(one, by=by, why=why)
    for pk in now.keys() - wanted.keys():
        now[pk].purchase = None
        save_with_reason(now[pk], by=by, why=f"did not come with {purchase}")
    return installed_before(purchase)


def _refusal(sensor: Sensor, purchase: Purchase) -> Complaint | None:
    if sensor.purchase_id and sensor.purchase_id != purchase.pk:
        return Complaint(
            field="serial number",
            value=sensor.serial,
            message=f"{sensor} came with {sensor.purchase}.",
            remedy="Take it off that purchase first.",
        )
    if purchase.sensor_model_id and sensor.model_id != purchase.sensor_model_id:
        return Complaint(
            field="serial number",
            value=sensor.serial,
            message=f"It is a {sensor.model}, but {purchase} is of "
            f"{purchase.sensor_model}.",
            remedy="Choose a sensor of that model.",
        )
    return None


def sensors_by_serial(text: str, purchase: Purchase) -> Sequence[Sensor]:
    """Sensors of the serial numbers in a text, one a line or parted by commas.

    Raises
    ------
    wimprog.lib.errors.DomainError
        Naming every number that is not known, or that two models share.
    """
    serials = [
        (number, part.strip())
        for number, line in enumerate(text.splitlines(), start=1)
        for part in line.replace(";", ",").split(",")
        if part.strip()
    ]
    known: dict[str, list[Sensor]] = {}
    rows = Sensor.objects.filter(serial__in={serial for _, serial in serials})
    if purchase.sensor_model_id:
        rows = rows.filter(model=purchase.sensor_model_id)
    for one in rows.select_related("model", "purchase"):
        known.setdefault(one.serial, []).append(one)
    wrong, found = [], []
    of_model = f" of {purchase.sensor_model}" if purchase.sensor_model_id else ""
    for number, serial in serials:
        match = known.get(serial, [])
        if len(match) == 1:
            found.append(match[0])
            continue
        message = f"No sensor{of_model} with this number is known."
        remedy = "Check it against the label, or add the sensor first."
        if match:
            message = f"{len(match)} models have a sensor of this number."
            remedy = "Say which model this purchase is of."
        wrong.append(
            Complaint(
                message, row=number, field="serial number", value=serial, remedy=remedy
            )
        )
    if wrong:
        raise DomainError("Nothing was changed.", tuple(wrong))
    return found


def installed_before(purchase: Purchase) -> list[str]:
    """What to tell of sensors that were in the road before they were bought."""
    lives = (
        Installation.objects.filter(
            sensor__purchase=purchase, installed_on__lt=purchase.bought_on
        )
        .select_related("sensor__model")
        .order_by("installed_on")
    )
    return [
        f"{one.sensor} was installed on {one.installed_on}, before it was bought on "
        f"{purchase.bought_on}: one of the days is wrong, or it came with another "
        "purchase. Its warranty cannot be told until then."
        for one in lives
    ]
