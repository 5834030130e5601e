"""Sessions and runs in the browser: import, entry, refusals, what the pages show."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from calibration.models import CalibrationSession, SessionResult, TruckRun
from calibration.services import runs_add, session_close
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    unsaved_runs,
)
from tests.calibration.test_services import ERRORS_PCT, RUNS, STATIC

pytestmark = pytest.mark.django_db
INPUTS = Path(__file__).resolve().parents[3] / "shared" / "inputs"


@pytest.fixture
def session(program):
    return CalibrationSessionFactory(factor_before=1.0)


def page(name, *args):
    return reverse(f"calibration:{name}", args=args)


def fill(session, n, by, **options):
    errors = [ERRORS_PCT[i % len(ERRORS_PCT)] for i in range(n)]
    runs = unsaved_runs(StaticWeighingFactory(), errors, **options)
    return runs_add(session=session, runs=runs, by=by, why="typed")


def upload(client, session, static, runs, **more):
    return client.post(
        page("runs-import", session.pk),
        {
            "static_file": SimpleUploadedFile("static.csv", static),
            "runs_file": SimpleUploadedFile("runs.csv", runs),
            "stage": "as found",
            **more,
        },
    )


def confirm(client, session, preview):
    token = re.search(r'name="sheets" value="([^"]+)"', preview.content.decode())[1]
    return client.post(page("runs-import", session.pk), {"sheets": token})


def test_the_two_truck_files_give_their_known_figures(session, technician, client_for):
    """inputs/README.md: made with mean 1.2 %, sd 3.5 %, n 40; facts.md 5 (Type I)."""
    if not INPUTS.is_dir():
        pytest.skip("../shared/inputs is not here")
    client = client_for(technician)
    preview = upload(
        client,
        session,
        (INPUTS / "truck_static.csv").read_bytes(),
        (INPUTS / "truck_runs.csv").read_bytes(),
    )
    assert preview.status_code == 200
    assert TruckRun.objects.count() == 0
    answer = confirm(client, session, preview)
    assert answer.status_code == 302
    result = SessionResult.objects.get(session=session)
    assert result.n_runs == 40
    assert round(result.gvw_mean_pct, 2) == 1.20
    assert round(result.gvw_sd_pct, 2) == 3.50
    text = client.get(answer["Location"]).content.decode()
    assert "−5.88 to 8.28" in text
    assert result.verdict_word == "meets"


def test_sheets_again_are_recognised(session, technician, client_for):
    client = client_for(technician)
    confirm(client, session, upload(client, session, STATIC, RUNS))
    again = upload(client, session, STATIC, RUNS)
    assert "nothing to add" in again.content.decode()
    assert TruckRun.objects.count() == 2


def test_a_bad_sheet_names_line_field_value_and_remedy(session, technician, client_for):
    bad = RUNS.replace(b"48,11100", b"48,eleven")
    answer = upload(client_for(technician), session, STATIC, bad)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Nothing was stored" in text
    assert "axle_1_lb" in text
    assert "eleven" in text
    assert "Correct the cell" in text
    assert TruckRun.objects.count() == 0


def test_a_changed_preview_is_refused(session, technician, client_for):
    answer = client_for(technician).post(
        page("runs-import", session.pk), {"sheets": "forged"}
    )
    assert answer.status_code == 422
    assert "give the sheets again" in answer.content.decode()


def run_entry(weighing, **more):
    return {
        "number": "",
        "stage": "as found",
        "weighing": weighing.pk,
        "run_at": "2024-05-14T08:00:00",
        "axle_weights_kg": "11,464 16976 16,865.0 17196 17086",
        "speed_kmh": "54.50",
        "pavement_temp_c": "061",
        "lane_position": "centre",
        **more,
    }


def test_a_typed_run_comes_back_exactly(session, technician, client_for):
    client = client_for(technician)
    entry = run_entry(StaticWeighingFactory())
    answer = client.post(page("run-add", session.pk), entry)
    assert answer.status_code == 302
    run = TruckRun.objects.get()
    assert run.number == 1
    assert run.run_at.isoformat() == "2024-05-14T14:00:00+00:00"
    text = client.get(session.get_absolute_url()).content.decode()
    assert "11,464 16976 16,865.0 17196 17086 lb" in text
    assert "54.50 mph" in text
    assert "061 °F" in text


def test_a_refused_run_keeps_what_was_typed(session, technician, client_for):
    entry = run_entry(StaticWeighingFactory(), axle_weights_kg="11,464 16976")
    answer = client_for(technician).post(page("run-add", session.pk), entry)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "11,464 16976" in text
    assert "which has 5 axles" in text
    assert TruckRun.objects.count() == 0


def test_kilograms_for_pounds_are_asked_about_then_taken(
    session, technician, client_for
):
    client = client_for(technician)
    entry = run_entry(
        StaticWeighingFactory(), axle_weights_kg="5200 7700 7650 7800 7750"
    )
    answer = client.post(page("run-add", session.pk), entry)
    assert answer.status_code == 422
    assert "pounds to kilograms" in answer.content.decode()
    entry["units_are_right"] = "on"
    assert client.post(page("run-add", session.pk), entry).status_code == 302


def test_save_and_next_keeps_vehicle_and_stage(session, technician, client_for):
    weighing = StaticWeighingFactory()
    answer = client_for(technician).post(
        page("run-add", session.pk), run_entry(weighing, next="1")
    )
    assert answer["Location"].startswith(page("run-add", session.pk))
    assert f"weighing={weighing.pk}" in answer["Location"]


def test_set_aside_is_shown_with_its_reason_and_taken_back(
    session, technician, client_for
):
    client = client_for(technician)
    run = fill(session, 12, technician)[3]
    client.post(page("run-exclude", run.pk), {"reason": "braked on the sensor"})
    text = client.get(session.get_absolute_url()).content.decode()
    assert "<del>4</del>" in text
    assert "set aside: braked on the sensor" in text
    assert SessionResult.objects.get(session=session).n_runs == 11
    assert client.get(page("run-restore", run.pk)).status_code == 405
    client.post(page("run-restore", run.pk))
    assert SessionResult.objects.get(session=session).n_runs == 12


def test_a_session_page_states_rule_n_interval_and_scope(session, guest, client_for):
    fill(session, 12, guest)
    text = client_for(guest).get(session.get_absolute_url()).content.decode()
    assert "for this truck" in text
    assert "ASTM E1318-09, section 7" in text
    assert "Not covered:" in text
    assert "Pooled" in text
    assert "Runs as found" in text
    assert "Runs as left" not in text


def test_as_found_and_as_left_stand_apart(session, technician, client_for):
    fill(session, 10, technician)
    fill(session, 10, technician, start=50, stage="as left")
    text = client_for(technician).get(session.get_absolute_url()).content.decode()
    assert text.index("Runs as found") < text.index("Runs as left")


def queries(client, url, django_assert_max_num_queries):
    with django_assert_max_num_queries(60) as seen:
        assert client.get(url).status_code == 200
    return len(seen)


def test_a_session_page_asks_as_much_for_30_runs_as_for_3(
    program, technician, client_for, django_assert_max_num_queries
):
    client = client_for(technician)
    small, large = CalibrationSessionFactory(), CalibrationSessionFactory()
    fill(small, 3, technician)
    fill(large, 30, technician)
    counts = [
        queries(client, one.get_absolute_url(), django_assert_max_num_queries)
        for one in (small, large)
    ]
    assert counts[0] == counts[1]


def test_the_list_asks_as_much_for_12_sessions_as_for_3(
    program, technician, client_for, django_assert_max_num_queries
):
    client = client_for(technician)
    lane = CalibrationSessionFactory().lane
    CalibrationSessionFactory.create_batch(2, lane=lane)
    few = queries(client, page("session-list"), django_assert_max_num_queries)
    CalibrationSessionFactory.create_batch(9, lane=lane)
    many = queries(client, page("session-list"), django_assert_max_num_queries)
    assert few == many


@pytest.mark.parametrize("fmt", ["csv", "xlsx"])
@pytest.mark.parametrize("what", ["runs", "results"])
def test_runs_and_results_are_downloaded(session, technician, client_for, what, fmt):
    fill(session, 12, technician)
    answer = client_for(technician).get(page("session-export", session.pk, what, fmt))
    assert answer.status_code == 200
    assert f"-{what}.{fmt}" in answer["Content-Disposition"]
    if fmt == "csv":
        lines = answer.content.decode("utf-8-sig").strip().splitlines()
        assert len(lines) > 12


def test_a_session_is_opened_for_a_lane_and_closed(session, technician, client_for):
    client = client_for(technician)
    assert (
        client.get(f"{page('session-add')}?lane={session.lane_id}").status_code == 200
    )
    answer = client.post(
        page("session-add"),
        {
            "lane": session.lane_id,
            "held_on": "2024-05-20",
            "purpose": "routine",
            "plan": "R1",
            "environment": "I",
            "standard": "astm-e1318",
            "wanted_class": "Type I",
            "factor_before": "1.02",
        },
    )
    assert answer.status_code == 302
    made = CalibrationSession.objects.latest("pk")
    client.post(page("session-close", made.pk), {"factor_after": "1.01", "why": "set"})
    made.refresh_from_db()
    assert (made.state, made.factor_after) == ("closed", 1.01)
    refused = client.post(page("run-add", made.pk), run_entry(StaticWeighingFactory()))
    assert refused.status_code == 422
    assert "is closed" in refused.content.decode()


def test_the_list_filters_by_verdict_and_year(session, technician, client_for):
    client = client_for(technician)
    fill(session, 12, technician)
    address = page("session-list")
    own = session.get_absolute_url()
    assert own in client.get(f"{address}?verdict=meets&year=2024").content.decode()
    assert own not in client.get(f"{address}?verdict=misses").content.decode()
    assert own not in client.get(f"{address}?year=2020").content.decode()
    sheet = client.get(page("session-list-export", "csv") + "?year=2020")
    assert len(sheet.content.decode("utf-8-sig").strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("name", "who", "status"),
    [
        ("session-list", "outsider", 403),
        ("session-list", "guest", 200),
        ("due-list", "guest", 200),
        ("vehicle-list", "guest", 200),
        ("session-add", "guest", 403),
        ("session-add", "manager", 200),
        ("vehicle-add", "manager", 403),
        ("vehicle-add", "technician", 200),
    ],
)
def test_who_may_open_which_page(program, request, client_for, name, who, status):
    client = client_for(request.getfixturevalue(who))
    assert client.get(page(name)).status_code == status


@pytest.mark.parametrize("name", ["run-add", "runs-import", "session-close"])
def test_a_guest_changes_nothing(session, guest, client_for, name):
    assert client_for(guest).post(page(name, session.pk)).status_code == 403


def test_an_analyst_sets_runs_aside_but_adds_none(
    session, analyst, technician, client_for
):
    (run,) = fill(session, 1, technician)
    client = client_for(analyst)
    assert client.get(page("run-exclude", run.pk)).status_code == 200
    assert client.get(page("run-add", session.pk)).status_code == 403


def test_a_closed_session_offers_no_way_to_change_runs(session, technician, client_for):
    (run,) = fill(session, 1, technician)
    session_close(session=session, factor_after=1.0, by=technician, why="")
    text = client_for(technician).get(session.get_absolute_url()).content.decode()
    assert page("run-exclude", run.pk) not in text
    assert page("run-add", session.pk) not in text


def test_a_vehicle_and_its_weighing_are_added(program, technician, client_for):
    client = client_for(technician)
    answer = client.post(
        page("vehicle-add"),
        {"name": "Truck 9", "vehicle_class": "5", "axle_spacings_m": "16.80 4.4"},
    )
    entry = {
        "weighed_at": "2024-05-14T06:40",
        "scale": "Orrin public scale",
        "certificate": "SC-12",
        "axle_weights_kg": "11,480 9000 9100",
    }
    assert client.get(answer["Location"]).status_code == 200
    assert client.post(answer["Location"], entry).status_code == 302
    short = client.post(answer["Location"], entry | {"axle_weights_kg": "11,480"})
    assert short.status_code == 422
    assert "give one for each axle" in short.content.decode()
