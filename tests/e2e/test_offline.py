"""Roadside forms without signal: opened, kept on the phone, sent once afterwards."""

from __future__ import annotations

import datetime as dt
import os
import re
import shutil
import signal
import subprocess
from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import Group, User
from playwright.sync_api import BrowserContext, Page, expect

from calibration.models import TruckRun
from installs.models import ElectricalTest, MaintenanceVisit, RoadsideSend
from tests import factories
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    TestVehicleFactory,
)
from tests.e2e.conftest import make_roles

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]
WORD = "roadside-tests-only"
PHONE = {"width": 390, "height": 844}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
WAITS = "#roadside-waiting"
READY = "html[data-roadside=ready]"


@pytest.fixture
def road(transactional_db) -> dict[str, Any]:
    """A site with a sensor, an open calibration session, and two people."""
    make_roles()
    factories.ProgramFactory.create()
    for name in ("tarn", "oake"):
        user = User.objects.create_user(name, password=WORD, first_name=name)
        user.groups.add(Group.objects.get(name="technician"))
    site = factories.SiteFactory.create(code="OV-014")
    lane = factories.LaneFactory.create(wim_site=site, number=1)
    today = dt.datetime.now(dt.UTC)
    StaticWeighingFactory(
        vehicle=TestVehicleFactory(name="Truck A"),
        weighed_at=today - dt.timedelta(days=1),
    )
    session = CalibrationSessionFactory(lane=lane, held_on=today.date())
    sensor = factories.InstallationFactory.create(lane=lane, position="piezo 1")
    return {
        "visit": "/roadside/visits/add/?site=OV-014",
        "test": f"/roadside/installations/{sensor.pk}/test/",
        "run": f"/calibration/sessions/{session.pk}/runs/add/",
        "site": "/roadside/?site=OV-014",
        "session": session.get_absolute_url(),
    }


@pytest.fixture
def phone(browser, live_server, road) -> Iterator[Page]:
    """A phone on which the technician is signed in and has opened the site's page."""
    context = browser.new_context(viewport=PHONE, base_url=live_server.url)
    page = context.new_page()
    sign_in(page, "tarn")
    take_along(page, road)
    yield page
    context.close()


def sign_in(page: Page, name: str) -> None:
    page.goto("/sign-in/")
    page.locator("input[name=username]").fill(name)
    page.locator("input[type=password]").fill(WORD)
    with page.expect_navigation(url=re.compile("/health/$")):
        page.keyboard.press("Enter")


def take_along(page: Page, road: dict[str, Any]) -> None:
    """Open the pages whose forms the phone keeps, and wait until it has them."""
    for name in ("site", "session"):
        page.goto(road[name])
        page.locator("html[data-pages-kept]").wait_for(state="attached")


def show(page: Page, name: str) -> None:
    """A picture of the page, where one is asked for."""
    if folder := os.environ.get("WIMPROG_LOOKS"):
        page.screenshot(path=f"{folder}/offline-{name}.png", full_page=True)


def opened(page: Page, address: str) -> None:
    page.goto(address)
    page.locator(READY).wait_for(state="attached")


def type_visit(page: Page, findings: str = "Box dry.") -> None:
    page.get_by_label("Found").first.fill(findings)
    page.locator("[name=people]").fill("M. Tarn")
    page.locator("[name=purpose]").select_option("routine check")


def type_test(page: Page) -> None:
    page.get_by_label("Insulation resistance").first.fill("> 2000")
    page.locator("[name=tested_by]").fill("M. Tarn")


def type_run(page: Page) -> None:
    page.get_by_label("Truck A").check()
    page.get_by_label("Axle weights").first.fill("11,500 17,000 16,900 17,200 17,100")
    page.get_by_label("Speed").first.fill("55")


FORMS = {
    "visit": (type_visit, "Save the visit", MaintenanceVisit),
    "test": (type_test, "Save and judge", ElectricalTest),
    "run": (type_run, "Save, to the session", TruckRun),
}


def sends(page: Page):
    """Wait for the server's answer to one form."""
    return page.expect_response(
        lambda got: got.request.method == "POST" and "x-roadside" in got.request.headers
    )


def test_each_form_opens_saves_and_waits_without_signal_and_is_sent_once(phone, road):
    for n_before, name in enumerate(FORMS):
        waits_and_is_sent(phone, road, name, n_before)


def waits_and_is_sent(phone, road, name, n_before) -> None:
    fill, button, model = FORMS[name]
    phone.context.set_offline(True)
    opened(phone, road[name])
    expect(phone.locator("#kept-note")).to_contain_text("there is no signal")
    expect(phone.locator("#kept-note")).to_contain_text(re.compile(r"from \d\d:\d\d"))
    fill(phone)
    show(phone, f"{name}-open")
    phone.get_by_role("button", name=button, exact=True).click()
    expect(phone.locator("#roadside-kept")).to_be_visible()
    expect(phone.locator(WAITS)).to_contain_text("1 form waits to be sent.")
    show(phone, f"{name}-kept")
    assert not model.objects.exists()
    opened(phone, road[name])  # the page again, still without signal
    expect(phone.locator(WAITS)).to_contain_text("1 form waits to be sent.")
    with sends(phone):
        phone.context.set_offline(False)
    expect(phone.locator(WAITS)).to_be_hidden()
    expect(phone.locator(".roadside-arrived")).to_contain_text("has arrived")
    phone.reload()
    phone.locator(READY).wait_for(state="attached")
    assert model.objects.count() == 1
    assert RoadsideSend.objects.count() == n_before + 1


def test_each_form_whose_receipt_is_lost_is_kept_once(phone, road):
    for n_before, name in enumerate(FORMS):
        survives_a_lost_receipt(phone, road, name, n_before)


def survives_a_lost_receipt(phone, road, name, n_before) -> None:
    fill, button, model = FORMS[name]
    opened(phone, road[name])
    fill(phone)
    lost: list[int] = []

    def lose_the_receipt(route) -> None:
        if "x-roadside" not in route.request.headers or lost:
            route.continue_()
            return
        lost.append(route.fetch().status)  # the server keeps it, the phone never hears
        route.abort()

    phone.route("**/*", lose_the_receipt)
    phone.get_by_role("button", name=button, exact=True).click()
    expect(phone.locator(WAITS)).to_contain_text("1 form waits to be sent.")
    assert lost == [200]
    assert model.objects.count() == 1
    with sends(phone):
        phone.locator(WAITS).get_by_role("button", name="Send now").click()
    expect(phone.locator(WAITS)).to_be_hidden()
    assert model.objects.count() == 1
    assert RoadsideSend.objects.count() == n_before + 1
    phone.unroute_all()


def test_a_form_outlives_a_killed_browser(
    playwright, browser_type_launch_args, live_server, road, tmp_path
):
    folder = str(tmp_path / "profile")

    def start() -> BrowserContext:
        return playwright.chromium.launch_persistent_context(
            folder, viewport=PHONE, base_url=live_server.url, **browser_type_launch_args
        )

    context = start()
    page = context.pages[0]
    sign_in(page, "tarn")
    take_along(page, road)
    context.set_offline(True)
    opened(page, road["visit"])
    type_visit(page, "Typed before the battery died.")
    page.get_by_role("button", name="Save the visit", exact=True).click()
    expect(page.locator("#roadside-kept")).to_be_visible()
    kill(folder)
    again = start()
    page = again.pages[0]
    sign_in_if_asked(page, road)
    with sends(page):
        page.goto(road["site"])
    expect(page.locator(WAITS)).to_be_hidden()
    again.close()
    assert MaintenanceVisit.objects.get().findings == "Typed before the battery died."
    assert RoadsideSend.objects.count() == 1


def kill(folder: str) -> None:
    """Kill every process of the browser that uses this folder, at once."""
    found = subprocess.run(
        [shutil.which("pgrep") or "pgrep", "-f", f"user-data-dir={folder}"],
        capture_output=True,
        text=True,
        check=True,
    )
    for pid in found.stdout.split():
        try:
            os.kill(int(pid), signal.SIGKILL)
        except ProcessLookupError:
            continue


def sign_in_if_asked(page: Page, road: dict[str, Any]) -> None:
    """The session's cookie may not have reached the disk before the end."""
    answer = page.goto("/healthz")
    assert answer is not None
    assert answer.ok
    page.goto("/sites/")
    if "/sign-in/" in page.url:
        sign_in(page, "tarn")


def test_what_waits_is_listed_changed_and_discarded(phone, road):
    phone.context.set_offline(True)
    opened(phone, road["visit"])
    type_visit(phone, "First words.")
    phone.get_by_role("button", name="Save the visit", exact=True).click()
    expect(phone.locator("#roadside-kept")).to_be_visible()
    phone.locator("#roadside-kept").get_by_role("link", name="What waits").click()
    phone.locator(READY).wait_for(state="attached")
    entry = phone.locator("[data-entry]")
    expect(entry).to_contain_text("Visit: Log a visit to OV-014")
    entry.locator("summary").click()
    expect(entry).to_contain_text("First words.")
    show(phone, "list")
    found = Axe().run(phone, options={"runOnly": RULES})
    assert not found.response["violations"]
    assert phone.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    entry.get_by_role("button", name="Change it").click()
    phone.locator("#roadside-form").wait_for()
    phone.locator(READY).wait_for(state="attached")
    expect(phone.get_by_label("Found").first).to_have_value("First words.")
    phone.get_by_label("Found").first.fill("Second words.")
    phone.get_by_role("button", name="Save the visit", exact=True).click()
    expect(phone.locator(WAITS)).to_contain_text("1 form waits to be sent.")
    phone.locator("#roadside-kept").get_by_role("link", name="What waits").click()
    expect(entry).to_have_count(1)
    entry.get_by_role("button", name="Discard").click()
    entry.get_by_role("button", name="No, keep it").click()
    expect(entry).to_have_count(1)
    entry.get_by_role("button", name="Discard").click()
    entry.get_by_role("button", name="Yes, discard it").click()
    expect(entry).to_have_count(0)
    phone.context.set_offline(False)
    opened(phone, road["site"])
    assert not MaintenanceVisit.objects.exists()


def test_the_next_run_begins_with_what_the_one_before_had(phone, road):
    phone.context.set_offline(True)
    opened(phone, road["run"])
    for minutes_ago in (30, 18):
        if minutes_ago != 30:
            expect(phone.get_by_label("Truck A")).to_be_checked()
        type_run(phone)
        at = dt.datetime.now(ZoneInfo("America/Denver"))
        at -= dt.timedelta(minutes=minutes_ago)
        phone.get_by_label("Time").fill(f"{at:%Y-%m-%dT%H:%M:%S}")
        with phone.expect_navigation():
            phone.get_by_role("button", name="Save, next run").click()
        phone.locator(READY).wait_for(state="attached")
    expect(phone.locator(WAITS)).to_contain_text("2 forms wait to be sent.")
    phone.context.set_offline(False)
    expect(phone.locator(WAITS)).to_be_hidden()
    assert sorted(TruckRun.objects.values_list("number", flat=True)) == [1, 2]


def test_a_form_that_is_wrong_waits_for_its_person_and_is_corrected(phone, road):
    comes_back_with_its_words(phone, road)  # at once, where there is signal
    phone.context.set_offline(True)
    opened(phone, road["run"])
    type_run(phone)
    phone.get_by_label("Axle weights").first.fill("eleven thousand")
    phone.get_by_role("button", name="Save, to the session").click()
    expect(phone.locator("#roadside-kept")).to_be_visible()
    with sends(phone) as got:
        phone.context.set_offline(False)
    assert got.value.status == 422
    expect(phone.locator(WAITS)).to_contain_text("1 form needs you")
    opened(phone, "/roadside/sending/")
    entry = phone.locator("[data-entry]")
    expect(entry).to_contain_text("not accepted yet")
    expect(entry.locator(".errors")).to_contain_text("eleven")
    show(phone, "refused")
    entry.get_by_role("button", name="Correct it").click()
    phone.locator("#error-summary").wait_for()
    phone.locator(READY).wait_for(state="attached")
    box = phone.get_by_label("Axle weights").first
    expect(box).to_have_value("eleven thousand")
    box.fill("11,500 17,000 16,900 17,200 17,100")
    with sends(phone):
        phone.get_by_role("button", name="Save, to the session").click()
    phone.wait_for_url(re.compile(re.escape(road["session"]) + "$"))
    assert TruckRun.objects.count() == RoadsideSend.objects.count() == 1
    opened(phone, "/roadside/sending/")
    expect(phone.locator("#roadside-entries")).to_contain_text("Nothing waits")


def comes_back_with_its_words(phone, road) -> None:
    opened(phone, road["run"])
    type_run(phone)
    phone.get_by_label("Axle weights").first.fill("eleven thousand")
    phone.get_by_role("button", name="Save, to the session").click()
    phone.locator("#error-summary").wait_for()
    expect(phone.get_by_label("Axle weights").first).to_have_value("eleven thousand")
    phone.locator(READY).wait_for(state="attached")
    expect(phone.locator(WAITS)).to_be_hidden()
    assert not TruckRun.objects.exists()


def test_kept_pages_move_to_a_new_version_and_go_at_sign_out(phone, road, monkeypatch):
    held = phone.evaluate("caches.keys()")
    assert [name.startswith("wimprog-roadside:") for name in held] == [True]
    monkeypatch.setattr("wimprog.views.version", lambda: "99.0")
    opened(phone, road["site"])
    phone.wait_for_function(
        "async () => { const held = await caches.keys();"
        " return held.length === 1 && held[0].includes(':99.0-'); }"
    )
    phone.context.set_offline(True)
    opened(phone, road["visit"])
    expect(phone.locator("#kept-note")).to_contain_text("there is no signal")
    opened(phone, road["site"])
    phone.goto("/health/")  # never kept
    expect(phone.locator("#kept-note")).to_contain_text("is not kept on this phone")
    show(phone, "missing")
    phone.context.set_offline(False)
    opened(phone, road["site"])
    phone.locator("details.user summary").click()
    with phone.expect_navigation(url=re.compile("/sign-in/")):
        phone.get_by_role("button", name="Sign out").click()
    phone.wait_for_function("async () => (await caches.keys()).length === 0")


def test_what_one_person_typed_is_not_sent_by_another(phone, road):
    phone.context.set_offline(True)
    opened(phone, road["visit"])
    type_visit(phone)
    phone.get_by_role("button", name="Save the visit", exact=True).click()
    expect(phone.locator("#roadside-kept")).to_be_visible()
    phone.context.clear_cookies(name="sessionid")
    phone.context.set_offline(False)
    sign_in(phone, "oake")
    opened(phone, road["site"])
    expect(phone.locator(WAITS)).to_contain_text("1 form of somebody else")
    assert not MaintenanceVisit.objects.exists()
    phone.context.clear_cookies(name="sessionid")
    sign_in(phone, "tarn")
    with sends(phone):
        phone.goto(road["site"])
    expect(phone.locator(WAITS)).to_be_hidden()
    assert RoadsideSend.objects.get().sent_by.username == "tarn"


def test_two_open_tabs_send_a_form_once(phone, road):
    two_tabs_send_once(phone, road, n_before=0)
    # an older browser: a row in the store stands for the lock
    phone.context.add_init_script(
        "Object.defineProperty(Navigator.prototype, 'locks', {value: undefined})"
    )
    two_tabs_send_once(phone, road, n_before=1)


def two_tabs_send_once(phone, road, n_before) -> None:
    phone.context.set_offline(True)
    opened(phone, road["visit"])
    type_visit(phone)
    phone.get_by_role("button", name="Save the visit", exact=True).click()
    expect(phone.locator("#roadside-kept")).to_be_visible()
    other = phone.context.new_page()
    opened(other, road["site"])
    posted: list[str] = []
    phone.context.on(
        "request",
        lambda asked: (
            posted.append(asked.url) if "x-roadside" in asked.headers else None
        ),
    )
    phone.context.set_offline(False)
    expect(other.locator(WAITS)).to_be_hidden()
    expect(phone.locator(WAITS)).to_be_hidden()
    assert len(posted) == 1
    assert MaintenanceVisit.objects.count() == n_before + 1
    other.close()


def test_a_change_that_meets_another_is_settled_side_by_side(phone, road):
    visit = factories.MaintenanceVisitFactory.create(
        wim_site=MaintenanceVisit.wim_site.field.related_model.objects.get(),
        findings="Box dry.",
    )
    edit = f"/roadside/visits/{visit.pk}/edit/"
    opened(phone, edit)
    phone.context.set_offline(True)
    phone.get_by_label("Found").first.fill("Box full of water.")
    phone.get_by_role("button", name=re.compile("^Save")).click()
    expect(phone.locator("#roadside-kept")).to_be_visible()
    visit.findings = "Box damp."
    visit.weather = "rain"
    visit.save()
    with sends(phone):
        phone.context.set_offline(False)
    phone.locator(".roadside-arrived").get_by_role("link").click()
    expect(phone.get_by_text("Two changes of one visit")).to_be_visible()
    show(phone, "clash")
    found = Axe().run(phone, options={"runOnly": RULES})
    assert not found.response["violations"]
    assert phone.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    phone.get_by_label("Found from the phone").check()
    phone.get_by_role("button", name="Keep as chosen above").click()
    phone.wait_for_url(re.compile(f"/roadside/visits/{visit.pk}/$"))
    visit.refresh_from_db()
    assert (visit.findings, visit.weather) == ("Box full of water.", "rain")
    assert RoadsideSend.objects.get().state == "settled"
