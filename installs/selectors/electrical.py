"""Electrical tests: readings judged against the maker's limits, and their trends."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from installs.calc.types import (
    USUAL_QUANTITIES,
    AcceptanceLimit,
    DatedReading,
    ElectricalQuantity,
    ElectricalTrend,
    LimitCrossing,
    QuantityRules,
    Technology,
    TestStage,
)
from installs.calc.types.diagnosis import Diagnosis
from installs.models import ElectricalTest, Installation, Reading
from installs.selectors.diagnosis import installation_diagnosis
from installs.selectors.electrical_rules import (
    data_sheet_values,
    rules_by_model,
)
from installs.selectors.electrical_rules import limits_by_model as limits_by_model
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import format_number

if TYPE_CHECKING:
    from installs.calc.judged_ways import Followed, Ways

#: A sensor on the bench or without its lead reads otherwise than one in service, so
#: only these are followed over the years and count as its latest word.
COMPLETE_STAGES = (TestStage.AFTER_LEAD_IN.value, TestStage.VISIT.value)


@dataclass(frozen=True)
class QuantityStory:
    """One quantity of one installation: its latest reading, its trend, its limit.

    ``followed`` are the readings that the trend is taken on: corrected for temperature
    where that can be. ``as_read`` and ``corrected`` are the latest value judged three
    ways, where that was asked for.
    """

    quantity: ElectricalQuantity
    readings: tuple[DatedReading, ...]
    limit: AcceptanceLimit | None
    judgement: Judgement
    followed: Followed
    trend: ElectricalTrend
    trend_judgement: Judgement
    crossing: LimitCrossing | None
    as_read: Ways | None = None
    corrected: Ways | None = None

    @property
    def ways(self) -> tuple[Ways, ...]:
        """The latest value as read, and corrected where that can be."""
        return tuple(way for way in (self.as_read, self.corrected) if way)


@dataclass(frozen=True)
class TestRow:
    """One test: what was typed for each quantity, and its judgement."""

    __test__ = False  # not a test case

    test: ElectricalTest
    named: tuple[tuple[ElectricalQuantity, str, Judgement | None], ...]


@dataclass(frozen=True)
class InstallationTests:
    """All tests of an installation, newest first, and the story of each quantity.

    ``quantities`` are those that were read at least once.
    """

    quantities: tuple[ElectricalQuantity, ...]
    rows: tuple[TestRow, ...]
    stories: tuple[QuantityStory, ...]
    n_without_limit: int
    diagnosis: Diagnosis | None = None


@dataclass(frozen=True)
class ElectricalFindings:
    """What the tests of a lane's live sensors say, for its condition."""

    misses: tuple[str, ...] = ()
    crossings: tuple[tuple[str, dt.date], ...] = field(default=())


def reading_text(reading: Reading) -> str:
    """The value as typed; else the number, with ">" when over the meter's range."""
    if reading.typed:
        return reading.typed
    return f"{'> ' if reading.over_range else ''}{reading.value:g}"


def _judge(
    quantity: ElectricalQuantity, reading: DatedReading, limit: AcceptanceLimit | None
) -> Judgement:
    from installs.calc.electrical import judge_reading

    return judge_reading(quantity, reading.value, limit, over_range=reading.over_range)


def story_of(
    quantity: ElectricalQuantity,
    readings: Sequence[DatedReading],
    rules: QuantityRules,
) -> QuantityStory:
    """Judge the latest reading against its limit and follow the trend of all of them.

    ``readings`` in the order of their days, at least one.
    """
    from installs.calc.electrical import (
        electrical_trend,
        judge_trend,
        limit_crossing,
    )
    from installs.calc.judged_ways import followed_readings

    followed = followed_readings(quantity, readings, rules)
    trend = electrical_trend(quantity, followed.readings)
    return QuantityStory(
        quantity=quantity,
        readings=tuple(readings),
        limit=rules.limit,
        judgement=_judge(quantity, readings[-1], rules.limit),
        followed=followed,
        trend=trend,
        trend_judgement=judge_trend(trend, rules.limit),
        crossing=limit_crossing(trend, rules.limit),
    )


def full_story_of(
    quantity: ElectricalQuantity,
    readings: Sequence[DatedReading],
    rules: QuantityRules,
    data_sheet: float | None,
) -> QuantityStory:
    """The story of a quantity with its latest value judged three ways."""
    from installs.calc.judged_ways import judged_ways

    raw, corrected = judged_ways(quantity, readings, rules, data_sheet)
    story = story_of(quantity, readings, rules)
    return replace(story, as_read=raw, corrected=corrected)


def installation_tests(installation: Installation) -> InstallationTests:
    """Everything measured on one installation, in six queries.

    ``installation`` comes with its sensor, model, lane and site loaded.
    """
    model = installation.sensor.model
    zone = ZoneInfo(installation.lane.wim_site.time_zone)
    rules = rules_by_model([model.pk])[model.pk]
    tests = list(
        installation.electrical_tests.select_related("instrument_used")
        .prefetch_related("readings")
        .order_by("tested_at", "pk")
    )
    series: dict[ElectricalQuantity, list[DatedReading]] = defaultdict(list)
    cells: list[dict[ElectricalQuantity, tuple[str, Judgement | None]]] = []
    for test in tests:
        on = test.tested_at.astimezone(zone).date()
        row: dict[ElectricalQuantity, tuple[str, Judgement | None]] = {}
        for one in test.readings.all():
            quantity = ElectricalQuantity(one.quantity)
            dated = DatedReading(on, one.value, one.over_range, test.pavement_temp_c)
            if test.stage in COMPLETE_STAGES:
                series[quantity].append(dated)
            judged = _judge(quantity, dated, rules[quantity].limit)
            row[quantity] = (reading_text(one), judged)
        cells.append(row)
    quantities = _in_usual_order(
        {quantity for row in cells for quantity in row}, Technology(model.technology)
    )
    sheet = data_sheet_values(installation.sensor.data_sheet)
    stories = tuple(
        full_story_of(q, series[q], rules[q], sheet.get(q))
        for q in quantities
        if q in series
    )
    return InstallationTests(
        quantities=quantities,
        rows=tuple(
            TestRow(test, tuple((q, *row.get(q, ("", None))) for q in quantities))
            for test, row in reversed(list(zip(tests, cells, strict=True)))
        ),
        stories=stories,
        n_without_limit=sum(rules[q].limit is None for q in quantities),
        diagnosis=installation_diagnosis(
            installation,
            tests=tests,
            complete_stages=COMPLETE_STAGES,
            readings={story.quantity: _comparable(story) for story in stories},
            trends={story.quantity: story.trend for story in stories},
            data_sheet=sheet,
        )
        if tests
        else None,
    )


def _in_usual_order(
    read: set[ElectricalQuantity], technology: Technology
) -> tuple[ElectricalQuantity, ...]:
    usual = USUAL_QUANTITIES[technology]
    return tuple(q for q in dict.fromkeys((*usual, *ElectricalQuantity)) if q in read)


def _comparable(story: QuantityStory) -> tuple[DatedReading, ...]:
    """Readings to hold against each other: corrected ones, if the latest is."""
    followed = story.followed
    if followed.is_corrected and followed.readings[-1].on == story.readings[-1].on:
        return followed.readings
    return story.readings


def electrical_judgements(installation: Installation) -> list[QuantityStory]:
    """The latest reading of each quantity judged, with its trend."""
    return list(installation_tests(installation).stories)


@dataclass
class _Series:
    lane_id: int
    position: str
    quantity: ElectricalQuantity
    model_id: int
    readings: list[DatedReading] = field(default_factory=list)


def _live_series(lane_ids: Iterable[int]) -> list[_Series]:
    rows = (
        Reading.objects.filter(
            test__installation__lane_id__in=list(lane_ids),
            test__installation__ended_on__isnull=True,
            test__stage__in=COMPLETE_STAGES,
        )
        .order_by("test__installation_id", "quantity", "test__tested_at")
        .values_list(
            "test__installation_id",
            "test__installation__lane_id",
            "test__installation__position",
            "test__installation__sensor__model_id",
            "test__installation__lane__wim_site__time_zone",
            "quantity",
            "test__tested_at",
            "value",
            "over_range",
            "test__pavement_temp_c",
        )
    )
    found: dict[tuple[int, str], _Series] = {}
    for row in rows:
        pk, lane_id, position, model_id, zone, quantity, at, value, over, temp_c = row
        series = found.setdefault(
            (pk, quantity),
            _Series(lane_id, position, ElectricalQuantity(quantity), model_id),
        )
        on = at.astimezone(ZoneInfo(zone)).date()
        series.readings.append(DatedReading(on, value, over, temp_c))
    return list(found.values())


def electrical_findings(lane_ids: Iterable[int]) -> dict[int, ElectricalFindings]:
    """Missed limits and nearing ones of each lane's live sensors, in two queries."""
    series = _live_series(lane_ids)
    rules = rules_by_model(one.model_id for one in series)
    misses: dict[int, list[str]] = defaultdict(list)
    crossings: dict[int, list[tuple[str, dt.date]]] = defaultdict(list)
    for one in series:
        held_to = rules[one.model_id][one.quantity]
        if held_to.limit is None:
            continue
        story = story_of(one.quantity, one.readings, held_to)
        what = f"{str(one.quantity).capitalize()} of {one.position}"
        if story.judgement.verdict == Verdict.MISSES:
            misses[one.lane_id].append(_miss_words(what, story))
        elif (
            story.crossing
            and story.crossing.expected_on
            and not story.crossing.already_past
        ):
            crossings[one.lane_id].append((what, story.crossing.expected_on))
    return {
        one.lane_id: ElectricalFindings(
            misses=tuple(misses[one.lane_id]),
            crossings=tuple(sorted(crossings[one.lane_id], key=lambda c: c[1])),
        )
        for one in series
    }


def _miss_words(what: str, story: QuantityStory) -> str:
    last = story.readings[-1]
    digits = 0 if abs(last.value) >= 100 else 3 if abs(last.value) < 1 else 1
    value = f"{format_number(last.value, digits)} {story.quantity.unit}".strip()
    return (
        f"{what} read {value} on {last.on.day} {last.on:%b %Y}; its limit is "
        f"{story.judgement.limit}."
    )
