"""Small stage templates and records for tests. Every name here is invented."""

from __future__ import annotations

import datetime as dt
import io
import uuid
from typing import Any

from installs import models, services
from installs.calc.types.records import TemplateState
from tests import factories

Spec = dict[str, Any]
WORK_ON = dt.date(2024, 5, 20)
OBSERVED = dt.datetime(2024, 5, 20, 16, 0, tzinfo=dt.UTC)

DEPTH: Spec = {
    "key": "slot-depth",
    "kind": "series along the sensor",
    "prompt": "Slot depth",
    "measure": "short length",
    "points": 4,
    "low": 50.8,
    "high": 57.15,
    "largest_range": 3.175,
    "limit_source": "maker",
    "limit_reference": "sheet 3",
}
WIDTH: Spec = {
    "key": "slot-width",
    "kind": "measurement",
    "prompt": "Slot width",
    "measure": "short length",
    "low": 19.05,
    "high": 25.4,
}
STRAIGHT: Spec = {
    "key": "cut-straight",
    "kind": "yes or no",
    "prompt": "Cut straight on the line",
    "expected": "yes",
}
INSULATION: Spec = {
    "key": "bench-insulation",
    "kind": "reading of an instrument",
    "prompt": "Insulation on the bench",
    "quantity": "insulation resistance",
    "test_stage": "bench",
    "low": 20.0,
    "limit_rule": "limits of the sensor model",
}
SLOT_PHOTO: Spec = {"key": "slot-photo", "kind": "photo", "prompt": "Photo of the slot"}

#: Two stages: what most tests need.
SMALL: tuple[tuple[str, list[str], list[Spec]], ...] = (
    ("saw-cutting", ["installer", "inspector"], [DEPTH, WIDTH, STRAIGHT]),
    ("bench-test", ["inspector"], [INSULATION]),
)


def make_template(
    stages: Any = SMALL, technology: str = "polymer piezo"
) -> models.StageTemplate:
    """A stage template in use: (key, sign roles, items) for each stage."""
    template = models.StageTemplate.objects.create(
        technology=technology, state=TemplateState.IN_USE.value, in_use_at=OBSERVED
    )
    for number, (key, roles, items) in enumerate(stages, start=1):
        stage = models.TemplateStage.objects.create(
            template=template,
            number=number,
            key=key,
            title=key.replace("-", " ").capitalize(),
            purpose="Invented for the tests.",
            sign_roles=roles,
        )
        for place, spec in enumerate(items, start=1):
            item = models.TemplateItem(stage=stage, number=place, **spec)
            item.full_clean()
            item.save()
    return template


def make_record(by: Any, **parts: Any) -> models.InstallationRecord:
    """A record of the template in use, opened through its service."""
    lane = parts.pop("lane", None) or factories.LaneFactory.create(width_m=3.66)
    return services.record_start(
        **{
            "lane": lane,
            "position": "piezo 9",
            "technology": "polymer piezo",
            "work_on": WORK_ON,
            "traffic_control_plan": "TCP-7",
            "by": by,
            "why": "",
            **parts,
        }
    )


def item_of(record: models.InstallationRecord, key: str) -> models.TemplateItem:
    """The item of a key, with its stage."""
    return models.TemplateItem.objects.select_related("stage").get(
        stage__template_id=record.template_id, key=key
    )


def stage_of(record: models.InstallationRecord, key: str) -> models.TemplateStage:
    """The stage of a key."""
    return models.TemplateStage.objects.get(template_id=record.template_id, key=key)


def answer(
    record: models.InstallationRecord, key: str, by: Any, *texts: str, **parts: Any
) -> services.AnswerResult:
    """An answer through its service; ``texts`` are numbers in ``unit``."""
    unit = parts.pop("unit", "")
    return services.answer_save(
        record=record,
        item=item_of(record, key),
        by=by,
        **{
            "client_id": uuid.uuid4(),
            "seen": 0,
            "numbers_typed": [(text, unit) for text in texts],
            "observed_at": OBSERVED,
            **parts,
        },
    )


def sign(
    record: models.InstallationRecord, key: str, by: Any, role: str = "inspector"
) -> models.SignOff:
    """A signature through its service."""
    return services.stage_sign(
        record=record,
        stage=stage_of(record, key),
        role=role,
        name_signed="M. Tarn",
        client_id=uuid.uuid4(),
        by=by,
        now=OBSERVED + dt.timedelta(hours=2),
    )


def new_mark() -> uuid.UUID:
    """A mark as a page makes one for each answer and photo."""
    return uuid.uuid4()


def instrument(**parts: Any) -> models.Instrument:
    """An insulation tester inside its calibration."""
    return models.Instrument.objects.create(
        **{
            "kind": "insulation tester",
            "serial": "IT-04",
            "calibrated_on": dt.date(2024, 1, 10),
            "calibration_due_on": dt.date(2025, 1, 10),
            **parts,
        }
    )


def picture(
    size: tuple[int, int] = (64, 48), kind: str = "JPEG", **options: Any
) -> bytes:
    """A picture of slowly changing colour, as bytes of a file."""
    from PIL import Image

    image = Image.linear_gradient("L").resize(size).convert("RGB")
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def large_record(
    by: Any,
    *,
    n_stages: int = 12,
    n_items: int = 150,
    n_photos: int = 60,
    technology: str = "polymer piezo",
) -> models.InstallationRecord:
    """A record of many stages, items and photos, every item answered once.

    Rows are written at once, past the services, for the sake of speed; readings have
    an instrument, and every third item has an answer that was corrected.
    """
    kinds = (WIDTH, STRAIGHT, DEPTH, INSULATION, SLOT_PHOTO)
    each = [n_items // n_stages + (n < n_items % n_stages) for n in range(n_stages)]
    stages = []
    for n, count in enumerate(each):
        items = []
        for place in range(count):
            spec = kinds[place % len(kinds)]
            items.append({**spec, "key": f"{spec['key']}-{n}-{place}"})
        stages.append((f"stage-{n + 1}", ["inspector"], items))
    make_template(stages, technology)
    sensor = factories.SensorFactory.create(model__technology=technology)
    record = make_record(by, technology=technology, sensor=sensor)
    meter = instrument(serial=f"IT-{record.pk:02d}")
    items = list(
        models.TemplateItem.objects.filter(stage__template_id=record.template_id)
    )
    entries = []
    for n, item in enumerate(items):
        repeats = 2 if n % 3 == 0 else 1
        entries += [
            _entry(record, item, by, meter)
            for _ in range(0 if item.kind == "photo" else repeats)
        ]
    models.ItemEntry.objects.bulk_create(entries)
    with_photo = [item for item in items if item.kind == "photo"]
    models.Photo.objects.bulk_create(
        models.Photo(
            record=record,
            item=with_photo[n % len(with_photo)],
            picture=f"photos/{record.pk}/{n}.jpg",
            thumbnail=f"photos/{record.pk}/{n}-small.jpg",
            width_px=2048,
            height_px=1536,
            size_bytes=400_000,
            sha256=f"{n:064d}",
            added_by=by,
        )
        for n in range(n_photos)
    )
    return record


def _entry(record: Any, item: Any, by: Any, meter: Any) -> models.ItemEntry:
    numbers, typed, answer = {
        "measurement": ([22.86], [["0.90", "in"]], ""),
        "yes or no": ([], [], "yes"),
        "series along the sensor": (
            [52.07, 52.07, 53.34, 52.07],
            [["2.05", "in"], ["2.05", "in"], ["2.10", "in"], ["2.05", "in"]],
            "",
        ),
        "reading of an instrument": ([2000.0], [["> 2000", "MΩ"]], ""),
    }[item.kind]
    reading = item.kind == "reading of an instrument"
    return models.ItemEntry(
        record=record,
        item=item,
        numbers=numbers,
        typed=typed,
        answer=answer,
        over_range=reading,
        instrument=meter if reading else None,
        observed_at=OBSERVED,
        entered_by=by,
    )
