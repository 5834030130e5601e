"""A visit on one page: all of it is kept, or nothing; what is wrong is told."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from installs.calc.upkeep.types import (
    CabinetFinding,
    CabinetPart,
    DowntimeCause,
    WorkState,
)
from installs.models import (
    CabinetCheck,
    DownSpell,
    MaintenanceVisit,
    PreventiveDone,
    StockEntry,
    WorkItem,
)
from installs.selectors.stores import stock_of
from installs.selectors.visits import site_work, used_at_visit
from installs.services.downtime import down_spell_save
from installs.services.visit_inputs import (
    CameBack,
    PartCheck,
    PartUsed,
    RuleDone,
    WentDown,
    WorkDone,
    WorkFound,
)
from installs.services.visits import visit_log
from tests import factories
from tests.installs import visit_factories as make
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db

SEND = {
    "purpose": "fault",
    "arrived_at": "2024-05-31T09:00",
    "left_at": "2024-05-31T11:30",
    "people": "M. Tarn, J. Ford",
    "findings": "Water in the pull box",
}


def add_url(wim_site):
    return f"{reverse('installs:visit-add')}?site={wim_site.code}"


def unsaved(wim_site, **parts):
    return MaintenanceVisit(
        wim_site=wim_site,
        **{
            "arrived_at": dt.datetime(2024, 5, 31, 15, tzinfo=dt.UTC),
            "left_at": dt.datetime(2024, 5, 31, 17, tzinfo=dt.UTC),
            "purpose": "fault",
            "people": "M. Tarn",
            **parts,
        },
    )


def test_one_post_keeps_everything(client_for, technician, world):
    box, loop = make.work(world.wim_site), make.work(world.wim_site, "Test the loop.")
    spell, part, yearly = make.down(world.lanes[0]), make.spare(), make.rule()
    sensor = world.live[1]
    answer = client_for(technician).post(
        add_url(world.wim_site),
        SEND
        | {
            "work_done": [str(box.pk)],
            f"work_note_{box.pk}": "lid sealed anew",
            "found_0": "The plate at the edge is loose.",
            "found_0_where": f"sensor:{sensor.pk}",
            "found_0_flags": ["hazard", "doubt"],
            "check_battery": "watch",
            "check_battery_rest_voltage_v": "12.60",
            "check_battery_load_voltage_v": "11.8",
            "check_battery_load_current_a": "20",
            "check_moisture": "needs work",
            "check_moisture_note": "Seal of the door is torn.",
            "check_grounding": "sound",
            "check_grounding_earth_resistance_ohm": "4.0",
            "part_0": str(part.pk),
            "part_0_n": "2",
            "back": [str(spell.pk)],
            f"back_{spell.pk}_at": "2024-05-31T10:15",
            "down_0": f"sensor:{sensor.pk}",
            "down_0_cause": "sensor failure",
            "down_0_since": "2024-05-30T08:00",
            "preventive_done": [str(yearly.pk)],
        },
    )
    assert answer.status_code == 302
    visit = MaintenanceVisit.objects.get()
    assert answer["Location"] == visit.get_absolute_url()

    box.refresh_from_db()
    assert (box.state, box.done_at_visit, box.done_on) == (
        WorkState.DONE,
        visit,
        dt.date(2024, 5, 31),
    )
    assert box.closing_note == "lid sealed anew"
    loop.refresh_from_db()
    assert loop.state == WorkState.FOUND
    plate, seal = visit.opened_work.order_by("pk")
    assert (plate.installation, plate.lane) == (sensor, sensor.lane)
    assert plate.is_hazard
    assert plate.spoils_data
    assert not plate.lane_is_down
    assert (seal.part, seal.reason) == (
        CabinetPart.MOISTURE,
        "Seal of the door is torn.",
    )

    battery = visit.cabinet_checks.get(part="battery")
    assert (battery.rest_voltage_v, battery.load_voltage_v) == (12.6, 11.8)
    assert battery.as_typed["rest_voltage_v"] == ["12.60", "V"]
    assert visit.cabinet_checks.count() == 3  # not a row for what was not looked at
    assert used_at_visit(visit) == {part.pk: 2}
    assert stock_of([part.pk]) == {part.pk: 1}

    spell.refresh_from_db()
    assert spell.ended_at == dt.datetime(2024, 5, 31, 16, 15, tzinfo=dt.UTC)
    assert spell.ended_at_visit == visit
    begun = DownSpell.objects.get(begun_at_visit=visit)
    assert begun.began_at == dt.datetime(2024, 5, 30, 14, tzinfo=dt.UTC)
    assert begun.cause == DowntimeCause.SENSOR_FAILURE
    assert PreventiveDone.objects.get().done_on == dt.date(2024, 5, 31)

    page = client_for(technician).get(visit.get_absolute_url()).content.decode()
    for told in (
        "lid sealed anew",
        "The plate at the edge is loose.",
        "at rest 12.60 V, under load 11.8 V, load 20 A",
        "to earth 4.0 Ω",
        f'2 × <a href="{part.get_absolute_url()}">Battery 12 V, 80 Ah</a>',
        "1 in the store",
        "still down",
        "Load test of the battery",
        f"{reverse('installs:test-add', args=[sensor.pk])}?visit={visit.pk}",
    ):
        assert told in page, told


def test_the_form_shows_what_waits_and_needs_no_script(client_for, technician, world):
    make.work(world.wim_site, "Loose plate.", is_hazard=True)
    make.down(world.lanes[0])
    make.rule()
    page = client_for(technician).get(add_url(world.wim_site)).content.decode()
    assert page.count("<form") == 2  # signing out, and the visit
    assert 'id="roadside-form" data-roadside="visit"' in page
    assert "can hurt somebody" in page
    assert "works again" in page
    assert "not done before" in page
    assert "Batteries: acid and gas" in page


def test_urgent_work_comes_first(world):
    waits = make.work(world.wim_site, "Paint the door.")
    old = make.work(world.wim_site, "No data.", lane=world.lanes[0], lane_is_down=True)
    hazard = make.work(world.wim_site, "Loose plate.", is_hazard=True)
    make.work(factories.SiteFactory(), "Elsewhere.")
    found = site_work(world.wim_site, dt.date(2024, 6, 1))
    assert [one.item for one in found] == [old, hazard, waits]
    assert [str(one.urgency) for one in found] == [
        "at once",  # 31 days without data, more than 14
        "at once",
        "with the next trip",
    ]


# --- clocks --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"arrived_at": "2024-06-01T06:06", "left_at": ""},
            "you wrote 2024-06-01 06:06, and the program&#x27;s clock shows 2024-06-01 "
            "06:00 at the site",
        ),
        ({"left_at": "2024-06-02T09:00"}, "you wrote 2024-06-02 09:00"),
        ({"left_at": "2024-05-31T08:00"}, "Nobody can leave before arriving."),
        (
            {"arrived_at": "1994-05-31T08:00"},
            "1994-05-31 is older than the site: the first that is known of OV-014 is "
            "2018-06-01",
        ),
    ],
)
def test_a_clock_that_is_wrong_is_told_and_nothing_typed_is_lost(
    client_for, technician, world, changes, words
):
    item = make.work(world.wim_site)
    sent = SEND | changes | {"work_done": [str(item.pk)], "found_0": "Wasps."}
    answer = client_for(technician).post(add_url(world.wim_site), sent)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    assert "Water in the pull box" in page
    assert 'value="Wasps."' in page
    assert f'value="{item.pk}" id="id_work_done_{item.pk}" checked' in page
    assert not MaintenanceVisit.objects.exists()
    item.refresh_from_db()
    assert item.state == WorkState.FOUND


def test_five_minutes_ahead_are_let_pass(client_for, technician, world):
    sent = SEND | {"arrived_at": "2024-06-01T06:05", "left_at": ""}
    assert client_for(technician).post(add_url(world.wim_site), sent).status_code == 302


def test_a_site_is_visited_while_it_is_built(technician, world):
    arrived = dt.datetime(2018, 4, 1, 15, tzinfo=dt.UTC)
    early = {"arrived_at": arrived, "left_at": None}
    visit = unsaved(world.wim_site, purpose="installation", **early)
    assert visit_log(visit=visit, by=technician, why="").visit.pk


# --- forged and stale ----------------------------------------------------------------


@pytest.mark.parametrize("kind", ["work", "sensor", "lane", "spell", "part", "rule"])
def test_what_belongs_elsewhere_is_refused_in_words(
    client_for, technician, world, kind
):
    other = factories.InstallationFactory()
    site = other.lane.wim_site
    sent = {
        "work": {"work_done": [str(make.work(site).pk)]},
        "sensor": {"found_0": "Look.", "found_0_where": f"sensor:{other.pk}"},
        "lane": {"down_0": f"lane:{other.lane_id}", "down_0_cause": "power"},
        "spell": {"back": [str(make.down(other.lane).pk)]},
        "part": {"part_0": "99999", "part_0_n": "1"},
        "rule": {"preventive_done": ["99999"]},
    }[kind]
    answer = client_for(technician).post(add_url(world.wim_site), SEND | sent)
    assert answer.status_code == 422
    page = answer.content.decode()
    told = "Select a valid choice" if kind == "part" else "not one of this site&#x27;s"
    assert told in page
    assert "Water in the pull box" in page
    assert not MaintenanceVisit.objects.exists()


def test_the_service_refuses_what_a_form_could_not_have_sent(technician, world):
    other = factories.InstallationFactory()
    elsewhere = {
        "work_done": [WorkDone(make.work(other.lane.wim_site))],
        "work_found": [WorkFound("Look.", lane=other.lane)],
        "down": [WentDown(world.lanes[0], world.live[1], DowntimeCause.POWER)],
        "back": [CameBack(make.down(other.lane))],
        "preventive": [RuleDone(make.rule(), other)],
    }
    for name, value in elsewhere.items():
        with pytest.raises(DomainError):
            visit_log(
                visit=unsaved(world.wim_site), by=technician, why="", **{name: value}
            )
    assert not MaintenanceVisit.objects.exists()
    assert WorkItem.objects.count() == 1


def test_all_of_a_visit_is_kept_or_nothing(technician, world):
    item, part = make.work(world.wim_site), make.spare()
    make.down(world.lanes[0])
    with pytest.raises(DomainError, match="is down already"):
        visit_log(
            visit=unsaved(world.wim_site),
            work_done=[WorkDone(item)],
            work_found=[WorkFound("Wasps.")],
            parts=[PartUsed(part, 1)],
            down=[WentDown(world.lanes[0], None, DowntimeCause.POWER)],
            by=technician,
            why="",
        )
    item.refresh_from_db()
    assert item.state == WorkState.FOUND
    assert WorkItem.objects.count() == 1
    assert stock_of([part.pk]) == {part.pk: 3}
    assert not MaintenanceVisit.objects.exists()


def test_work_that_somebody_closed_meanwhile_is_a_warning(technician, world):
    item = make.work(world.wim_site, state="not needed")
    kept = visit_log(
        visit=unsaved(world.wim_site),
        work_done=[WorkDone(item)],
        by=technician,
        why="",
    )
    assert "was closed already (not needed)" in kept.warnings[0]
    item.refresh_from_db()
    assert item.state == WorkState.NOT_NEEDED


def test_stock_below_zero_is_a_warning_not_a_refusal(client_for, technician, world):
    part = make.spare(in_store=1)
    answer = client_for(technician).post(
        add_url(world.wim_site),
        SEND | {"part_0": part.pk, "part_0_n": "3"},
        follow=True,
    )
    page = answer.content.decode()
    assert "stands at -2 now, below zero" in page
    assert stock_of([part.pk]) == {part.pk: -2}


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"part_0_n": "3"}, "Choose the part that was used."),
        ({"found_0_flags": ["hazard"]}, "Write in a sentence what is to be done."),
        ({"down_0_cause": "power"}, "Choose the lane or the sensor that is down."),
        ({"check_battery_rest_voltage_v": "12.6"}, "Say what these values mean"),
        (
            {"check_pests": "needs work"},
            "Say what is to be done; it goes on the work list.",
        ),
        (
            {"check_battery": "sound", "check_battery_rest_voltage_v": "1260"},
            "a meter shows 0 to 100 V",
        ),
        (
            {"check_battery": "sound", "check_battery_rest_voltage_v": "twelve"},
            "in V",
        ),
        (
            {
                "check_battery": "sound",
                "check_battery_rest_voltage_v": "11.9",
                "check_battery_load_voltage_v": "12.7",
            },
            "which a battery alone cannot give",
        ),
    ],
)
def test_half_a_row_is_sent_back(client_for, technician, world, sent, words):
    answer = client_for(technician).post(add_url(world.wim_site), SEND | sent)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not MaintenanceVisit.objects.exists()


def test_a_lane_goes_down_once_and_times_stay_in_order(technician, world):
    lane = world.lanes[0]
    first = make.down(lane)
    with pytest.raises(DomainError, match="is down already, since 2024-05-20"):
        visit_log(
            visit=unsaved(world.wim_site),
            down=[WentDown(lane, None, DowntimeCause.POWER)],
            by=technician,
            why="",
        )
    first.ended_at = dt.datetime(2024, 5, 1, tzinfo=dt.UTC)
    with pytest.raises(DomainError, match="before it went down"):
        down_spell_save(spell=first, by=technician, why="")
    first.ended_at = make.NOON + dt.timedelta(hours=1)
    with pytest.raises(DomainError, match="the program's clock shows"):
        down_spell_save(spell=first, by=technician, why="")


# --- corrections ---------------------------------------------------------------------


def test_a_correction_keeps_who_and_why_and_books_the_difference(
    client_for, technician, world
):
    client = client_for(technician)
    item, part, yearly = make.work(world.wim_site), make.spare(), make.rule()
    sent = SEND | {
        "work_done": [str(item.pk)],
        "part_0": part.pk,
        "part_0_n": "2",
        "check_clock": "needs work",
        "check_clock_note": "Four minutes slow.",
        "preventive_done": [str(yearly.pk)],
    }
    client.post(add_url(world.wim_site), sent)
    visit = MaintenanceVisit.objects.get()
    edit = reverse("installs:visit-edit", args=[visit.pk])
    page = client.get(edit)
    form = page.context["form"]
    assert form["part_0_n"].value() == 2
    assert form["check_clock"].value() == "needs work, listed"
    assert "done at this visit" in page.content.decode()

    sent |= {"check_clock": "needs work, listed", "part_0_n": "1"}
    sent |= {"work_done": [], "preventive_done": []}
    answer = client.post(edit, sent)
    assert answer.status_code == 422  # a correction says why
    answer = client.post(edit, sent | {"why": "one battery went back"})
    assert answer.status_code == 302

    moves = StockEntry.objects.filter(visit=visit).order_by("pk")
    assert [(one.move, one.quantity) for one in moves] == [
        ("used", 2),
        ("returned unused", 1),
    ]
    assert stock_of([part.pk]) == {part.pk: 2}
    item.refresh_from_db()
    assert (item.state, item.done_at_visit) == (WorkState.FOUND, None)
    assert visit.opened_work.count() == 1  # the clock is not put on the list twice
    assert not PreventiveDone.objects.exists()
    gone = PreventiveDone.history.filter(history_type="-").get()
    assert gone.history_change_reason == "one battery went back"
    assert visit.history.first().history_change_reason == "one battery went back"
    page = client.get(visit.get_absolute_url()).content.decode()
    assert "one battery went back" in page

    client.post(edit, sent | {"part_0": "", "part_0_n": "", "why": "none after all"})
    assert stock_of([part.pk]) == {part.pk: 3}
    assert used_at_visit(visit) == {}


def test_a_check_is_corrected_not_repeated(technician, world):
    kept = visit_log(
        visit=unsaved(world.wim_site),
        checks=[PartCheck(CabinetPart.LOCK, CabinetFinding.SOUND)],
        by=technician,
        why="",
    ).visit
    visit_log(
        visit=kept,
        checks=[PartCheck(CabinetPart.LOCK, CabinetFinding.WATCH, note="stiff")],
        by=technician,
        why="looked again",
    )
    check = CabinetCheck.objects.get()
    assert (check.finding, check.note) == ("watch", "stiff")
    assert check.history.count() == 2


def test_scheduled_work_done_counts_for_its_rule(technician, world):
    yearly = make.rule()
    item = make.work(
        world.wim_site,
        "Load test is due.",
        source="preventive schedule",
        source_key=f"schedule:{yearly.pk}:site:{world.wim_site.pk}",
    )
    kept = visit_log(
        visit=unsaved(world.wim_site),
        work_done=[WorkDone(item)],
        preventive=[],
        by=technician,
        why="",
    ).visit
    done = PreventiveDone.objects.get()
    assert (done.rule, done.visit) == (yearly, kept)


def test_parts_named_twice_are_added(technician, world):
    part = make.spare()
    used = [PartUsed(part, 1), PartUsed(part, 1)]
    kept = visit_log(
        visit=unsaved(world.wim_site), parts=used, by=technician, why=""
    ).visit
    assert used_at_visit(kept) == {part.pk: 2}


def test_a_time_down_is_corrected_with_a_reason(client_for, technician, world):
    spell = make.down(world.lanes[0])
    url = reverse("installs:down-edit", args=[spell.pk])
    sent = {
        "began_at": "2024-05-19T08:00",
        "ended_at": "2024-05-21T08:00",
        "cause": "communications",
    }
    client = client_for(technician)
    assert client.post(url, sent).status_code == 422
    answer = client.post(url, sent | {"why": "the log of the modem"})
    assert answer.status_code == 302
    spell.refresh_from_db()
    assert spell.cause == DowntimeCause.COMMUNICATIONS
    assert spell.history.first().history_change_reason == "the log of the modem"


def test_the_roadside_tells_what_waits_and_what_is_down(client_for, technician, world):
    for n in range(7):
        make.work(world.wim_site, f"Work {n}.")
    make.down(world.lanes[0])
    url = f"{reverse('installs:roadside')}?site=OV-014"
    page = client_for(technician).get(url)
    told = page.content.decode()
    assert "Work that waits here (7)" in told
    assert len(page.context["waits"].work) == 5
    assert "Down now" in told
    assert reverse("installs:cabinet", args=[world.wim_site.pk]) in told
    assert reverse("installs:curing-list") in told
    assert reverse("installs:tests-import") in told
    # its place was filled, so the failure of 2021 is not told
    assert not page.context["waits"].dead
