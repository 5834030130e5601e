"""The main job from end to end on the small demo, as its three users walk it."""

import datetime as dt
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.e2e.conftest import make_roles
from wimprog.demo.loader import PASSWORD, build

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]
AS_OF = dt.date(2026, 6, 1)
PHONE = {"width": 390, "height": 844}


@pytest.fixture
def demo(transactional_db, settings, tmp_path):
    """The small demo in the live server's database."""
    settings.AS_OF = AS_OF.isoformat()
    settings.RECORD_STORE = tmp_path / "store"
    make_roles()
    build(small=True, as_of=AS_OF, folder=tmp_path, progress=lambda text: None)


def sign_in(page: Page, live_server, name: str) -> None:
    page.goto(live_server.url + "/")
    page.locator("input[name=username]").fill(name)
    page.locator("input[type=password]").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("/health/"))


def no_violations(page: Page) -> None:
    """Axe's rules for WCAG 2.2 A and AA find nothing."""
    found = Axe().run(
        page,
        options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    )
    told = [
        f"{one['id']}: {node['target']}"
        for one in found.response["violations"]
        for node in one["nodes"]
    ]
    assert not told, f"{page.url}: {told[:8]}"


def no_sideways_scroll(page: Page) -> None:
    """The page itself fits its window (wide tables scroll in their own boxes)."""
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= page.viewport_size["width"], page.url


def test_the_whole_thread(page, live_server, demo):
    sign_in(page, live_server, "manager")
    expect(page.get_by_text("7 of 7 lanes.")).to_be_visible()
    no_violations(page)

    # one lane, from its installation record ...
    page.locator("a.lane-name").first.click()
    expect(page.get_by_role("heading", name="Sensors in the road")).to_be_visible()
    no_violations(page)
    lane_url = page.url

    # ... through its electrical tests ...
    page.locator("section[aria-labelledby=sensors-title] a").first.click()
    expect(page.locator("h1")).to_be_visible()
    expect(page.get_by_text("insulation resistance").first).to_be_visible()
    no_violations(page)

    # ... and its calibration runs, with statistics against a tolerance class ...
    page.goto(lane_url)
    page.locator("section[aria-labelledby=calibration-title] tbody a").first.click()
    expect(page.get_by_text(re.compile("E1318")).first).to_be_visible()
    expect(page.get_by_text("gross weight").first).to_be_visible()
    no_violations(page)

    # ... to its vehicle records and the drift since calibration.
    page.goto(lane_url)
    expect(
        page.get_by_role("heading", name="Drift since the last calibration")
    ).to_be_visible()
    page.locator("section[aria-labelledby=records-title] tbody a").first.click()
    expect(page.get_by_role("heading", name=re.compile("Days of"))).to_be_visible()
    no_violations(page)

    # The replacement forecast, and the year's report as a file.
    page.get_by_role("link", name="Renewal").first.click()
    expect(page.locator("h1")).to_be_visible()
    no_violations(page)
    page.goto(live_server.url + "/reports/?year=2025")
    no_violations(page)
    with page.expect_download() as got:
        page.get_by_role("link", name="Take as PDF").click()
    assert got.value.path().read_bytes().startswith(b"%PDF-")


def test_a_technician_logs_a_visit_on_a_phone(page, live_server, demo):
    from installs.models import MaintenanceVisit

    page.set_viewport_size(PHONE)
    sign_in(page, live_server, "technician")
    no_sideways_scroll(page)
    page.goto(live_server.url + "/roadside/visits/add/?site=OV-001")
    no_sideways_scroll(page)
    no_violations(page)
    before = MaintenanceVisit.objects.count()
    page.locator("[name=people]").fill("R. Halvard")
    page.locator("[name=purpose]").select_option("routine check")
    page.locator("[name=findings]").fill("Moisture in the cabinet.")
    page.locator("main button[type=submit]").last.click()
    expect(page).to_have_url(re.compile(r"/roadside/visits/\d+/"))
    expect(page.get_by_text("Moisture in the cabinet.")).to_be_visible()
    assert MaintenanceVisit.objects.count() == before + 1
    for path in ("/roadside/", "/calibration/", "/sites/", "/roadside/sensors/"):
        page.goto(live_server.url + path)
        no_sideways_scroll(page)
        no_violations(page)
