"""Changes of what is in the road: each knows who and why, and is all or nothing."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from simple_history.utils import bulk_create_with_history

from installs.calc.types import ElectricalQuantity, EndReason, FailureMode, TestStage
from installs.models import (
    ElectricalTest,
    Installation,
    Reading,
    Sensor,
    TechnologyProfile,
)
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.models import save_with_reason

BEFORE_INSTALLATION = (TestStage.BENCH, TestStage.IN_SLOT)
QUANTITY_WORDS = frozenset(quantity.value for quantity in ElectricalQuantity)
BATCH = 500


@dataclass(frozen=True)
class ReadingInput:
    """One value as the meter showed it, in the unit of its quantity.

    ``typed`` is the text that a person wrote; it comes back exactly.
    """

    value: float
    typed: str = ""
    over_range: bool = False


@transaction.atomic
def sensor_save(*, sensor: Sensor, by: Any, why: str) -> Sensor:
    """Add a sensor or keep what was changed in one."""
    save_with_reason(sensor, by=by, why=why or "sensor saved")
    return sensor


@transaction.atomic
def technology_profile_save(
    *, profile: TechnologyProfile, by: Any, why: str
) -> TechnologyProfile:
    """Keep what the agency expects of a technology."""
    save_with_reason(profile, by=by, why=why or "technology expectations")
    return profile


@transaction.atomic
def sensor_install(
    *,
    sensor: Sensor,
    lane: Lane,
    position: str,
    installed_on: dt.date,
    by: Any,
    why: str,
    note: str = "",
) -> Installation:
    """Put a sensor into a position of a lane: a life begins.

    Raises
    ------
    django.core.exceptions.ValidationError
        When the position, or the sensor, is still taken.
    DomainError
        When the day lies ahead.
    """
    Lane.objects.select_for_update().get(pk=lane.pk)  # one installer at a time
    _refuse_day_ahead(installed_on, lane, "installed")
    installation = Installation(
        sensor=sensor,
        lane=lane,
        position=" ".join(position.split()),
        installed_on=installed_on,
        note=note,
    )
    save_with_reason(installation, by=by, why=why or "installed")
    return installation


def _refuse_day_ahead(day: dt.date, lane: Lane, what: str) -> None:
    today = clock.today(lane.wim_site.time_zone)
    if day > today:
        raise DomainError(
            f"{day} lies ahead of today ({today}); a sensor is {what} on the day it "
            "happened, not on the day it is planned for."
        )


@transaction.atomic
def installation_end(
    *,
    installation: Installation,
    ended_on: dt.date,
    end_reason: EndReason | str,
    failure_mode: FailureMode | str = "",
    by: Any,
    why: str,
) -> Installation:
    """Say when a sensor left the road (or died in it), and why: a life ends.

    Raises
    ------
    django.core.exceptions.ValidationError
        When a failure has no mode, another ending has one, or the dates are crossed.
    DomainError
        When it has ended already, was tested later than ``ended_on``, or the day lies
        ahead.
    """
    kept = Installation.objects.select_for_update().get(pk=installation.pk)
    if kept.ended_on is not None:
        raise DomainError(
            f"{kept.sensor} left “{kept.position}” on {kept.ended_on} already "
            f"({kept.end_reason}); correct that entry instead of ending it again."
        )
    _refuse_day_ahead(ended_on, installation.lane, "ended")
    last = _last_test_on(installation)
    if last is not None and last > ended_on and end_reason != EndReason.FAILED:
        raise DomainError(
            f"It was tested in the road on {last}, so it cannot have left the road on "
            f"{ended_on}; correct the day."
        )
    installation.ended_on = ended_on
    installation.end_reason = str(end_reason)
    installation.failure_mode = str(failure_mode)
    save_with_reason(installation, by=by, why=why or str(end_reason))
    return installation


def _last_test_on(installation: Installation) -> dt.date | None:
    last = (
        installation.electrical_tests.order_by("-tested_at")
        .values_list("tested_at", flat=True)
        .first()
    )
    return last.astimezone(ZoneInfo(_zone(installation))).date() if last else None


def _zone(installation: Installation) -> str:
    return installation.lane.wim_site.time_zone


def complaints_of_readings(
    readings: Mapping[str, ReadingInput], row: int | None
) -> list[Complaint]:
    """What is wrong with the readings of one test."""
    found = []
    for quantity, reading in readings.items():
        told = reading.typed or f"{reading.value:g}"
        if str(quantity) not in QUANTITY_WORDS:
            found.append(
                Complaint(
                    f"“{quantity}” is not a quantity that is measured on a sensor.",
                    row=row,
                    field="quantity",
                    value=str(quantity),
                    expected=f"one of {', '.join(sorted(QUANTITY_WORDS))}",
                )
            )
        elif not math.isfinite(reading.value) or (
            reading.value < 0 and not ElectricalQuantity(quantity).signed
        ):
            found.append(
                Complaint(
                    "A reading cannot be below zero.",
                    row=row,
                    field=str(quantity),
                    value=told,
                    expected="a number, zero or greater",
                    remedy="Write what the meter showed, or leave it empty.",
                )
            )
    if not readings:
        found.append(
            Complaint(
                "The test holds no reading.",
                row=row,
                remedy="Write at least one value that the meter showed.",
            )
        )
    return found


def complaints_of_test(test: ElectricalTest, row: int | None) -> list[Complaint]:
    """What speaks against a sensor having been tested there and then."""
    installation = test.installation
    on = test.tested_at.astimezone(ZoneInfo(_zone(installation))).date()
    found = []
    if on < installation.installed_on and test.stage not in BEFORE_INSTALLATION:
        found.append(
            Complaint(
                f"{installation.sensor} was installed on {installation.installed_on}, "
                "after this test.",
                row=row,
                field="tested at",
                value=str(on),
                expected=f"a day from {installation.installed_on} on, or the stage "
                "bench or in slot",
            )
        )
    gone = installation.ended_on is not None and on > installation.ended_on
    # A dead sensor that is still in the road can be tested; one taken out cannot.
    if gone and installation.end_reason != EndReason.FAILED:
        found.append(
            Complaint(
                f"{installation.sensor} left this position on {installation.ended_on}.",
                row=row,
                field="tested at",
                value=str(on),
                expected=f"a day up to {installation.ended_on}",
                remedy="Choose the sensor that is in the position now.",
            )
        )
    return found


def _refuse(complaints: Sequence[Complaint]) -> None:
    if len(complaints) == 1:
        raise DomainError(str(complaints[0]), tuple(complaints))
    if complaints:
        raise DomainError(
            f"{len(complaints)} things are wrong; nothing was saved.",
            tuple(complaints),
        )


def _reading(test: ElectricalTest, quantity: str, value: ReadingInput) -> Reading:
    return Reading(
        test=test,
        quantity=str(quantity),
        value=value.value,
        typed=value.typed,
        over_range=value.over_range,
    )


@transaction.atomic
def test_record(
    *,
    test: ElectricalTest,
    readings: Mapping[str, ReadingInput],
    by: Any,
    why: str,
) -> ElectricalTest:
    """Keep an electrical test with its readings.

    Raises
    ------
    DomainError
        When there is no reading, or one that cannot be, or the sensor was not there.
    django.core.exceptions.ValidationError
        When the test breaks a rule of its own (kept already, for one).
    """
    _refuse([*complaints_of_test(test, None), *complaints_of_readings(readings, None)])
    save_with_reason(test, by=by, why=why or f"electrical test, {test.stage}")
    Reading.objects.bulk_create(
        _reading(test, quantity, value) for quantity, value in readings.items()
    )
    return test


@transaction.atomic
def tests_record_many(
    *,
    tests: Sequence[tuple[ElectricalTest, Mapping[str, ReadingInput]]],
    by: Any,
    why: str,
    rows: Sequence[int] | None = None,  # noqa: PT028 (no test case)
) -> list[ElectricalTest]:
    """Keep many tests at once (a sheet of them): all or nothing, each with history.

    Parameters
    ----------
    tests
        Unsaved tests with their readings, in the order of the sheet. Each test's
        ``installation`` should be loaded with its lane and site.
    rows
        Rows of the sheet that the tests are from; 1, 2, 3 ... when left out.

    Raises
    ------
    DomainError
        Naming by its row everything that is wrong; nothing is kept.
    """
    complaints: list[Complaint] = []
    seen: dict[tuple[Any, ...], int] = {}
    numbers = range(1, len(tests) + 1) if rows is None else rows
    for row, (test, readings) in zip(numbers, tests, strict=True):
        complaints += complaints_of_test(test, row)
        complaints += complaints_of_readings(readings, row)
        key = (test.installation_id, test.tested_at, test.stage)
        if key in seen:
            complaints.append(
                Complaint(f"This repeats the test of line {seen[key]}.", row=row)
            )
        seen.setdefault(key, row)
    complaints += _already_kept(seen)
    _refuse(complaints)
    for test, _ in tests:
        test.clean_fields(exclude=["installation", "visit"])
    kept = bulk_create_with_history(
        [test for test, _ in tests],
        ElectricalTest,
        batch_size=BATCH,
        default_user=by,
        default_change_reason=why or "electrical tests",
    )
    Reading.objects.bulk_create(
        (
            _reading(test, quantity, value)
            for test, (_, readings) in zip(kept, tests, strict=True)
            for quantity, value in readings.items()
        ),
        batch_size=BATCH,
    )
    return list(kept)


def _already_kept(seen: Mapping[tuple[Any, ...], int]) -> list[Complaint]:
    kept = ElectricalTest.objects.filter(
        installation_id__in={key[0] for key in seen}
    ).values_list("installation_id", "tested_at", "stage")
    return [
        Complaint(
            "This test is already kept.",
            row=seen[key],
            field="tested at",
            value=f"{key[1]:%Y-%m-%d %H:%M}",
            remedy="Leave the line out.",
        )
        for key in kept
        if key in seen
    ]
