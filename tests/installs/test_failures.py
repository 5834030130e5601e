"""Failures: ending a life in failure, reports, corrections, claims. All invented."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from installs.calc.failure_modes import modes_of
from installs.calc.types import FailureMode, Technology
from installs.models import FailureReport, Installation
from installs.selectors.failures import failure_facts
from installs.services.failures import (
    FailureKnown,
    failure_claim,
    failure_correct,
    failure_report,
    installation_fail,
)
from tests import factories
from tests.installs.test_failures_warranty import life, read_on  # noqa: F401
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db
DAY = dt.date(2024, 4, 10)


def fail(life, by, ended_on, **known):  # noqa: F811
    return installation_fail(
        installation=life,
        ended_on=ended_on,
        failure_mode="splice",
        known=FailureKnown(**known),
        by=by,
        why="",
    )


def test_modes_follow_the_technology_and_unknown_is_always_one():
    plate = FailureMode.PLATE_OR_ANCHOR
    for technology in Technology:
        assert modes_of(technology)[-1] is FailureMode.UNKNOWN
    assert plate in modes_of("bending plate")
    assert plate not in modes_of("polymer piezo")


def test_a_life_and_its_report_are_kept_in_one_step(world, technician):
    report = fail(world.live[0], technician, DAY, evidence="reads 0.1 MΩ")
    world.live[0].refresh_from_db()
    assert (world.live[0].ended_on, world.live[0].failure_mode) == (DAY, "splice")
    assert (report.found_on, report.mode) == (DAY, "splice")
    assert report.found_by == "technician"
    assert report.history.get().history_user == technician


@pytest.mark.parametrize(
    ("known", "said"),
    [
        ({"found_on": dt.date(2024, 6, 2)}, "ahead"),
        ({"found_on": dt.date(2024, 4, 9)}, "before its life ended"),
        ({"last_good_on": dt.date(2024, 4, 11)}, "still worked"),
        ({"last_good_on": dt.date(2021, 1, 1)}, "before the sensor was installed"),
        (
            {"last_good_on": dt.date(2024, 4, 8), "first_bad_on": dt.date(2024, 4, 2)},
            "before it was last good",
        ),
        ({"day_is_known": True, "last_good_on": DAY}, "the one or the other"),
    ],
)
def test_days_that_cannot_be_are_refused_and_the_life_goes_on(
    world, technician, known, said
):
    with pytest.raises((DomainError, ValidationError), match=said):
        fail(world.live[0], technician, DAY, **known)
    assert Installation.objects.get(pk=world.live[0].pk).ended_on is None
    assert not FailureReport.objects.exists()


def test_a_mode_of_another_technology_and_a_visit_elsewhere_are_refused(
    world, technician
):
    visit = factories.MaintenanceVisitFactory()
    with pytest.raises(DomainError, match="another site"):
        fail(world.live[0], technician, DAY, visit=visit)
    with pytest.raises(DomainError, match="has no plate or anchor"):
        failure_report(
            installation=world.failed,
            failure_mode="plate or anchor",
            known=FailureKnown(),
            by=technician,
            why="",
        )


def test_only_a_failed_life_has_a_report_and_only_one(world, technician):
    def report(one):
        return failure_report(
            installation=one,
            failure_mode="splice",
            known=FailureKnown(),
            by=technician,
            why="",
        )

    with pytest.raises(DomainError, match="end its installation as failed first"):
        report(world.live[0])
    report(world.failed)
    with pytest.raises(DomainError, match="reported already"):
        report(world.failed)


def test_a_correction_needs_its_reason_and_the_life_follows(world, technician):
    report = fail(world.live[0], technician, DAY)
    report.mode = "lead"
    with pytest.raises(DomainError, match="Say why"):
        failure_correct(report=report, ended_on=DAY, by=technician, why=" ")
    earlier = dt.date(2024, 4, 2)
    failure_correct(report=report, ended_on=earlier, by=technician, why="dug up")
    kept = Installation.objects.get(pk=world.live[0].pk)
    assert (kept.ended_on, kept.failure_mode) == (earlier, "lead")
    assert kept.history.first().history_change_reason == "dug up"


def test_a_claim_goes_step_by_step_and_needs_its_reference(world, manager):
    report = fail(world.live[0], manager, DAY)

    def claim(word, ref=""):
        return failure_claim(
            report=report, claim=word, claim_ref=ref, by=manager, why=""
        )

    with pytest.raises(DomainError, match="can become “made”"):
        claim("granted", "R-1")
    with pytest.raises(DomainError, match="Give the reference"):
        claim("made")
    claim("made", "R-1")
    assert claim("granted", "R-1").claim == "granted"
    assert report.history.first().history_change_reason == "warranty claim granted"


def test_logging_a_failure_tells_the_warranty_at_once(
    client_for,
    technician,
    life,  # noqa: F811
):
    read_on(life, (2022, 5, 3), 500.0)
    client = client_for(technician)
    url = reverse("installs:installation-end", args=[life.pk])
    page = client.get(url).content.decode()
    assert "Empty: 2022-05-03, its last good electrical test." in page
    assert "plate or anchor" not in page
    send = {
        "ended_on": "2024-04-10",
        "end_reason": "failed",
        "failure_mode": "element",
        "evidence": "no output under the test vehicle",
    }
    wrong = client.post(url, send | {"end_reason": "pavement works"})
    assert wrong.status_code == 422
    assert "is no failure: leave this empty" in wrong.content.decode()
    answer = client.post(url, send, follow=True)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Inside warranty with 20 days to spare" in page
    assert "between 3 May 2022 and 10 Apr 2024" in page
    assert "lead and splice ruled out" in page
    sheet = reverse("installs:failure-sheet", args=[FailureReport.objects.get().pk])
    assert "OV-77" in client.get(sheet).content.decode()


def test_old_failures_are_offered_to_be_reported(client_for, technician, guest, world):
    client = client_for(technician)
    add = reverse("installs:failure-add", args=[world.failed.pk])
    for page in (reverse("installs:failure-list"), world.failed.get_absolute_url()):
        assert add in client.get(page).content.decode()
        assert add not in client_for(guest).get(page).content.decode()
    answer = client.post(
        add, {"failure_mode": "splice", "last_good_on": "2021-01-05"}, follow=True
    )
    page = answer.content.decode()
    assert "between 5 Jan 2021 and 1 Jun 2021" in page
    assert "no purchase is entered" in page
    report = FailureReport.objects.get()
    edit = reverse("installs:failure-edit", args=[report.pk])
    send = {
        "ended_on": "2021-06-01",
        "failure_mode": "lead",
        "found_on": "2021-06-01",
        "found_by": "J. Ford",
        "last_good_on": "2021-01-05",
        "evidence": "cut",
    }
    assert client.post(edit, send).status_code == 422
    assert client.post(edit, send | {"why": "seen later"}).status_code == 302
    claim = reverse("installs:failure-claim", args=[report.pk])
    refused = client.post(claim, {"claim": "granted", "claim_ref": "R-9"})
    assert refused.status_code == 422
    assert "can become" in refused.content.decode()
    client.post(claim, {"claim": "made", "claim_ref": "R-9"})
    report.refresh_from_db()
    assert (report.mode, report.claim, report.claim_ref) == ("lead", "made", "R-9")
    assert client_for(guest).post(claim, {"claim": "refused"}).status_code == 403


@pytest.mark.parametrize(
    ("send", "kept"),
    [
        ({}, dt.date(2024, 3, 3)),
        ({"day_is_known": "on"}, None),
        ({"ended_on": "2024-02-01"}, None),
    ],
)
def test_the_first_bad_test_is_proposed_and_gives_way(
    client_for,
    technician,
    life,  # noqa: F811
    send,
    kept,
):
    read_on(life, (2023, 5, 3), 500.0)
    read_on(life, (2024, 3, 3), 1.0)
    client = client_for(technician)
    url = reverse("installs:installation-end", args=[life.pk])
    page = client.get(url).content.decode()
    assert 'value="2024-03-03"' in page
    given = {
        "ended_on": "2024-04-10",
        "end_reason": "failed",
        "failure_mode": "splice",
        "first_bad_on": "2024-03-03",
    }
    assert client.post(url, given | send).status_code == 302
    assert FailureReport.objects.get().first_bad_on == kept


def test_a_first_bad_day_inside_the_warranty_counts_not_the_day_it_was_found(
    technician,
    life,  # noqa: F811
):
    read_on(life, (2022, 5, 3), 500.0)
    # Cover ends with 30 April 2024; known bad on 10 April, found on 20 May.
    found = dt.date(2024, 5, 20)
    report = fail(life, technician, found, first_bad_on=DAY)
    assert (
        "Inside warranty with 20 days to spare"
        in failure_facts(report)["warranty"].sentence
    )
    report.first_bad_on = None
    failure_correct(report=report, ended_on=found, by=technician, why="not sure")
    assert failure_facts(report)["warranty"].sentence.startswith("Perhaps inside")


def test_a_proposed_day_does_not_hinder_another_ending(
    client_for,
    technician,
    life,  # noqa: F811
):
    read_on(life, (2024, 3, 3), 1.0)
    url = reverse("installs:installation-end", args=[life.pk])
    send = {"end_reason": "pavement works", "first_bad_on": "2024-03-03"}
    answer = client_for(technician).post(url, send | {"ended_on": "2024-04-10"})
    assert answer.status_code == 302
    assert not FailureReport.objects.exists()
