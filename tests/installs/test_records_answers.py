"""Answers: judged at once, kept as typed, never lost, never simply typed over."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from installs import selectors, services
from installs.calc.types.judging import FindingState
from installs.models import (
    Disposition,
    ElectricalLimit,
    InstallationRecord,
    ItemEntry,
    ProductBatch,
)
from tests import factories
from tests.installs import record_factories as make
from wimprog.lib.errors import DomainError

GOOD = ("2.05", "2.10", "2.05", "2.00")


@pytest.fixture
def record(program, held_clock, technician):
    make.make_template()
    return make.make_record(technician)


def _item(record, key):
    page = selectors.record_page(record)
    return next(
        one for stage in page.stages for one in stage.items if one.item.key == key
    )


def test_an_answer_is_judged_and_comes_back_as_typed(record, technician):
    result = make.answer(record, "slot-depth", technician, *GOOD, unit="in")
    assert result.created
    assert result.finding.state is FindingState.MEETS
    one = _item(record, "slot-depth")
    assert one.entry.typed == [[text, "in"] for text in GOOD]
    assert one.answer_words == "2.05, 2.10, 2.05, 2.00 in"
    # 2.05 in = 52.07 mm (1 in = 25.4 mm exactly)
    assert one.entry.numbers[0] == pytest.approx(52.07, rel=1e-12)
    assert one.limit_words == "2 in to 2.25 in, all within 0.125 in of each other"
    assert one.limit_source_words == "maker: sheet 3"


def test_the_same_answer_sent_twice_is_kept_once(record, technician):
    mark = uuid.uuid4()
    first = make.answer(record, "slot-width", technician, "0.9", client_id=mark)
    again = make.answer(record, "slot-width", technician, "0.9", client_id=mark)
    assert (first.created, again.created) == (True, False)
    assert first.entry == again.entry
    assert ItemEntry.objects.count() == 1


def test_it_can_be_sent_again_after_the_record_was_closed(record, technician):
    mark = uuid.uuid4()
    make.answer(record, "slot-width", technician, "0.9", client_id=mark)
    services.record_abandon(record=record, reason="rain all week", by=technician)
    again = make.answer(record, "slot-width", technician, "0.9", client_id=mark)
    assert not again.created
    with pytest.raises(DomainError, match=r"was abandoned on 2024-06-01"):
        make.answer(record, "slot-width", technician, "0.9")


@pytest.mark.parametrize(
    "change", [{"unit": "cm"}, {"reason": "again"}, {"key": "slot-depth"}]
)
def test_other_content_under_one_mark_is_refused(record, technician, change):
    mark = uuid.uuid4()
    make.answer(record, "slot-width", technician, "0.9", client_id=mark, unit="in")
    parts = {"key": "slot-width", "unit": "in", **change}
    with pytest.raises(DomainError, match="under the same mark"):
        make.answer(
            record, parts.pop("key"), technician, "0.9", client_id=mark, **parts
        )
    assert ItemEntry.objects.count() == 1


def test_a_mark_used_in_another_record_is_refused(record, technician):
    mark = uuid.uuid4()
    make.answer(record, "slot-width", technician, "0.9", client_id=mark)
    other = make.make_record(technician, position="piezo 8")
    with pytest.raises(DomainError, match="under the same mark"):
        make.answer(other, "slot-width", technician, "0.9", client_id=mark)


def test_a_bad_reading_is_not_simply_typed_over(record, technician):
    bad = make.answer(record, "slot-width", technician, "0.70", unit="in")
    assert bad.finding.state is FindingState.MISSES
    assert bad.finding.needs_disposition
    with pytest.raises(DomainError, match=r"0\.70 in.*say what was done"):
        make.answer(record, "slot-width", technician, "0.90", seen=bad.entry.pk)
    assert ItemEntry.objects.count() == 1
    good = make.answer(
        record,
        "slot-width",
        technician,
        "0.90",
        seen=bad.entry.pk,
        reason="sawn wider",
    )
    assert good.finding.state is FindingState.MEETS
    kept = Disposition.objects.get()
    assert (kept.entry, kept.kind, kept.reason) == (bad.entry, "reworked", "sawn wider")
    one = _item(record, "slot-width")
    assert [entry.answer_words for entry in one.history] == ["0.70 in", "0.90 in"]
    assert not one.is_open
    assert not one.untreated


def test_an_unseen_bad_reading_stays_open_until_it_is_disposed_of(
    record, technician, manager
):
    bad = make.answer(record, "slot-width", technician, "0.70", unit="in")
    make.answer(record, "slot-width", manager, "0.90", seen=0, unit="in")
    one = _item(record, "slot-width")
    assert [entry.pk for entry in one.untreated] == [bad.entry.pk]
    stage = selectors.stage_view(record, "saw-cutting")
    assert any(
        "1 earlier answer out of limits" in reason for reason in stage.reasons_not_ready
    )
    services.dispose(
        entry=bad.entry,
        kind="reworked",
        decided_by="M. Tarn",
        reason="tape slipped",
        by=technician,
    )
    assert not _item(record, "slot-width").untreated


def test_two_people_at_once_clash_and_a_third_answer_settles_it(
    record, technician, manager
):
    first = make.answer(record, "slot-width", technician, "0.90", unit="in")
    second = make.answer(record, "slot-width", manager, "0.95", unit="in")
    assert (first.clash, second.clash) == (False, True)
    one = _item(record, "slot-width")
    assert [entry.pk for entry in one.clash] == [first.entry.pk, second.entry.pk]
    page = selectors.record_page(record)
    assert [clashing.item.key for clashing in page.clashes] == ["slot-width"]
    assert any(
        "two people answered differently" in reason
        for reason in page.stage("saw-cutting").reasons_not_ready
    )
    settled = make.answer(
        record, "slot-width", technician, "0.95", seen=second.entry.pk, unit="in"
    )
    assert not settled.clash
    assert _item(record, "slot-width").clash == ()


def test_two_who_answer_alike_do_not_clash(record, technician, manager):
    make.answer(record, "cut-straight", technician, answer="yes")
    assert not make.answer(record, "cut-straight", manager, answer="yes").clash


def test_who_saw_the_other_answer_does_not_clash(record, technician, manager):
    first = make.answer(record, "slot-width", technician, "0.90", unit="in")
    later = make.answer(
        record, "slot-width", manager, "0.95", seen=first.entry.pk, unit="in"
    )
    assert not later.clash


def test_seeing_only_the_older_of_two_leaves_the_newer_standing(
    record, technician, manager, analyst
):
    first = make.answer(record, "slot-width", technician, "0.90", unit="in")
    make.answer(record, "slot-width", manager, "0.95", unit="in")
    third = make.answer(
        record, "slot-width", analyst, "0.91", seen=first.entry.pk, unit="in"
    )
    assert third.clash
    said = [entry.answer_words for entry in _item(record, "slot-width").clash]
    assert said == ["0.95 in", "0.91 in"]


@pytest.mark.parametrize(
    ("key", "texts", "parts", "words"),
    [
        ("slot-width", (), {}, "nothing was answered"),
        ("slot-width", ("0.9", "0.8"), {}, "asks for 1 number; 2 came"),
        ("slot-width", ("4,5",), {}, "“4,5” is not a number"),
        ("slot-width", ("0.9",), {"unit": "lb"}, "not a unit of short length"),
        ("slot-width", ("0.9",), {"unit": "mile"}, "“mile” is not a unit of this"),
        ("slot-width", ("> 0.9",), {}, "is not a number"),
        ("slot-width", ("nan",), {}, "is not a"),
        ("slot-depth", ("2", "", "2", "x"), {}, "2 numbers of “Slot depth” cannot"),
        ("cut-straight", (), {"answer": "maybe"}, "choose one of yes, no"),
        ("cut-straight", (), {"answer": "no"}, "“no” needs its reason"),
        ("cut-straight", (), {}, "nothing was answered"),
        ("bench-insulation", ("OL",), {}, "does not say what the meter's range is"),
        ("bench-insulation", ("-3",), {}, "below zero"),
        ("bench-insulation", (">",), {}, "upper end"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(
    record, technician, key, texts, parts, words
):
    with pytest.raises(DomainError) as refusal:
        make.answer(record, key, technician, *texts, **parts)
    assert words in str(refusal.value)
    assert ItemEntry.objects.count() == 0


def test_complaints_name_the_item_and_the_number(record, technician):
    with pytest.raises(DomainError) as refusal:
        make.answer(record, "slot-depth", technician, "2", "x", "2", "y", unit="in")
    assert [one.field for one in refusal.value.complaints] == [
        "Slot depth, number 2",
        "Slot depth, number 4",
    ]


@pytest.mark.parametrize(
    ("typed", "value", "over", "state"),
    [
        ("> 2000", 2000.0, True, FindingState.MEETS),
        (">2000", 2000.0, True, FindingState.MEETS),
        ("1.2 GΩ", 1200.0, False, FindingState.MEETS),
        ("12", 12.0, False, FindingState.MISSES),
        ("> 10", 10.0, True, FindingState.CANNOT_SAY),
    ],
)
def test_a_meter_reading_may_be_over_its_range(
    record, technician, typed, value, over, state
):
    result = make.answer(
        record, "bench-insulation", technician, typed, instrument=make.instrument()
    )
    assert result.entry.numbers == [pytest.approx(value)]
    assert result.entry.over_range is over
    assert result.entry.typed[0][0] == typed
    assert result.finding.state is state


def test_readings_are_held_to_the_sensor_model(program, held_clock, technician):
    make.make_template()
    sensor = factories.SensorFactory.create()
    ElectricalLimit.objects.create(
        sensor_model=sensor.model,
        quantity="insulation resistance",
        low=100.0,
        source="maker's sheet (invented)",
    )
    record = make.make_record(technician, sensor=sensor)
    result = make.answer(
        record, "bench-insulation", technician, "50", instrument=make.instrument()
    )
    # 50 MΩ meets the template's 20 but not the model's 100
    assert result.finding.state is FindingState.MISSES
    one = _item(record, "bench-insulation")
    assert one.limit_words == "at least 100 MΩ"
    assert str(sensor.model) in one.limit_source_words


def test_readings_are_held_to_the_sensors_own_data_sheet(
    program, held_clock, technician
):
    capacitance = {
        **make.INSULATION,
        "key": "bench-capacitance",
        "quantity": "capacitance",
        "low": None,
    }
    make.make_template([("bench-test", ["inspector"], [capacitance])])
    sensor = factories.SensorFactory.create(data_sheet={"capacitance": "8.00"})
    ElectricalLimit.objects.create(
        sensor_model=sensor.model,
        quantity="capacitance",
        data_sheet_tolerance_pct=10.0,
        source="maker's sheet (invented)",
    )
    record = make.make_record(technician, sensor=sensor)
    meter = make.instrument()
    # 8 nF ± 10 % is 7.2 to 8.8 nF
    low = make.answer(record, "bench-capacitance", technician, "7.1", instrument=meter)
    assert low.finding.state is FindingState.MISSES
    good = make.answer(
        record,
        "bench-capacitance",
        technician,
        "7250 pF",
        instrument=meter,
        seen=low.entry.pk,
        reason="clip was loose",
    )
    assert good.finding.state is FindingState.MEETS
    one = _item(record, "bench-capacitance")
    assert one.limit_words == "7.2 nF to 8.8 nF"
    assert "its data sheet's 8 nF" in one.limit_source_words


def test_a_contract_limit_takes_the_place_of_all_others_and_says_so(
    record, technician, manager
):
    item = make.item_of(record, "slot-width")
    services.limit_set(
        record=record,
        item=item,
        low=23.0,
        high=24.0,
        limit_source="contract",
        limit_reference="clause 4.2",
        by=manager,
        why="narrow blade",
    )
    result = make.answer(record, "slot-width", technician, "0.9", unit="in")
    # 0.9 in = 22.86 mm: inside the template's limits, outside the contract's
    assert result.finding.state is FindingState.MISSES
    one = _item(record, "slot-width")
    assert one.limit_source_words == (
        "contract: clause 4.2; in place of the template's"
    )
    assert item.low == 19.05  # the template's own row is as it was


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ({"low": None, "high": None}, "Give a lowest"),
        ({"low": 5.0, "high": 4.0}, "below the lowest"),
        ({"limit_reference": " "}, "clause, sheet or drawing"),
        ({"key": "cut-straight"}, "no number"),
    ],
)
def test_limits_that_hold_nothing_are_refused(record, manager, parts, words):
    given = {
        "low": 20.0,
        "high": 24.0,
        "limit_source": "contract",
        "limit_reference": "clause 4.2",
        "key": "slot-width",
        **parts,
    }
    item = make.item_of(record, given.pop("key"))
    with pytest.raises(DomainError, match=words):
        services.limit_set(record=record, item=item, by=manager, why="", **given)


def test_an_instrument_past_its_calibration_needs_a_reason(record, technician):
    old = make.instrument(
        serial="IT-01",
        calibrated_on=dt.date(2022, 1, 1),
        calibration_due_on=dt.date(2024, 5, 19),
    )
    first = make.answer(record, "bench-insulation", technician, "900", instrument=old)
    assert "due for calibration on 2024-05-19" in first.finding.warnings[0]
    stage = selectors.stage_view(record, "bench-test")
    assert any("due for calibration" in one for one in stage.reasons_not_ready)
    make.answer(
        record,
        "bench-insulation",
        technician,
        "900",
        seen=first.entry.pk,
        instrument=old,
        reason="the only one at hand; checked against a known resistor",
    )
    stage = selectors.stage_view(record, "bench-test")
    assert not any("due for calibration" in one for one in stage.reasons_not_ready)


def test_the_last_day_of_a_calibration_still_counts(record, technician):
    meter = make.instrument(calibration_due_on=make.WORK_ON)
    result = make.answer(
        record, "bench-insulation", technician, "900", instrument=meter
    )
    assert result.finding.warnings == ()


def test_an_expired_batch_is_out_of_limits(program, held_clock, technician):
    spec = {"key": "resin-batch", "kind": "product batch", "prompt": "Resin"}
    make.make_template([("pouring", ["inspector"], [spec])])
    record = make.make_record(technician)
    batch = ProductBatch.objects.create(
        product="Resin R", lot="77", expires_on=dt.date(2024, 5, 19)
    )
    with pytest.raises(DomainError, match="by its lot"):
        make.answer(record, "resin-batch", technician)
    result = make.answer(record, "resin-batch", technician, batch=batch)
    assert result.finding.state is FindingState.MISSES
    assert result.finding.needs_disposition


def test_a_time_ahead_of_now_counts_as_now(record, technician):
    ahead = dt.datetime(2031, 1, 1, tzinfo=dt.UTC)
    result = make.answer(record, "slot-width", technician, "0.9", observed_at=ahead)
    assert result.entry.observed_at == dt.datetime(2024, 6, 1, 12, tzinfo=dt.UTC)


def test_an_item_of_another_template_is_refused(record, technician):
    other = make.make_template(technology="quartz piezo")
    foreign = other.stages.get(key="saw-cutting").items.get(key="slot-width")
    with pytest.raises(DomainError, match="other stages than those of this record"):
        services.answer_save(
            record=record,
            item=foreign,
            client_id=uuid.uuid4(),
            seen=0,
            numbers_typed=[("0.9", "in")],
            by=technician,
        )


@pytest.mark.parametrize("kind", ["accepted as it is", "rejected", "reworked"])
def test_a_decision_is_kept_once(record, technician, kind):
    bad = make.answer(record, "slot-width", technician, "0.70", unit="in")
    parts = {"decided_by": "A. Quill", "reason": "seen on site", "by": technician}
    kept = services.dispose(entry=bad.entry, kind=kind, **parts)
    assert kept.kind == kind
    with pytest.raises(DomainError, match="decided this already"):
        services.dispose(entry=bad.entry, kind="rejected", **parts)
    one = _item(record, "slot-width")
    assert one.is_open is (kind == "reworked")
    assert one.is_rejected is (kind == "rejected")


@pytest.mark.parametrize(
    ("text", "parts", "words"),
    [
        ("0.90", {}, "nothing to decide"),
        ("0.70", {"reason": " "}, "and why"),
        ("0.70", {"decided_by": ""}, "Say who decided"),
    ],
)
def test_a_decision_without_cause_name_or_reason_is_refused(
    record, technician, text, parts, words
):
    entry = make.answer(record, "slot-width", technician, text, unit="in").entry
    given = {"decided_by": "A. Quill", "reason": "seen", "kind": "rejected", **parts}
    with pytest.raises(DomainError, match=words):
        services.dispose(entry=entry, by=technician, **given)


def test_an_item_is_asked_only_when_the_other_was_answered_so(
    program, held_clock, technician
):
    raised = {
        "key": "raised",
        "kind": "yes or no",
        "prompt": "Raised finish wanted",
    }
    tape = {
        "key": "tape-height",
        "kind": "measurement",
        "prompt": "Height of the tape",
        "measure": "short length",
        "high": 3.0,
        "only_if_key": "raised",
        "only_if_answer": "yes",
    }
    make.make_template([("pouring", ["inspector"], [raised, tape])])
    record = make.make_record(technician)
    no = make.answer(record, "raised", technician, answer="no")
    stage = selectors.stage_view(record, "pouring")
    assert [one.asked for one in stage.items] == [True, False]
    assert stage.n_required == 1
    assert stage.reasons_not_ready == ()
    make.answer(record, "raised", technician, answer="yes", seen=no.entry.pk)
    stage = selectors.stage_view(record, "pouring")
    assert [one.asked for one in stage.items] == [True, True]
    assert stage.reasons_not_ready == ("“Height of the tape”: not answered",)


def test_a_record_needs_a_template_in_use(program, technician):
    with pytest.raises(DomainError, match="No stage template for polymer piezo"):
        make.make_record(technician)
    assert InstallationRecord.objects.count() == 0
