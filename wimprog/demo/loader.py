"""Puts the demo's plan into the program through the same doors that people use."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.conf import settings
from django.contrib.auth.models import Group, User
from django.db import transaction
from simple_history.utils import bulk_create_with_history

from calibration.models import CalibrationSession, StaticWeighing, TestVehicle, TruckRun
from calibration.services import runs_add, session_close, session_save, vehicle_save
from installs.models import (
    ElectricalLimit,
    ElectricalTest,
    Installation,
    MaintenanceVisit,
    Sensor,
    SensorModel,
    TechnologyProfile,
)
from installs.services import ReadingInput, tests_record_many
from quality.models import DayDecision, LaneDay, RecordFile
from quality.services import ImportOptions, days_decide, records_import
from sites.models import Lane, Program, Site
from sites.services import lane_save, program_save, site_save
from wimprog.demo import electrical
from wimprog.demo.files import STATE_CODE, file_jobs, write_file
from wimprog.demo.scenario import LanePlan, RunPlan, SessionPlan, SitePlan, plan
from wimprog.demo.traits import BY_TECHNOLOGY, TEST_TRUCKS, SensorTraits
from wimprog.lib.units import KG_PER_LB

WHY = "demo scenario"
PASSWORD = "orrin-valley-demo"  # noqa: S105  (printed to whoever runs the demo)
ZONE = "America/Denver"
ACCOUNTS = (
    ("manager", "program manager"),
    ("technician", "technician"),
    ("analyst", "analyst"),
    ("guest", "guest"),
)
CREW = "R. Halvard, T. Quist"
OUTLINE = Path(settings.BASE_DIR) / "fixtures" / "demo" / "outline.json"
Progress = Callable[[str], None]


def _local(day: dt.date, hour: float = 10.0) -> dt.datetime:
    at = dt.datetime.combine(day, dt.time()) + dt.timedelta(hours=hour)
    return at.replace(tzinfo=ZoneInfo(ZONE))


@transaction.atomic
def _people() -> dict[str, User]:
    made = {}
    for name, group in ACCOUNTS:
        user = User.objects.create_user(name, password=PASSWORD)
        user.groups.add(Group.objects.get(name=group))
        made[name] = user
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
                    sensor_model=model, quantity=q, low=low, high=high, source=source
                )
                for q, low, high in traits.limits
            ],
            ElectricalLimit,
            default_user=by,
            default_change_reason=WHY,
        )
        TechnologyProfile.objects.create(
            technology=word,
            expected_life_years=traits.expected_life_years,
            replacement_cost=traits.cost,
            source="the agency's own estimate (invented)",
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
) -> list[tuple[Installation, Any]]:
    sensors = bulk_create_with_history(
        [
            Sensor(
                model=models[one.traits.technology], serial=one.serial,
                lot=f"L{one.installed_on:%y%m}", length_m=one.traits.length_m,
                lead_length_m=30.48, purchased_on=one.installed_on,
            )
            for one in plan_.sensors
        ],
        Sensor, default_user=by, default_change_reason=WHY,
    )  # fmt: skip
    kept = bulk_create_with_history(
        [
            Installation(
                sensor=sensor, lane=lane, position=one.position,
                installed_on=one.installed_on, ended_on=one.ended_on,
                end_reason=one.end_reason, failure_mode=one.failure_mode,
            )
            for sensor, one in zip(sensors, plan_.sensors, strict=True)
        ],
        Installation, default_user=by, default_change_reason=WHY,
    )  # fmt: skip
    return list(zip(kept, plan_.sensors, strict=True))


def _tests(
    wim_site: Site, site: SitePlan, lives: list[tuple[Installation, Any]], by: Any
) -> int:
    rng = np.random.default_rng([site.lanes[0].seed, 5])
    visits = bulk_create_with_history(
        [
            MaintenanceVisit(
                wim_site=wim_site, arrived_at=_local(day, 9), left_at=_local(day, 11.5),
                purpose="routine check", people=CREW, weather="dry",
                traffic_control_plan="TCP-07", findings="Cabinet dry; tests taken.",
            )
            for day in site.visits_on
        ],
        MaintenanceVisit, default_user=by, default_change_reason=WHY,
    )  # fmt: skip
    tests = []
    for installation, life in lives:
        days = [(life.installed_on, "after lead-in", None)]
        days += [
            (day, "visit", visit)
            for day, visit in zip(site.visits_on, visits, strict=True)
            if life.installed_on < day
            and (life.ended_on is None or day < life.ended_on)
        ]
        for day, stage, visit in days:
            shown = electrical.readings(life, day, rng)
            tests.append(
                (
                    ElectricalTest(
                        installation=installation, visit=visit, stage=stage,
                        tested_at=_local(day, 10), tested_by="T. Quist",
                        instrument="insulation tester 3", pavement_temp_c=round(
                            float(electrical.pavement_temp_c(
                                np.array([(day - dt.date(1970, 1, 1)).days]))[0]), 1),
                    ),
                    {
                        quantity: ReadingInput(value, f"{value:g}", over)
                        for quantity, (value, over) in shown.items()
                    },
                )
            )  # fmt: skip
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
    for truck, axles in zip(trucks, one.static_kg, strict=True):
        weighing, _ = StaticWeighing.objects.get_or_create(
            vehicle=truck,
            weighed_at=_local(one.held_on, 6.0 + (lane.pk % 97) / 60),
            defaults={
                "scale": "Platform scale 2, Orrin depot",
                "certificate": f"OV-{one.held_on.year}-02",
                "certified_on": dt.date(one.held_on.year, 1, 1),
                "axle_weights_kg": list(axles),
            },
        )
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


def build(
    *, small: bool, as_of: dt.date, folder: Path, progress: Progress
) -> dict[str, int]:
    """Make the whole demo in an empty, migrated database; returns what it holds."""
    sites = plan(as_of, small=small)
    people = _people()
    manager, technician, analyst = (
        people[name] for name in ("manager", "technician", "analyst")
    )
    program_save(
        program=Program(
            name="Orrin Valley Roads Agency (demo)", time_zone=ZONE,
            outline=json.loads(OUTLINE.read_text()),
        ),
        by=manager, why=WHY,
    )  # fmt: skip
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
    counts = {"tests": 0, "runs": 0, "sessions": 0}
    lanes: list[tuple[Lane, LanePlan, SitePlan]] = []
    for site in sites:
        with transaction.atomic():
            wim_site, kept = _site(site, manager)
            lives = []
            for lane, one in zip(kept, site.lanes, strict=True):
                lives += _sensors(lane, one, models, technician)
                lanes.append((lane, one, site))
            counts["tests"] += _tests(wim_site, site, lives, technician)
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
    files = RecordFile.objects.values_list("n_kept", flat=True)
    return counts | {
        "sites": len(sites),
        "lanes": len(lanes),
        "installations": Installation.objects.count(),
        "files": len(files),
        "vehicles": sum(files),
    }
