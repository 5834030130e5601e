"""Puts the demo's plan into the program through the same doors that people use."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import numpy as np
from django.conf import settings
from django.contrib.auth.models import Group, User
from django.db import transaction
from django.db.models import Model
from simple_history.utils import bulk_create_with_history

from calibration.models import CalibrationSession, StaticWeighing, TestVehicle, TruckRun
from calibration.services import (
    runs_add,
    session_close,
    session_save,
    vehicle_save,
    weighing_save,
)
from installs.models import (
    ElectricalLimit,
    ElectricalTest,
    Installation,
    MaintenanceVisit,
    Sensor,
    SensorModel,
    TechnologyProfile,
)
from installs.services import (
    ReadingInput,
    technology_profile_save,
    tests_record_many,
)
from quality.models import DayDecision, LaneDay, RecordFile
from quality.services import ImportOptions, days_decide, records_import
from quality.services.drifting import drift_refresh
from quality.services.week_figuring import week_figures_refresh
from sites.models import Climate, Lane, Program, Site, SiteState
from sites.services import lane_save, program_save, site_save
from wimprog.demo import electrical
from wimprog.demo.calibrating import SCALE, calibrating, scale_readings
from wimprog.demo.files import STATE_CODE, file_jobs, write_file
from wimprog.demo.installing import installing
from wimprog.demo.scenario import (
    LanePlan,
    RunPlan,
    SensorLife,
    SessionPlan,
    SitePlan,
    plan,
)
from wimprog.demo.standing import WHY
from wimprog.demo.storing import storing
from wimprog.demo.traits import BY_TECHNOLOGY, TEST_TRUCKS, SensorTraits
from wimprog.demo.upkeeping import upkeeping
from wimprog.demo.visits import fault_visit_on, replaced_on, site_visits
from wimprog.lib.units import KG_PER_LB
from wimprog.work import find_work

PASSWORD = "orrin-valley-demo"  # noqa: S105  (printed to whoever runs the demo)
ZONE = "America/Denver"
ACCOUNTS = (
    ("manager", "program manager"),
    ("technician", "technician"),
    ("analyst", "analyst"),
    ("guest", "guest"),
)
CREW = "R. Halvard, T. Quist"
INSTALLERS = ("the agency's own crew", "Tarn Vale Paving (contract)")
FIGURED = dt.timedelta(weeks=20)
"""So far back the demo works out the figures of weeks; `derive` does all."""
WET_FROM_DEG = 44.4
"""North of it the valley is wet."""
OUTLINE = Path(settings.BASE_DIR) / "fixtures" / "demo" / "outline.json"
Progress = Callable[[str], None]
AnyFact = TypeVar("AnyFact", bound=Model)


def _local(day: dt.date, hour: float = 10.0) -> dt.datetime:
    at = dt.datetime.combine(day, dt.time()) + dt.timedelta(hours=hour)
    return at.replace(tzinfo=ZoneInfo(ZONE))


def _dated(fact: AnyFact, day: dt.date) -> AnyFact:
    """Let the history say that the fact was entered on the day it speaks of."""
    fact._history_date = _local(day, 17)  # type: ignore[attr-defined]
    return fact


@transaction.atomic
def _people_and_program() -> dict[str, User]:
    """Both or neither: the program's first entry is what says whose database it is."""
    made = {}
    for name, group in ACCOUNTS:
        user = User.objects.create_user(name, password=PASSWORD)
        user.groups.add(Group.objects.get(name=group))
        made[name] = user
    program_save(
        program=Program(
            name="Orrin Valley Roads Agency (demo)", time_zone=ZONE,
            outline=json.loads(OUTLINE.read_text()),
        ),
        by=made["manager"], why=WHY,
    )  # fmt: skip
    return made


@transaction.atomic
def _models(by: Any) -> dict[str, SensorModel]:
    made = {}
    source = "maker's data sheet as entered by the agency (invented)"
    for word, traits in BY_TECHNOLOGY.items():
        model = SensorModel(maker=traits.maker, name=traits.model, technology=word)
        bulk_create_with_history(
            [model], SensorModel, default_user=by, default_change_reason=WHY
        )
        model = SensorModel.objects.get(maker=traits.maker, name=traits.model)
        bulk_create_with_history(
            [
                ElectricalLimit(
                    sensor_model=model,
                    quantity=q,
                    low=low,
                    high=high,
                    source=source,
                    **electrical.coefficient(q),
                )
                for q, low, high in traits.limits
            ],
            ElectricalLimit,
            default_user=by,
            default_change_reason=WHY,
        )
        technology_profile_save(
            profile=TechnologyProfile(
                technology=word,
                expected_life_years=traits.expected_life_years,
                replacement_cost=traits.cost,
                source="the agency's own estimate (invented)",
            ),
            by=by,
            why=WHY,
        )
        made[word] = model
    return made


def _site(site: SitePlan, by: Any) -> tuple[Site, list[Lane]]:
    wim_site = site_save(
        wim_site=Site(
            code=site.code, name=site.name, state_code=STATE_CODE,
            station_id=site.station_id, route=site.route, location_ref=site.location,
            directions=site.directions, latitude=site.latitude,
            longitude=site.longitude, time_zone=ZONE, pavement_type=site.pavement,
            climate=Climate.WET_FREEZE if site.latitude > WET_FROM_DEG
            else Climate.DRY_FREEZE,
            pavement_year=site.pavement_year, controller=site.controller,
            power=site.power, communications=site.communications, state=site.state,
            in_service_on=site.in_service_on, suspended_on=site.suspended_on,
            retired_on=site.retired_on,
        ),
        by=by, why=WHY,
    )  # fmt: skip
    lanes = [
        lane_save(
            lane=Lane(
                wim_site=wim_site, direction=one.direction, number=one.number,
                width_m=3.6576, opened_on=one.opened_on,
                closed_on=site.retired_on,
                arrangement=f"{one.traits.position} 1, loop, {one.traits.position} 2",
            ),
            by=by, why=WHY,
        )
        for one in site.lanes
    ]  # fmt: skip
    return wim_site, lanes


def _sensors(
    lane: Lane, plan_: LanePlan, models: dict[str, SensorModel], by: Any
) -> list[tuple[Installation, SensorLife, LanePlan]]:
    sensors = bulk_create_with_history(
        [
            Sensor(
                model=models[one.traits.technology], serial=one.serial,
                lot=f"L{one.installed_on:%y%m}", length_m=one.traits.length_m,
                lead_length_m=30.48, purchased_on=one.installed_on,
                data_sheet=electrical.data_sheet(one.traits),
            )
            for one in plan_.sensors
        ],
        Sensor, default_user=by, default_change_reason=WHY,
    )  # fmt: skip
    kept = bulk_create_with_history(
        [
            _dated(
                Installation(
                    sensor=sensor, lane=lane, position=one.position,
                    installed_on=one.installed_on, ended_on=one.ended_on,
                    end_reason=one.end_reason, failure_mode=one.failure_mode,
                    installer=INSTALLERS[one.installed_on.year % 2],
                ),
                one.ended_on or one.installed_on,
            )
            for sensor, one in zip(sensors, plan_.sensors, strict=True)
        ],
        Installation, default_user=by, default_change_reason=WHY,
    )  # fmt: skip
    return [
        (installation, life, plan_)
        for installation, life in zip(kept, plan_.sensors, strict=True)
    ]


def _visits(
    wim_site: Site, lanes: list[Lane], site: SitePlan, as_of: dt.date, by: Any
) -> list[MaintenanceVisit]:
    return list(
        bulk_create_with_history(
            [
                _dated(
                    MaintenanceVisit(
                        wim_site=wim_site,
                        lane=None if one.lane is None else lanes[one.lane],
                        arrived_at=_local(one.on, one.hours[0]),
                        left_at=_local(one.on, one.hours[1]),
                        purpose=one.purpose, people=CREW, weather="dry",
                        traffic_control_plan="TCP-07", findings=one.findings,
                        actions=one.actions, next_action=one.next_action,
                    ),
                    one.on,
                )
                for one in site_visits(site, as_of)
            ],
            MaintenanceVisit, default_user=by, default_change_reason=WHY,
        )
    )  # fmt: skip


def _test_days(
    life: SensorLife, lane: LanePlan, site: SitePlan, as_of: dt.date
) -> list[tuple[dt.date, str, str]]:
    """Day, stage and purpose of the visit of each test of a sensor."""
    days = [(life.installed_on, "after lead-in", "installation")]
    days += [
        (day, "visit", "routine check")
        for day in site.visits_on
        if life.installed_on < day and (life.ended_on is None or day < life.ended_on)
    ]
    looked = fault_visit_on(life, replaced_on(lane, life))
    if looked is not None and looked <= as_of:
        days.append((looked, "visit", "fault"))
    return days


def _tests(
    lives: list[tuple[Installation, SensorLife, LanePlan]],
    visits: list[MaintenanceVisit],
    site: SitePlan,
    as_of: dt.date,
    by: Any,
) -> int:
    rng = np.random.default_rng([site.lanes[0].seed, 5])
    by_cause = {
        (visit.purpose, visit.arrived_at.date(), visit.lane_id): visit
        for visit in visits
    }
    tests = []
    for installation, life, lane in lives:
        for day, stage, purpose in _test_days(life, lane, site, as_of):
            shown = electrical.readings(life, day, rng)
            visit = by_cause.get((purpose, day, installation.lane_id))
            number = (day - dt.date(1970, 1, 1)).days
            temp_c = electrical.pavement_temp_c(np.array([number]))[0]
            test = ElectricalTest(
                installation=installation,
                visit=visit or by_cause.get((purpose, day, None)),
                stage=stage, tested_at=_local(day, 10.5), tested_by="T. Quist",
                instrument="insulation tester 3",
                pavement_temp_c=round(float(temp_c), 1),
                test_voltage_v=electrical.TEST_VOLTAGE_V,
            )  # fmt: skip
            readings = {
                quantity: ReadingInput(value, f"{value:g}", over)
                for quantity, (value, over) in shown.items()
            }
            tests.append((_dated(test, day), readings))
    tests_record_many(tests=tests, by=by, why=WHY)
    return len(tests)


def _run(one: RunPlan, weighing: StaticWeighing, number: int, stage: str) -> TruckRun:
    pounds = [round(w / KG_PER_LB) for w in one.weights_kg]
    return TruckRun(
        weighing=weighing, number=number, stage=stage,
        run_at=one.at.replace(tzinfo=ZoneInfo(ZONE)),
        speed_kmh=one.speed_kmh, reference_speed_kmh=one.reference_speed_kmh,
        pavement_temp_c=one.temp_c, lane_position=one.lane_position,
        axle_weights_kg=[w * KG_PER_LB for w in pounds],
        axle_spacings_m=list(one.spacings_m), excluded=bool(one.exclusion_reason),
        exclusion_reason=one.exclusion_reason,
        as_typed={"axle_weights_kg": [" ".join(map(str, pounds)), "lb"]},
    )  # fmt: skip


@transaction.atomic
def _session(
    lane: Lane, one: SessionPlan, traits: SensorTraits, trucks: list[TestVehicle],
    by: Any,
) -> int:  # fmt: skip
    weighings = []
    for place, (truck, axles) in enumerate(zip(trucks, one.static_kg, strict=True)):
        weighed_at = _local(one.held_on, 6.0 + (lane.pk % 97) / 60)
        weighing = StaticWeighing.objects.filter(
            vehicle=truck, weighed_at=weighed_at
        ).first() or weighing_save(
            weighing=StaticWeighing(
                vehicle=truck, weighed_at=weighed_at,
                scale="Platform scale 2, Orrin depot",
                certificate=f"OV-{one.held_on.year}-02",
                certified_on=dt.date(one.held_on.year, 1, 1),
                axle_weights_kg=list(axles),
                readings=scale_readings(
                    list(axles), seed=one.held_on.toordinal() * 10 + place
                ),
                **SCALE,
            ),
            by=by, why=WHY,
        )  # fmt: skip
        weighings.append(weighing)
    session = session_save(
        session=CalibrationSession(
            lane=lane, held_on=one.held_on, purpose=one.purpose, plan="R1",
            environment="I", conditions=one.conditions, standard="astm-e1318",
            wanted_class=traits.wanted_class, factor_before=one.factor_before,
            people=CREW, traffic_control_plan="TCP-11",
        ),
        by=by, why=WHY,
    )  # fmt: skip
    runs = [
        _run(run, weighings[run.truck], number, stage)
        for number, (run, stage) in enumerate(
            [(r, "as found") for r in one.as_found]
            + [(r, "as left") for r in one.as_left],
            start=1,
        )
    ]
    runs_add(session=session, runs=runs, by=by, why=WHY, refresh=False)
    session_close(session=session, factor_after=one.factor_after, by=by, why=WHY)
    return len(runs)


def _review(lane: Lane, one: LanePlan, until: dt.date, by: Any) -> None:
    for year in range(one.opened_on.year, until.year + 1):
        first, last = max(dt.date(year, 1, 1), one.opened_on), dt.date(year, 12, 31)
        last = min(last, until)
        if LaneDay.objects.filter(lane=lane, date__range=(first, last)).exists():
            days_decide(
                lane=lane, from_on=first, to_on=last, decision=DayDecision.ACCEPTED,
                reason="Checks and plots of the year show nothing amiss.", by=by,
                decided_at=_local(last, 15),
            )  # fmt: skip
    for fault in one.faults:
        first, last = fault.from_on, min(fault.to_on, until)
        if fault.is_silent or last < first:
            continue
        if LaneDay.objects.filter(lane=lane, date__range=(first, last)).exists():
            days_decide(
                lane=lane, from_on=first, to_on=last, decision=DayDecision.SET_ASIDE,
                reason="One weighing sensor gone; weights far too low.", by=by,
                decided_at=_local(last, 16),
            )  # fmt: skip


def judging(*, as_of: dt.date, by: Any) -> None:
    """What the program's timers do: figures of the latest weeks, drift, then work."""
    in_service = Lane.objects.filter(wim_site__state=SiteState.IN_SERVICE)
    lanes = list(in_service.select_related("wim_site"))
    for lane in lanes:
        week_figures_refresh(
            lane=lane, first_on=as_of - FIGURED, last_on=as_of - dt.timedelta(days=1)
        )
    drift_refresh(lanes=lanes, today=as_of, by=by)
    find_work(Program.objects.get(), as_of)


def build(
    *, small: bool, as_of: dt.date, folder: Path, progress: Progress
) -> dict[str, int]:
    """Make the whole demo in an empty, migrated database; returns what it holds."""
    sites = plan(as_of, small=small)
    people = _people_and_program()
    manager, technician, analyst = (
        people[name] for name in ("manager", "technician", "analyst")
    )
    models = _models(manager)
    trucks = [
        vehicle_save(
            vehicle=TestVehicle(
                name=name, vehicle_class=klass, axle_spacings_m=list(spacings),
                suspension="air",
            ),
            by=technician, why=WHY,
        )
        for name, klass, _, spacings in TEST_TRUCKS
    ]  # fmt: skip
    counts = {"visits": 0, "tests": 0, "runs": 0, "sessions": 0}
    lanes: list[tuple[Lane, LanePlan, SitePlan]] = []
    for site in sites:
        with transaction.atomic():
            wim_site, kept = _site(site, manager)
            lives = []
            for lane, one in zip(kept, site.lanes, strict=True):
                lives += _sensors(lane, one, models, technician)
                lanes.append((lane, one, site))
            visits = _visits(wim_site, kept, site, as_of, technician)
            counts["visits"] += len(visits)
            counts["tests"] += _tests(lives, visits, site, as_of, technician)
    progress(f"{len(sites)} sites, {len(lanes)} lanes, {counts['tests']} tests")
    for lane, one, _ in lanes:
        for session in one.sessions:
            counts["runs"] += _session(lane, session, one.traits, trucks, technician)
            counts["sessions"] += 1
    progress(f"{counts['sessions']} calibrations, {counts['runs']} truck runs")
    jobs = file_jobs(sites, as_of)
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        written = pool.map(write_file, jobs, [folder / "files"] * len(jobs))
        for number, path in enumerate(written, start=1):
            records_import(
                path, options=ImportOptions(open_field="speed, mph", new_sites=False),
                by=analyst, why=WHY,
            )  # fmt: skip
            if number % 20 == 0 or number == len(jobs):
                progress(f"{number} of {len(jobs)} record files taken in")
    until = as_of - dt.timedelta(days=55)
    for lane, one, _ in lanes:
        _review(lane, one, until, analyst)
    progress("days reviewed")
    calibrating(as_of=as_of, manager=manager, technician=technician)
    progress("this year's sessions signed, the next one planned")
    installing(models=models, as_of=as_of, manager=manager, technician=technician)
    progress("a new site surveyed, its array planned, two installations recorded")
    upkeeping(lanes=lanes, as_of=as_of, manager=manager, technician=technician)
    progress("cabinets, preventive rules, times down, money and pavement works")
    storing(as_of=as_of, manager=manager, technician=technician)
    progress("purchases, the store, failure reports and uses of lanes")
    judging(as_of=as_of, by=analyst)
    progress("drift looked for, the work list filled")
    files = RecordFile.objects.values_list("n_kept", flat=True)
    return counts | {
        "sites": len(sites),
        "lanes": len(lanes),
        "sensors": Sensor.objects.count(),
        "installations": Installation.objects.count(),
        "files": len(files),
        "vehicles": sum(files),
    }
