"""Signing, corrections after it, acceptance and closing."""

from __future__ import annotations

import copy
import datetime as dt
import hashlib
import uuid

import pytest
from django.core.exceptions import ValidationError

from installs import selectors, services
from installs.calc.types.records import SignRole, StageState
from installs.models import ElectricalTest, Installation, SignOff
from installs.services.signing import fingerprint
from tests import factories
from tests.installs import record_factories as make
from wimprog.lib.errors import DomainError

GOOD = ("2.05", "2.10", "2.05", "2.00")


@pytest.fixture
def record(program, held_clock, technician):
    make.make_template()
    return make.make_record(technician, sensor=factories.SensorFactory.create())


def _saw(record, by):
    make.answer(record, "slot-depth", by, *GOOD, unit="in")
    make.answer(record, "slot-width", by, "0.9", unit="in")
    make.answer(record, "cut-straight", by, answer="yes")


def _bench(record, by, text="> 2000"):
    return make.answer(
        record, "bench-insulation", by, text, instrument=make.instrument()
    )


def _signed(record, by):
    _saw(record, by)
    _bench(record, by)
    make.sign(record, "saw-cutting", by, "installer")
    make.sign(record, "saw-cutting", by)
    make.sign(record, "bench-test", by)


def _state(record, key):
    return selectors.stage_view(record, key).state


def test_a_stage_goes_from_not_begun_to_signed(record, technician):
    assert _state(record, "saw-cutting") is StageState.NOT_BEGUN
    make.answer(record, "slot-width", technician, "0.9", unit="in")
    assert _state(record, "saw-cutting") is StageState.IN_WORK
    _saw(record, technician)
    assert _state(record, "saw-cutting") is StageState.READY
    make.sign(record, "saw-cutting", technician, "installer")
    view = selectors.stage_view(record, "saw-cutting")
    assert view.state is StageState.READY
    assert view.missing_roles == (SignRole.INSPECTOR,)
    make.sign(record, "saw-cutting", technician)
    assert _state(record, "saw-cutting") is StageState.SIGNED


def test_signing_names_everything_that_is_missing(record, technician):
    make.answer(record, "slot-width", technician, "0.7", unit="in")
    with pytest.raises(DomainError) as refusal:
        make.sign(record, "saw-cutting", technician)
    told = [one.message for one in refusal.value.complaints]
    assert told == [
        "“Slot depth”: not answered.",
        "“Slot width”: out of limits and nobody has disposed of it.",
        "“Cut straight on the line”: not answered.",
    ]
    assert {one.field for one in refusal.value.complaints} == {"1. Saw cutting"}
    assert SignOff.objects.count() == 0


def test_earlier_stages_come_first(record, technician):
    _bench(record, technician)
    with pytest.raises(DomainError, match="“Saw cutting” comes before it"):
        make.sign(record, "bench-test", technician)


def test_a_photo_that_is_asked_for_is_missed(program, held_clock, technician):
    wide = {**make.WIDTH, "least_photos": 2}
    make.make_template([("saw-cutting", ["inspector"], [wide, make.SLOT_PHOTO])])
    record = make.make_record(technician)
    make.answer(record, "slot-width", technician, "0.9", unit="in")
    view = selectors.stage_view(record, "saw-cutting")
    assert view.reasons_not_ready == (
        "“Slot width”: 2 more photos",
        "“Photo of the slot”: 0 photos of at least 1",
    )


def test_an_accepted_deviation_can_be_signed_and_a_rework_cannot(record, technician):
    _saw(record, technician)
    bad = make.answer(
        record, "slot-width", technician, "0.7", unit="in", seen=10**9
    ).entry
    services.dispose(
        entry=bad,
        kind="accepted as it is",
        decided_by="A. Quill",
        reason="the blade that the maker allows",
        by=technician,
    )
    make.sign(record, "saw-cutting", technician)
    truth = SignOff.objects.get().what_was_true["items"][1]
    assert truth["verdict"] == "misses"
    assert truth["disposition"] == {
        "kind": "accepted as it is",
        "decided_by": "A. Quill",
        "reason": "the blade that the maker allows",
    }


def test_what_was_true_is_kept_and_sealed(record, technician):
    _saw(record, technician)
    kept = make.sign(record, "saw-cutting", technician)
    kept.refresh_from_db()  # as the database gives it back
    depth = kept.what_was_true["items"][0]
    assert depth["prompt"] == "Slot depth"
    assert depth["entry"]["typed"] == [[text, "in"] for text in GOOD]
    assert depth["verdict"] == "meets"
    assert depth["limit"] == "2 in to 2.25 in, all within 0.125 in of each other"
    assert depth["limit_source"] == "maker: sheet 3"
    assert services.signoff_is_intact(kept)


def test_the_fingerprint_is_sha_256_over_canonical_json():
    # the text written out by hand; the digest by the standard library (FIPS 180-4)
    text = '{"a":[1,"5 °C"],"b":{"c":null,"d":true}}'
    given = {"b": {"d": True, "c": None}, "a": [1, "5 °C"]}
    assert fingerprint(given) == hashlib.sha256(text.encode("utf-8")).hexdigest()


@pytest.mark.parametrize(
    "change",
    [
        lambda kept, truth: truth["items"][0].update(verdict="misses"),
        lambda kept, truth: truth["items"][0]["entry"]["typed"][0].__setitem__(0, "3"),
        lambda kept, truth: truth.update(name_signed="Somebody Else"),
        lambda kept, truth: setattr(kept, "name_signed", "Somebody Else"),
        lambda kept, truth: setattr(kept, "role", "engineer"),
        lambda kept, truth: setattr(
            kept, "signed_at", kept.signed_at + dt.timedelta(seconds=1)
        ),
        lambda kept, truth: setattr(kept, "record_id", kept.record_id + 1),
    ],
)
def test_any_change_of_what_was_signed_breaks_the_seal(record, technician, change):
    _saw(record, technician)
    kept = make.sign(record, "saw-cutting", technician)
    truth = copy.deepcopy(kept.what_was_true)
    change(kept, truth)
    kept.what_was_true = truth
    assert not services.signoff_is_intact(kept)


def test_a_signature_sent_twice_is_kept_once(record, technician):
    _saw(record, technician)
    given = {
        "record": record,
        "stage": make.stage_of(record, "saw-cutting"),
        "role": "inspector",
        "name_signed": "M. Tarn",
        "client_id": uuid.uuid4(),
        "by": technician,
    }
    assert services.stage_sign(**given) == services.stage_sign(**given)
    with pytest.raises(DomainError, match="under the same mark"):
        services.stage_sign(**{**given, "role": "installer"})
    with pytest.raises(DomainError, match="signed as inspector already"):
        services.stage_sign(**{**given, "client_id": uuid.uuid4()})
    assert SignOff.objects.count() == 1


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ({"role": "engineer"}, "is signed by installer, inspector; not by engineer"),
        ({"name_signed": "  "}, "Sign with your name"),
    ],
)
def test_a_wrong_role_or_no_name_is_refused(record, technician, parts, words):
    _saw(record, technician)
    given = {"role": "inspector", "name_signed": "M. Tarn", **parts}
    with pytest.raises(DomainError, match=words):
        services.stage_sign(
            record=record,
            stage=make.stage_of(record, "saw-cutting"),
            client_id=uuid.uuid4(),
            by=technician,
            **given,
        )


def test_only_who_may_accept_signs_as_engineer(
    program, held_clock, technician, manager
):
    make.make_template([("acceptance", ["engineer"], [make.STRAIGHT])])
    record = make.make_record(technician)
    make.answer(record, "cut-straight", technician, answer="yes")
    with pytest.raises(DomainError, match="signs as engineer"):
        make.sign(record, "acceptance", technician, "engineer")
    make.sign(record, "acceptance", manager, "engineer")
    assert _state(record, "acceptance") is StageState.SIGNED


def test_a_correction_after_signing_shows_both_and_asks_for_signing_again(
    record, technician
):
    _signed(record, technician)
    first = make.item_of(record, "slot-width").entries.get()
    parts = {"seen": first.pk, "unit": "in"}
    with pytest.raises(DomainError, match="can only be corrected: say why"):
        make.answer(record, "slot-width", technician, "0.95", **parts)
    made = make.answer(
        record, "slot-width", technician, "0.95", reason="misread", **parts
    )
    assert made.entry.after_signing
    view = selectors.stage_view(record, "saw-cutting")
    assert view.state is StageState.CORRECTED
    assert view.missing_roles == (SignRole.INSTALLER, SignRole.INSPECTOR)
    width = view.items[1]
    assert [entry.answer_words for entry in width.history] == ["0.9 in", "0.95 in"]
    make.sign(record, "saw-cutting", technician, "installer")
    make.sign(record, "saw-cutting", technician)
    view = selectors.stage_view(record, "saw-cutting")
    assert view.state is StageState.SIGNED
    # what was signed at first is still there, whole
    assert len(view.signoffs) == 4
    assert all(services.signoff_is_intact(one) for one in view.signoffs)


def test_limits_of_a_signed_stage_are_frozen(record, technician, manager):
    _signed(record, technician)
    with pytest.raises(DomainError, match="is signed, and its limits with it"):
        services.limit_set(
            record=record,
            item=make.item_of(record, "slot-width"),
            low=1.0,
            high=None,
            limit_source="contract",
            limit_reference="clause 4.2",
            by=manager,
            why="",
        )


def test_acceptance_begins_a_life_and_keeps_the_tests(record, technician, manager):
    _signed(record, technician)
    kept = services.record_accept(record=record, by=manager)
    assert kept.state == "accepted"
    life = Installation.objects.get()
    assert kept.installation == life
    assert (life.sensor, life.lane, life.position) == (
        record.sensor,
        record.lane,
        "piezo 9",
    )
    assert life.installed_on == make.WORK_ON
    test = ElectricalTest.objects.get()
    assert test.stage == "bench"
    assert test.tested_at == make.OBSERVED
    assert test.instrument_used.serial == "IT-04"
    reading = test.readings.get()
    assert (reading.quantity, reading.value, reading.typed, reading.over_range) == (
        "insulation resistance",
        2000.0,
        "> 2000",
        True,
    )
    assert kept.history.first().history_user == manager


def test_acceptance_names_what_is_not_signed(record, technician, manager):
    _saw(record, technician)
    with pytest.raises(DomainError) as refusal:
        services.record_accept(record=record, by=manager)
    assert [one.field for one in refusal.value.complaints] == [
        "1. Saw cutting",
        "2. Bench test",
    ]
    assert Installation.objects.count() == 0


def test_a_rejected_answer_stands_against_acceptance(record, technician, manager):
    _saw(record, technician)
    bad = _bench(record, technician, "3").entry
    services.dispose(
        entry=bad, kind="rejected", decided_by="A. Quill", reason="wet", by=manager
    )
    make.sign(record, "saw-cutting", technician, "installer")
    make.sign(record, "saw-cutting", technician)
    make.sign(record, "bench-test", technician)
    with pytest.raises(DomainError, match=r"answer was rejected.*close the record"):
        services.record_accept(record=record, by=manager)


def test_only_who_may_accept_accepts(record, technician):
    _signed(record, technician)
    with pytest.raises(DomainError, match="may not accept"):
        services.record_accept(record=record, by=technician)


def test_acceptance_without_a_sensor_is_refused(
    program, held_clock, technician, manager
):
    make.make_template([("setting", ["inspector"], [make.STRAIGHT])])
    record = make.make_record(technician)
    make.answer(record, "cut-straight", technician, answer="yes")
    make.sign(record, "setting", technician)
    with pytest.raises(DomainError, match="Name the sensor"):
        services.record_accept(record=record, by=manager)


def test_a_taken_position_is_told_and_nothing_is_kept(record, technician, manager):
    _signed(record, technician)
    factories.InstallationFactory.create(lane=record.lane, position="piezo 9")
    with pytest.raises(ValidationError, match="already holds a live sensor"):
        services.record_accept(record=record, by=manager)
    record.refresh_from_db()
    assert record.state == "open"
    assert ElectricalTest.objects.count() == 0


@pytest.mark.parametrize("word", ["reject", "abandon"])
def test_closing_needs_a_reason_and_ends_all_writing(record, technician, word):
    close = getattr(services, f"record_{word}")
    with pytest.raises(DomainError, match="Say why"):
        close(record=record, reason=" ", by=technician)
    kept = close(record=record, reason="the pavement gave way", by=technician)
    assert kept.history.first().history_change_reason == "the pavement gave way"
    for write in (
        lambda: _saw(record, technician),
        lambda: make.sign(record, "saw-cutting", technician),
        lambda: close(record=record, reason="again", by=technician),
        lambda: services.record_edit(record=record, by=technician, why=""),
    ):
        with pytest.raises(DomainError, match="nothing can be added"):
            write()


def test_the_head_can_be_edited_but_not_its_place(record, technician):
    record.contract_ref = "C-2024-11"
    services.record_edit(record=record, by=technician, why="contract named")
    record.refresh_from_db()
    assert record.contract_ref == "C-2024-11"
    record.position = "piezo 1"
    with pytest.raises(DomainError, match="position, technology and stages"):
        services.record_edit(record=record, by=technician, why="")


def test_the_sensor_stays_once_a_stage_is_signed_for_it(record, technician):
    _signed(record, technician)
    record.sensor = factories.SensorFactory.create()
    with pytest.raises(DomainError, match="needs a record of its own"):
        services.record_edit(record=record, by=technician, why="")


def test_a_sensor_of_another_technology_is_refused(program, held_clock, technician):
    make.make_template()
    model = factories.SensorModelFactory.create(technology="quartz piezo")
    sensor = factories.SensorFactory.create(model=model)
    with pytest.raises(DomainError, match="this record is for polymer piezo"):
        make.make_record(technician, sensor=sensor)


def test_two_open_records_of_one_position_are_refused(record, technician):
    with pytest.raises(ValidationError, match="has an open record already"):
        make.make_record(technician, lane=record.lane)


def test_the_progress_of_a_record_is_listed(record, technician):
    _saw(record, technician)
    row = selectors.record_list().get()
    assert (row.n_items_answered, row.n_stages_signed, row.n_photos) == (3, 0, 0)
