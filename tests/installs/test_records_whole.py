"""Every technology's stages filled, signed and accepted, from first to last.

The answers are made from the limits that the record shows, so a template whose proof
could never be given, or a rule that no answer can meet, is found here.
"""

from __future__ import annotations

import datetime as dt

import pytest

from installs import selectors, services
from installs.calc.types import Technology
from installs.calc.types.judging import FindingState
from installs.calc.types.records import ItemKind, RecordState, StageState
from installs.models import CuringRow, CuringTable, ProductBatch
from installs.services.template_seeds import templates_seed
from tests import factories
from tests.installs import record_factories as make

SEEDED = [
    Technology.POLYMER_PIEZO,
    Technology.QUARTZ_PIEZO,
    Technology.BENDING_PLATE,
    Technology.LOAD_CELL,
    Technology.INDUCTIVE_LOOP,
]
MOST_ROUNDS = 6


@pytest.fixture
def resin(db):
    table = CuringTable.objects.create(
        product="Resin R", document="sheet 9 (invented)", hardener_unit="g"
    )
    for temp_c, cure_min in ((5.0, 90.0), (20.0, 40.0), (35.0, 20.0)):
        CuringRow.objects.create(
            table=table,
            temp_c=temp_c,
            hardener_amount=80.0,
            pot_life_min=12.0,
            cure_min=cure_min,
        )
    return ProductBatch.objects.create(
        product="Resin R",
        lot="77",
        expires_on=dt.date(2025, 1, 1),
        curing_table=table,
    )


def _number(one):
    low, high = one.low_shown, one.high_shown
    if low is not None and high is not None:
        return (low + high) / 2
    if low is not None:
        return low * 1.2 + 1
    return 1.0 if high is None else high / 2


def _answer(record, one, by, *, meter, resin):
    kind = one.spec.kind
    item = one.item
    if kind is ItemKind.PHOTO or one.spec.least_photos > len(one.live_photos):
        for n in range(one.spec.photos_needed):
            services.photo_add(
                record=record,
                item=item,
                client_id=make.new_mark(),
                upload=make.picture((40 + n, 30)),
                by=by,
            )
    if kind is ItemKind.PHOTO:
        return
    texts, parts = (), {}
    if kind is ItemKind.TRIANGLE:
        texts, parts["unit"] = ("9", "12", "15"), "ft"
    elif one.n_boxes:
        texts = (f"{_number(one):.6g}",) * one.n_boxes
    elif kind is ItemKind.BATCH:
        parts["batch"] = resin
    elif one.choices:
        parts["answer"] = one.spec.expected or one.choices[0]
    else:
        parts["answer"] = "seen and noted"
    if kind is ItemKind.READING:
        parts["instrument"] = meter
    make.answer(
        record,
        item.key,
        by,
        *texts,
        seen=one.entry.pk if one.entry else 0,
        reason="measured again" if one.entry else "",
        **parts,
    )


def _fill(record, key, by, **tools):
    for _ in range(MOST_ROUNDS):
        view = selectors.stage_view(record, key)
        waiting = [
            one
            for one in view.items
            if one.asked
            and (one.finding.state is FindingState.NOT_ANSWERED or one.is_open)
        ]
        if not waiting:
            return view
        for one in waiting:
            _answer(record, one, by, **tools)
    told = [(one.item.key, one.finding.sentence) for one in waiting]
    raise AssertionError(f"{key} cannot be filled: {told}")


@pytest.mark.slow
@pytest.mark.parametrize("technology", SEEDED, ids=str)
def test_a_record_goes_from_its_first_stage_to_acceptance(
    technology, program, held_clock, manager, resin, settings, tmp_path
):
    settings.UPLOAD_DIR = tmp_path
    templates_seed(by=manager)
    sensor = factories.SensorFactory.create(model__technology=technology.value)
    record = make.make_record(manager, technology=technology, sensor=sensor)
    meter = make.instrument()
    page = selectors.record_page(record)
    assert len(page.stages) == 12
    for stage in page.stages:
        view = _fill(record, stage.stage.key, manager, meter=meter, resin=resin)
        assert view.reasons_not_ready == ()
        for role in view.missing_roles:
            make.sign(record, stage.stage.key, manager, role)
    page = selectors.record_page(record)
    assert {one.state for one in page.stages} == {StageState.SIGNED}
    assert page.is_ready_for_acceptance
    assert all(
        services.signoff_is_intact(one)
        for stage in page.stages
        for one in stage.signoffs
    )
    kept = services.record_accept(record=record, by=manager)
    assert kept.state == RecordState.ACCEPTED
    tests = kept.installation.electrical_tests.all()
    asked = {
        one.item.test_stage
        for stage in page.stages
        for one in stage.items
        if one.asked and one.item.test_stage and one.spec.quantity
    }
    assert {test.stage for test in tests} == asked
    assert len(asked) >= 2
    read = {
        (test.stage, reading.quantity)
        for test in tests
        for reading in test.readings.all()
    }
    assert read == {
        (one.item.test_stage, one.item.quantity)
        for stage in page.stages
        for one in stage.items
        if one.asked and one.item.test_stage in asked and one.spec.quantity
    }
    assert all(test.instrument_used == meter for test in tests)
