"""Which technology for a lane: uses, place, costs, what is told apart, the paper."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from django.urls import reverse

from installs.calc.types import Technology
from installs.calc.upkeep.technology_choice import PresentMoney, choose_technology
from installs.calc.upkeep.technology_doubts import standing_of, turns
from installs.calc.upkeep.technology_types import TechnologyOption
from installs.calc.upkeep.types import DataUse
from installs.models import LaneUse, TechnologyMoney
from installs.papers.technology_choice import TOLERANCES_PCT, asked_for, technology_pdf
from installs.selectors.technology import life_draws, technology_page
from installs.services.lane_uses import lane_uses_set
from sites.models import SiteSurvey
from tests import factories
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db


def url(name, *args):
    return reverse(f"installs:{name}", args=args)


@pytest.fixture
def used(world, manager):
    """A lane used for freight statistics and pavement design."""
    lane = world.lanes[0]
    uses = [DataUse.FREIGHT_STATISTICS, DataUse.PAVEMENT_DESIGN]
    lane_uses_set(lane=lane, uses=uses, by=manager, why="load spectra asked for")
    return lane


def test_uses_are_set_and_taken_away_with_reason(used, manager):
    row = LaneUse.history.filter(lane=used).first()
    assert row.history_user == manager
    assert row.history_change_reason == "load spectra asked for"
    kept = lane_uses_set(lane=used, uses=[DataUse.BRIDGE], by=manager, why="study")
    assert [one.use for one in kept] == ["bridge loading"]
    gone = LaneUse.history.filter(lane=used, history_type="-")
    assert {one.history_change_reason for one in gone} == {"study"}
    with pytest.raises(DomainError, match="Say why"):
        lane_uses_set(lane=used, uses=[], by=manager, why=" ")
    assert LaneUse.objects.filter(lane=used).count() == 1


def test_the_strictest_use_sets_the_class(used, program, held_clock):
    page = technology_page(program, held_clock, lane=used)
    # ASTM E1318-09, table 1: gross weight 10 % (Type I), 15 % (Type II), as cited by
    # FHWA Traffic Monitoring Guide 2022, table D-1.
    assert {one.gvw_pct for _, one in page.wanted_rows} == {10.0, 15.0}
    assert page.wanted.e1318_type == "Type I"
    assert TOLERANCES_PCT["Type I"] == (25, 20, 15, 10)
    assert TOLERANCES_PCT["Type II"] == (None, 30, 20, 15)


def test_published_costs_fill_in_and_are_marked(used, program, held_clock):
    page = technology_page(program, held_clock, lane=used)
    plate = next(
        one.line for one in page.lines if one.line.technology == "bending plate"
    )
    told = " ".join(plate.origins)
    assert "21,500 USD of 1998" in told
    assert "from memory" in told
    assert "80 % assumed, no source" in told
    assert plate.rank is not None
    assert plate.cost_per_lane_month.interval.low < plate.cost_per_lane_month.mean


def test_the_agencys_own_share_and_costs_come_first(used, program, held_clock):
    TechnologyMoney.objects.create(
        technology="bending plate",
        renewal_cost=30000,
        upkeep_per_year=2000,
        accepted_share=0.5,
        price_year=2024,
        source="tender of 2024",
    )
    page = technology_page(program, held_clock, lane=used)
    plate = next(
        one.line for one in page.lines if one.line.technology == "bending plate"
    )
    told = " ".join(plate.origins)
    assert "30,000 USD of 2024, tender of 2024 (agency's own)" in told
    assert "accepted share: 50 %, agency's own" in told


def test_a_lane_without_survey_or_use_says_so(world, client_for, guest, manager):
    lane = world.lanes[1]
    text = client_for(guest).get(url("technology-lane", lane.pk)).content.decode()
    assert "annot say which class the location carries" in text
    assert "No use is set" in text
    assert url("lane-uses-edit", lane.pk) not in text
    bold = client_for(manager).get(url("technology-lane", lane.pk)).content.decode()
    assert url("lane-uses-edit", lane.pk) in bold


def test_a_technology_without_cost_is_no_data_not_zero(used, client_for, guest):
    answer = client_for(guest).get(url("technology-lane", used.pk))
    lines = {one.line.technology: one for one in answer.context["page"].lines}
    strip = lines[Technology.STRAIN_GAUGE_STRIP]  # published in other money only
    assert strip.line.cost_per_lane_month is None
    assert strip.standing == "not compared"
    piezo = lines[Technology.CERAMIC_PIEZO]
    assert piezo.standing == "not ranked: it does not reach the class"
    assert "cannot be costed" in strip.line.sentence
    assert "no data" in answer.content.decode()


def test_a_candidate_place_is_judged_by_its_survey(
    program, held_clock, client_for, guest
):
    survey = SiteSurvey.objects.create(
        place="north of the quarry gate",
        surveyed_on=dt.date(2024, 5, 1),
        wanted_type="Type I",
        curve_radius_m=300.0,
    )
    address = url("technology-survey", survey.pk)
    bare = client_for(guest).get(address)
    assert "No use is set" in bare.content.decode()
    page = client_for(guest).get(address, {"use": "pavement design"}).context["page"]
    # ASTM E1318-09, section 6 (from memory): radius of 5,700 ft (1.7 km) or more.
    assert page.choice.location_carries_it is False
    assert any(line.startswith("misses") for line in page.location.limited_by)
    survey.curve_radius_m = None
    survey.save()
    open_ = client_for(guest).get(address, {"use": "pavement design"}).context["page"]
    assert open_.choice.location_carries_it is None
    assert "survey cannot say" in open_.choice.sentence


def test_uses_are_set_on_the_page(world, client_for, manager, technician):
    lane = world.lanes[1]
    address = url("lane-uses-edit", lane.pk)
    sent = {"uses": ["bridge loading"], "why": "bridge study"}
    assert client_for(technician).post(address, sent).status_code == 403
    client = client_for(manager)
    assert client.get(address).status_code == 200
    assert client.post(address, {**sent, "why": ""}).status_code == 422
    assert client.post(address, {**sent, "uses": ["fun"]}).status_code == 422
    assert not LaneUse.objects.filter(lane=lane).exists()
    assert client.post(address, sent).status_code == 302
    assert LaneUse.objects.get(lane=lane).use == "bridge loading"
    listed = client.get(url("technology-list")).content.decode()
    assert "bridge loading" in listed


def test_the_paper_is_tagged_and_the_same_twice(used, program, held_clock):
    page = technology_page(program, held_clock, lane=used)
    one = technology_pdf(page, program=program, as_of=held_clock)
    assert one.startswith(b"%PDF-")
    assert b"/StructTreeRoot" in one
    again = technology_page(program, held_clock, lane=used)
    assert technology_pdf(again, program=program, as_of=held_clock) == one
    asked = " ".join(asked_for(page))
    assert "Type I of ASTM E1318-09" in asked
    assert "gross vehicle weight ±10 %" in asked
    # What is asked for names no way of sensing, so that any may be offered.
    assert not [one for one in Technology if one.weighs and one.value in asked]


def test_the_papers_download(used, client_for, guest):
    answer = client_for(guest).get(url("technology-lane-paper", used.pk))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"


# --- what is told apart, what turns it: made so that the answer is known --------------

KINDS = (Technology.BENDING_PLATE, Technology.LOAD_CELL)


def chooser(given, drawn):
    return choose_technology(
        DataUse.PAVEMENT_DESIGN,
        given,
        drawn,
        PresentMoney("USD", 1998, 0.0),
        rng=np.random.default_rng(3),
    )


def known_lives(plate, cell, n=400):
    return {
        kind: (np.full(n, 3.0), np.full(n, scale))
        for kind, scale in zip(KINDS, (plate, cell), strict=True)
    }


def test_costs_whose_intervals_meet_are_not_told_apart():
    options = [TechnologyOption(kind) for kind in KINDS]
    lines = chooser(options, known_lives(6.0, 12.0)).lines
    assert standing_of(lines[0], lines[0], {}) == "lowest on average"
    assert "cannot be told apart" in standing_of(lines[1], lines[0], {})


def test_what_turns_the_answer_is_found_one_input_at_a_time():
    options = [TechnologyOption(kind) for kind in KINDS]
    moved = turns(options, known_lives(6.0, 12.0), chooser)
    assert len(moved) == 12  # two technologies, three inputs, two ways
    assert not any(
        one.is_turned
        for one in moved
        if one.technology == "load cell" and "shorter" in one.what
    )
    before = chooser(options, known_lives(6.0, 12.0)).lines[0].technology
    assert all(one.is_turned == (one.first != before) for one in moved)


def test_lives_of_two_technologies_do_not_err_together(world):
    draws, bases = life_draws(dt.date(2024, 6, 1))
    assert set(bases) == {one for one in Technology if one.weighs}
    plate, cell = draws[Technology.BENDING_PLATE][1], draws[Technology.LOAD_CELL][1]
    # Independent: with n = 1000 a correlation beyond 0.13 has a chance of 4e-5
    # (Fisher's z, standard error 1 / sqrt(n - 3)).
    assert abs(np.corrcoef(np.log(plate), np.log(cell))[0, 1]) < 0.13


def test_a_page_reads_in_a_bounded_number_of_queries(
    used, client_for, guest, django_assert_max_num_queries
):
    client = client_for(guest)
    for number in range(3, 8):  # more lanes and lives cost no more queries
        lane = factories.LaneFactory.create(wim_site=used.wim_site, number=number)
        factories.InstallationFactory.create(
            lane=lane, position="piezo 1", installed_on=dt.date(2020, 1, number)
        )
    with django_assert_max_num_queries(30):
        client.get(url("technology-lane", used.pk))
    with django_assert_max_num_queries(15):
        client.get(url("technology-list"))


def test_those_not_ranked_stand_by_cost_too(used, program, held_clock):
    page = technology_page(program, held_clock, lane=used)
    for ranked in (True, False):
        costs = [
            one.line.cost_per_lane_month.mean
            for one in page.lines
            if bool(one.line.rank) is ranked and one.line.cost_per_lane_month
        ]
        assert len(costs) > 1
        assert costs == sorted(costs)
