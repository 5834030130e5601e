"""Upkeep, renewal and drift on the small demo, as manager and analyst walk them."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests.e2e.test_whole_thread import (
    PHONE,
    demo,
    no_sideways_scroll,
    no_violations,
    sign_in,
)

__all__ = ["demo"]

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

MANAGERS = (
    "installs:work-list",
    "installs:trip-proposed",
    "installs:rule-schedule",
    "installs:forecast",
    "installs:renewal-curves",
    "installs:renewal-past",
    "installs:renewal-policies",
    "installs:renewal-settings",
    "installs:pavement-list",
    "installs:reliability",
    "installs:store-list",
    "installs:purchase-list",
    "sites:survey-settings",
)
ANALYSTS = (
    "quality:record-list",
    "quality:drift-list",
    "quality:review-list",
    "quality:limit-list",
    "quality:traffic",
    "quality:traffic-program",
    "quality:report",
)


def test_a_manager_goes_from_work_to_what_to_replace(page, live_server, demo):
    from installs.models import WorkItem

    sign_in(page, live_server, "manager")
    for name in MANAGERS:
        page.goto(live_server.url + reverse(name))
        expect(page.locator("h1")).to_be_visible()
        no_violations(page)

    # the work that the records raised is planned into a trip
    page.goto(live_server.url + reverse("installs:trip-proposed"))
    page.get_by_role("button", name=re.compile("trip", re.IGNORECASE)).first.click()
    expect(page).to_have_url(re.compile(r"/roadside/trips/"))
    # a smaller budget buys less
    page.goto(live_server.url + reverse("installs:forecast") + "?budget=20000")
    expect(page.get_by_text(re.compile(r"of \$20,000"))).to_be_visible()
    with page.expect_download() as got:
        page.get_by_role("link", name="Programme as PDF").click()
    assert got.value.path().read_bytes().startswith(b"%PDF-")
    assert WorkItem.objects.exists()


def test_an_analyst_finds_drift_and_decides_by_key(page, live_server, demo):
    from quality.models import DayReview

    sign_in(page, live_server, "analyst")
    for name in ANALYSTS:
        page.goto(live_server.url + reverse(name))
        expect(page.locator("h1")).to_be_visible()
        no_violations(page)
    page.goto(live_server.url + reverse("quality:drift-list"))
    page.locator("main table.data tbody a").first.click()
    expect(page.locator("h1")).to_be_visible()
    no_violations(page)

    before = DayReview.objects.count()
    page.goto(live_server.url + reverse("quality:review-list"))
    with page.expect_response(
        lambda answer: answer.request.method == "POST" and answer.status < 400
    ):
        page.keyboard.press("j")
        page.keyboard.press("s")
    expect(page.locator("h1")).to_be_visible()
    assert DayReview.objects.count() == before + 1

    page.set_viewport_size(PHONE)
    for name in ("quality:drift-list", "quality:review-list", "quality:traffic"):
        page.goto(live_server.url + reverse(name))
        no_sideways_scroll(page)
