"""One form that a phone sends by several tries at the same moment is kept once."""

from __future__ import annotations

import threading
import uuid

from django.contrib.auth.models import Group, User
from django.db import connections
from django.test import Client

from installs.models import MaintenanceVisit, RoadsideSend
from tests import factories
from tests.installs.test_records_together import own_database  # noqa: F401 (fixture)

N_TRIES = 6


def _tries(user: User, url: str, forms: list[dict[str, str]]) -> list[object]:
    """Send the forms in threads that start together; what was answered."""
    barrier = threading.Barrier(len(forms))
    answers: list[object] = []

    def send(form: dict[str, str]) -> None:
        client = Client()
        client.force_login(user)
        try:
            barrier.wait()
            answer = client.post(url, form, headers={"X-Roadside": "waiting"})
            answers.append((answer.status_code, answer.json()))
        except BaseException as error:
            answers.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=send, args=(form,)) for form in forms]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


def _form(mark: str) -> dict[str, str]:
    return {
        "client_id": mark,
        "purpose": "routine check",
        "arrived_at": "2024-05-30T09:00",
        "people": "M. Tarn",
    }


def _technician() -> User:
    user = User.objects.create(username="at-the-road")
    user.groups.add(Group.objects.get(name="technician"))
    return user


def test_one_form_sent_by_many_tries_at_once_is_one_visit(own_database):  # noqa: F811
    factories.ProgramFactory.create()
    site = factories.SiteFactory.create(code="OV-014")
    forms = [_form(str(uuid.uuid4()))] * N_TRIES
    url = f"/roadside/visits/add/?site={site.code}"
    answers = _tries(_technician(), url, forms)
    visit = MaintenanceVisit.objects.get()
    assert [one[0] for one in answers] == [200] * N_TRIES, answers
    assert {one[1]["target"] for one in answers} == {visit.get_absolute_url()}
    assert sorted(one[1]["again"] for one in answers) == [False] + [True] * 5
    assert RoadsideSend.objects.get().target == visit.get_absolute_url()


def test_different_forms_at_once_are_all_kept(own_database):  # noqa: F811
    factories.ProgramFactory.create()
    site = factories.SiteFactory.create(code="OV-014")
    forms = [_form(str(uuid.uuid4())) for _ in range(N_TRIES)]
    url = f"/roadside/visits/add/?site={site.code}"
    answers = _tries(_technician(), url, forms)
    assert [one[0] for one in answers] == [200] * N_TRIES, answers
    assert MaintenanceVisit.objects.count() == N_TRIES
    assert RoadsideSend.objects.count() == N_TRIES
