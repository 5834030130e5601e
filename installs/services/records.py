"""Installation records opened, edited, accepted and closed."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from installs.calc.types import Technology
from installs.calc.types.records import (
    ItemKind,
    RecordState,
    TemplateState,
)
from installs.models import (
    ArrayPlan,
    ElectricalTest,
    Installation,
    InstallationRecord,
    ItemEntry,
    Sensor,
    SignOff,
    StageTemplate,
)
from installs.selectors.record_facts import record_facts
from installs.selectors.records import ItemView, RecordPage, page_of
from installs.services.answers import name_of, open_record
from installs.services.road import ReadingInput, sensor_install, test_record
from installs.services.signing import ACCEPT, refuse_unsigned
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

TEST_VOLTAGE = "test-voltage"
PAVEMENT_TEMPERATURE = "pavement-temperature"
INSTRUMENT_LENGTH = 80
FIXED_PARTS = ("lane_id", "technology", "template_id", "position")


@transaction.atomic
def record_start(
    *,
    lane: Lane,
    position: str,
    technology: Technology | str,
    work_on: dt.date,
    traffic_control_plan: str,
    plan: ArrayPlan | None = None,
    sensor: Sensor | None = None,
    contract_ref: str = "",
    installer: str = "",
    note: str = "",
    by: Any,
    why: str,
) -> InstallationRecord:
    """Open a record by the stage template that is in use for its technology.

    Raises
    ------
    DomainError
        When no template is in use, or the plan or sensor does not belong here.
    django.core.exceptions.ValidationError
        When the position has an open record already.
    """
    template = StageTemplate.objects.filter(
        technology=str(technology), state=TemplateState.IN_USE.value
    ).first()
    if template is None:
        raise DomainError(
            f"No stage template for {technology} is in use, so nothing says what has "
            "to be proved. Put one in use under stage templates first."
        )
    record = InstallationRecord(
        lane=lane,
        position=" ".join(position.split()),
        technology=str(technology),
        template=template,
        plan=plan,
        sensor=sensor,
        work_on=work_on,
        contract_ref=contract_ref.strip(),
        installer=installer.strip(),
        traffic_control_plan=traffic_control_plan.strip(),
        note=note,
    )
    _refuse_misfits(record)
    save_with_reason(record, by=by, why=why or "record opened")
    return record


def _refuse_misfits(record: InstallationRecord) -> None:
    plan, sensor = record.plan, record.sensor
    if plan is not None and plan.lane_id != record.lane_id:
        raise DomainError(f"The plan {plan} belongs to another lane.")
    if sensor is not None and sensor.model.technology != record.technology:
        raise DomainError(
            f"{sensor} is a {sensor.model.technology} sensor; this record is for "
            f"{record.technology}."
        )


@transaction.atomic
def record_edit(*, record: InstallationRecord, by: Any, why: str) -> InstallationRecord:
    """Keep what was changed in the head of a record.

    Raises
    ------
    DomainError
        When it is closed, when its place, technology or stages were changed, or when
        the sensor was exchanged after a stage was signed for it.
    """
    kept = open_record(record)
    for name in FIXED_PARTS:
        if getattr(kept, name) != getattr(record, name):
            raise DomainError(
                "The lane, position, technology and stages of a record stay what they "
                "were when it was opened; abandon it and open another."
            )
    signed = SignOff.objects.filter(record=kept).exists()
    if signed and kept.sensor_id is not None and kept.sensor_id != record.sensor_id:
        raise DomainError(
            f"Stages are signed for {kept.sensor}; another sensor needs a record of "
            "its own."
        )
    _refuse_misfits(record)
    record.state, record.closed_at = kept.state, kept.closed_at
    record.installation_id = kept.installation_id
    save_with_reason(record, by=by, why=why or "record edited")
    return record


# --- the end of a record -------------------------------------------------------------


@transaction.atomic
def record_accept(
    *, record: InstallationRecord, reason: str = "", by: Any
) -> InstallationRecord:
    """Accept a record: the sensor's life in the lane begins, its tests are kept.

    The sensor counts as installed on the record's day of work.

    Raises
    ------
    DomainError
        When somebody without the right accepts, a stage is not signed or an answer was
        rejected, no sensor is named, or the day lies ahead.
    django.core.exceptions.ValidationError
        When the position or the sensor is still taken.
    """
    if not by.has_perm(ACCEPT):
        raise DomainError("You may not accept installation records.")
    kept = open_record(record)
    page = page_of(record_facts(kept.pk))
    refuse_unsigned(page)
    if kept.sensor is None:
        raise DomainError("Name the sensor in the head of the record first.")
    why = reason.strip() or f"record of {kept.work_on} accepted"
    installation = sensor_install(
        sensor=kept.sensor,
        lane=kept.lane,
        position=kept.position,
        installed_on=kept.work_on,
        note=f"By the installation record of {kept.work_on}.",
        by=by,
        why=why,
    )
    for stage, answers in _readings(page).items():
        _keep_test(page, installation, stage, answers, by=by, why=why)
    kept.installation = installation
    return _close(kept, RecordState.ACCEPTED, by=by, why=why)


def _readings(page: RecordPage) -> dict[str, list[ItemView]]:
    """Items that were read with a meter, by the electrical test they belong to."""
    found: dict[str, list[ItemView]] = defaultdict(list)
    for stage in page.stages:
        for one in stage.items:
            read = one.spec.kind is ItemKind.READING and one.spec.quantity is not None
            if read and one.asked and one.entry and one.item.test_stage:
                found[one.item.test_stage].append(one)
    return found


def _keep_test(
    page: RecordPage,
    installation: Installation,
    stage: str,
    answers: Sequence[ItemView],
    *,
    by: Any,
    why: str,
) -> ElectricalTest:
    entries = [one.entry for one in answers if one.entry is not None]
    last = max(entries, key=lambda entry: (entry.observed_at, entry.pk))
    used = list(dict.fromkeys(str(e.instrument) for e in entries if e.instrument))
    beside = _beside(page, {one.item.stage_id for one in answers})
    test = ElectricalTest(
        installation=installation,
        tested_at=last.observed_at,
        stage=stage,
        instrument=", ".join(used)[:INSTRUMENT_LENGTH],
        instrument_used=last.instrument,
        test_voltage_v=beside.get(TEST_VOLTAGE),
        pavement_temp_c=beside.get(PAVEMENT_TEMPERATURE),
        tested_by=name_of(last.entered_by),
        note="From the installation record.",
    )
    readings = {one.item.quantity: _reading(one.entry) for one in answers if one.entry}
    return test_record(test=test, readings=readings, by=by, why=why)


def _reading(entry: ItemEntry) -> ReadingInput:
    return ReadingInput(
        value=entry.numbers[0], typed=entry.typed[0][0], over_range=entry.over_range
    )


def _beside(page: RecordPage, stage_ids: set[int]) -> dict[str, float]:
    """Test voltage and pavement temperature that were kept with the readings."""
    found = {}
    for stage in page.stages:
        if stage.stage.pk not in stage_ids:
            continue
        for one in stage.items:
            for ending in (TEST_VOLTAGE, PAVEMENT_TEMPERATURE):
                if one.item.key.endswith(ending) and one.entry and one.entry.numbers:
                    found[ending] = one.entry.numbers[0]
    return found


@transaction.atomic
def record_reject(
    *, record: InstallationRecord, reason: str, by: Any
) -> InstallationRecord:
    """Close a record whose work does not stand.

    Raises
    ------
    DomainError
        When it is closed already, or without a reason.
    """
    return _refused(record, RecordState.REJECTED, reason, by)


@transaction.atomic
def record_abandon(
    *, record: InstallationRecord, reason: str, by: Any
) -> InstallationRecord:
    """Close a record whose work was given up before its end.

    Raises
    ------
    DomainError
        When it is closed already, or without a reason.
    """
    return _refused(record, RecordState.ABANDONED, reason, by)


def _refused(
    record: InstallationRecord, state: RecordState, reason: str, by: Any
) -> InstallationRecord:
    kept = open_record(record)
    if not reason.strip():
        raise DomainError(f"Say why the record is {state}.")
    return _close(kept, state, by=by, why=reason.strip())


def _close(
    record: InstallationRecord, state: RecordState, *, by: Any, why: str
) -> InstallationRecord:
    record.state = state.value
    record.closed_at = clock.now()
    save_with_reason(record, by=by, why=why)
    return record
