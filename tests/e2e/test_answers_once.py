"""One answer at the roadside is one entry, however it is sent."""

import re

import pytest
from playwright.sync_api import Page, expect

from installs.models import ItemEntry
from installs.selectors import stage_view
from tests.e2e.test_installation import (  # noqa: F401 (fixtures)
    first_number,
    item,
    phone,
    record,
    saved,
    stage_url,
)

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]


def first_series(record):  # noqa: F811
    view = stage_view(record, "saw-cutting")
    return next(one for one in view.items if one.spec.points)


def fill_series(page: Page, one, texts: list[str]) -> None:
    boxes = item(page, one).locator("input[name=number]")
    for place, text in enumerate(texts):
        boxes.nth(place).fill(text)
    boxes.last.blur()


def sent_answers(page: Page) -> list[str]:
    sent: list[str] = []
    page.on(
        "request",
        lambda asked: sent.append(asked.url) if "/answer/" in asked.url else None,
    )
    return sent


def test_enter_in_a_box_keeps_one_answer(phone, record, live_server):  # noqa: F811
    one = first_number(record)
    phone.goto(stage_url(record, "exit-hole"))
    box = item(phone, one).locator("input[name=number]")
    box.fill("1.5")
    with saved(phone, "/answer/"):
        box.press("Enter")
    expect(item(phone, one)).to_contain_text("meets")
    expect(phone.locator("#waiting")).to_be_hidden()
    phone.reload()
    assert ItemEntry.objects.get().typed == [["1.5", "in"]]


def test_a_series_that_is_corrected_waits_for_the_button(
    phone,  # noqa: F811
    record,  # noqa: F811
    live_server,
):
    one = first_series(record)
    phone.goto(stage_url(record, "saw-cutting"))
    points = item(phone, one).locator("input[name=number]").count()
    with saved(phone, "/answer/"):
        fill_series(phone, one, ["2.2"] * points)
    expect(item(phone, one)).to_contain_text("meets")
    again = item(phone, one).locator("summary", has_text="Answer again")
    again.click()
    sent = sent_answers(phone)
    fill_series(phone, one, ["2.21"] * points)
    phone.wait_for_timeout(300)
    assert sent == []
    with saved(phone, "/answer/"):
        item(phone, one).get_by_role(
            "button", name=re.compile("Save the new answer")
        ).click()
    expect(item(phone, one)).to_contain_text("2.21")
    assert ItemEntry.objects.count() == 2
