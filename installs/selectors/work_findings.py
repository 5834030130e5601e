"""What the roadside's own facts ask for: tests, empty positions, inspections."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from zoneinfo import ZoneInfo

from django.db.models import Max

from installs.calc.types import DatedReading, ElectricalQuantity, Technology
from installs.calc.upkeep.findings import Evidence, WorkFinding
from installs.calc.upkeep.types import WorkSource
from installs.models import (
    ElectricalTest,
    Installation,
    MaintenanceVisit,
    Reading,
)
from installs.selectors.electrical import COMPLETE_STAGES, QuantityStory, story_of
from installs.selectors.electrical_rules import rules_by_model
from sites.models import Lane
from sites.selectors import program_get
from wimprog.lib.dates import add_months
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import format_number

#: How far ahead a limit that a trend is heading for is work already, as on the health
#: page.
CROSSING_DAYS = 183
#: Days after work that was said to be done by which the register should show it.
REGISTER_DAYS = 14


def lane_evidence(lane: Lane) -> Evidence:
    """The way to a lane's page."""
    return Evidence(f"Lane {lane}", ("lane-detail", lane.wim_site.code, lane.label))


def sensor_evidence(installation: Installation, text: str) -> Evidence:
    """The way to a sensor's page, with what it shows there."""
    return Evidence(text, ("installs:sensor-detail", installation.sensor_id))


def _live(lanes: Sequence[Lane]) -> list[Installation]:
    by_pk = {lane.pk: lane for lane in lanes}
    found = list(
        Installation.objects.live()
        .filter(lane_id__in=by_pk)
        .select_related("sensor__model")
        .annotate(last_test_at=Max("electrical_tests__tested_at"))
        .order_by("lane_id", "position")
    )
    for one in found:
        one.lane = by_pk[one.lane_id]
    return found


def electrical_work(lanes: Sequence[Lane], today: dt.date) -> list[WorkFinding]:
    """Limits missed by the latest test, and limits that a trend is heading for."""
    live = {one.pk: one for one in _live(lanes)}
    rows = (
        Reading.objects.filter(
            test__installation_id__in=live, test__stage__in=COMPLETE_STAGES
        )
        .order_by("test__tested_at")
        .values_list(
            "test__installation_id", "quantity", "test__tested_at", "value",
            "over_range", "test__pavement_temp_c",
        )
    )  # fmt: skip
    series: dict[tuple[int, str], list[DatedReading]] = defaultdict(list)
    for pk, quantity, at, value, over, temp_c in rows:
        on = at.astimezone(ZoneInfo(live[pk].lane.wim_site.time_zone)).date()
        series[pk, quantity].append(DatedReading(on, value, over, temp_c))
    rules = rules_by_model(live[pk].sensor.model_id for pk, _ in series)
    found = []
    for (pk, word), readings in series.items():
        quantity, there = ElectricalQuantity(word), live[pk]
        held_to = rules[there.sensor.model_id][quantity]
        if held_to.limit is None:
            continue
        finding = _of_story(there, story_of(quantity, readings, held_to), today)
        if finding is not None:
            found.append(finding)
    return found


def _of_story(
    there: Installation, story: QuantityStory, today: dt.date
) -> WorkFinding | None:
    last, limit = story.readings[-1], story.judgement.limit
    what = f"{str(story.quantity).capitalize()} of {there.position}"
    missed = story.judgement.verdict == Verdict.MISSES
    crossing = story.crossing
    if missed:
        text = (
            f"{what} read {_value(story, last)} on {last.on}; its limit is {limit}. "
            "Test again, rule out lead and splice, then decide."
        )
        since = _missed_since(story)
    elif (
        crossing is not None
        and crossing.expected_on is not None
        and not crossing.already_past
        and crossing.expected_on <= today + dt.timedelta(days=CROSSING_DAYS)
    ):
        text = (
            f"{what} is heading for its limit ({limit}), reached about "
            f"{crossing.expected_on:%B %Y} by its trend over "
            f"{story.trend.n} readings. Test again and look at lead and splice."
        )
        since = last.on
    else:
        return None
    return WorkFinding(
        key=f"electrical:{there.pk}:{story.quantity}",
        evidence_key=f"{'missed' if missed else 'heading for it'}, test of {last.on}",
        source=WorkSource.ELECTRICAL_LIMIT,
        wim_site_id=there.lane.wim_site_id,
        lane_id=there.lane_id,
        installation_id=there.pk,
        cause=str(story.quantity),
        reason=text,
        since_on=min(since, today),
        evidence=(
            sensor_evidence(there, f"Tests of {there.sensor} at {there.position}"),
            lane_evidence(there.lane),
        ),
        spoils_data=missed,
    )


def _value(story: QuantityStory, reading: DatedReading) -> str:
    size = abs(reading.value)
    digits = 0 if size >= 100 else 3 if size < 1 else 1
    over = "more than " if reading.over_range else ""
    number = format_number(reading.value, digits)
    return f"{over}{number} {story.quantity.unit}".strip()


def _missed_since(story: QuantityStory) -> dt.date:
    """First day of the run of readings, up to the latest, that miss the limit."""
    from installs.calc.electrical import judge_reading

    since = story.readings[-1].on
    for one in reversed(story.readings):
        judged = judge_reading(
            story.quantity, one.value, story.limit, over_range=one.over_range
        )
        if judged.verdict != Verdict.MISSES:
            break
        since = one.on
    return since


def empty_position_work(lanes: Sequence[Lane], today: dt.date) -> list[WorkFinding]:
    """Positions whose last sensor failed and was not replaced."""
    by_pk = {lane.pk: lane for lane in lanes}
    last: dict[tuple[int, str], Installation] = {}
    live: set[tuple[int, str]] = set()
    weighing: set[int] = set()
    for one in (
        Installation.objects.filter(lane_id__in=by_pk)
        .select_related("sensor__model")
        .order_by("installed_on", "pk")
    ):
        one.lane = by_pk[one.lane_id]
        last[one.lane_id, one.position] = one
        if one.ended_on is None:
            live.add((one.lane_id, one.position))
            if Technology(one.sensor.model.technology).weighs:
                weighing.add(one.lane_id)
    return [
        _empty(one, today, is_down=one.lane_id not in weighing)
        for place, one in last.items()
        if place not in live and one.end_reason == "failed" and one.ended_on is not None
    ]


def _empty(one: Installation, today: dt.date, *, is_down: bool) -> WorkFinding:
    ended = one.ended_on or today
    down = " No weighing sensor of the lane is left." if is_down else ""
    return WorkFinding(
        key=f"empty:{one.lane_id}:{one.position}"[:120],
        evidence_key=f"failed sensor {one.pk}",
        source=WorkSource.SENSOR_FAILURE,
        wim_site_id=one.lane.wim_site_id,
        lane_id=one.lane_id,
        installation_id=one.pk,
        cause="no working sensor",
        reason=f"No working sensor at {one.position}: {one.sensor} failed on {ended} "
        f"({one.failure_mode or 'mode not known'}) and none was put in its place."
        f"{down}",
        since_on=min(ended, today),
        evidence=(
            sensor_evidence(one, f"{one.sensor}, failed {ended}"),
            lane_evidence(one.lane),
        ),
        lane_is_down=is_down,
        spoils_data=True,
        again_after_days=REGISTER_DAYS,
    )


def inspection_work(
    lanes: Sequence[Lane], today: dt.date, *, tested_by_rule: Iterable[str] = ()
) -> list[WorkFinding]:
    """Lanes with sensors, and sites, that nobody tested or visited for long.

    ``tested_by_rule`` are technologies that a preventive rule of the agency sees to.
    """
    months = program_get().inspection_interval_months
    skipped = set(tested_by_rule)
    late: dict[int, list[tuple[dt.date, Installation]]] = defaultdict(list)
    for one in _live(lanes):
        if one.sensor.model.technology in skipped:
            continue
        at = one.last_test_at  # type: ignore[attr-defined]
        zone = ZoneInfo(one.lane.wim_site.time_zone)
        seen = max(one.installed_on, at.astimezone(zone).date()) if at else None
        due = add_months(seen or one.installed_on, months)
        if due <= today:
            late[one.lane_id].append((due, one))
    found = [
        _test_due(lane, late[lane.pk], months) for lane in lanes if late.get(lane.pk)
    ]
    return found + _visits_due(lanes, today, months)


def _test_due(
    lane: Lane, late: Sequence[tuple[dt.date, Installation]], months: int
) -> WorkFinding:
    due = min(day for day, _ in late)
    names = ", ".join(one.position for _, one in late)
    never = [one for _, one in late if one.last_test_at is None]  # type: ignore[attr-defined]
    more = f" {len(never)} of them never tested." if never else ""
    return WorkFinding(
        key=f"inspection:lane:{lane.pk}",
        evidence_key=f"due {due}: "
        + ",".join(str(one.pk) for _, one in sorted(late, key=lambda x: x[1].pk))[:160],
        source=WorkSource.INSPECTION_DUE,
        wim_site_id=lane.wim_site_id,
        lane_id=lane.pk,
        cause="electrical test",
        reason=f"Test the sensors of lane {lane.label}: {names} without an electrical "
        f"test for {months} months or more.{more}",
        since_on=due,
        due_on=due,
        evidence=(lane_evidence(lane),),
        again_after_days=REGISTER_DAYS,
    )


def _visits_due(
    lanes: Sequence[Lane], today: dt.date, months: int
) -> list[WorkFinding]:
    sites = {lane.wim_site_id: lane.wim_site for lane in lanes}
    last_at = dict(
        MaintenanceVisit.objects.filter(wim_site_id__in=sites)
        .order_by()
        .values_list("wim_site_id")
        .annotate(last=Max("arrived_at"))
    )
    tested_at = dict(
        ElectricalTest.objects.filter(installation__lane__wim_site_id__in=sites)
        .order_by()
        .values_list("installation__lane__wim_site_id")
        .annotate(last=Max("tested_at"))
    )
    found = []
    for pk, site in sites.items():
        zone = ZoneInfo(site.time_zone)
        ats = [at for at in (last_at.get(pk), tested_at.get(pk)) if at]
        last = max(ats).astimezone(zone).date() if ats else None
        start = last or site.in_service_on
        if start is None:
            continue
        due = add_months(start, months)
        if due > today:
            continue
        when = f"last on {last}" if last else f"never since it opened on {start}"
        found.append(
            WorkFinding(
                key=f"inspection:site:{pk}",
                evidence_key=f"due {due}",
                source=WorkSource.INSPECTION_DUE,
                wim_site_id=pk,
                cause="inspection of the site",
                reason=f"Visit {site.code}: nobody was there for {months} "
                f"months or more ({when}).",
                since_on=due,
                due_on=due,
                evidence=(Evidence(f"Site {site.code}", ("site-detail", site.code)),),
                again_after_days=REGISTER_DAYS,
            )
        )
    return found
