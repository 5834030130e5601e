"""The papers of a session: what they tell, what they refuse, alike every time."""

from __future__ import annotations

import json
import shutil
import subprocess
import uuid
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from calibration import services
from calibration.calc.types import Quantity
from calibration.models import CalibrationSession
from calibration.papers import (
    certificate_pdf,
    certificate_refusal,
    session_json,
    session_record_pdf,
)
from calibration.papers.certificate import certificate_data
from calibration.papers.session_record import session_record_data
from calibration.selectors import session_get
from calibration.selectors.record import session_record
from calibration.services.signing import session_sign
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    unsaved_runs,
)
from tests.calibration.record_world import whole_session
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(program, technician):
    return whole_session(technician)


def record_of(session):
    return session_record(session_get(session.pk), unit_system="us")


def sign(session, by, role="technician", name="Mira Tarn"):
    return session_sign(
        session=session, role=role, name_signed=name, client_id=uuid.uuid4(), by=by
    )


def pdf_text(content, tmp_path):
    """Text of a PDF by poppler's pdftotext, on one line."""
    if not shutil.which("pdftotext"):
        pytest.skip("pdftotext is not here")
    path = tmp_path / "paper.pdf"
    path.write_bytes(content)
    told = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"],
        capture_output=True,
        check=True,
    )
    return " ".join(told.stdout.decode().replace("\u00a0", " ").split())


def page(name, session, *more):
    return reverse(f"calibration:{name}", args=[session.pk, *more])


# --- the record ----------------------------------------------------------------------


def test_the_record_is_a_tagged_pdf_and_alike_every_time(session, program):
    first = session_record_pdf(record_of(session), program=program)
    assert first == session_record_pdf(record_of(session), program=program)
    assert first.startswith(b"%PDF")
    assert b"/StructTreeRoot" in first
    assert b"pdfuaid" in first or b"/MarkInfo" in first


def test_the_record_changes_with_a_run(session, program):
    first = session_record_pdf(record_of(session), program=program)
    run = session.runs.get(number=1)
    run.pavement_temp_c = 30.0
    run.as_typed["pavement_temp_c"] = ["86", "°F"]
    run.save()
    assert session_record_pdf(record_of(session), program=program) != first


def test_every_run_stands_as_typed_and_the_one_set_aside_with_its_reason(
    session, program
):
    data, pictures = session_record_data(record_of(session), program=program)
    rows = [row for stage in data["stages"] for row in stage["runs"]["runs"]["rows"]]
    assert [int(row[0]) for row in rows] == list(range(1, 45))
    for run, row in zip(session.runs.order_by("number"), rows, strict=True):
        text, unit = run.as_typed["axle_weights_kg"]
        assert f"{text} {unit}" in row[7]
        assert row[3] == " ".join(run.as_typed["speed_kmh"])
    assert data["stages"][0]["runs"]["aside"] == [
        "Run 6 is set aside: changed lanes over the loop"
    ]
    assert data["corrections"]["rows"][0][3].startswith("set aside: changed lanes")
    named = {plot["path"] for stage in data["stages"] for plot in stage["plots"]}
    named |= {one["drawing"] for one in data["weighings"]}
    assert named == set(pictures)
    assert all(plot["alt"] for stage in data["stages"] for plot in stage["plots"])


def test_every_verdict_on_paper_has_n_interval_rule_limit_margin_and_standing(
    session, program
):
    data, _ = session_record_data(record_of(session), program=program)
    for stage in data["stages"]:
        rows = dict(stage["verdict"]["rows"])
        assert int(rows["n"]) > 0
        for name in ("Limit", "Margin inside the limit", "Rule"):
            assert rows[name]
        assert rows["Standing of the limit"]
        assert "95 % interval" in rows
        assert stage["verdict"]["does_not_cover"]
        assert len(stage["side_by_side"]["rows"]) >= 4
        assert all(row[7] for row in stage["side_by_side"]["rows"])


def test_the_hash_on_paper_is_that_of_the_stored_results_and_of_the_file(
    session, program
):
    data, _ = session_record_data(record_of(session), program=program)
    told = {row[0]: row[1:] for row in data["hashes"]["rows"]}
    for result in session.results.all():
        assert told[result.stage] == [
            result.inputs_sha256,
            "the stored results are of these inputs",
        ]
    run = session.runs.get(number=1)
    run.speed_kmh = 70.0
    run.save()
    data, _ = session_record_data(record_of(session), program=program)
    assert data["hashes"]["rows"][0][2] == "THE STORED RESULTS ARE OF OTHER INPUTS"


def test_numbers_on_paper_are_those_of_the_computing(session, program, tmp_path):
    record = record_of(session)
    text = pdf_text(session_record_pdf(record, program=program), tmp_path)
    for stage in record.stages:
        found = stage.judged.judged.statistics[0]
        assert found.quantity is Quantity.GROSS_WEIGHT
        span = f"{found.mean_interval.low:.2f} to {found.mean_interval.high:.2f}"
        told = f"gross weight, % {found.n} {found.mean:.2f} {found.sd:.2f} {span}"
        assert told.replace("-", "−") in text


def test_an_open_session_says_so_on_paper(program, technician):
    open_one = whole_session(technician, close=False)
    data, _ = session_record_data(record_of(open_one), program=program)
    assert "still open" in data["warning"]
    assert data["unsigned"]


def test_a_session_without_runs_has_a_record_still(program):
    empty = CalibrationSessionFactory.create()
    content = session_record_pdf(record_of(empty), program=program)
    assert content.startswith(b"%PDF")


def test_what_users_type_never_becomes_markup(program, technician):
    session = whole_session(technician)
    session.note = "#panic() $x$ *bold* = heading"
    session.save()
    assert session_record_pdf(record_of(session), program=program)
    assert certificate_pdf(record_of(session), program=program)


# --- the certificate -----------------------------------------------------------------


def test_the_certificate_is_one_page(session, program, technician, manager, tmp_path):
    sign(session, technician)
    sign(session, manager, "engineer", "Ada Holm")
    content = certificate_pdf(record_of(session), program=program)
    assert content == certificate_pdf(record_of(session), program=program)
    text = pdf_text(content, tmp_path)
    assert "page 1 of 1" in text
    for told in ("Mira Tarn", "Ada Holm", "SC-12", "for these 2 trucks", "MEETS"):
        assert told in text
    result = session.results.get(stage="as left")
    assert result.inputs_sha256 in text
    assert f"{result.gvw_mean_pct:.2f} %, n {result.n_runs}" in text


def test_no_certificate_of_an_open_session(program, technician):
    open_one = whole_session(technician, close=False)
    with pytest.raises(DomainError, match="still open"):
        certificate_pdf(record_of(open_one), program=program)


@pytest.mark.parametrize(("n", "told"), [(0, "No run is in use"), (3, "Cannot say")])
def test_no_certificate_without_a_verdict(program, technician, n, told):
    session = CalibrationSessionFactory.create()
    runs = unsaved_runs(StaticWeighingFactory.create(), [0.5] * n)
    services.runs_add(session=session, runs=runs, by=technician, why="typed")
    services.session_close(session=session, factor_after=1.0, by=technician, why="")
    assert told in certificate_refusal(record_of(session))
    with pytest.raises(DomainError, match=told):
        certificate_pdf(record_of(session), program=program)


def test_the_certificate_tells_what_the_test_fell_short_of(program, technician):
    session = CalibrationSessionFactory.create()
    errors = [0.3 * (place % 5) for place in range(12)]
    runs = unsaved_runs(StaticWeighingFactory.create(), errors)
    services.runs_add(session=session, runs=runs, by=technician, why="typed")
    services.session_close(session=session, factor_after=1.0, by=technician, why="")
    data = certificate_data(record_of(session), program=program)
    told = [line for line in data["not_covered"] if "at least 20 runs" in line]
    assert [line[:7] for line in told] == ["12 runs"]


def test_a_factor_changed_and_not_proved_is_told(program, technician):
    session = CalibrationSessionFactory.create(factor_before=1.0)
    errors = [4.0 + 0.3 * (place % 5) for place in range(12)]
    runs = unsaved_runs(StaticWeighingFactory.create(), errors)
    services.runs_add(session=session, runs=runs, by=technician, why="typed")
    services.session_close(session=session, factor_after=0.96, by=technician, why="")
    data = certificate_data(record_of(session), program=program)
    assert "nothing measured tells how it was left" in data["not_covered"][0]


def test_a_signature_that_no_longer_agrees_is_told_on_paper(
    session, program, technician
):
    sign(session, technician)
    session.conditions = "Wet"
    services.session_save(session=session, by=technician, why="misheard")
    data = certificate_data(record_of(session), program=program)
    assert data["signatures"][0]["stands"] is False
    assert "session: conditions" in data["signatures"][0]["standing"]
    assert "technician" in data["unsigned"]


# --- pages and the command -----------------------------------------------------------


def test_a_session_is_signed_in_the_browser_once(session, technician, client_for):
    client = client_for(technician)
    shown = client.get(page("session-sign", session)).content.decode()
    assert 'value="technician"' in shown
    assert 'value="engineer"' not in shown
    sent = {"role": "technician", "name_signed": "Mira Tarn", "client_id": uuid.uuid4()}
    for _ in range(2):
        answer = client.post(page("session-sign", session), sent)
        assert answer.status_code == 302
    assert session.signatures.count() == 1
    again = client.post(
        page("session-sign", session), sent | {"client_id": uuid.uuid4()}
    )
    assert again.status_code == 422
    assert "signed as technician already" in again.content.decode()
    shown = client.get(page("session-record", session)).content.decode()
    assert "Mira Tarn" in shown
    assert "It stands" in shown


def test_the_page_of_an_open_session_tells_why_not(program, technician, client_for):
    open_one = whole_session(technician, close=False)
    client = client_for(technician)
    shown = client.get(page("session-record", open_one)).content.decode()
    assert "signed once it is closed" in shown
    assert "No certificate" in shown
    answer = client.get(page("session-certificate", open_one), follow=True)
    assert "There is no certificate. The session" in answer.content.decode()


@pytest.mark.parametrize(
    ("who", "status"), [("guest", 200), ("technician", 200), ("outsider", 403)]
)
@pytest.mark.parametrize(
    "name", ["session-record", "session-record-paper", "session-certificate"]
)
def test_who_may_read_the_papers(session, request, client_for, name, who, status):
    client = client_for(request.getfixturevalue(who))
    assert client.get(page(name, session)).status_code == status


def test_a_guest_and_an_analyst_do_not_sign(session, guest, analyst, client_for):
    for user in (guest, analyst):
        assert client_for(user).get(page("session-sign", session)).status_code == 403
        assert client_for(user).post(page("session-sign", session)).status_code == 403


@pytest.mark.parametrize("fmt", ["json", "xlsx"])
def test_files_are_downloaded(session, guest, client_for, fmt):
    answer = client_for(guest).get(page("session-file", session, fmt))
    assert answer.status_code == 200
    assert f"-session.{fmt}" in answer["Content-Disposition"]
    if fmt == "json":
        assert json.loads(answer.content)["format"] == "calibration session record 1"


def test_there_is_no_other_file(session, guest, client_for):
    assert (
        client_for(guest).get(page("session-file", session, "pdf")).status_code == 404
    )


def run_command(session, out, *more):
    told, complained = StringIO(), StringIO()
    status = 0
    try:
        call_command(
            "calibration_record",
            f"--session={session}",
            f"--out={out}",
            *more,
            stdout=told,
            stderr=complained,
        )
    except SystemExit as end:
        status = int(end.code or 0)
    return status, told.getvalue() + complained.getvalue()


def test_the_command_writes_what_the_page_gives(session, guest, client_for, tmp_path):
    client = client_for(guest)
    for name, more in (
        ("session-record-paper", ()),
        ("session-certificate", ("--certificate",)),
    ):
        out = tmp_path / f"{name}.pdf"
        assert run_command(session.pk, out, *more)[0] == 0
        assert out.read_bytes() == client.get(page(name, session)).content


def test_the_command_refuses_in_words(program, technician, tmp_path):
    open_one = whole_session(technician, close=False)
    out = tmp_path / "paper.pdf"
    status, told = run_command(open_one.pk, out, "--certificate")
    assert (status, out.exists()) == (1, False)
    assert "still open" in told
    status, told = run_command(99_999, out)
    assert (status, "no session 99999" in told) == (2, True)
    status, told = run_command(open_one.pk, tmp_path / "no" / "folder.pdf")
    assert (status, "cannot be written" in told) == (2, True)


def test_the_record_asks_the_database_a_bounded_number_of_times(
    session, technician, program, django_assert_max_num_queries
):
    sign(session, technician)
    kept = CalibrationSession.objects.select_related("lane__wim_site").get(
        pk=session.pk
    )
    with django_assert_max_num_queries(14):
        session_json(session_record(kept, unit_system="us"))
