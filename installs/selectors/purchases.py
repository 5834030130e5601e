"""Purchases: what came with them, what failed under them, what warranty ends soon."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, Prefetch, Q, QuerySet

from installs.calc.types import EndReason
from installs.calc.upkeep.warranty import warranty_last_day
from installs.models import Installation, Purchase, Sensor
from installs.selectors.failures import judged_tests
from installs.selectors.warranty import WarrantyOf, terms_of, warranty_of
from wimprog.lib.dates import add_months
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Condition

if TYPE_CHECKING:
    from installs.selectors.failures import JudgedTest

#: Failures of a purchase that its page holds against the terms.
FAILURES_SHOWN = 20
#: A test older than this says little of today; common practice, no source.
FRESH_MONTHS = 12
#: Months ahead that the list of what ends soon reaches to.
ENDING_MONTHS = 6


def purchase_list(q: str = "") -> QuerySet[Purchase]:
    """Purchases, newest first, with the number of their sensors and failures."""
    found = Purchase.objects.select_related("sensor_model").annotate(
        n_sensors=Count("sensors", distinct=True),
        n_failed=Count(
            "sensors__installations",
            filter=Q(sensors__installations__end_reason=EndReason.FAILED.value),
            distinct=True,
        ),
    )
    for word in q.split():
        found = found.filter(
            Q(order_ref__icontains=word)
            | Q(supplier__icontains=word)
            | Q(what__icontains=word)
            | Q(sensors__serial__icontains=word)
        ).distinct()
    return found


def terms_words(purchase: Purchase) -> str:
    """The terms of warranty in a line; empty where there are none."""
    if not purchase.warranty_months:
        return ""
    said = f"{purchase.warranty_months} months from {purchase.warranty_start}"
    if purchase.full_months is not None:
        said += f", full cover for {purchase.full_months}"
    if purchase.latest_months_from_purchase is not None:
        said += (
            f", ending {purchase.latest_months_from_purchase} months from purchase at "
            "the latest"
        )
    return said


def _lives() -> Prefetch[str]:
    lives = Installation.objects.select_related("lane__wim_site").order_by(
        "installed_on", "pk"
    )
    return Prefetch("installations", queryset=lives, to_attr="lives")


@dataclass(frozen=True)
class SensorCover:
    """A sensor of a purchase: where it is, and until when it is covered.

    ``note`` tells why the last day is not known.
    """

    sensor: Sensor
    life: Installation | None
    last_day: dt.date | None
    note: str = ""


def cover_of(sensor: Sensor, purchase: Purchase) -> SensorCover:
    """Cover of a sensor with its ``lives`` prefetched.

    The terms count from its first installation.
    """
    lives: list[Installation] = sensor.lives  # type: ignore[attr-defined]
    life = lives[-1] if lives else None
    terms = terms_of(purchase)
    if terms is None:
        return SensorCover(sensor, life, None, "no terms")
    try:
        span = warranty_last_day(
            terms,
            purchased=purchase.bought_on,
            installed=lives[0].installed_on if lives else None,
        )
    except DomainError as error:
        return SensorCover(sensor, life, None, error.message)
    if span is None:
        return SensorCover(sensor, life, None, "counts from its installation")
    return SensorCover(sensor, life, span[1])


@dataclass(frozen=True)
class PurchasePage:
    """Everything of a purchase."""

    purchase: Purchase
    terms: str
    sensors: Sequence[SensorCover]
    failures: Sequence[tuple[Installation, WarrantyOf]]
    n_failures: int
    n_offered: int


def purchase_page(purchase: Purchase) -> PurchasePage:
    """A purchase with its sensors, and its failures held against the terms."""
    sensors = list(
        purchase.sensors.select_related("model")
        .prefetch_related(_lives())
        .order_by("serial")
    )
    failed = list(
        Installation.objects.filter(
            sensor__purchase=purchase, end_reason=EndReason.FAILED.value
        )
        .select_related(
            "sensor__purchase", "sensor__model", "lane__wim_site", "failure"
        )
        .order_by("-ended_on")
    )
    return PurchasePage(
        purchase=purchase,
        terms=terms_words(purchase),
        sensors=[cover_of(one, purchase) for one in sensors],
        failures=[
            (one, warranty_of(one, one.ended_on))
            for one in failed[:FAILURES_SHOWN]
            if one.ended_on is not None
        ],
        n_failures=len(failed),
        n_offered=sensors_without(purchase).count(),
    )


def sensors_without(purchase: Purchase) -> QuerySet[Sensor]:
    """Sensors of a purchase's model that no purchase is entered for."""
    if purchase.sensor_model_id is None:
        return Sensor.objects.none()
    return (
        Sensor.objects.filter(model=purchase.sensor_model_id, purchase=None)
        .select_related("model")
        .order_by("serial")
    )


# --- cover that ends soon ------------------------------------------------------------


@dataclass(frozen=True)
class EndingCover:
    """A sensor in the road whose cover ends soon, and what its tests say."""

    life: Installation
    purchase: Purchase
    last_day: dt.date
    days_left: int
    condition: Condition
    word: str
    sentence: str


def ending_covers(today: dt.date) -> list[EndingCover]:
    """Sensors in the road whose cover ends within six months, the worst first."""
    sensors = list(
        Sensor.objects.filter(
            purchase__warranty_months__isnull=False,
            installations__ended_on__isnull=True,
            installations__isnull=False,
        )
        .select_related("purchase", "model")
        .prefetch_related(_lives())
        .distinct()
    )
    until = add_months(today, ENDING_MONTHS)
    soon = []
    for one in sensors:
        if one.purchase is None:
            continue
        cover = cover_of(one, one.purchase)
        if cover.life and cover.last_day and today <= cover.last_day <= until:
            soon.append((cover.life, one, one.purchase, cover.last_day))
    tests = judged_tests([life.pk for life, *_ in soon])
    rows = [
        _ending(life, sensor, purchase, last, tests.get(life.pk, ()), today)
        for life, sensor, purchase, last in soon
    ]
    return sorted(rows, key=lambda row: (row.condition.rank, row.last_day))


def _ending(
    life: Installation,
    sensor: Sensor,
    purchase: Purchase,
    last_day: dt.date,
    tests: Iterable[JudgedTest],
    today: dt.date,
) -> EndingCover:
    life.sensor = sensor  # spares a query a row
    seen = [one for one in tests if one[0] <= today]
    left = (last_day - today).days
    if not seen:
        condition, word = Condition.NO_DATA, "test before it ends"
        said = "No test of it in service could be judged."
    else:
        on, good = seen[-1]
        when = f"Its last judged test, of {on} (n {len(seen)})"
        if not good:
            condition, word = (
                Condition.ACT,
                "reads badly: test and claim before it ends",
            )
            said = f"{when}, missed the maker’s limit."
        elif on < add_months(today, -FRESH_MONTHS):
            condition, word = Condition.WATCH, "test before it ends"
            said = f"{when}, met the maker’s limit, but is over a year old."
        else:
            condition, word = Condition.SOUND, "reads well"
            said = f"{when}, met the maker’s limit."
    return EndingCover(life, purchase, last_day, left, condition, word, said)
