"""Electrical tests in a browser: judged, diagnosed, imported, limits changed."""

import datetime as dt
import os
import re
from importlib import import_module

import pytest
from django.apps import apps
from django.contrib.auth.models import Group, User
from playwright.sync_api import expect

from tests import factories
from tests.e2e.test_whole_thread import (
    PHONE,
    no_sideways_scroll,
    no_violations,
)

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]
WORD = "roadside-tests-only"
HEAD = (
    "site,lane,position,tested at,stage,tested by,pavement temp (°F),"
    "insulation resistance (MΩ),capacitance (nF)"
)


@pytest.fixture
def wet_sensor(transactional_db, settings):
    """A piezo whose insulation fell, with limits, a data sheet and a coefficient."""
    settings.AS_OF = "2024-06-01"
    import_module("quality.migrations.0002_roles").make_groups(apps, None)
    factories.ProgramFactory.create()
    for name, group in (("ana", "program manager"), ("ben", "technician")):
        user = User.objects.create_user(name, password=WORD)
        user.groups.add(Group.objects.get(name=group))
    lane = factories.LaneFactory.create(
        wim_site=factories.SiteFactory.create(code="OV-014"), number=1
    )
    one = factories.InstallationFactory.create(
        lane=lane,
        position="piezo 1",
        sensor=factories.SensorFactory.create(data_sheet={"capacitance": "8.40"}),
    )
    factories.ElectricalLimitFactory.create(sensor_model=one.sensor.model)
    factories.ElectricalLimitFactory.create(
        sensor_model=one.sensor.model,
        quantity="capacitance",
        low=6.4,
        high=9.6,
        temp_coefficient_pct_per_c=0.2,
        reference_temp_c=20.0,
        coefficient_source="maker's sheet (invented)",
    )
    for i, (insulation, capacitance, temp_c) in enumerate(
        [(900, 8.1, 18), (800, 8.3, 30), (700, 8.0, 12), (90, 8.2, 25), (12, 8.1, 19)]
    ):
        test = factories.ElectricalTestFactory.create(
            installation=one,
            tested_at=dt.datetime(2022, 1, 3, 18, tzinfo=dt.UTC)
            + dt.timedelta(days=150 * i),
            pavement_temp_c=temp_c,
        )
        factories.ReadingFactory.create(test=test, value=insulation)
        factories.ReadingFactory.create(
            test=test, quantity="capacitance", value=capacitance
        )
    return one


def sign_in(page, live_server, name):
    page.goto(live_server.url + "/")
    page.locator("input[name=username]").fill(name)
    page.locator("input[type=password]").fill(WORD)
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("/health/"))


def looks_right(page, name):
    """No rule broken, nothing beside the page; a picture where one is asked for."""
    if folder := os.environ.get("WIMPROG_LOOKS"):
        width = page.viewport_size["width"]
        page.screenshot(path=f"{folder}/{name}-{width}.png", full_page=True)
    no_violations(page)
    no_sideways_scroll(page)


@pytest.mark.parametrize("size", [None, PHONE], ids=["desk", "phone"])
def test_a_sensor_is_judged_diagnosed_and_its_tests_imported(
    page, live_server, wet_sensor, tmp_path, size
):
    if size:
        page.set_viewport_size(size)
    sign_in(page, live_server, "ben")
    page.goto(live_server.url + wet_sensor.get_absolute_url())
    expect(page.get_by_role("heading", name="What the tests point to")).to_be_visible()
    expect(page.get_by_role("heading", name="Water in the lead")).to_be_visible()
    expect(page.get_by_text("Corrected to 20 °C").first).to_be_visible()
    page.get_by_text("The rules behind these").first.click()
    looks_right(page, "sensor")

    page.goto(live_server.url + "/roadside/tests/import/")
    looks_right(page, "import")
    wrong = tmp_path / "wrong.csv"
    wrong.write_text(f"{HEAD}\nOV-014,E1,piezo 1,2024-05-03 10:15,visit,Ben,70,5,OL\n")
    page.set_input_files("input[type=file]", wrong)
    page.get_by_role("button", name="Read the sheet").click()
    expect(page.get_by_text("what the meter's range is")).to_be_visible()
    looks_right(page, "import-faults")
    right = tmp_path / "May.csv"
    right.write_text(f"{HEAD}\nOV-014,E1,piezo 1,2024-05-03 10:15,visit,Ben,70,5,81\n")
    page.set_input_files("input[type=file]", right)
    page.get_by_role("button", name="Read the sheet").click()
    expect(page.get_by_text("Is the unit or the decimal point right?")).to_be_visible()
    looks_right(page, "import-preview")
    page.get_by_label("These values are right").check()
    page.get_by_role("button", name="Keep 1 test, all or none").click()
    expect(page.get_by_text("1 test is kept")).to_be_visible()


@pytest.mark.parametrize("size", [None, PHONE], ids=["desk", "phone"])
def test_the_manager_changes_limits(page, live_server, wet_sensor, size):
    if size:
        page.set_viewport_size(size)
    sign_in(page, live_server, "ana")
    page.goto(live_server.url + "/roadside/sensor-models/")
    looks_right(page, "models")
    page.get_by_role("link", name="Invented Works").click()
    expect(page.get_by_text("+0.2 % per °C about 68 °F")).to_be_visible()
    looks_right(page, "model")
    page.get_by_role("link", name="Change", exact=True).click()
    looks_right(page, "model-form")
    page.locator("#id_limits-1-low").fill("50")
    page.locator("#id_why").fill("contract of May")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_text("contract of May").first).to_be_visible()
