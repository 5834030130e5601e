"""Array plans in a real browser: drawn up, questioned, approved, reckoned with."""

import re
from importlib import import_module
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import Group, User
from playwright.sync_api import Page, expect

from installs.calc.types import Technology
from installs.models import ArrayPlan, CuringRow, CuringTable
from installs.services.plans import curing_table_save, plan_start
from sites.models import Lane
from tests import factories

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]
PASSWORD = "roadside-tests-only"
PHONE = {"width": 390, "height": 844}
PAGE = {"width": 1280, "height": 900}


@pytest.fixture
def lane(transactional_db) -> Lane:
    """A lane, and two of the cast; a flush between tests takes the groups away."""
    import_module("quality.migrations.0002_roles").make_groups(apps, None)
    folder = Path(settings.BASE_DIR) / "quality" / "migrations"
    for path in sorted(folder.glob("[0-9]*_roles_of_*.py")):
        import_module(f"quality.migrations.{path.stem}").add_permissions(apps, None)
    for name, group in (("manager", "program manager"), ("technician", "technician")):
        user = User.objects.create_user(name, password=PASSWORD)
        user.groups.add(Group.objects.get(name=group))
    factories.ProgramFactory.create()
    wim_site = factories.SiteFactory.create(code="OV-014")
    return factories.LaneFactory.create(wim_site=wim_site, number=1, width_m=3.6576)


def sign_in(page: Page, live_server, name: str) -> None:
    page.context.clear_cookies()
    page.goto(live_server.url + "/")
    page.locator("input[name=username]").fill(name)
    page.locator("input[type=password]").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator("details.user")).to_be_visible()


def check_page(page: Page) -> None:
    """Axe finds nothing, and the page itself fits its window."""
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
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= page.viewport_size["width"], page.url


def test_a_plan_goes_from_a_draft_to_approval(page, live_server, lane):
    sign_in(page, live_server, "technician")
    page.goto(live_server.url + lane.get_absolute_url())
    page.get_by_role("link", name="Array plan").click()
    page.get_by_label("Technology").select_option("polymer piezo")
    page.get_by_role("button", name="Begin a draft").click()
    expect(page.get_by_role("heading", name="Change plan 1")).to_be_visible()

    depth = page.get_by_label("Slot depth, in, row 2")
    depth.fill("5.1")
    page.get_by_role("button", name="Keep the plan").click()
    expect(page.get_by_text("Is it 5.1 cm?")).to_be_visible()
    depth.fill("2.0")
    page.get_by_role("button", name="Keep the plan").click()
    expect(page.get_by_text("Plan 1 is kept.")).to_be_visible()
    expect(page.get_by_role("button", name=re.compile("Approve"))).to_have_count(0)

    sign_in(page, live_server, "manager")
    plan = ArrayPlan.objects.get()
    page.goto(live_server.url + plan.get_absolute_url())
    page.get_by_role("button", name="Approve plan 1").click()
    expect(page.get_by_text("Plan 1 is approved and frozen.")).to_be_visible()
    page.get_by_role("button", name="Make a new version").click()
    expect(page.get_by_role("heading", name="Change plan 2")).to_be_visible()


def test_the_reference_line_is_checked_at_the_roadside(page, live_server, lane):
    page.set_viewport_size(PHONE)
    sign_in(page, live_server, "technician")
    page.goto(f"{live_server.url}/roadside/reckon/square/?lane={lane.pk}")
    first = page.get_by_role("group", name="Triangle 1")
    first.get_by_label("Leg into the lane").fill("9")
    first.get_by_label("Leg along the edge").fill("12")
    first.get_by_label("Diagonal").fill("22")
    page.get_by_role("button", name="Reckon").click()
    expect(page.get_by_text("cannot close on legs of 9 ft and 12 ft")).to_be_visible()
    first.get_by_label("Diagonal").fill("15")
    page.get_by_role("button", name="Reckon").click()
    expect(page.get_by_text(re.compile("^90.00° ±"))).to_be_visible()
    again = page.url
    page.goto(live_server.url + "/roadside/")
    page.goto(again)
    expect(page.get_by_text(re.compile("^90.00° ±"))).to_be_visible()


@pytest.mark.parametrize("size", [PHONE, PAGE], ids=["phone", "desk"])
def test_every_page_fits_and_passes_axe(page, live_server, lane, size):
    plan = plan_start(
        lane=lane, technology=Technology.QUARTZ_PIEZO, by=None, why="for the test"
    )
    table = curing_table_save(
        table=CuringTable(product="Invented resin", document="1", hardener_unit="g"),
        rows=[
            CuringRow(temp_c=t, hardener_amount=60, pot_life_min=14, cure_min=45)
            for t in (10.0, 20.0)
        ],
        by=None,
        why="",
    )
    page.set_viewport_size(size)
    sign_in(page, live_server, "manager")
    square = "into_1=9&along_1=12&diagonal_1=15&into_2=6&along_2=8&diagonal_2=10.01"
    for path in (
        f"/roadside/lanes/{lane.pk}/plans/",
        f"/roadside/plans/{plan.pk}/",
        f"/roadside/plans/{plan.pk}/edit/",
        f"/roadside/plans/{plan.pk}/sheet/",
        f"/roadside/plans/{plan.pk}/quantities/?cure=90&allowed=8",
        f"/roadside/reckon/square/?plan={plan.pk}&{square}",
        f"/roadside/reckon/spacing/?plan={plan.pk}&built_1=12.02&setting=12.1",
        "/roadside/reckon/weather/?air=60&pavement=59&resin=70",
        "/roadside/curing/",
        f"/roadside/curing/{table.pk}/",
        f"/roadside/curing/{table.pk}/edit/",
        "/program/work/",
        "/program/work/edit/",
    ):
        page.goto(live_server.url + path)
        check_page(page)
