"""The main job in a real browser: from the health page down to the records and back."""

import re
from pathlib import Path

import pytest
from django.conf import settings
from playwright.sync_api import Page, expect

from tests.e2e.conftest import make_roles

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]
SAMPLE = Path(settings.BASE_DIR) / "fixtures" / "samples" / "orrin_w2016.wgt"


@pytest.fixture
def people(transactional_db):
    """The groups and two of the cast; a flush between tests takes groups away."""
    from django.contrib.auth.models import Group, User

    make_roles()
    for name, group in (("manager", "program manager"), ("analyst", "analyst")):
        user = User.objects.create_user(name, password="roadside-tests-only")
        user.groups.add(Group.objects.get(name=group))


def sign_in(page: Page, live_server, name: str) -> None:
    page.goto(live_server.url + "/")
    page.get_by_label("Name", exact=False).first.fill(name)
    page.locator("input[type=password]").fill("roadside-tests-only")
    page.get_by_role("button", name=re.compile("sign in", re.I)).click()
    expect(page).to_have_url(re.compile("/health/"))


def test_an_analyst_takes_a_file_in_and_reviews_its_days(page, live_server, people):
    sign_in(page, live_server, "analyst")
    page.goto(live_server.url + "/records/import/")
    page.locator("input[type=file]").set_input_files(SAMPLE)
    page.get_by_role("button", name="Read the file").click()
    expect(page.get_by_text("200 of 200 records kept")).to_be_visible()
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_text("Taken in.")).to_be_visible()
    page.get_by_role("link", name="Days to review").first.click()
    expect(page.get_by_role("heading", name="Days to review")).to_be_visible()
    page.get_by_role("button", name="Accept").first.click()
    expect(page.get_by_text(re.compile("accepted")).first).to_be_visible()


def test_a_manager_goes_from_the_sites_to_a_lane_and_the_report(
    page, live_server, people
):
    from quality.services import records_import

    records_import(SAMPLE, by=None)
    sign_in(page, live_server, "manager")
    page.goto(live_server.url + "/sites/")
    page.get_by_role("link", name="99-000101").first.click()
    page.get_by_role("link", name="E1").first.click()
    expect(page.get_by_role("heading", name="Vehicle records")).to_be_visible()
    page.goto(live_server.url + "/reports/?year=2031")
    page.goto(live_server.url + "/renewal/")
    expect(page.locator("h1")).to_be_visible()
