"""A closed session signed: by whom, once, and what a change does to it."""

from __future__ import annotations

import copy
import hashlib
import json
import uuid

import pytest

from calibration import services
from calibration.calc.sealing import differences, fingerprint, frozen
from calibration.calc.words import SessionRole
from calibration.models import SessionSignature, StandardValue
from calibration.selectors import session_get
from calibration.selectors.record import session_record
from calibration.selectors.signatures import (
    Standing,
    roles_wanting,
    signature_is_intact,
    signature_views,
)
from calibration.services.signing import session_sign
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    unsaved_runs,
)
from tests.calibration.test_services import ERRORS_PCT
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(program, technician):
    """A closed session of twelve runs, one of them set aside."""
    session = CalibrationSessionFactory(factor_before=1.0)
    errors = [ERRORS_PCT[i % len(ERRORS_PCT)] for i in range(12)]
    runs = services.runs_add(
        session=session,
        runs=unsaved_runs(StaticWeighingFactory(), errors),
        by=technician,
        why="typed",
    )
    services.run_set_aside(run=runs[4], reason="braked on the sensor", by=technician)
    return services.session_close(
        session=session, factor_after=1.01, by=technician, why=""
    )


def sign(session, by, role="technician", **given):
    options = {"name_signed": "M. Tarn", "client_id": uuid.uuid4(), **given}
    return session_sign(session=session, role=role, by=by, **options)


def views(session):
    found = session_record(session_get(session.pk), unit_system="us")
    return signature_views(found)


def test_an_open_session_is_not_signed(session, technician):
    session.state = "open"
    session.save()
    with pytest.raises(DomainError, match="still open"):
        sign(session, technician)
    assert not SessionSignature.objects.exists()


def test_a_technician_signs_as_technician_only(session, technician, manager):
    with pytest.raises(DomainError, match="signs as engineer"):
        sign(session, technician, "engineer")
    assert sign(session, technician).role == "technician"
    assert sign(session, manager, "engineer").role == "engineer"
    assert roles_wanting(views(session)) == []


@pytest.mark.parametrize(
    ("role", "name", "told"),
    [("driver", "M. Tarn", "technician or engineer"), ("technician", "  ", "name")],
)
def test_a_signature_needs_a_role_and_a_name(session, technician, role, name, told):
    with pytest.raises(DomainError, match=told):
        sign(session, technician, role, name_signed=name)


def test_sent_twice_it_is_signed_once(session, technician):
    mark = uuid.uuid4()
    first = sign(session, technician, client_id=mark)
    assert sign(session, technician, client_id=mark) == first
    assert SessionSignature.objects.count() == 1
    with pytest.raises(DomainError, match="same mark"):
        sign(session, technician, "engineer", client_id=mark)
    with pytest.raises(DomainError, match="already, by M"):
        sign(session, technician)


def test_the_fingerprint_is_of_the_canonical_json(session, technician):
    kept = sign(session, technician)
    kept.refresh_from_db()
    text = json.dumps(
        kept.what_was_true, sort_keys=True, separators=(",", ":"), ensure_ascii=False
    )
    assert kept.fingerprint == hashlib.sha256(text.encode()).hexdigest()


def test_it_keeps_runs_limits_standing_and_methods(session, technician):
    truth = sign(session, technician).what_was_true
    runs = {one["name"]: one for one in truth["facts"]["runs"]}
    assert len(runs) == 12
    assert runs["run 5"]["exclusion_reason"] == "braked on the sensor"
    stage = truth["results"]["stages"][0]
    own = stage["standards"][0]
    assert own["overall"]["standing"]
    assert own["overall"]["limit"]
    assert own["overall"]["verdict"] in ("meets", "misses", "cannot say")
    assert truth["results"]["method"].startswith("run-errors")
    assert truth["facts"]["weighings"][0]["certificate"] == "SC-12"


def test_a_signature_stands_until_something_changes(session, technician):
    sign(session, technician)
    [view] = views(session)
    assert view.standing is Standing.STANDS
    weighing = session.runs.first().weighing
    weighing.axle_weights_kg = [5210.0, *weighing.axle_weights_kg[1:]]
    services.weighing_save(weighing=weighing, by=technician, why="misread scale")
    [view] = views(session)
    assert view.standing is Standing.NO_LONGER_AGREES
    assert f"weighing {weighing.pk}: axle_weights_kg" in view.changed
    assert roles_wanting([view]) == list(SessionRole)
    assert sign(session, technician, name_signed="M. Tarn again").pk
    assert [one.stands for one in views(session)] == [False, True]


def test_a_run_changed_behind_the_services_is_found(session, technician):
    sign(session, technician)
    run = session.runs.get(number=3)
    run.axle_weights_kg = [run.axle_weights_kg[0] + 1.0, *run.axle_weights_kg[1:]]
    run.save()
    [view] = views(session)
    assert view.standing is Standing.NO_LONGER_AGREES
    assert view.changed == ("run 3: axle_weights_kg",)


def test_an_agency_value_changed_later_leaves_the_facts_signed(session, technician):
    sign(session, technician)
    StandardValue.objects.create(
        standard="ltpp", key="gross_weight", value=9.0, source="invented"
    )
    [view] = views(session)
    assert view.standing is Standing.RESULTS_DIFFER
    assert "agency's own values: ltpp" in view.changed
    assert "as found: standards" in view.changed


@pytest.mark.parametrize("what", ["truth", "name", "role", "account", "fingerprint"])
def test_tampering_is_found(session, technician, manager, what):
    kept = sign(session, technician)
    assert signature_is_intact(kept)
    truth = copy.deepcopy(kept.what_was_true)
    if what == "truth":
        truth["facts"]["runs"][0]["excluded"] = True
        kept.what_was_true = truth
    elif what == "name":
        kept.name_signed = "Somebody Else"
    elif what == "role":
        kept.role = "engineer"
    elif what == "account":
        kept.signed_by = manager
    else:
        kept.fingerprint = "0" * 64
    kept.save()
    kept.refresh_from_db()
    assert not signature_is_intact(kept)
    [view] = views(session)
    assert view.standing is Standing.TAMPERED


def test_results_that_come_out_otherwise_are_told_apart(session, technician):
    kept = sign(session, technician)
    truth = copy.deepcopy(kept.what_was_true)
    truth["results"]["method"] = "run-errors 0"
    kept.what_was_true, kept.fingerprint = truth, fingerprint(truth)
    kept.save()
    [view] = views(session)
    assert view.standing is Standing.RESULTS_DIFFER
    assert "run-errors 0" in view.sentence


def test_numbers_are_sealed_alike_however_they_are_written():
    assert frozen({"a": 5200, "b": -0.0}) == frozen({"a": 5200.0, "b": 0})
    assert frozen(0.1 + 0.2) == frozen(0.3)
    assert frozen(1.0) != frozen(1.00000001)


def test_differences_name_the_member():
    then = {"runs": [{"name": "run 1", "kg": "1"}, {"name": "run 2", "kg": "2"}]}
    now = {"runs": [{"name": "run 1", "kg": "3"}, {"name": "run 3", "kg": "2"}]}
    assert differences(then, now) == ["run 1: kg", "run 2: gone", "run 3: added"]
    assert differences(then, copy.deepcopy(then)) == []
