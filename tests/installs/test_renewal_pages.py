"""Renewal's pages: calm first, traced to records, what-if in the address, settings."""

from __future__ import annotations

import datetime as dt
import io

import openpyxl
import pytest
from django.urls import reverse

from installs.models import (
    HazardEffect,
    PavementWork,
    RenewalSettings,
    TechnologyMoney,
    TechnologyProfile,
)
from installs.selectors.conditions import effects_in_use
from installs.views.renewal import round_money
from tests import factories

pytestmark = pytest.mark.django_db

PAGES = ["renewal-curves", "renewal-past", "renewal-policies", "renewal-settings"]


def url(name, *args):
    return reverse(f"installs:{name}", args=args)


@pytest.fixture
def priced(world):
    """The world with a cost for its one technology."""
    factories.TechnologyProfileFactory()
    return world


@pytest.mark.parametrize("name", [*PAGES, "pavement-list", "forecast"])
def test_each_page_shows_with_sensors_and_without(client_for, guest, program, name):
    assert client_for(guest).get(url(name)).status_code == 200
    factories.InstallationFactory.create(installed_on=dt.date(2019, 5, 1))
    assert client_for(guest).get(url(name)).status_code == 200


def test_the_first_screen_tells_number_money_and_trust(client_for, guest, priced):
    answer = client_for(guest).get(url("forecast"))
    page = answer.content.decode()
    found = answer.context["found"]
    year = found.next_year
    assert year.period.label == "2025"  # the first whole budget year, from July
    first = page[: page.index("What to replace first")]
    assert "Budget year 2025" in first
    assert f"{round_money(year.cost.p90):,.0f}" in first
    assert found.back_test.sentence in first
    assert "assumed until the agency enters its own figures" in first


def test_the_budget_decides_what_is_within_it(client_for, guest, priced):
    client = client_for(guest)
    none = client.get(url("forecast"), {"budget": "0"}).context["order"]
    assert none.funded == ()
    assert none.missed
    enough = client.get(url("forecast"), {"exactly": "1,000,000"}).context["order"]
    assert enough.budget == 1_000_000
    assert enough.missed == ()
    assert enough.n_replaced >= 1
    assert enough.found.spent <= enough.budget


def test_prices_that_grow_cost_more_and_nothing_is_kept(client_for, guest, priced):
    client = client_for(guest)
    flat = client.get(url("forecast"), {"growth": "0"}).context["found"]
    dear = client.get(url("forecast"), {"growth": "10"}).context["found"]
    assert dear.fleet.total_cost.expected > flat.fleet.total_cost.expected
    assert dear.fleet.total.expected == flat.fleet.total.expected  # the same luck
    assert not RenewalSettings.objects.exists()


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("growth", "lots", "lots"),
        ("growth", "900", "900 is not between"),
        ("exactly", "-5", "is not between"),
        ("policy", "on a whim", "on a whim"),
    ],
)
def test_a_question_that_cannot_be_read_is_told(
    client_for, guest, priced, name, value, said
):
    answer = client_for(guest).get(url("forecast"), {name: value})
    assert answer.status_code == 200
    assert said in answer.content.decode()


def test_policies_stand_on_the_same_futures(client_for, guest, priced):
    page = client_for(guest).get(url("renewal-policies"), {"age": "2"}).context["page"]
    kinds = [str(one.policy.kind) for one in page.outcomes]
    assert kinds[0] == "on failure"
    assert len(kinds) == 4
    early = page.outcomes[1]
    assert early.failures_per_year.mean < page.outcomes[0].failures_per_year.mean
    assert early.difference is not None
    # Nothing is planned on the pavement, so waiting for it changes nothing.
    works = page.outcomes[3]
    assert works.difference.cost_per_lane_month.mean == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("asked", "label"),
    [
        ({"policy": "at an age", "age": "2"}, "at 2 years"),
        ({"policy": "at a condition", "chance": "30"}, "at a 30 % chance"),
        ({"policy": "with the pavement programme", "wait": "18"}, "up to 18 months"),
    ],
)
def test_the_policy_asked_for_is_played_and_told(
    client_for, guest, priced, asked, label
):
    client = client_for(guest)
    usual = client.get(url("forecast")).context["found"].fleet
    answer = client.get(url("forecast"), asked)
    found = answer.context["found"]
    assert label in found.policy.label
    assert label in answer.content.decode()
    if asked["policy"] == "at an age":  # both sensors are older than two years
        assert found.fleet.total.expected > usual.total.expected


def test_an_empty_position_is_told_and_stands_first(client_for, guest, world):
    factories.TechnologyProfileFactory()
    gone = world.live[1]
    type(gone).objects.filter(pk=gone.pk).update(
        ended_on=dt.date(2024, 4, 1), end_reason="failed", failure_mode="splice"
    )
    answer = client_for(guest).get(url("forecast"), {"exactly": "1000000"})
    assert answer.context["found"].n_down == 1
    assert answer.context["order"].funded[0].spots[0].is_down
    assert "empty since a failure" in answer.content.decode()


def test_settings_are_kept_with_who_and_why(client_for, manager, guest, priced):
    client = client_for(manager)
    form = client.get(url("renewal-settings-edit")).context["form"]
    sent = {
        name: form[name].value()
        for name in form.fields
        if form[name].value() is not None
    }
    sent |= {"mobilisation": "4000", "source": "contract 12"}
    assert client.post(url("renewal-settings-edit"), sent).status_code == 302
    kept = RenewalSettings.objects.get()
    assert (kept.mobilisation, kept.source) == (4000, "contract 12")
    assert kept.history.first().history_user == manager
    assert kept.policy_chance == 0.5  # shown and typed in per cent
    sent |= {"policy": "at an age", "policy_age_years": ""}
    refused = client.post(url("renewal-settings-edit"), sent)
    assert refused.status_code == 422
    assert "Give the age" in refused.content.decode()
    assert client_for(guest).get(url("renewal-settings-edit")).status_code == 403


def test_an_expectation_is_entered_and_returned_to_the_published(
    client_for, manager, world
):
    client = client_for(manager)
    page = url("expectation-edit", "quartz-piezo")
    sent = {
        "expected_life_years": "9",
        "replacement_cost": "12000",
        "source": "own contracts",
    }
    assert client.post(page, sent).status_code == 302
    assert TechnologyProfile.objects.get().technology == "quartz piezo"
    shown = client.get(url("renewal-settings")).content.decode()
    assert "own contracts" in shown
    assert "3 to 8 years" in shown  # the published stays beside it
    back = url("expectation-back", "quartz-piezo")
    assert client.post(back, {"why": ""}).status_code == 422
    assert TechnologyProfile.objects.exists()
    assert client.post(back, {"why": "entered for another agency"}).status_code == 302
    assert not TechnologyProfile.objects.exists()
    last = TechnologyProfile.history.first()
    assert last.history_change_reason == "entered for another agency"
    assert client.get(url("expectation-edit", "magic")).status_code == 404


def test_own_costs_and_shares_take_the_place_of_assumptions(client_for, manager, world):
    client = client_for(manager)
    sent = {
        "parts_each": "3000",
        "work_each": "1500",
        "equipment_life_years": "10",
        "accepted_share": "90",
        "price_year": "2024",
        "source": "contract 12",
    }
    assert client.post(url("money-edit", "polymer-piezo"), sent).status_code == 302
    assert TechnologyMoney.objects.get().accepted_share == pytest.approx(0.9)
    found = client.get(url("forecast")).context["found"]
    price = next(p for t, p in found.money.prices.items() if t == "polymer piezo")
    assert price.amount == 4500
    assert found.fleet.total_cost is not None
    assert not any("taken as accepted" in line for line in found.assumed)


def test_an_effect_of_the_agencys_own_is_used_and_told(client_for, manager, world):
    client = client_for(manager)
    name = effects_in_use()[0].name
    page = url("effect-edit", name.replace(" ", "-"))
    sent = {"ratio": "3", "log_sd": "0.2", "source": "our own wet sensors"}
    assert client.post(page, sent | {"ratio": "90"}).status_code == 422
    assert client.post(page, sent).status_code == 302
    used = effects_in_use()[0]
    assert (used.ratio, used.standing) == (3.0, "agency's own")
    back = url("effect-back", name.replace(" ", "-"))
    assert client.post(back, {"why": "too few"}).status_code == 302
    assert not HazardEffect.objects.exists()
    assert effects_in_use()[0].standing == "assumed"


def test_pavement_works_are_added_changed_and_taken_off(client_for, manager, world):
    client = client_for(manager)
    other = factories.LaneFactory.create()
    sent = {
        "wim_site": world.wim_site.pk,
        "planned_on": "2026-08-01",
        "what": "mill and overlay",
        "lane": other.pk,
    }
    refused = client.post(url("pavement-add"), sent)
    assert refused.status_code == 422
    assert "is not a lane of OV-014" in refused.content.decode()
    assert client.post(url("pavement-add"), sent | {"lane": ""}).status_code == 302
    work = PavementWork.objects.get()
    later = sent | {"lane": "", "planned_on": "2027-08-01", "why": "put off"}
    assert client.post(url("pavement-edit", work.pk), later).status_code == 302
    assert client.get(url("renewal-policies")).context["page"].n_works == 1
    gone = client.post(url("pavement-remove", work.pk), {"why": "called off"})
    assert gone.status_code == 302
    assert not PavementWork.objects.exists()


def test_works_on_one_lane_take_that_lane_and_no_other(client_for, guest, priced):
    client = client_for(guest)
    ask = {"years": "3"}
    before = client.get(url("forecast"), ask).context["found"].fleet.total.expected
    PavementWork.objects.create(
        wim_site=priced.wim_site,
        lane=priced.lanes[0],
        planned_on=dt.date(2024, 9, 1),
        what="joint repair",
    )
    found = client.get(url("forecast"), ask).context["found"]
    one = found.fleet.total.expected
    PavementWork.objects.all().delete()
    PavementWork.objects.create(
        wim_site=priced.wim_site, planned_on=dt.date(2024, 9, 1), what="overlay"
    )
    both = client.get(url("forecast"), ask).context["found"].fleet.total.expected
    assert before < one < both


def test_every_number_leads_to_its_records(client_for, guest, priced):
    page = client_for(guest).get(url("forecast")).content.decode()
    assert f"{url('lives')}?technology=polymer%20piezo" in page
    for installation in priced.live:
        assert installation.get_absolute_url() in page
    for name in ("renewal-past", "renewal-settings", "renewal-curves"):
        assert url(name) in page


def test_the_page_asks_no_more_of_the_database_for_more_sensors(
    client_for, guest, priced, django_assert_max_num_queries
):
    client = client_for(guest)
    client.get(url("forecast"))  # content types and sessions are read once
    for number in range(3, 10):
        lane = factories.LaneFactory.create(wim_site=priced.wim_site, number=number)
        factories.InstallationFactory.create(
            lane=lane, position="piezo 1", installed_on=dt.date(2020, 6, 1)
        )
    with django_assert_max_num_queries(45):
        client.get(url("forecast"))
    with django_assert_max_num_queries(30):
        client.get(url("forecast"))  # kept


def test_the_workbook_holds_order_years_sensors_and_whose_figures(
    client_for, guest, priced
):
    ask = lambda: client_for(guest).get(url("programme", "xlsx"))  # noqa: E731
    content = ask().content
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert book.sheetnames == [
        "Summary", "Order", "Years", "Sensors", "Figures", "Method",
    ]  # fmt: skip
    assert book["Sensors"].max_row == 3  # two sensors and the heading
    whose = {row[2].value for row in book["Figures"].iter_rows(min_row=2)}
    assert "assumed until the agency enters its own" in whose
    assert ask().content == content
    assert client_for(guest).get(url("programme", "doc")).status_code == 404


def test_the_paper_is_a_tagged_pdf_and_the_same_each_time(client_for, guest, priced):
    got = client_for(guest).get(url("programme", "pdf"), {"budget": "9000"})
    assert got["Content-Type"] == "application/pdf"
    assert got.content.startswith(b"%PDF")
    assert b"/MarkInfo" in got.content or b"/StructTreeRoot" in got.content
    again = client_for(guest).get(url("programme", "pdf"), {"budget": "9000"})
    assert again.content == got.content


def test_the_paper_says_no_data_with_nothing_in_the_road(client_for, guest, program):
    got = client_for(guest).get(url("programme", "pdf"))
    assert got.content.startswith(b"%PDF")
