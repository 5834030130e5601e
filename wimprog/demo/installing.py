"""The demo's latest installation: places compared, an array planned, a record filled.

Everything goes through the doors that people use. All figures are invented.
"""

from __future__ import annotations

import datetime as dt
import io
import uuid
from typing import Any

import numpy as np
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, ImageDraw

from installs.calc.types import Technology
from installs.calc.types.records import DispositionKind, ItemKind, SignRole
from installs.models import (
    ArrayPlan,
    CuringRow,
    CuringTable,
    InstallationRecord,
    Instrument,
    ProductBatch,
    Sensor,
    SensorModel,
)
from installs.selectors import stage_view
from installs.selectors.records import ItemView
from installs.services import (
    answer_save,
    dispose,
    photo_add,
    record_accept,
    record_start,
    sensor_save,
    stage_sign,
)
from installs.services.plans import curing_table_save, plan_approve, plan_start
from installs.services.registers import batch_save, instrument_save
from installs.services.template_seeds import templates_seed
from sites.models import Direction, Lane, SiteSurvey
from sites.services import lane_save, profile_add, site_from_survey, survey_save
from wimprog.demo.files import STATE_CODE
from wimprog.demo.standing import WHY
from wimprog.demo.traits import BY_TECHNOLOGY
from wimprog.lib import clock

STUDY = "Sagebend grade, new site"
CODE, STATION = "OV-060", "000060"
CREW = {
    SignRole.INSTALLER: "T. Quist",
    SignRole.INSPECTOR: "R. Halvard",
    SignRole.ENGINEER: "M. Ostrander",
}
TRIANGLE_FT = ("9", "12", "15.005")
SHALLOW_IN = ("2.10", "2.08", "2.06", "1.88", "2.05", "2.09", "2.11")
SAWN_DEEPER_IN = ("2.10", "2.08", "2.06", "2.07", "2.05", "2.09", "2.11")
UNEVEN_IN = ("2.06", "2.05", "2.08", "2.17", "2.06", "2.05", "2.06")
WET = {"cutting-method": "wet", "cleaning-method": "washed with water"}
#: What was found where an item has no limits to be near to, as typed (US units).
FOUND: dict[str, str] = {
    "place-from-line": "8",
    "end-from-lane-edge": "6.25",
    "bench-temperature": "68",
    "final-pavement-temperature": "71",
    "air-temperature-at-pour": "66",
    "pavement-temperature-at-pour": "68",
    "resin-temperature": "70",
    "bench-test-voltage": "100",
    "slot-test-voltage": "100",
    "grout-test-voltage": "100",
    "final-test-voltage": "100",
    "resin-kits": "3",
    "hardener-amount": "95",
    "mixing-time": "3",
    "pot-time": "6",
    "cure-time": "50",
    "vehicles-watched": "40",
    "vehicles-miscounted": "0",
    "spacing-set": "16",
    "truck-spacing": "4.3",
    "slot-width": "0.76",
    "lead-slack": "12",
    "hole-from-edge": "18",
    "hole-diameter": "1.5",
    "hole-angle": "40",
}
READ = {
    "insulation resistance": ">2000",
    "capacitance": "8.1",
    "dissipation factor": "0.018",
    "peak output": "310",
}
WORDS = {
    "drawing-used": "WIM-060 sheet 2, revision B",
    "reference-line-found-by": "14.2 ft from the drain cover, 31.0 ft from the sign",
    "solvent-used": "none",
    "channel-used": "axle input 1",
    "serial-read": "as on the label",
    "exceptions": "none",
}


def installing(
    *, models: dict[str, SensorModel], as_of: dt.date, manager: Any, technician: Any
) -> InstallationRecord:
    """A study of three places, the site chosen, its array, and two records."""
    templates_seed(by=manager)
    wim_site = _study(as_of, technician, manager)
    lane = lane_save(
        lane=Lane(
            wim_site=wim_site,
            number=1,
            direction=Direction.EAST,
            width_m=3.6576,
            as_typed={"width_m": ["12", "ft"]},
            arrangement="loop, piezo, loop, piezo",
        ),
        by=manager,
        why=WHY,
    )
    plan = plan_start(
        lane=lane, technology=Technology.POLYMER_PIEZO, by=technician, why=WHY
    )
    plan_approve(plan=plan, by=manager, why="agrees with the contract drawing")
    tools = _tools(as_of, manager)
    work_on = as_of - dt.timedelta(days=12)
    first, second = (
        _start(lane, f"piezo {n}", plan, models, work_on, technician) for n in (1, 2)
    )
    _fill(first, tools, technician, manager, until=None)
    record_accept(record=first, reason="as drawn", by=manager)
    _fill(second, tools, technician, manager, until="setting")
    return first


# --- where ---------------------------------------------------------------------------


def _study(as_of: dt.date, technician: Any, manager: Any) -> Any:
    common = {
        "study": STUDY,
        "route": "State Route 31",
        "surveyed_by": CREW[SignRole.INSPECTOR],
        "wanted_type": "Type II",
        "pavement_kind": "all-bitumen",
        "flow": "free flow",
        "straightedge_length_m": 4.8768,
        "geometry_before_m": 91.44,
        "geometry_after_m": 45.72,
        "smooth_before_m": 76.2,
        "smooth_after_m": 38.1,
        "speed_p15_kmh": 88.5,
        "speed_p85_kmh": 111.0,
        "speed_mean_kmh": 101.4,
        "speed_sd_kmh": 9.6,
        "trucks_per_day": 940.0,
        "lines_overhead": "none",
        "lines_underground": "none",
    }
    told = (
        ("Sagebend flat", "mile 22.4", {
            "curve_is_straight": True, "grade_pct": 0.6, "cross_slope_pct": 1.8,
            "lane_width_m": 3.6576, "plate_passes": False, "rutting_mm": 3.0,
            "iri_m_per_km": 1.1, "pavement_thickness_mm": 254.0,
            "pavement_age_years": 3.0, "distress_level": "none seen",
            "drainage": "drains well", "sight_distance_m": 420.0,
            "pull_off": "paved, clear of traffic", "power_distance_m": 55.0,
            "communications": "mobile, strong signal",
        }),
        ("Harrow bridge approach", "mile 19.1", {
            "curve_is_straight": True, "grade_pct": 2.6, "cross_slope_pct": 2.1,
            "lane_width_m": 3.6576, "plate_passes": True, "rutting_mm": 9.0,
            "iri_m_per_km": 2.4, "pavement_age_years": 11.0,
            "distress_level": "slight", "drainage": "drains slowly",
            "pull_off": "soft or narrow", "power_distance_m": 30.0,
        }),
        ("Canyon mouth", "mile 25.0", {
            "curve_radius_m": 620.0, "grade_pct": 1.4, "cross_slope_pct": 4.0,
            "lane_width_m": 3.3528, "rutting_mm": 5.0, "iri_m_per_km": 1.6,
            "drainage": "drains well", "sight_distance_m": 190.0,
            "communications": "none",
        }),
    )  # fmt: skip
    kept = [
        survey_save(
            survey=SiteSurvey(
                place=place,
                location_ref=ref,
                surveyed_on=as_of - dt.timedelta(days=140 + place_no),
                **common,
                **facts,
            ),
            by=technician,
            why=WHY,
        )
        for place_no, (place, ref, facts) in enumerate(told)
    ]
    profile_add(
        survey=kept[0],
        upload=SimpleUploadedFile("sagebend_flat_profile.csv", _profile_csv()),
        by=technician,
        why=WHY,
    )
    return site_from_survey(
        survey=kept[0],
        code=CODE,
        state_code=STATE_CODE,
        station_id=STATION,
        by=manager,
        why="fails nothing for Type II, and power is near",
    )


def _profile_csv() -> bytes:
    """Two wheel paths of 1,000 m at 0.1 m, rough at first, smooth later on."""
    rng = np.random.default_rng(31)
    distance = np.arange(0.0, 1000.05, 0.1)
    rough = np.where(distance < 420.0, 1.0, 0.42)
    lines = ["distance m,left mm,right mm"]
    paths = []
    for _ in range(2):
        slope = rng.normal(0.0, 0.55, distance.size) * rough
        path = np.cumsum(slope)
        for length_m in (2.4, 7.0, 18.0):
            turn = rng.uniform(0.0, 2.0 * np.pi)
            path += rough * length_m * 0.10 * np.sin(distance / length_m + turn)
        paths.append(path - path[0])
    lines += [
        f"{d:.1f},{left:.2f},{right:.2f}"
        for d, left, right in zip(distance, *paths, strict=True)
    ]
    return "\n".join(lines).encode()


# --- with what -----------------------------------------------------------------------


def _tools(as_of: dt.date, by: Any) -> dict[str, Any]:
    table = curing_table_save(
        table=CuringTable(
            product="Bondrow 2K",
            document="setting sheet, edition 4 (invented)",
            hardener_unit="g a kit",
        ),
        rows=[
            CuringRow(temp_c=t, hardener_amount=g, pot_life_min=pot, cure_min=cure)
            for t, g, pot, cure in (
                (5.0, 150.0, 14.0, 90.0),
                (10.0, 130.0, 12.0, 65.0),
                (20.0, 95.0, 8.0, 40.0),
                (30.0, 60.0, 6.0, 30.0),
                (40.0, 40.0, 5.0, 30.0),
            )
        ],
        by=by,
        why=WHY,
    )
    meter, bridge = (
        instrument_save(
            instrument=Instrument(
                kind=kind,
                serial=serial,
                calibrated_on=as_of - dt.timedelta(days=150),
                calibration_due_on=as_of + dt.timedelta(days=215),
            ),
            by=by,
            why=WHY,
        )
        for kind, serial in (("insulation tester", "IT-204"), ("LCR meter", "LC-77"))
    )
    batches = {
        product: batch_save(
            batch=ProductBatch(
                product=product,
                lot=lot,
                expires_on=as_of + dt.timedelta(days=200),
                curing_table=curing,
            ),
            by=by,
            why=WHY,
        )
        for product, lot, curing in (
            ("Bondrow 2K", "B2-4471", table),
            ("Seamfast loop sealant", "SF-0912", None),
        )
    }
    return {
        "insulation resistance": meter,
        "capacitance": bridge,
        "resin-batch": batches["Bondrow 2K"],
        "sealant-batch": batches["Seamfast loop sealant"],
    }


def _start(
    lane: Lane,
    position: str,
    plan: ArrayPlan,
    models: dict[str, SensorModel],
    work_on: dt.date,
    by: Any,
) -> InstallationRecord:
    traits = BY_TECHNOLOGY[Technology.POLYMER_PIEZO]
    sensor = sensor_save(
        sensor=Sensor(
            model=models[Technology.POLYMER_PIEZO],
            serial=f"60-{position[-1]}",
            lot="L24-118",
            length_m=traits.length_m,
            lead_length_m=30.48,
            data_sheet={"capacitance": 8.0},
            purchased_on=work_on - dt.timedelta(days=60),
        ),
        by=by,
        why=WHY,
    )
    return record_start(
        lane=lane,
        position=position,
        technology=Technology.POLYMER_PIEZO,
        work_on=work_on,
        traffic_control_plan="TCP-31-60A",
        plan=plan,
        sensor=sensor,
        contract_ref="ORV-2217",
        installer="Brackwater Pavement Works (invented)",
        by=by,
        why=WHY,
    )


# --- what was found ------------------------------------------------------------------


def _fill(
    record: InstallationRecord,
    tools: dict[str, Any],
    technician: Any,
    manager: Any,
    *,
    until: str | None,
) -> None:
    for stage in list(record.template.stages.all()):
        if stage.key == until:
            _leave_short(record, stage.key, technician)
            return
        _answer_stage(record, stage.key, tools, technician)
        for role in stage.sign_roles:
            by = manager if role == SignRole.ENGINEER else technician
            stage_sign(
                record=record,
                stage=stage,
                role=SignRole(role),
                name_signed=CREW[SignRole(role)],
                client_id=uuid.uuid4(),
                by=by,
                now=clock.now(),
            )


def _answer_stage(
    record: InstallationRecord, key: str, tools: dict[str, Any], by: Any
) -> None:
    done: set[int] = set()
    while left := [
        one
        for one in stage_view(record, key).items
        if one.asked and one.item.pk not in done
    ]:  # an answer can ask for another
        for one in left:
            done.add(one.item.pk)
            _answer(record, one, tools, by)


def _answer(
    record: InstallationRecord, one: ItemView, tools: dict[str, Any], by: Any
) -> None:
    _photos(record, one, by)
    if one.spec.kind is ItemKind.PHOTO:
        return
    answer_save(
        record=record,
        item=one.item,
        client_id=uuid.uuid4(),
        seen=0,
        by=by,
        **usual_answer(one, tools),
    )
    if one.spec.key == "slot-depth":
        _rework(record, one, by)


def _rework(record: InstallationRecord, one: ItemView, by: Any) -> None:
    """One place was too shallow, sawn deeper and gauged again."""
    unit = one.unit_symbol
    shallow = answer_save(
        record=record, item=one.item, client_id=uuid.uuid4(), seen=10**9, by=by,
        numbers_typed=[(text, unit) for text in SHALLOW_IN],
        reason="gauged again after the slurry was out",
    )  # fmt: skip
    dispose(
        entry=shallow.entry,
        kind=DispositionKind.REWORKED,
        decided_by=CREW[SignRole.INSPECTOR],
        reason="sawn deeper at the fourth point",
        by=by,
    )
    answer_save(
        record=record, item=one.item, client_id=uuid.uuid4(), seen=10**9, by=by,
        numbers_typed=[(text, unit) for text in SAWN_DEEPER_IN],
        reason="sawn deeper at the fourth point, gauged again",
    )  # fmt: skip


def _leave_short(record: InstallationRecord, key: str, by: Any) -> None:
    """The second sensor lies uneven; nobody has decided yet."""
    for one in stage_view(record, key).items:
        if one.spec.key == "sensor-depth":
            answer_save(
                record=record, item=one.item, client_id=uuid.uuid4(), seen=0, by=by,
                numbers_typed=[(text, one.unit_symbol) for text in UNEVEN_IN],
            )  # fmt: skip
        elif one.spec.key == "slot-still-clean":
            answer_save(
                record=record,
                item=one.item,
                client_id=uuid.uuid4(),
                seen=0,
                by=by,
                answer="yes",
            )


def usual_answer(one: ItemView, tools: dict[str, Any]) -> dict[str, Any]:
    """An answer as a good crew would give it, in the program's units."""
    spec, unit = one.spec, one.unit_symbol
    if spec.kind is ItemKind.TRIANGLE:
        return {"numbers_typed": [(text, unit) for text in TRIANGLE_FT]}
    if spec.kind is ItemKind.READING:
        return {
            "numbers_typed": [(READ.get(str(spec.quantity), "1"), unit)],
            "instrument": tools.get(str(spec.quantity), tools["capacitance"]),
        }
    if spec.kind is ItemKind.BATCH:
        return {"batch": tools.get(spec.key, tools["sealant-batch"])}
    if spec.kind in (ItemKind.YES_NO, ItemKind.CHOICE):
        first = one.choices[0] if one.choices else "yes"
        return {"answer": WET.get(spec.key) or spec.expected or _plain(spec.key, first)}
    if spec.kind is ItemKind.TEXT:
        return {"answer": WORDS.get(spec.key, "as drawn")}
    text = FOUND.get(spec.key) or _within(one)
    if spec.kind is ItemKind.SERIES:
        return {"numbers_typed": [(text, unit)] * one.n_boxes}
    return {"numbers_typed": [(text, unit)]}


def _plain(key: str, first: str) -> str:
    return {"other-axle-sensor": "no", "lead-spliced": "no"}.get(key, first)


def _within(one: ItemView) -> str:
    low, high = one.low_shown, one.high_shown
    if low is not None and high is not None:
        return f"{(low + high) / 2.0:.2f}"
    if low is not None:
        return f"{low * 1.04 if low else 0.5:.2f}"
    return f"{high * 0.5:.2f}" if high is not None else "1"


def _photos(record: InstallationRecord, one: ItemView, by: Any) -> None:
    for number in range(one.spec.photos_needed):
        photo_add(
            record=record,
            item=one.item,
            client_id=uuid.uuid4(),
            upload=_picture(one, number),
            name=f"{one.spec.key}-{number + 1}.jpg",
            caption="",
            by=by,
        )


def _picture(one: ItemView, number: int) -> bytes:
    """A drawn stand-in for a photo: pavement, a slot, a tape."""
    rng = np.random.default_rng(one.item.pk * 10 + number)
    grain = rng.normal(92, 14, (240, 320)).clip(0, 255).astype("uint8")
    picture = Image.fromarray(grain).resize((960, 720)).convert("RGB")
    draw = ImageDraw.Draw(picture)
    top = 300 + int(rng.integers(-60, 60))
    draw.rectangle((0, top, 960, top + 46), fill=(38, 36, 34))
    draw.line((0, top + 23, 960, top + 23), fill=(196, 160, 90), width=7)
    draw.rectangle((60, top - 90, 900, top - 60), fill=(214, 190, 60))
    for mark in range(60, 900, 28):
        draw.line((mark, top - 90, mark, top - 74), fill=(20, 20, 20), width=2)
    draw.text((24, 680), f"stand-in picture: {one.spec.prompt}"[:110], fill="white")
    held = io.BytesIO()
    picture.save(held, "JPEG", quality=80)
    return held.getvalue()
