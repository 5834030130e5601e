"""Runs from the controller's records: matched, explained, corrected, kept once."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from calibration.models import TruckRun
from calibration.services import match_plan, match_read, runs_add
from calibration.services.controller_sheet import read_controller_sheet
from calibration.services.passes import read_passes
from tests.calibration.factories import (
    MORNING,
    STATIC_KG,
    CalibrationSessionFactory,
    StaticWeighingFactory,
    TestVehicleFactory,
    unsaved_runs,
)
from wimprog.lib.errors import DomainError, UnreadableInput
from wimprog.lib.units import KG_PER_LB, UNITS

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("America/Denver")
HEAD = "record,time,speed_mph,w1_lb,w2_lb,w3_lb,w4_lb,w5_lb,s1_ft,s2_ft,s3_ft,s4_ft"
SPACINGS_FT = (16.7, 4.3, 32.5, 4.1)
CLOCK_AHEAD_S = 95
START = dt.datetime(2024, 5, 14, 8, 0)  # noqa: DTZ001 (as the sheet writes it)


@pytest.fixture
def session(program):
    return CalibrationSessionFactory(factor_before=1.0)


@pytest.fixture
def weighing(db):
    return StaticWeighingFactory(vehicle=TestVehicleFactory(name="Truck A"))


def row(key, at, *, error=2.0, spacings=SPACINGS_FT, n=5):
    weights = [round(w * (1 + error / 100) / KG_PER_LB) for w in STATIC_KG[:n]]
    cells = [*weights, *[""] * (5 - n), *spacings[: n - 1], *[""] * (5 - n)]
    return f"{key},{at:%Y-%m-%dT%H:%M:%S},55," + ",".join(str(c) for c in cells)


def sheet(n=4, extra=()):
    """Records of n passes ten minutes apart, by a clock that is ahead, and traffic."""
    ahead = dt.timedelta(seconds=CLOCK_AHEAD_S)
    rows = []
    for place in range(n):
        at = START + dt.timedelta(minutes=10 * place) + ahead
        rows.append(row(f"R{place + 1}", at, error=2.0 + 0.3 * place))
        car = at + dt.timedelta(seconds=7)
        rows.append(row(f"C{place + 1}", car, spacings=(9.0,), n=2))
    return "\n".join([HEAD, *rows, *extra]).encode()


def passes(n=4):
    return "\n".join(
        f"{START + dt.timedelta(minutes=10 * place):%H:%M:%S} Truck A"
        for place in range(n)
    )


def page(session):
    return reverse("calibration:runs-match", args=[session.pk])


def give(client, session, content, text, **more):
    return client.post(
        page(session),
        {
            "records_file": SimpleUploadedFile("records.csv", content),
            "passes": text,
            "stage": "as found",
            **more,
        },
    )


def token(answer):
    found = re.search(r'name="given" value="([^"]+)"', answer.content.decode())
    return unescape(found[1])


def plan_of(session, content, text, **corrections):
    given = match_read(
        session=session,
        content=content,
        name="records.csv",
        passes_text=text,
        stage="as found",
        system="us",
    )
    return match_plan(session=session, given=replace(given, **corrections), system="us")


def test_passes_are_matched_shown_and_kept(session, weighing, technician, client_for):
    client = client_for(technician)
    answer = give(client, session, sheet(), passes(), pavement_temp="061")
    text = answer.content.decode()
    assert answer.status_code == 200
    assert "4 runs to add" in text
    assert "1 min 35 s ahead of the roadside clock" in text
    assert "axle spacings" in text
    assert not TruckRun.objects.exists()
    kept = client.post(page(session), {"given": token(answer), "keep": "1"})
    assert kept.status_code == 302
    runs = list(TruckRun.objects.order_by("number"))
    assert [run.number for run in runs] == [1, 2, 3, 4]
    assert runs[0].run_at.astimezone(ZONE).replace(tzinfo=None) == START
    assert runs[0].gvw_kg == pytest.approx(1.02 * sum(STATIC_KG), rel=1e-3)
    assert runs[0].as_typed["pavement_temp_c"] == ["061", "°F"]
    assert runs[0].as_typed["axle_weights_kg"][1] == "lb"
    assert "R1; matched, distance" in runs[0].controller_record
    assert runs[0].controller_record.startswith("2024-05-14T08:01:35-06:00")
    assert session.results.get().n_runs == 4


def test_the_same_records_again_add_nothing(session, weighing, technician, client_for):
    client = client_for(technician)
    first = give(client, session, sheet(), passes())
    client.post(page(session), {"given": token(first), "keep": "1"})
    again = give(client, session, sheet(6), passes(6))
    text = again.content.decode()
    assert "2 runs to add" in text
    assert "4 stored already" in text
    assert "stored already as run 1" in text
    client.post(page(session), {"given": token(again), "keep": "1"})
    assert TruckRun.objects.count() == 6
    repeat = client.post(page(session), {"given": token(again), "keep": "1"})
    assert repeat.status_code == 302
    assert TruckRun.objects.count() == 6


def test_a_run_typed_before_is_recognised(session, weighing, technician):
    (typed,) = unsaved_runs(weighing, [2.0])
    at = START.replace(tzinfo=ZONE)
    typed.run_at = at
    typed.axle_weights_kg = [round(w * 1.02 / KG_PER_LB) * KG_PER_LB for w in STATIC_KG]
    runs_add(session=session, runs=[typed], by=technician, why="typed")
    plan = plan_of(session, sheet(2), passes(2))
    assert [one.is_known for one in plan.rows] == [True, False]


def test_another_record_is_chosen_and_pinned(session, weighing, technician, client_for):
    twin = START + dt.timedelta(seconds=CLOCK_AHEAD_S + 9)
    content = sheet(extra=[row("T9", twin, error=3.0)])
    client = client_for(technician)
    first = give(client, session, content, passes())
    assert "Another record fits nearly as well" in first.content.decode()
    changed = client.post(
        page(session), {"given": token(first), "choice-1": "record:T9", "keep": "1"}
    )
    text = changed.content.decode()
    assert changed.status_code == 200
    assert "You changed matches" in text
    assert "chosen by you" in text
    assert not TruckRun.objects.exists()
    client.post(page(session), {"given": token(changed), "keep": "1"})
    run = TruckRun.objects.get(number=1)
    assert "T9; chosen by hand" in run.controller_record


def test_a_record_is_ruled_out_and_a_pass_left_out(session, weighing):
    content, text = sheet(), passes()
    plan = plan_of(session, content, text)
    assert plan.matched == {"1": "R1", "2": "R2", "3": "R3", "4": "R4"}
    ruled = plan.given.corrected({"1": "another", "2": "out"}, plan.matched)
    assert ruled.forbidden == (("1", "R1"),)
    again = match_plan(session=session, given=ruled, system="us")
    assert again.matched == {"3": "R3", "4": "R4"}
    (none,) = [one for one in again.rows if one.record is None]
    assert none.why_none
    assert {one.record.key for one, _ in again.look_alikes} == {"R1", "R2"}


def test_all_passes_of_a_truck_in_a_stretch_of_time(session, weighing):
    light = row("L1", START + dt.timedelta(minutes=5), error=-60.0)
    plan = plan_of(session, sheet(extra=[light]), "all Truck A 08:00-08:25")
    assert sorted(plan.matched.values()) == ["R1", "R2", "R3"]
    assert plan.clock_offset_s is None
    assert "3 records of the stretches" in plan.notes[-1]
    assert "1 others" in plan.notes[-1]


def test_a_pass_without_a_record_says_why(session, weighing):
    plan = plan_of(session, sheet(3), passes(4))
    lost = plan.rows[3]
    assert lost.record is None
    assert "No record within" in lost.why_none
    assert len(plan.runs_new) == 3


def test_wheel_loads_come_with_the_records(session, weighing):
    head = HEAD + "," + ",".join(f"left_{n}_lb,right_{n}_lb" for n in range(1, 6))
    at = START + dt.timedelta(seconds=CLOCK_AHEAD_S)
    own = row("R1", at)
    halves = ",".join(
        f"{round(w * 1.02 / KG_PER_LB / 2)},{round(w * 1.02 / KG_PER_LB / 2)}"
        for w in STATIC_KG
    )
    plan = plan_of(session, f"{head}\n{own},{halves}".encode(), passes(1))
    (run,) = plan.runs_new
    assert len(run.left_wheel_weights_kg) == 5
    assert plan.complaints == ()


def test_kilograms_headed_as_pounds_are_asked_about(
    session, weighing, technician, client_for
):
    content = sheet().replace(b"_lb", b"_kg")
    client = client_for(technician)
    answer = give(client, session, content, passes())
    text = answer.content.decode()
    assert "pounds to kilograms" in text
    refused = client.post(page(session), {"given": token(answer), "keep": "1"})
    assert refused.status_code == 422
    assert not TruckRun.objects.exists()
    taken = client.post(
        page(session), {"given": token(answer), "keep": "1", "units_are_right": "on"}
    )
    assert taken.status_code == 302
    assert TruckRun.objects.count() == 4


def test_passes_before_the_weighing_are_refused(session, weighing):
    weighing.weighed_at = MORNING + dt.timedelta(hours=6)
    weighing.save()
    plan = plan_of(session, sheet(), passes())
    assert len(plan.complaints) == 4
    assert "earlier than the static weighing" in str(plan.complaints[0])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda s: s.replace(b"w3_lb", b"w3_stone"), "The column is not known"),
        (lambda s: s.replace(b"time,", b"when,"), "A column is missing"),
        (lambda s: s.replace(b",55,", b",fast,", 1), "cannot be read"),
        (lambda s: s.replace(b"16.7", b"-16.7", 1), "not greater than zero"),
        (lambda s: s.replace(b"16.7", b"", 1), "one after it is not"),
        (lambda s: s.replace(b"2024-05-14T08:01:35", b"noon"), "not a date with a"),
        (lambda s: b"", "empty"),
        (lambda s: b"PK\x03\x04 book", "workbook"),
    ],
)
def test_a_bad_sheet_is_refused_by_line(
    change, said, session, weighing, technician, client_for
):
    answer = give(client_for(technician), session, change(sheet()), passes())
    assert answer.status_code == 422
    assert said in answer.content.decode()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("yesterday Truck A", "This is not a pass"),
        ("08:00 Truck Z", "The vehicle is not known"),
        ("25:00 Truck A", "not a time of day"),
        ("08:00 Truck A 900", "speed cannot be right"),
        ("08:00 Truck A\n08:00:00 truck a", "on line 1 already"),
        ("all Truck A 10:00-09:00", "ends before it starts"),
        ("# nothing", "There is no pass"),
    ],
)
def test_a_bad_list_of_passes_is_refused_by_line(
    text, said, session, weighing, technician, client_for
):
    answer = give(client_for(technician), session, sheet(), text)
    assert answer.status_code == 422
    assert said in answer.content.decode()


def test_a_list_of_passes_is_read():
    noted = read_passes(
        "08:40:12 truck a 55\n2024-05-15 9:05 Truck B\nall passes of Truck A between "
        "10:00 and 12:00",
        day=dt.date(2024, 5, 14),
        zone=ZONE,
        vehicles=["Truck A", "Truck B"],
        speed_unit=UNITS["mph"],
    )
    one, two = noted.passes
    assert one.vehicle == "Truck A"
    assert one.time.isoformat() == "2024-05-14T08:40:12-06:00"
    assert one.speed_kmh == pytest.approx(55 * 1.609344)
    assert two.time.isoformat() == "2024-05-15T09:05:00-06:00"
    (stretch,) = noted.stretches
    assert (stretch.end - stretch.start) == dt.timedelta(hours=2)


def test_copies_and_empty_records_are_counted_not_taken():
    at = START + dt.timedelta(seconds=CLOCK_AHEAD_S)
    content = sheet(1, extra=[row("R1 again", at), "X,2024-05-14T09:00,,,,,,,,,,"])
    found = read_controller_sheet(content, zone=ZONE)
    assert (found.n_copies, found.n_without_axles) == (1, 1)
    assert len(found.records) == 2


def test_records_without_spacings_cannot_be_matched(session, weighing):
    content = b"time,w1_lb,w2_lb,w3_lb,w4_lb,w5_lb\n2024-05-14T08:00,1,2,3,4,5"
    with pytest.raises(UnreadableInput, match="no axle spacings"):
        plan_of(session, content, passes(1))


def test_nothing_weighed_and_closed_are_said(session, technician, client_for):
    answer = give(client_for(technician), session, sheet(), passes())
    assert "No test vehicle was weighed" in answer.content.decode()
    session.state = "closed"
    session.save()
    with pytest.raises(DomainError, match="is closed"):
        plan_of(session, sheet(), passes())


def test_a_forged_token_is_refused(session, weighing, technician, client_for):
    answer = client_for(technician).post(page(session), {"given": "forged"})
    assert answer.status_code == 422
    assert "give the records again" in answer.content.decode()


def test_pasted_records_do_as_well(session, weighing, technician, client_for):
    answer = client_for(technician).post(
        page(session),
        {"records_text": sheet().decode(), "passes": passes(), "stage": "as left"},
    )
    assert "4 runs to add as “as left”" in answer.content.decode()
    neither = client_for(technician).post(
        page(session), {"passes": passes(), "stage": "as left"}
    )
    assert neither.status_code == 422


def test_a_preview_asks_as_much_for_30_passes_as_for_3(
    session, weighing, technician, client_for, django_assert_max_num_queries
):
    client = client_for(technician)

    def count(n):
        with django_assert_max_num_queries(30) as seen:
            assert give(client, session, sheet(n), passes(n)).status_code == 200
        return len(seen)

    count(3)
    assert count(3) == count(30)
