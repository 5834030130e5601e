"""A spreadsheet of electrical tests: planned first, then kept as a whole."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from installs.calc.types import ElectricalQuantity
from installs.models import ElectricalTest, Installation, Instrument, Reading
from installs.selectors.electrical import COMPLETE_STAGES
from installs.services.road import (
    BEFORE_INSTALLATION,
    ReadingInput,
    complaints_of_test,
    tests_record_many,
)
from sites.models import Lane, Site
from wimprog.lib import clock
from wimprog.lib.errors import Complaint, DomainError


@dataclass(frozen=True)
class PlannedTest:
    """One row of a sheet as the test that it would become."""

    row: int
    test: ElectricalTest
    readings: Mapping[str, ReadingInput]

    @property
    def words(self) -> list[str]:
        """Each reading as it will be kept, with its unit."""
        found = []
        for word, reading in self.readings.items():
            unit = ElectricalQuantity(word).unit
            plain = reading.typed[-1:].isdigit() or reading.typed.endswith(".")
            found.append(f"{word} {reading.typed} {unit if plain else ''}".strip())
        return found


@dataclass(frozen=True)
class TestSheetPlan:
    """What keeping a sheet would add, what of it is kept already, and what is wrong.

    ``questions`` are values that look like a slip of the decimal point or the unit;
    they are kept only when somebody says that they are right.
    """

    __test__ = False  # not a test case

    name: str
    sheet: str
    quantities: tuple[ElectricalQuantity, ...]
    new: tuple[PlannedTest, ...]
    known: tuple[PlannedTest, ...]
    complaints: tuple[Complaint, ...]
    questions: tuple[Complaint, ...]

    @property
    def is_empty(self) -> bool:
        """Whether keeping it would add nothing."""
        return not self.new


def tests_from_sheet(*, content: bytes, name: str) -> TestSheetPlan:
    """Read a sheet of tests and say what keeping it would add. Writes nothing.

    The sheet gives the time on the clock at each site. Seven queries, whatever the
    number of rows.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        When it is no sheet at all; single faults are complaints of the plan.
    """
    from installs.calc.test_sheet import read_test_sheet

    found = read_test_sheet(content, name=name)
    complaints = list(found.complaints)
    places = _Places({one.site for one in found.tests})
    planned = []
    for one in found.tests:
        made = places.planned(one, complaints)
        if made is not None:
            planned.append(made)
    complaints += _repeated(planned)
    new, known = _told_apart(planned, complaints)
    return TestSheetPlan(
        name=name,
        sheet=found.sheet,
        quantities=found.quantities,
        new=tuple(new),
        known=tuple(known),
        complaints=tuple(sorted(complaints, key=lambda one: one.row or 0)),
        questions=tuple(_questions(new)),
    )


@transaction.atomic
def test_sheet_keep(
    *,
    plan: TestSheetPlan,
    by: Any,
    why: str = "",  # noqa: PT028 (no test case)
    values_are_right: bool = False,  # noqa: PT028
) -> list[ElectricalTest]:
    """Keep what a plan would add: all of it or nothing.

    Raises
    ------
    DomainError
        While the plan has complaints, or questions that nobody has answered, or when
        somebody kept one of its tests in the meantime.
    """
    if plan.complaints:
        raise DomainError(
            f"{plan.name} cannot be taken as it stands. Nothing was stored.",
            plan.complaints,
        )
    if plan.questions and not values_are_right:
        raise DomainError(
            "Some values look like a slip of the decimal point or the unit. Say that "
            "they are right, or correct the sheet. Nothing was stored.",
            plan.questions,
        )
    if plan.is_empty:
        return []
    # One keeper at a time; the other then sees that its tests are kept already.
    ids = {one.test.installation_id for one in plan.new}
    list(Installation.objects.select_for_update().filter(pk__in=ids).order_by("pk"))
    return tests_record_many(
        tests=[(one.test, one.readings) for one in plan.new],
        rows=[one.row for one in plan.new],
        by=by,
        why=why or f"imported from {plan.name}",
    )


class _Places:
    """Finds the installed sensor, and the instrument, that a row means."""

    def __init__(self, codes: Iterable[str]) -> None:
        wanted = {code.casefold() for code in codes}
        sites = Site.objects.values_list("pk", "code")
        ids = {code.casefold(): pk for pk, code in sites if code.casefold() in wanted}
        self.codes = ids
        self.lanes: dict[int, list[Lane]] = defaultdict(list)
        for lane in Lane.objects.filter(wim_site_id__in=ids.values()).select_related(
            "wim_site"
        ):
            self.lanes[lane.wim_site_id].append(lane)
        self.lives: dict[int, list[Installation]] = defaultdict(list)
        for life in (
            Installation.objects.filter(lane__wim_site_id__in=ids.values())
            .select_related("sensor__model", "lane__wim_site")
            .order_by("installed_on")
        ):
            self.lives[life.lane_id].append(life)
        self.instruments = {
            name.casefold(): one
            for one in Instrument.objects.all()
            for name in (str(one), f"{one.kind} {one.serial}", one.serial)
        }

    def planned(self, one: Any, complaints: list[Complaint]) -> PlannedTest | None:
        """The test that a row would become; None with a complaint."""
        lane = self._lane(one, complaints)
        if lane is None:
            return None
        zone = ZoneInfo(lane.wim_site.time_zone)
        at = _instant(one.tested_at, zone)
        if at is None or at > clock.now() + dt.timedelta(days=1):
            complaints.append(
                Complaint(
                    "That time was skipped as the clocks went forward."
                    if at is None
                    else "That lies ahead; a test is kept once it is made.",
                    row=one.row,
                    field="tested at",
                    value=f"{one.tested_at:%Y-%m-%d %H:%M}",
                    remedy="Correct the day or the time.",
                )
            )
            return None
        life = self._life(one, lane, at.astimezone(zone).date(), complaints)
        if life is None:
            return None
        test = ElectricalTest(
            installation=life,
            tested_at=at,
            stage=one.stage.value,
            pavement_temp_c=one.pavement_temp_c,
            instrument=one.instrument,
            instrument_used=self.instruments.get(one.instrument.casefold()),
            test_voltage_v=one.test_voltage_v,
            tested_by=one.tested_by,
            note=one.note,
        )
        if one.pavement_temp:
            test.as_typed = {"pavement_temp_c": list(one.pavement_temp)}
        complaints += complaints_of_test(test, one.row)
        readings = {
            str(quantity): ReadingInput(read.value, read.typed, read.over_range)
            for quantity, read in one.readings.items()
        }
        return PlannedTest(one.row, test, readings)

    def _lane(self, one: Any, complaints: list[Complaint]) -> Lane | None:
        site = self.codes.get(one.site.casefold())
        if site is None:
            complaints.append(
                Complaint(
                    "No site has this code.",
                    row=one.row,
                    field="site",
                    value=one.site,
                    remedy="Write the code as it stands in the list of sites.",
                )
            )
            return None
        word = one.lane.casefold()
        lanes = self.lanes[site]
        found = [lane for lane in lanes if lane.label.casefold() == word]
        found = found or [lane for lane in lanes if str(lane.number) == word]
        if len(found) == 1:
            return found[0]
        complaints.append(
            Complaint(
                "The site has several lanes of this number."
                if found
                else "The site has no such lane.",
                row=one.row,
                field="lane",
                value=one.lane,
                expected="one of " + ", ".join(lane.label for lane in lanes)
                if lanes
                else "a lane of the site",
                remedy="Write the lane as the site's page names it.",
            )
        )
        return None

    def _life(
        self, one: Any, lane: Lane, on: dt.date, complaints: list[Complaint]
    ) -> Installation | None:
        lives = self.lives[lane.pk]
        named = [
            life
            for life in lives
            if (not one.position or life.position.casefold() == one.position.casefold())
            and (
                not one.serial or life.sensor.serial.casefold() == one.serial.casefold()
            )
        ]
        found = [
            life
            for life in named
            if life.installed_on <= on
            and (life.ended_on is None or on <= life.ended_on)
        ]
        if not found and one.stage in BEFORE_INSTALLATION:
            found = [life for life in named if life.installed_on > on][:1]
        if not found and named:  # let the rule of the road say what is wrong with it
            found = [life for life in named if life.installed_on <= on][-1:] or named[
                :1
            ]
        if len(found) == 1:
            return found[0]
        if found:
            complaints.append(
                Complaint(
                    f"{len(found)} sensors were there that day: "
                    + ", ".join(life.sensor.serial for life in found)
                    + ".",
                    row=one.row,
                    field="serial",
                    value=one.serial,
                    remedy="Write the serial number of the one that was tested.",
                )
            )
            return None
        told = {f"“{life.position}” ({life.sensor.serial})": None for life in lives}
        complaints.append(
            Complaint(
                "No sensor of this lane answers to it.",
                row=one.row,
                field="position" if one.position else "serial",
                value=", ".join(filter(None, (one.position, one.serial))),
                expected="one of " + ", ".join(told) if told else "",
                remedy="Correct position or serial, or install the sensor first.",
            )
        )
        return None


def _instant(moment: dt.datetime, zone: ZoneInfo) -> dt.datetime | None:
    """The instant of a time on the site's clock; None in the hour that spring skips."""
    if moment.tzinfo is not None:
        return moment.astimezone(dt.UTC)
    at = moment.replace(tzinfo=zone).astimezone(dt.UTC)
    return at if at.astimezone(zone).replace(tzinfo=None) == moment else None


def _key(test: ElectricalTest) -> tuple[int, dt.datetime, str]:
    return (test.installation_id, test.tested_at, test.stage)


def _repeated(planned: Iterable[PlannedTest]) -> list[Complaint]:
    seen: dict[tuple[int, dt.datetime, str], int] = {}
    found = []
    for one in planned:
        key = _key(one.test)
        if key in seen:
            found.append(
                Complaint(
                    f"This repeats the test of row {seen[key]}.",
                    row=one.row,
                    remedy="Take one of the two out, or correct its time or stage.",
                )
            )
        seen.setdefault(key, one.row)
    return found


def _told_apart(
    planned: Iterable[PlannedTest], complaints: list[Complaint]
) -> tuple[list[PlannedTest], list[PlannedTest]]:
    """New tests and known ones; a known one with other values is complained of."""
    planned = list(planned)
    kept = {
        _key(test): {
            one.quantity: (one.value, one.over_range) for one in test.readings.all()
        }
        for test in ElectricalTest.objects.filter(
            installation_id__in={one.test.installation_id for one in planned},
            tested_at__in={one.test.tested_at for one in planned},
        ).prefetch_related("readings")
    }
    new, known = [], []
    for one in planned:
        before = kept.get(_key(one.test))
        if before is None:
            new.append(one)
            continue
        known.append(one)
        if not _same(before, one.readings):
            complaints.append(
                Complaint(
                    "This test is kept already, with other readings.",
                    row=one.row,
                    field="tested at",
                    value=f"{one.test.tested_at:%Y-%m-%d %H:%M} UTC",
                    expected="kept: "
                    + ", ".join(
                        f"{quantity} {'> ' if over else ''}{value:g}"
                        for quantity, (value, over) in sorted(before.items())
                    ),
                    remedy="Take the row out, or correct the kept test first.",
                )
            )
    return new, known


def _same(
    before: Mapping[str, tuple[float, bool]], now: Mapping[str, ReadingInput]
) -> bool:
    return before.keys() == now.keys() and all(
        over == now[quantity].over_range
        and math.isclose(value, now[quantity].value, rel_tol=1e-9, abs_tol=1e-12)
        for quantity, (value, over) in before.items()
    )


def _questions(new: Iterable[PlannedTest]) -> list[Complaint]:
    """Values a power of ten away from what the sensor read before."""
    from installs.calc.suspicions import slip_power

    new = list(new)
    before: dict[tuple[int, str], list[float]] = defaultdict(list)
    for installation_id, quantity, value in Reading.objects.filter(
        test__installation_id__in={one.test.installation_id for one in new},
        test__stage__in=COMPLETE_STAGES,
        over_range=False,
    ).values_list("test__installation_id", "quantity", "value"):
        before[installation_id, quantity].append(value)
    found = []
    for one in new:
        for word, reading in one.readings.items():
            quantity = ElectricalQuantity(word)
            history = before[one.test.installation_id, word]
            if reading.over_range:
                continue
            power = slip_power(quantity, reading.value, history)
            if power is None:
                continue
            found.append(
                Complaint(
                    f"It is about {10.0**power:g} times what this sensor read before "
                    f"(n {len(history)}). Is the unit or the decimal point right?",
                    row=one.row,
                    field=word,
                    value=reading.typed,
                    expected=f"about {sorted(history)[len(history) // 2]:g} "
                    f"{quantity.unit}".strip(),
                    remedy="Look at the paper; correct the sheet, or say that the "
                    "values are right.",
                )
            )
    return found
