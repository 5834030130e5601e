"""Due days that agree everywhere, the calendar feed, a lane's years, the settings."""

from __future__ import annotations

import csv
import datetime as dt
import io

import pytest
from django.contrib.auth.models import Group
from django.core import signing
from django.test import Client
from django.urls import reverse
from icalendar import Calendar

from calibration.calc.bias_types import BiasSession, LaneSessions
from calibration.calc.bias_walk import fit_bias_walk
from calibration.calc.due import DueReason
from calibration.calc.pavement_design import FlexibleDesign
from calibration.calc.worth import calibrate_or_leave
from calibration.calc.worth_types import CostInputs
from calibration.models import CalibrationSettings, RunStage
from calibration.selectors import lane_dues
from calibration.selectors.lane_records import lane_records
from calibration.selectors.references import settings_get
from calibration.selectors.years import lane_years
from calibration.services import agency, runs_add
from quality.bands import lane_bands
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    unsaved_runs,
)
from tests.calibration.test_services import ERRORS_PCT
from tests.conftest import TODAY
from tests.factories import InstallationFactory, LaneFactory, MaintenanceVisitFactory
from wimprog.selectors import program_health

pytestmark = pytest.mark.django_db


def page(name, *args):
    return reverse(f"calibration:{name}", args=args)


def held(lane, on, by, *, bias=0.0, stage="as found", **options):
    session = CalibrationSessionFactory(lane=lane, held_on=on, **options)
    errors = [one - 1.0 + bias for one in ERRORS_PCT]
    runs = unsaved_runs(StaticWeighingFactory(), errors, stage=stage)
    runs_add(session=session, runs=runs, by=by, why="typed")
    return session


@pytest.fixture
def lane(program, held_clock):
    lane = LaneFactory()
    InstallationFactory(lane=lane, installed_on=dt.date(2020, 6, 1))
    return lane


@pytest.fixture
def drifting(lane, technician):
    """Left 4 % high three months ago: the bias asks for a session before the year."""
    for year in (2021, 2022, 2023):
        held(lane, dt.date(year, 3, 1), technician, bias=-2.0)
    held(lane, dt.date(2024, 3, 1), technician, bias=4.0)
    return lane


def calendar_days(content):
    return {
        str(one["uid"]): one.decoded("dtstart")
        for one in Calendar.from_ical(content).walk("VEVENT")
    }


def test_every_page_has_the_same_due_day(drifting, program, analyst, client_for):
    due = lane_dues(program, TODAY)[drifting.pk]
    assert due.entry.reason is DueReason.BIAS
    assert TODAY <= due.due_on < dt.date(2025, 3, 1)
    row = program_health(program, TODAY).of_lane(drifting.pk)
    assert row.evidence.calibration_due_on == due.due_on
    flags = lane_bands([drifting.pk], program=program, today=TODAY)[drifting.pk].due
    assert [(one.day, one.label) for one in flags] == [(due.due_on, "calibration")]
    client = client_for(analyst)
    days = calendar_days(client.get(page("due-calendar")).content)
    assert days == {
        f"calibration-{drifting.pk}@orrin-valley-roads-agency.wimprog": due.due_on
    }
    shown = f"{due.due_on.day} {due.due_on:%b %Y}"
    for url in (page("due-list"), page("lane-years", drifting.pk)):
        text = client.get(url).content.decode()
        assert shown in text
        assert "bias may be out of tolerance" in text
    answer = client.get(page("due-list-export", "csv"))
    (exported,) = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert exported["due"] == due.due_on.isoformat()
    assert float(exported["chance out of tolerance today"]) == due.entry.chance_out


def test_the_day_is_never_later_than_the_longest_interval(drifting, program, manager):
    settings = CalibrationSettings(bias_tolerance_pct=40.0)
    agency.calibration_settings_save(settings=settings, by=manager, why="")
    due = lane_dues(program, TODAY)[drifting.pk]
    assert due.entry.reason is DueReason.LONGEST_INTERVAL
    assert due.due_on == dt.date(2025, 3, 1)


def test_a_tighter_tolerance_brings_the_day_forward(drifting, program, manager):
    days = []
    for tolerance in (7.0, 5.0, 4.5):
        settings = settings_get()
        settings.bias_tolerance_pct = tolerance
        agency.calibration_settings_save(settings=settings, by=manager, why="")
        days.append(lane_dues(program, TODAY)[drifting.pk].due_on)
    assert days[0] > days[1] > days[2]


def test_what_changed_the_lane_makes_it_due(lane, program, technician):
    """A sensor of 20 May 2024: from 24 May (72 hours), by 1 July (six weeks)."""
    held(lane, dt.date(2024, 3, 1), technician)
    InstallationFactory(
        lane=lane, position="piezo 9", installed_on=dt.date(2024, 5, 20)
    )
    due = lane_dues(program, TODAY)[lane.pk]
    assert due.entry.reason is DueReason.AFTER_INSTALLATION
    assert (due.entry.from_on, due.due_on) == (
        dt.date(2024, 5, 24),
        dt.date(2024, 7, 1),
    )
    assert due.entry.chance_out is None


def test_a_repair_of_the_lane_counts_and_one_of_the_site_does_not(
    lane, program, technician
):
    held(lane, dt.date(2024, 3, 1), technician)
    visit = {
        "wim_site": lane.wim_site,
        "purpose": "repair",
        "arrived_at": dt.datetime(2024, 5, 10, 15, 0, tzinfo=dt.UTC),
    }
    MaintenanceVisitFactory(**visit)
    assert lane_dues(program, TODAY)[lane.pk].entry.reason is not DueReason.AFTER_WORKS
    MaintenanceVisitFactory(lane=lane, **visit)
    assert lane_dues(program, TODAY)[lane.pk].entry.reason is DueReason.AFTER_WORKS


def test_lanes_out_of_service_are_not_due(lane, program):
    closed = LaneFactory(closed_on=dt.date(2023, 1, 1))
    idle = LaneFactory(
        wim_site__state="suspended", wim_site__suspended_on=dt.date(2023, 1, 1)
    )
    dues = lane_dues(program, TODAY)
    assert lane.pk in dues
    assert dues[lane.pk].word == "act"
    assert not {closed.pk, idle.pk} & set(dues)


def test_sessions_reach_the_model_with_their_stages(lane, technician):
    """Mean, sd/√n, mean pavement temperature, and whether the factor was changed."""
    session = held(
        lane, dt.date(2024, 3, 1), technician, factor_before=1.0, factor_after=1.05
    )
    left = unsaved_runs(
        StaticWeighingFactory(),
        [0.5, -0.5],
        start=50,
        stage="as left",
        pavement_temp_c=20.0,
    )
    runs_add(session=session, runs=left, by=technician, why="typed")
    (record,) = lane_records(TODAY)
    (one,) = record.sessions.sessions
    assert one.left_pct == pytest.approx(0.0, abs=1e-9)
    assert one.left_se_pct == pytest.approx(0.5)  # sd √0.5, over √2
    assert (one.found_temp_c, one.left_temp_c) == (None, 20.0)
    assert one.adjusted
    assert record.technology == "polymer piezo"


def test_the_feed_needs_no_session_but_its_own_address(drifting, analyst, client_for):
    text = client_for(analyst).get(page("due-list")).content.decode()
    address = text.split('readonly value="')[1].split('"')[0]
    answer = Client().get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("text/calendar")
    assert len(calendar_days(answer.content)) == 1
    assert "sessionid" not in answer.cookies
    other = address.replace("/feed/", "/feed/x")
    assert Client().get(other).status_code == 404
    forged = signing.dumps({"user": analyst.pk, "mark": "x"}, salt="calibration.feed")
    assert Client().get(page("due-feed", forged)).status_code == 404


@pytest.mark.parametrize("how", ["inactive", "password", "no group"])
def test_the_feed_ends_with_what_its_user_may(drifting, analyst, client_for, how):
    text = client_for(analyst).get(page("due-list")).content.decode()
    address = text.split('readonly value="')[1].split('"')[0]
    assert Client().get(address).status_code == 200
    if how == "inactive":
        analyst.is_active = False
    elif how == "password":
        analyst.set_password("another-roadside-word")
    else:
        analyst.groups.remove(Group.objects.get(name="analyst"))
    analyst.save()
    assert Client().get(address).status_code == 404


def test_a_lanes_years_export_what_the_page_rests_on(
    drifting, program, guest, client_for
):
    found = lane_years(drifting, program, TODAY)
    answer = client_for(guest).get(page("lane-years-export", drifting.pk, "csv"))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["held on"] for row in rows] == [
        "2021-03-01", "2022-03-01", "2023-03-01", "2024-03-01",
    ]  # fmt: skip
    for row, one in zip(rows, found.rows, strict=True):
        assert float(row["mean gross weight error %"]) == one.found.mean_pct
        # chi-square, 11 degrees: 3.816 and 21.920 (NIST handbook 1.3.6.7.4)
        assert float(row["sd high %"]) == pytest.approx(
            one.found.sd_pct * (11 / 3.816) ** 0.5, rel=1e-3
        )
        assert float(row["sd low %"]) == pytest.approx(
            one.found.sd_pct * (11 / 21.920) ** 0.5, rel=1e-3
        )
    assert found.path[0].day == dt.date(2024, 3, 1)
    assert found.path[-1].day == dt.date(2025, 3, 1)
    widths = [one.interval.high - one.interval.low for one in found.path]
    assert widths == sorted(widths)
    text = client_for(guest).get(page("lane-years", drifting.pk)).content.decode()
    assert "n 12" in text
    assert "believed since the last session" in text
    assert "cost of a session" in text  # not set yet, and it says so


COSTS = {
    "session_cost": 8000,
    "price_per_lane_km_cm": 12_000.0,
    "designed_per_year_km": 10.0,
    "design_esals": 5e6,
    "resilient_modulus_mpa": 50.0,
}


def test_the_cost_of_waiting_is_what_the_calculation_says(
    drifting, program, manager, client_for
):
    agency.calibration_settings_save(
        settings=CalibrationSettings(**COSTS), by=manager, why=""
    )
    page_of = lane_years(drifting, program, TODAY)
    (record,) = lane_records(TODAY)
    walk = fit_bias_walk([record.sessions], technology="polymer piezo")
    inputs = CostInputs(8000.0, 12_000.0, 10.0, FlexibleDesign(5e6, 50.0), currency="$")
    own = calibrate_or_leave(walk, str(drifting.pk), TODAY, inputs, longest_days=365)
    assert page_of.worth.sentence == own.sentence
    client = client_for(manager)
    text = client.get(page("due-list")).content.decode()
    assert f"pays {own.chance_pays * 100:.0f} %" in text


def test_settings_are_kept_as_typed(program, manager, client_for):
    """1 in·mile = 2.54 × 1.609344 cm·km; 1 psi = 6.894757 kPa (NIST SP 811, B.8)."""
    client = client_for(manager)
    form = {
        "bias_tolerance_pct": "4",
        "chance_level": "0.2",
        "soon_days": "45",
        "settling_hours": "96",
        "weeks_after_installation": "5",
        "weeks_after_works": "4",
        "reference_share": "0.33",
        "match_window_s": "15",
        "session_cost": "8000",
        "price_per_lane_km_cm": "50,000",
        "designed_per_year_km": "6.50",
        "design_esals": "5000000",
        "resilient_modulus_mpa": "7500.0",
        "design_reliability": "0.9",
        "serviceability_loss": "2",
        "layer_coefficient_per_in": "0.44",
        "too_thin_factor": "2",
        "why": "first figures",
    }
    answer = client.post(page("settings-edit"), form, follow=True)
    kept = CalibrationSettings.objects.get()
    assert kept.price_per_lane_km_cm == pytest.approx(50_000 / (2.54 * 1.609344))
    assert kept.resilient_modulus_mpa == pytest.approx(7500 * 6.894757e-3, rel=1e-6)
    assert kept.designed_per_year_km == pytest.approx(6.5 * 1.609344)
    text = answer.content.decode()
    assert "$50,000 per inch and lane-mile" in text
    assert "7500.0 psi" in text
    assert "6.50 mi" in text
    assert 'value="50,000"' in client.get(page("settings-edit")).content.decode()
    entry = kept.history.get()
    assert (entry.history_user, entry.history_change_reason) == (
        manager,
        "first figures",
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"settling_hours": "240", "weeks_after_works": "1"}, "leave no day"),
        ({"settling_hours": "48"}, "greater than or equal to 72"),
        ({"price_per_lane_km_cm": "cheap"}, "per inch and lane-mile"),
        ({"chance_level": "1.5"}, "less than or equal to 0.99"),
    ],
)
def test_settings_that_cannot_be_are_sent_back(
    program, manager, client_for, change, words
):
    form = {
        "bias_tolerance_pct": "5", "chance_level": "0.25", "soon_days": "60",
        "settling_hours": "72", "weeks_after_installation": "6",
        "weeks_after_works": "6", "reference_share": "0.33", "match_window_s": "20",
        "design_reliability": "0.9", "serviceability_loss": "2",
        "layer_coefficient_per_in": "0.44", "too_thin_factor": "1",
    }  # fmt: skip
    answer = client_for(manager).post(page("settings-edit"), form | change)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not CalibrationSettings.objects.exists()


def test_who_may_see_the_years_and_change_the_settings(
    lane, guest, technician, outsider, client_for
):
    for name, args in (("due-list", ()), ("lane-years", (lane.pk,)), ("settings", ())):
        assert client_for(guest).get(page(name, *args)).status_code == 200
        assert client_for(outsider).get(page(name, *args)).status_code == 403
    for user in (guest, technician):
        assert client_for(user).get(page("settings-edit")).status_code == 403


def test_queries_do_not_grow_with_lanes(
    lane, technician, guest, client_for, django_assert_max_num_queries
):
    for n in range(4):
        other = LaneFactory()
        InstallationFactory(lane=other)
        held(other, dt.date(2024, 1, 1 + n), technician, stage=RunStage.AS_LEFT.value)
    client = client_for(guest)
    with django_assert_max_num_queries(16):
        client.get(page("due-list"))
    with django_assert_max_num_queries(26):
        client.get(page("lane-years", lane.pk))


def test_two_sessions_of_a_day_are_one_to_the_model(lane, technician):
    day = dt.date(2024, 3, 1)
    held(lane, day, technician, bias=2.0)
    held(lane, day, technician, bias=1.0, stage="as left")
    (record,) = lane_records(TODAY)
    assert isinstance(record.sessions, LaneSessions)
    (one,) = record.sessions.sessions
    assert isinstance(one, BiasSession)
    assert one.found_pct - one.left_pct == pytest.approx(1.0)
