"""A calibration session in a browser: weigh, run, match, adjust; phone and desk."""

import datetime as dt
import os

import numpy as np
import pytest
from django.contrib.auth.models import Group, User
from playwright.sync_api import expect

from calibration.services import runs_add
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    TestVehicleFactory,
    unsaved_runs,
)
from tests.calibration.test_matching_pages import passes, sheet
from tests.e2e.conftest import make_roles
from tests.e2e.test_whole_thread import (
    PHONE,
    no_sideways_scroll,
    no_violations,
)
from tests.factories import LaneFactory, ProgramFactory, SiteFactory

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]
WORD = "roadside-tests-only"
SIZES = pytest.mark.parametrize("size", [None, PHONE], ids=["desk", "phone"])


@pytest.fixture
def session(transactional_db, settings):
    """An open session of two weighed trucks, and somebody to hold it."""
    settings.AS_OF = "2024-05-14"
    make_roles()
    ProgramFactory.create()
    ben = User.objects.create_user("ben", password=WORD)
    ben.groups.add(Group.objects.get(name="technician"))
    site = SiteFactory.create(code="OV-014")
    for name, spacings in (
        ("Truck A", [5.1, 1.3, 9.9, 1.25]),
        ("Truck B", [5.4, 1.35, 10.6, 1.25]),
    ):
        StaticWeighingFactory(
            vehicle=TestVehicleFactory(name=name, axle_spacings_m=spacings),
            scale_step_kg=10.0,
            scale_expanded_kg=20.0,
        )
    return CalibrationSessionFactory(
        lane=LaneFactory.create(wim_site=site, number=1), factor_before=1.02
    )


def drive(session, *, stage="as found", shift=4.0, start=1, wheels=False):
    """Runs of both trucks at two speeds while the pavement warms."""
    from calibration.models import StaticWeighing

    rng = np.random.default_rng(20240514 + start)
    runs = []
    for truck, weighing in enumerate(StaticWeighing.objects.order_by("pk")):
        errors = shift + truck + rng.normal(0, 2.0, 10)
        own = unsaved_runs(weighing, errors, start=start + 10 * truck, stage=stage)
        for place, run in enumerate(own):
            run.run_at += dt.timedelta(seconds=100 * truck)
            run.speed_kmh = 72.42 if place % 2 else 104.6
            run.reference_speed_kmh = run.speed_kmh + 0.4
            run.pavement_temp_c = 12.0 + place
            if wheels:
                run.left_wheel_weights_kg = [0.52 * w for w in run.axle_weights_kg]
                run.right_wheel_weights_kg = [0.48 * w for w in run.axle_weights_kg]
        runs += own
    runs_add(session=session, runs=runs, by=User.objects.get(), why="typed")


def sign_in(page, live_server):
    page.goto(live_server.url + "/")
    page.locator("input[name=username]").fill("ben")
    page.locator("input[type=password]").fill(WORD)
    page.keyboard.press("Enter")
    expect(page.locator("details.user")).to_be_visible()


def looks_right(page, name):
    """No rule broken, nothing beside the page; a picture where one is asked for."""
    if folder := os.environ.get("WIMPROG_LOOKS"):
        width = page.viewport_size["width"]
        page.screenshot(path=f"{folder}/{name}-{width}.png", full_page=True)
    no_violations(page)
    no_sideways_scroll(page)


def begin(page, live_server, size):
    if size:
        page.set_viewport_size(size)
    sign_in(page, live_server)


@SIZES
def test_a_truck_is_added_weighed_and_its_uncertainty_read(
    page, live_server, session, size
):
    begin(page, live_server, size)
    page.goto(live_server.url + "/calibration/vehicles/add/")
    page.get_by_label("Name").fill("Truck C")
    page.get_by_label("Vehicle class").fill("9")
    page.get_by_label("Axle spacings").fill("16.7 4.3 32.5 4.1")
    looks_right(page, "vehicle-form")
    page.get_by_role("button", name="Save").click()
    page.get_by_label("Weighed at").fill("2024-05-14T06:40:00")
    page.get_by_label("Readings of the scale").fill(
        "axle 1: 11,480 11,460\naxle 2: 17,000\naxle 3: 17,020\naxles 4-5: 34,200\n"
    )
    page.get_by_label("Scale", exact=True).fill("Orrin public scale")
    page.get_by_label("Certificate", exact=True).fill("SC-12")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("never alone on the scale").first).to_be_visible()
    looks_right(page, "weighing-refused")
    page.get_by_label("Share a group").check()
    page.get_by_label("Step of the display").fill("20")
    page.get_by_label("Certificate’s uncertainty").fill("900")
    page.get_by_role("button", name="Save").click()
    expect(
        page.get_by_text("The reference takes much of the tolerance")
    ).to_be_visible()
    page.get_by_text("The budget: where").click()
    looks_right(page, "weighing")
    page.get_by_role("link", name="Truck C").click()
    drawn = page.locator("figcaption")
    expect(drawn).to_contain_text("axles 2–3 tandem; axles 4–5 tandem")
    looks_right(page, "vehicle")
    page.goto(live_server.url + "/calibration/vehicles/")
    looks_right(page, "vehicles")


@SIZES
def test_runs_are_typed_one_after_another(page, live_server, session, size):
    begin(page, live_server, size)
    page.goto(live_server.url + session.get_absolute_url())
    page.get_by_role("link", name="Add a run").first.click()
    looks_right(page, "run-first")
    page.get_by_label("Truck A").check()
    page.get_by_label("Axle weights").first.fill("11,500 17,000 16,900 17,200 17,100")
    page.get_by_label("Speed (mph)", exact=False).first.fill("55")
    page.get_by_label("Time").fill("2024-05-14T08:00:00")
    page.get_by_role("button", name="Save, next run").click()
    expect(page.get_by_text("One run shows no spread")).to_be_visible()
    expect(page.get_by_label("Truck A")).to_be_checked()
    page.get_by_label("Axle weights").first.fill("5,200 7,700 7,600 7,800 7,700")
    page.get_by_label("Time").fill("2024-05-14T08:12:00")
    page.get_by_role("button", name="Save, next run").click()
    expect(page.get_by_text("pounds to kilograms").first).to_be_visible()
    looks_right(page, "run-questioned")
    page.get_by_label("Axle weights").first.fill("11,900 17,200 17,000 17,200 17,100")
    page.get_by_role("button", name="Save, next run").click()
    expect(page.get_by_text("So far, as found: 2 runs")).to_be_visible()
    looks_right(page, "run-next")


@SIZES
def test_records_are_matched_and_kept(page, live_server, session, size, tmp_path):
    begin(page, live_server, size)
    records = tmp_path / "records.csv"
    records.write_bytes(sheet())
    page.goto(f"{live_server.url}/calibration/sessions/{session.pk}/runs/match/")
    looks_right(page, "match-form")
    page.set_input_files("input[type=file]", records)
    page.get_by_label("The passes").fill(passes() + "\n09:30 Truck B")
    page.get_by_role("button", name="Match").click()
    expect(page.get_by_text("ahead of the roadside clock")).to_be_visible()
    page.locator("summary", has_text="What it is made of").first.click()
    looks_right(page, "match")
    page.get_by_role("button", name="Add 4 runs").click()
    expect(page.get_by_text("4 runs added")).to_be_visible()


@SIZES
def test_a_session_is_read_adjusted_and_proved(page, live_server, session, size):
    drive(session, wheels=True)
    begin(page, live_server, size)
    page.goto(live_server.url + session.get_absolute_url())
    expect(page.get_by_text("So far, as found: 20 runs")).to_be_visible()
    looks_right(page, "session")
    for fold in page.locator("details.fold > summary").all():
        fold.click()
    looks_right(page, "session-unfolded")
    page.get_by_role("link", name="Factors", exact=True).click()
    expect(page.get_by_text("One new factor.")).to_be_visible()
    looks_right(page, "factors")
    page.get_by_role("link", name="Use the one factor as left").click()
    looks_right(page, "factors-form")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("The factors as left are kept.")).to_be_visible()
    drive(session, stage="as left", shift=-0.4, start=40)
    page.reload()
    expect(page.get_by_text("The adjustment worked").first).to_be_visible()
    page.goto(live_server.url + session.get_absolute_url())
    page.get_by_text("All 20 runs, one by one").first.click()
    page.get_by_role("link", name="Change run 1", exact=True).click()
    looks_right(page, "run-edit")
