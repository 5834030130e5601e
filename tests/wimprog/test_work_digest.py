"""The digest tells what is new, due, overdue and down, and is silent otherwise."""

import datetime as dt

import pytest
from django.core import mail
from django.core.cache import cache
from django.core.management import call_command

from installs.models import DownSpell, RoadsideSend, WorkItem
from installs.services.work import work_drop, work_found
from tests.conftest import TODAY
from wimprog.digest import digest_of
from wimprog.work import find_work

DAY = dt.timedelta(days=1)


@pytest.fixture(autouse=True)
def fresh():
    cache.clear()


@pytest.fixture
def at(world, technician):
    """Raises an item that was put on the list on the held day."""

    def raise_(days_ago=0, **facts):
        facts = {"reason": "Hole in the road.", "since_on": TODAY, **facts}
        item = work_found(wim_site=world.wim_site, by=technician, **facts)
        stamp = dt.datetime.combine(TODAY - days_ago * DAY, dt.time(18), tzinfo=dt.UTC)
        WorkItem.objects.filter(pk=item.pk).update(created_at=stamp)
        return item

    return raise_


def told(program, **how):
    return {one.heading: one for one in digest_of(program, TODAY, **how).parts}


def test_new_is_of_the_last_day_or_week(at, program):
    at()
    at(days_ago=3, reason="Old hole.")
    at(days_ago=9, reason="Older hole.")
    assert told(program)["New on the work list"].n == 1
    assert told(program, weekly=True)["New on the work list"].n == 2


def test_a_hazard_is_told_first_and_a_lane_down_before_it(at, world, program):
    at(is_hazard=True, reason="Plate is loose.")
    DownSpell.objects.create(
        lane=world.lanes[0],
        began_at=dt.datetime(2024, 5, 20, tzinfo=dt.UTC),
        cause="power",
    )
    DownSpell.objects.create(
        lane=world.lanes[1],
        began_at=dt.datetime(2024, 5, 1, tzinfo=dt.UTC),
        ended_at=dt.datetime(2024, 5, 2, tzinfo=dt.UTC),
        cause="power",
    )
    parts = digest_of(program, TODAY).parts
    assert [one.heading for one in parts][:2] == ["Down", "To see to at once"]
    assert [text for text, _ in parts[0].lines] == [
        "OV-014 lane E1: power, since 2024-05-20"
    ]
    assert "Plate is loose. (can hurt somebody)" in parts[1].lines[0][0]


def test_each_due_day_is_told_once(at, world, program):
    """Calibrations never made are overdue; on the work list they are not told twice."""
    before = told(program)["Overdue"].n
    assert before == len(world.lanes)
    find_work(program, TODAY)
    calibrations = [
        text for text, _ in told(program)["Overdue"].lines if "alibrate" in text
    ]
    assert len(calibrations) == before


def test_due_soon_is_within_two_weeks(at, program):
    for days in (0, 14, 15):
        item = at(reason=f"In {days} days.")
        item.due_on = TODAY + days * DAY
        item.save()
    texts = [text for text, _ in told(program)["Due soon"].lines]
    assert [text.split(": ")[1].split(".")[0] for text in texts] == [
        "In 0 days",
        "In 14 days",
    ]


def test_a_clash_that_waits_is_told_and_a_settled_one_is_not(
    world, technician, program
):
    for n, state in enumerate(("clash", "settled", "kept")):
        RoadsideSend.objects.create(
            client_id=f"00000000-0000-4000-8000-00000000000{n}",
            form="visit",
            typed_at=dt.datetime(2024, 5, 30, tzinfo=dt.UTC),
            state=state,
            sent_by=technician,
        )
    assert told(program)["Clashes of sent forms"].n == 1


def test_long_lists_end_in_a_number(at, program):
    for n in range(18):
        at(reason=f"Hole {n}.")
    part = told(program)["New on the work list"]
    assert (len(part.lines), part.n_more) == (15, 3)


def test_the_mail_has_text_and_html_and_whole_addresses(at, manager, settings, capsys):
    settings.WIMPROG_ADDRESS = "https://wim.example"
    manager.email = "manager@agency.example"
    manager.save()
    item = at(reason="Grout <b>loose</b> & wet.")
    call_command("send_digest", "--to", "program manager", "--to", "a@b.example")
    assert "Sent to 2 addresses." in capsys.readouterr().out
    assert [m.to for m in mail.outbox] == [["manager@agency.example"], ["a@b.example"]]
    sent = mail.outbox[0]
    html = sent.alternatives[0][0]
    address = f"https://wim.example{item.get_absolute_url()}"
    assert address in sent.body
    assert "Grout <b>loose</b> & wet." in sent.body
    assert f'href="{address}"' in html
    assert "Grout &lt;b&gt;loose&lt;/b&gt; &amp; wet." in html
    assert '<html lang="en">' in html
    assert sent.subject.startswith("WIM 2024-06-01: ")


def test_nothing_to_say_is_not_sent_unless_asked(program, held_clock, capsys):
    call_command("send_digest", "--to", "a@b.example")
    assert "nothing was sent" in capsys.readouterr().out
    assert mail.outbox == []
    call_command("send_digest", "--to", "a@b.example", "--always")
    assert "Nothing is new, due, overdue or down." in mail.outbox[0].body


@pytest.mark.parametrize(
    ("to", "said"),
    [
        ("nobody", "neither a mail address nor a role; roles are analyst"),
        ("guest", "Nobody of the role “guest” has a mail address"),
    ],
)
def test_an_address_that_cannot_be_ends_with_status_2(to, said, program, guest, capsys):
    with pytest.raises(SystemExit) as left:
        call_command("send_digest", "--to", to)
    assert left.value.code == 2
    assert said in capsys.readouterr().err
    assert mail.outbox == []


def test_work_that_was_closed_is_not_told(at, program, manager):
    item = at(is_hazard=True)
    work_drop(item=item, reason="mended", by=manager)
    assert "To see to at once" not in told(program)
    assert "New on the work list" not in told(program)
