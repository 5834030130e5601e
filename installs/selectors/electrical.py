"""Electrical tests: readings judged against the maker's limits, and their trends."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from installs.calc.types import (
    USUAL_QUANTITIES,
    AcceptanceLimit,
    DatedReading,
    ElectricalQuantity,
    ElectricalTrend,
    LimitCrossing,
    Technology,
    TestStage,
)
from installs.models import ElectricalLimit, ElectricalTest, Installation, Reading
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import format_number

Limits = dict[str, AcceptanceLimit]
#: A sensor on the bench or without its lead reads otherwise than one in service, so
#: only these are followed over the years and count as its latest word.
COMPLETE_STAGES = (TestStage.AFTER_LEAD_IN.value, TestStage.VISIT.value)


@dataclass(frozen=True)
class QuantityStory:
    """One quantity of one installation: its latest reading, its trend, its limit."""

    quantity: ElectricalQuantity
    readings: tuple[DatedReading, ...]
    limit: AcceptanceLimit | None
    judgement: Judgement
    trend: ElectricalTrend
    trend_judgement: Judgement
    crossing: LimitCrossing | None


@dataclass(frozen=True)
class TestRow:
    """One test: what was typed for each quantity, and its judgement."""

    __test__ = False  # not a test case

    test: ElectricalTest
    named: tuple[tuple[ElectricalQuantity, str, Judgement | None], ...]


@dataclass(frozen=True)
class InstallationTests:
    """All tests of an installation, newest first, and the story of each quantity."""

    quantities: tuple[ElectricalQuantity, ...]
    rows: tuple[TestRow, ...]
    stories: tuple[QuantityStory, ...]
    n_without_limit: int


@dataclass(frozen=True)
class ElectricalFindings:
    """What the tests of a lane's live sensors say, for its condition."""

    misses: tuple[str, ...] = ()
    crossings: tuple[tuple[str, dt.date], ...] = field(default=())


def limits_by_model(model_ids: Iterable[int]) -> dict[int, Limits]:
    """The limits entered for each sensor model, by quantity; empty where none are."""
    found: dict[int, Limits] = defaultdict(dict)
    for row in ElectricalLimit.objects.filter(sensor_model_id__in=set(model_ids)):
        found[row.sensor_model_id][row.quantity] = AcceptanceLimit(
            low=row.low, high=row.high, source=row.source
        )
    return found


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
    limit: AcceptanceLimit | None,
) -> QuantityStory:
    """Judge the latest reading and follow the trend of all of them.

    ``readings`` in the order of their days, at least one.
    """
    from installs.calc.electrical import (
        electrical_trend,
        judge_trend,
        limit_crossing,
    )

    trend = electrical_trend(quantity, readings)
    return QuantityStory(
        quantity=quantity,
        readings=tuple(readings),
        limit=limit,
        judgement=_judge(quantity, readings[-1], limit),
        trend=trend,
        trend_judgement=judge_trend(trend, limit),
        crossing=limit_crossing(trend, limit),
    )


def installation_tests(installation: Installation) -> InstallationTests:
    """Everything measured on one installation, in three queries.

    ``installation`` comes with its sensor, model, lane and site loaded.
    """
    model = installation.sensor.model
    zone = ZoneInfo(installation.lane.wim_site.time_zone)
    limits = limits_by_model([model.pk])[model.pk]
    tests = list(
        installation.electrical_tests.prefetch_related("readings").order_by(
            "tested_at", "pk"
        )
    )
    series: dict[str, list[DatedReading]] = defaultdict(list)
    cells: list[dict[str, tuple[str, Judgement | None]]] = []
    for test in tests:
        on = test.tested_at.astimezone(zone).date()
        row: dict[str, tuple[str, Judgement | None]] = {}
        for one in test.readings.all():
            dated = DatedReading(on=on, value=one.value, over_range=one.over_range)
            if test.stage in COMPLETE_STAGES:
                series[one.quantity].append(dated)
            judged = _judge(
                ElectricalQuantity(one.quantity), dated, limits.get(one.quantity)
            )
            row[one.quantity] = (reading_text(one), judged)
        cells.append(row)
    usual = USUAL_QUANTITIES[Technology(model.technology)]
    read = {word for row in cells for word in row}
    quantities = (
        *usual,
        *(q for q in ElectricalQuantity if str(q) in read and q not in usual),
    )
    return InstallationTests(
        quantities=quantities,
        rows=tuple(
            TestRow(test, tuple((q, *row.get(str(q), ("", None))) for q in quantities))
            for test, row in reversed(list(zip(tests, cells, strict=True)))
        ),
        stories=tuple(
            story_of(q, series[str(q)], limits.get(str(q)))
            for q in quantities
            if str(q) in series
        ),
        n_without_limit=sum(str(q) not in limits for q in quantities),
    )


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
        )
    )
    found: dict[tuple[int, str], _Series] = {}
    for pk, lane_id, position, model_id, zone, quantity, at, value, over in rows:
        series = found.setdefault(
            (pk, quantity),
            _Series(lane_id, position, ElectricalQuantity(quantity), model_id),
        )
        on = at.astimezone(ZoneInfo(zone)).date()
        series.readings.append(DatedReading(on=on, value=value, over_range=over))
    return list(found.values())


def electrical_findings(lane_ids: Iterable[int]) -> dict[int, ElectricalFindings]:
    """Missed limits and nearing ones of each lane's live sensors, in two queries."""
    series = _live_series(lane_ids)
    limits = limits_by_model(one.model_id for one in series)
    misses: dict[int, list[str]] = defaultdict(list)
    crossings: dict[int, list[tuple[str, dt.date]]] = defaultdict(list)
    for one in series:
        limit = limits[one.model_id].get(str(one.quantity))
        if limit is None:
            continue
        story = story_of(one.quantity, one.readings, limit)
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
