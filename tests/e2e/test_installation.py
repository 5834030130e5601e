"""An installation at the roadside: every stage on a phone, with and without signal."""

import datetime as dt
import io
import re
import uuid

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import Group, User
from PIL import Image
from playwright.sync_api import Page, expect

from installs.calc.types.records import ItemKind
from installs.models import (
    CuringRow,
    CuringTable,
    InstallationRecord,
    Instrument,
    ItemEntry,
    ProductBatch,
)
from installs.selectors import stage_view
from installs.services import record_start
from installs.services.template_seeds import templates_seed
from tests import factories
from tests.e2e.conftest import make_roles
from wimprog.demo.installing import usual_answer

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]
PASSWORD = "roadside-tests-only"
PHONE = {"width": 390, "height": 844}
PEOPLE = (("inspector", "technician"), ("engineer", "program manager"))
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture
def record(transactional_db, settings, tmp_path):
    """An open record of a polymer piezo, with instruments and batches to choose."""
    settings.UPLOAD_DIR = tmp_path
    make_roles()
    factories.ProgramFactory.create()
    for name, group in PEOPLE:
        user = User.objects.create_user(name, password=PASSWORD, first_name=name)
        user.groups.add(Group.objects.get(name=group))
    by = User.objects.get(username="engineer")
    templates_seed(by=by)
    model = factories.SensorModelFactory.create(technology="polymer piezo")
    today = dt.date.today()  # noqa: DTZ011 (the server's own day, in UTC)
    due = today + dt.timedelta(days=90)
    for kind in ("insulation tester", "LCR meter"):
        Instrument.objects.create(kind=kind, serial="1", calibration_due_on=due)
    table = CuringTable.objects.create(
        product="resin", document="sheet 1", hardener_unit="g a kit"
    )
    for temp, cure in ((0.0, 90.0), (20.0, 40.0), (40.0, 30.0)):
        CuringRow.objects.create(
            table=table, temp_c=temp, hardener_amount=95.0, pot_life_min=8.0,
            cure_min=cure,
        )  # fmt: skip
    ProductBatch.objects.create(
        product="resin", lot="R1", expires_on=due, curing_table=table
    )
    ProductBatch.objects.create(product="sealant", lot="S1", expires_on=due)
    lane = factories.LaneFactory.create(width_m=3.6576)
    return record_start(
        lane=lane,
        position="piezo 1",
        technology="polymer piezo",
        work_on=today - dt.timedelta(days=1),
        traffic_control_plan="TCP-1",
        sensor=factories.SensorFactory.create(model=model),
        by=by,
        why="for the test",
    )


@pytest.fixture
def phone(browser, live_server, record):
    """A page of a phone on which the inspector is signed in."""
    context = browser.new_context(viewport=PHONE, base_url=live_server.url)
    page = context.new_page()
    sign_in(page, "inspector")
    yield page
    context.close()


def sign_in(page: Page, name: str) -> None:
    page.goto("/sign-in/")
    page.locator("input[name=username]").fill(name)
    page.locator("input[type=password]").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/health/$"))


def jpeg(shade: int = 90) -> dict:
    held = io.BytesIO()
    Image.new("RGB", (640, 480), (shade, shade, shade)).save(held, "JPEG")
    return {
        "name": f"photo{shade}.jpg", "mimeType": "image/jpeg",
        "buffer": held.getvalue(),
    }  # fmt: skip


def stage_url(record, key: str) -> str:
    return f"/roadside/records/{record.pk}/stages/{key}/"


def item(page: Page, one):
    return page.locator(f"#item-{one.item.pk}")


def saved(page: Page, pattern: str):
    """Wait for the answer of the server to one save."""
    return page.expect_response(lambda got: pattern in got.url and got.ok)


TOOLS = {"insulation resistance": 0, "capacitance": 1, "resin-batch": 1,
         "sealant-batch": 2}  # fmt: skip


def answer(page: Page, one, shade: int) -> int:
    """Answer one item as a person would; photos first."""
    box = item(page, one)
    for number in range(one.spec.photos_needed):
        form = box.locator("form[data-photo]")
        folded = box.locator("summary", has_text="Add another photo")
        if folded.count():
            folded.click()
        form.locator("input[type=file]").set_input_files(jpeg(shade + number))
        with saved(page, "/photo/"):
            form.get_by_role("button", name="Add the photo").click()
        expect(box.locator(".photos li")).to_have_count(number + 1)
    shade += one.spec.photos_needed
    if one.spec.kind is ItemKind.PHOTO:
        return shade
    told = usual_answer(one, TOOLS)
    with saved(page, "/answer/"):
        if one.choices:
            box.get_by_label(told["answer"], exact=True).check()
        elif one.spec.kind is ItemKind.BATCH:
            box.locator("select[name=batch]").select_option(index=told["batch"])
        elif "numbers_typed" in told:
            if one.spec.kind is ItemKind.READING:
                box.locator("select[name=instrument]").select_option(index=1)
            boxes = box.locator("input[name=number]")
            for place, (text, _) in enumerate(told["numbers_typed"]):
                boxes.nth(place).fill(text)
            boxes.last.blur()
        else:
            box.locator("textarea[name=answer]").fill(told["answer"])
            box.locator("textarea[name=answer]").blur()
    return shade


def test_a_whole_installation_is_walked_on_a_phone(phone, record, live_server):
    shade = 1
    for stage in record.template.stages.all():
        if stage.sign_roles == ["engineer"]:
            sign_in(phone, "engineer")
        phone.goto(stage_url(record, stage.key))
        done = set()
        while left := [
            one
            for one in stage_view(record, stage.key).items
            if one.asked and one.item.pk not in done
        ]:
            if done:  # an answer asked for more: see them
                phone.reload()
            for one in left:
                done.add(one.item.pk)
                shade = answer(phone, one, shade % 200 + 1)
        phone.reload()
        width = phone.evaluate("document.documentElement.scrollWidth")
        assert width <= PHONE["width"], stage.key
        if stage.key in ("layout", "setting"):
            found = Axe().run(phone, options={"runOnly": RULES})
            assert not found.response["violations"], stage.key
        for role in stage.sign_roles:
            phone.locator(".signing").get_by_label(role, exact=True).check()
            phone.get_by_label("Your full name").fill(f"Test {role}")
            phone.get_by_role("button", name="Sign this stage").click()
            expect(phone.get_by_text(f"as {role} by")).to_be_visible()
    phone.goto(f"/roadside/records/{record.pk}/accept/")
    phone.get_by_role("button", name="Accept the installation").click()
    expect(phone.locator(".verdict-head")).to_contain_text("accepted")
    kept = InstallationRecord.objects.get(pk=record.pk)
    assert kept.installation.position == "piezo 1"
    stages = kept.installation.electrical_tests.values_list("stage", flat=True)
    assert set(stages) == {"bench", "in slot", "after grout", "after lead-in"}
    with phone.expect_download() as download:
        phone.get_by_role("link", name="As-built record (PDF)").click()
    assert download.value.path().read_bytes().startswith(b"%PDF")


def first_number(record):
    """The slot's angle item: one number, limits of its own."""
    view = stage_view(record, "exit-hole")
    return next(one for one in view.items if one.spec.key == "hole-diameter")


def type_number(page: Page, one, text: str) -> None:
    box = item(page, one).locator("input[name=number]")
    box.fill(text)
    box.blur()


def test_a_number_is_judged_while_it_is_typed(phone, record, live_server):
    one = first_number(record)
    phone.goto(stage_url(record, "exit-hole"))
    box = item(phone, one)
    box.locator("input[name=number]").press_sequentially("9")
    expect(box.locator(".at-once")).to_have_text("out of limits, not saved yet")
    with saved(phone, "/answer/"):
        type_number(phone, one, "1.5")
    expect(box).to_contain_text("meets")
    assert ItemEntry.objects.get().typed == [["1.5", "in"]]


def test_answers_without_signal_are_kept_and_sent_once(phone, record, live_server):
    one = first_number(record)
    phone.goto(stage_url(record, "exit-hole"))
    phone.context.set_offline(True)
    type_number(phone, one, "1.5")
    expect(phone.locator("#waiting")).to_contain_text("1 answer waits to be sent.")
    assert not ItemEntry.objects.exists()
    phone.context.set_offline(False)
    expect(phone.locator("#waiting")).to_be_hidden()
    entry = ItemEntry.objects.get()
    assert entry.source == "typed without signal, sent later"
    phone.reload()
    expect(item(phone, one)).to_contain_text("1.5 in")
    assert ItemEntry.objects.count() == 1


def test_a_page_closed_without_signal_sends_when_it_is_opened_again(
    phone, record, live_server
):
    one = first_number(record)
    phone.goto(stage_url(record, "exit-hole"))
    phone.context.set_offline(True)
    type_number(phone, one, "1.6")
    expect(phone.locator("#waiting")).to_be_visible()
    phone.close()
    phone.context.set_offline(False)
    again = phone.context.new_page()
    with saved(again, "/answer/"):  # it is hidden until the phone has looked
        again.goto(stage_url(record, "layout"))
    expect(again.locator("#waiting")).to_be_hidden()
    assert ItemEntry.objects.get().typed == [["1.6", "in"]]


def test_an_answer_whose_receipt_is_lost_is_kept_once(phone, record, live_server):
    one = first_number(record)
    phone.goto(stage_url(record, "exit-hole"))
    lost = []

    def lose_the_receipt(route):
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)  # the server keeps it, the phone never hears
        route.abort()

    phone.route(re.compile("/answer/"), lose_the_receipt)
    type_number(phone, one, "1.75")
    expect(phone.locator("#waiting")).to_contain_text("1 answer waits")
    assert lost == [200]
    assert ItemEntry.objects.count() == 1
    phone.get_by_role("button", name="Send now").click()
    expect(phone.locator("#waiting")).to_be_hidden()
    assert ItemEntry.objects.count() == 1


def test_two_people_who_answer_at_once_are_both_shown(
    phone, record, live_server, browser
):
    one = first_number(record)
    phone.goto(stage_url(record, "exit-hole"))
    other = browser.new_context(viewport=PHONE, base_url=live_server.url).new_page()
    sign_in(other, "engineer")
    other.goto(stage_url(record, "exit-hole"))
    with saved(phone, "/answer/"):
        type_number(phone, one, "1.5")
    with saved(other, "/answer/"):
        type_number(other, one, "1.9")
    expect(item(other, one)).to_contain_text("Two people answered this at once")
    assert ItemEntry.objects.count() == 2
    other.context.close()


def test_a_refused_answer_stays_in_its_box(phone, record, live_server):
    one = first_number(record)
    phone.goto(stage_url(record, "exit-hole"))
    box = item(phone, one)
    with phone.expect_response(lambda got: "/answer/" in got.url) as got:
        type_number(phone, one, "an inch")
    assert got.value.status == 422
    expect(box.get_by_role("alert")).to_contain_text("an inch")
    expect(box.locator("input[name=number]")).to_have_value("an inch")
    assert not ItemEntry.objects.exists()


def test_an_svg_with_a_script_is_refused_in_words(phone, record, live_server):
    view = stage_view(record, "exit-hole")
    one = next(one for one in view.items if one.spec.kind is ItemKind.PHOTO)
    phone.goto(stage_url(record, "exit-hole"))
    box = item(phone, one)
    box.locator("input[type=file]").set_input_files(
        {
            "name": f"{uuid.uuid4()}.jpg",
            "mimeType": "image/jpeg",
            "buffer": b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>",
        }
    )
    box.get_by_role("button", name="Add the photo").click()
    expect(box.get_by_role("alert")).to_be_visible()
    assert not record.photos.exists()
