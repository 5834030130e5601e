"""The stage templates and registers in a real browser, at a desk and on a phone."""

import os
import re
from importlib import import_module

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.apps import apps
from django.contrib.auth.models import Group, User
from playwright.sync_api import Page, expect

from tests import factories

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]
PASSWORD = "roadside-tests-only"
WIDTHS = (1280, 390)
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture
def manager(transactional_db):
    for name in ("0002_roles", "0003_roles_of_installing"):
        module = import_module(f"quality.migrations.{name}")
        for step in module.Migration.operations:
            step.code(apps, None)
    factories.ProgramFactory.create()
    user = User.objects.create_user("manager", password=PASSWORD)
    user.groups.add(Group.objects.get(name="program manager"))
    return user


def sign_in(page: Page, live_server) -> None:
    page.goto(live_server.url + "/")
    page.locator("input[name=username]").fill("manager")
    page.locator("input[type=password]").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("/health/"))


def looks_right(page: Page, name: str) -> None:
    """No rule of WCAG 2.2 A and AA is broken and nothing scrolls sideways."""
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        if folder := os.environ.get("WIMPROG_LOOKS"):
            page.screenshot(path=f"{folder}/{name}-{width}.png", full_page=True)
        scroll = page.evaluate("document.documentElement.scrollWidth")
        assert scroll <= width, f"{name} at {width}"
        found = Axe().run(page, options={"runOnly": RULES})
        told = [
            f"{one['id']}: {node['target']}"
            for one in found.response["violations"]
            for node in one["nodes"]
        ]
        assert not told, f"{name} at {width}: {told[:6]}"


def test_a_manager_seeds_reads_drafts_and_puts_in_use(page, live_server, manager):
    sign_in(page, live_server)
    page.goto(live_server.url + "/roadside/")
    page.get_by_role("link", name="Stage templates").click()
    looks_right(page, "none")
    page.get_by_role("button", name="Seed the usual templates").click()
    looks_right(page, "list")
    page.get_by_role("link", name="Polymer piezo, version 1").click()
    expect(page.get_by_role("heading", name="3. Saw cutting")).to_be_visible()
    looks_right(page, "detail")
    page.get_by_role("link", name="Stage templates").click()
    page.get_by_role(
        "button", name="Make the next version of the polymer piezo stages"
    ).click()
    page.get_by_role("link", name=re.compile("^Change this stage.*Saw")).click()
    looks_right(page, "stage")
    page.get_by_role("link", name=re.compile("^Change.*Depth of the slot")).click()
    looks_right(page, "item")
    page.get_by_label(re.compile("^At least")).fill("2.5")
    page.get_by_label(re.compile("^Why")).fill("thicker sensor")
    page.get_by_role("button", name="Keep").click()
    expect(page.get_by_text("at least 2.5 in, all within 0.125 in")).to_be_visible()
    page.get_by_role("link", name="Add an item").click()
    looks_right(page, "kind")
    page.get_by_label("yes or no").check()
    page.get_by_role("button", name="Go on").click()
    page.get_by_label("What it asks").fill("Is the saw fuelled off the carriageway?")
    page.get_by_role("button", name="Keep").click()
    page.get_by_role("link", name="Polymer piezo, version 2").click()
    page.get_by_role("link", name="Put in use").click()
    looks_right(page, "use")
    page.get_by_label(re.compile("^Why")).fill("season")
    page.get_by_role("button", name="Put in use").click()
    expect(page.get_by_text("New records are made by the")).to_be_visible()


def test_the_registers_show_their_states_by_word_and_shape(page, live_server, manager):
    sign_in(page, live_server)
    page.goto(live_server.url + "/roadside/instruments/add/")
    page.get_by_label("What it is").fill("insulation tester")
    page.get_by_label("Serial number").fill("0042")
    page.get_by_label(re.compile("^Calibration holds until")).fill("2020-01-01")
    looks_right(page, "instrument-form")
    page.get_by_role("button", name="Save").click()
    row = page.get_by_role("row").filter(has_text="0042")
    expect(row.get_by_text("out of date")).to_be_visible()
    assert row.locator("svg.mark").count() == 1
    looks_right(page, "instruments")
    page.get_by_role("link", name="Product batches").click()
    looks_right(page, "batches-none")
    page.get_by_role("link", name="Add a batch").first.click()
    page.get_by_label("Product").fill("Grout")
    page.get_by_label(re.compile("^Lot")).fill("L1")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("no date kept").first).to_be_visible()
    looks_right(page, "batches")
