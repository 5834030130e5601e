"""Where each preventive rule stands at each site."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from installs.calc.types import ElectricalQuantity, Technology
from installs.calc.upkeep.findings import Evidence, WorkFinding
from installs.calc.upkeep.schedule import (
    DUE_SOON_DAYS,
    ScheduleFinding,
    ScheduleRule,
    next_due,
)
from installs.calc.upkeep.seen_conditions import (
    Seen,
    SeenCondition,
    met_since,
    understood,
)
from installs.calc.upkeep.types import (
    CabinetFinding,
    CabinetPart,
    ScheduleTrigger,
    WorkSource,
)
from installs.models import (
    CabinetCheck,
    Installation,
    PreventiveDone,
    PreventiveRule,
    Reading,
)
from installs.selectors.electrical import COMPLETE_STAGES
from sites.models import Site, SiteState

_VOLTS = {
    Seen.REST_VOLTAGE: "rest_voltage_v",
    Seen.LOAD_VOLTAGE: "load_voltage_v",
    Seen.EARTH_RESISTANCE: "earth_resistance_ohm",
}


@dataclass(frozen=True)
class ScheduleRow:
    """One rule at one site.

    ``seen`` is the condition as the program understood it; None by calendar, and where
    the condition is a reminder that only people can see.
    """

    rule: PreventiveRule
    wim_site: Site
    finding: ScheduleFinding
    last_done: dt.date | None
    seen: SeenCondition | None = None

    @property
    def is_reminder(self) -> bool:
        """Whether people have to look for its condition."""
        return self.rule.trigger == ScheduleTrigger.CONDITION and self.seen is None

    @property
    def is_work(self) -> bool:
        """Whether it is due, or due soon."""
        return self.finding.due is not None

    @property
    def order(self) -> tuple[dt.date, str, str]:
        """The soonest first; reminders last."""
        return self.finding.due or dt.date.max, self.wim_site.code, self.rule.name


def rule_facts(rule: PreventiveRule) -> ScheduleRule:
    """A rule as the schedule's computation takes it."""
    return ScheduleRule(
        name=rule.name,
        trigger=ScheduleTrigger(rule.trigger),
        technology=Technology(rule.technology) if rule.technology else None,
        part=CabinetPart(rule.part) if rule.part else None,
        interval_months=rule.interval_months,
        season_months=tuple(rule.season_months),
        condition=rule.condition,
    )


@dataclass
class _Known:
    """What the rules of all sites rest on, read once."""

    live: Mapping[int, list[Installation]]
    done: Mapping[tuple[int, int], list[tuple[dt.date, int | None]]]
    checks: Mapping[tuple[int, str], list[tuple[dt.date, CabinetCheck]]]
    insulation: Mapping[int, list[tuple[dt.date, float]]] = field(default_factory=dict)


def schedule_rows(
    today: dt.date, *, sites: Iterable[Site] | None = None
) -> list[ScheduleRow]:
    """Every rule in use at every site in service that has what it is about.

    A fixed number of queries. The soonest first.
    """
    rules = list(PreventiveRule.objects.filter(is_in_use=True))
    places = list(
        Site.objects.filter(state=SiteState.IN_SERVICE) if sites is None else sites
    )
    if not rules or not places:
        return []
    known = _known(rules, places)
    rows = [
        row
        for rule in rules
        for site in places
        if (row := _row(rule, rule_facts(rule), site, known, today)) is not None
    ]
    return sorted(rows, key=lambda row: row.order)


def _known(rules: Sequence[PreventiveRule], places: Sequence[Site]) -> _Known:
    zones = {site.pk: ZoneInfo(site.time_zone) for site in places}
    live: dict[int, list[Installation]] = defaultdict(list)
    for one in (
        Installation.objects.live()
        .filter(lane__wim_site_id__in=zones)
        .select_related("sensor__model", "lane")
    ):
        live[one.lane.wim_site_id].append(one)
    done: dict[tuple[int, int], list[tuple[dt.date, int | None]]] = defaultdict(list)
    for rule_id, site_id, sensor_id, on in PreventiveDone.objects.filter(
        rule__in=rules
    ).values_list("rule_id", "wim_site_id", "installation_id", "done_on"):
        done[rule_id, site_id].append((on, sensor_id))
    checks: dict[tuple[int, str], list[tuple[dt.date, CabinetCheck]]] = defaultdict(
        list
    )
    for check in (
        CabinetCheck.objects.filter(visit__wim_site_id__in=zones)
        .select_related("visit")
        .order_by("visit__arrived_at")
    ):
        site_id = check.visit.wim_site_id
        on = check.visit.arrived_at.astimezone(zones[site_id]).date()
        checks[site_id, check.part].append((on, check))
    known = _Known(live, done, checks)
    wanted = (understood(rule.condition) for rule in rules if rule.condition)
    if any(one and one.what is Seen.INSULATION_FALLING for one in wanted):
        known.insulation = _insulation(
            [one.pk for there in live.values() for one in there]
        )
    return known


def _insulation(live: Sequence[int]) -> dict[int, list[tuple[dt.date, float]]]:
    found: dict[int, list[tuple[dt.date, float]]] = defaultdict(list)
    for pk, at, value in (
        Reading.objects.filter(
            test__installation_id__in=live,
            test__stage__in=COMPLETE_STAGES,
            quantity=ElectricalQuantity.INSULATION_RESISTANCE.value,
        )
        .order_by("test__tested_at")
        .values_list("test__installation_id", "test__tested_at", "value")
    ):
        found[pk].append((at.date(), value))
    return found


def _row(
    rule: PreventiveRule,
    facts: ScheduleRule,
    site: Site,
    known: _Known,
    today: dt.date,
) -> ScheduleRow | None:
    """A rule at a site; None where the site has nothing that it is about."""
    sensors = [
        one
        for one in known.live.get(site.pk, ())
        if one.sensor.model.technology == rule.technology
    ]
    checks = known.checks.get((site.pk, rule.part), [])
    if rule.technology and not sensors:
        return None
    if rule.part and checks and checks[-1][1].finding == CabinetFinding.NOT_FITTED:
        return None
    seen = understood(rule.condition) if rule.trigger == "condition" else None
    done = known.done.get((rule.pk, site.pk), [])
    # Nothing was asked for before the rule was made.
    made = rule.created_at.date()
    last, since = _longest_ago(done, sensors, site.in_service_on or made, made)
    finding = next_due(
        facts,
        last_done=last,
        in_service_since=since,
        today=today,
        condition_met_since=_met(seen, sensors, checks, known) if seen else None,
    )
    return ScheduleRow(rule, site, finding, last, seen)


def _longest_ago(
    done: Sequence[tuple[dt.date, int | None]],
    sensors: Sequence[Installation],
    in_service: dt.date,
    made: dt.date,
) -> tuple[dt.date | None, dt.date]:
    """When it was last done, and else from when it counts, of what waits longest.

    Work noted for the whole site counts for each of its sensors that was there.
    """
    whole = [on for on, sensor in done if sensor is None]
    if not sensors:
        return max(whole, default=None), max(in_service, made)
    waits = []
    for one in sensors:
        own = [on for on, pk in done if pk == one.pk]
        own += [on for on in whole if on >= one.installed_on]
        last = max(own, default=None)
        since = max(one.installed_on, made)
        waits.append((last or since, last, since))
    _, last, since = min(waits, key=lambda one: one[0])
    return last, since


def _met(
    seen: SeenCondition,
    sensors: Sequence[Installation],
    checks: Sequence[tuple[dt.date, CabinetCheck]],
    known: _Known,
) -> dt.date | None:
    if seen.what is Seen.INSULATION_FALLING:
        days = [_falling_since(known.insulation.get(one.pk, ())) for one in sensors]
        return min((day for day in days if day), default=None)
    name = _VOLTS[seen.what]
    values = [
        (on, value)
        for on, check in checks
        if (value := getattr(check, name)) is not None
    ]
    return met_since(seen, values)


def _falling_since(readings: Sequence[tuple[dt.date, float]]) -> dt.date | None:
    """Day of the latest test where the trend falls with its whole interval below 0."""
    from installs.calc.electrical import electrical_trend
    from installs.calc.types import DatedReading

    trend = electrical_trend(
        ElectricalQuantity.INSULATION_RESISTANCE,
        [DatedReading(on, value) for on, value in readings],
    )
    if trend.interval is None or trend.interval.high >= 0:
        return None
    return readings[-1][0]


def schedule_work(today: dt.date) -> list[WorkFinding]:
    """Preventive work that is due within 30 days, or overdue."""
    soon = today + dt.timedelta(days=DUE_SOON_DAYS)
    return [
        _work(row, row.finding.due, today)
        for row in schedule_rows(today)
        if row.finding.due is not None and row.finding.due <= soon
    ]


def _work(row: ScheduleRow, due: dt.date, today: dt.date) -> WorkFinding:
    rule, site = row.rule, row.wim_site
    every = rule.interval_months or 12
    # Said to be not needed, it comes round again an interval later.
    rounds = max((today.year - due.year) * 12 + today.month - due.month, 0) // every
    return WorkFinding(
        key=f"schedule:{rule.pk}:site:{site.pk}",
        evidence_key=f"due {due}, round {rounds}",
        source=WorkSource.SCHEDULE,
        wim_site_id=site.pk,
        part=rule.part,
        cause=_what(rule)[:80],
        reason=_reason(row, due),
        since_on=due,
        due_on=due,
        evidence=(
            Evidence(f"Rule: {rule.name} ({rule.source})", ("installs:rule-list",)),
            Evidence(f"Site {site.code}", ("site-detail", site.code)),
        ),
        hours=rule.hours,
    )


def _reason(row: ScheduleRow, due: dt.date) -> str:
    """The same from day to day, so that a look changes nothing that has not changed."""
    last = f"last done {row.last_done}" if row.last_done else "never noted as done"
    what = _what(row.rule)
    if row.seen is not None:
        return f"{what}: {row.seen.sentence}, as found on {due}; {last}."
    return f"{what}: due {due}; {last}."


def _what(rule: PreventiveRule) -> str:
    return f"{rule.name}, {rule.technology}" if rule.technology else rule.name
