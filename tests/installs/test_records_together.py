"""Many people fill one record at the same moment: nothing that was typed is lost.

In a database of its own, a file on SQLite (where the suite's own lies in memory, which
threads cannot share), a database on PostgreSQL; so nothing has to be emptied after.
"""

from __future__ import annotations

import sqlite3
import threading
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from typing import Any

import pytest
from django.contrib.auth.models import Group, User
from django.db import connection, connections

from installs import selectors, services
from installs.models import InstallationRecord, ItemEntry
from tests import factories
from tests.installs import record_factories as make

N_PEOPLE = 40
N_ANSWERS = 3


@pytest.fixture
def own_database(
    django_db_setup: None, django_db_blocker: Any, tmp_path: Any
) -> Iterator[None]:
    """A copy of the suite's empty database that any thread may open and commit to."""
    with django_db_blocker.unblock():
        config = connection.settings_dict
        shared, mine = config["NAME"], _copy(tmp_path)
        kept = connections["default"]
        del connections["default"]
        config["NAME"] = mine
        try:
            yield
        finally:
            connections["default"].close()
            config["NAME"] = shared
            connections["default"] = kept
            if kept.vendor == "postgresql":
                with kept._nodb_cursor() as cursor:
                    cursor.execute(f'DROP DATABASE "{mine}"')


def _copy(tmp_path: Any) -> str:
    if connection.vendor == "sqlite":
        place = str(tmp_path / "together.sqlite3")
        connection.ensure_connection()
        with closing(sqlite3.connect(place)) as copy:
            connection.connection.backup(copy)
        return place
    name = f"together_{uuid.uuid4().hex}"
    shared = connection.settings_dict["NAME"]
    connection.close()
    with connection._nodb_cursor() as cursor:
        cursor.execute(f'CREATE DATABASE "{name}" TEMPLATE "{shared}"')
    return name


def _people(n: int) -> list[User]:
    group = Group.objects.get(name="technician")
    people = [User.objects.create(username=f"inspector-{i}") for i in range(n)]
    for one in people:
        one.groups.add(group)
    return people


def _all_at_once(calls: list[Callable[[], None]]) -> list[BaseException]:
    """Run the calls in threads that start together; what they raised."""
    barrier = threading.Barrier(len(calls))
    raised: list[BaseException] = []

    def run(call: Callable[[], None]) -> None:
        try:
            barrier.wait()
            call()
        except BaseException as error:
            raised.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(call,)) for call in calls]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


def _record(by: User) -> InstallationRecord:
    factories.ProgramFactory.create()
    notes = [
        {"key": f"note-{n}", "kind": "words", "prompt": f"Note {n}"}
        for n in range(N_ANSWERS)
    ]
    make.make_template([("layout", ["inspector"], notes)])
    return make.make_record(by)


def test_forty_inspectors_saving_at_once_lose_nothing(own_database):
    people = _people(N_PEOPLE)
    record = _record(people[0])
    items = [make.item_of(record, f"note-{n}") for n in range(N_ANSWERS)]

    def fill(person: User) -> Callable[[], None]:
        def call() -> None:
            for n, item in enumerate(items):
                services.answer_save(
                    record=record,
                    item=item,
                    client_id=uuid.uuid4(),
                    seen=0,
                    answer=f"{person.username} saw {n}",
                    by=person,
                )

        return call

    assert _all_at_once([fill(person) for person in people]) == []
    kept = Counter(ItemEntry.objects.values_list("answer", flat=True))
    assert kept == Counter(
        f"{person.username} saw {n}" for person in people for n in range(N_ANSWERS)
    )
    page = selectors.record_page(record)
    # nobody had seen anybody: all of them stand beside each other, and are shown
    assert [len(one.clash) for one in page.clashes] == [N_PEOPLE] * N_ANSWERS


def test_one_answer_sent_by_many_tries_at_once_is_kept_once(own_database):
    people = _people(1)
    record = _record(people[0])
    item = make.item_of(record, "note-0")
    mark = uuid.uuid4()
    results: list[services.AnswerResult] = []

    def call() -> None:
        results.append(
            services.answer_save(
                record=record,
                item=item,
                client_id=mark,
                seen=0,
                answer="no standing water",
                by=people[0],
            )
        )

    assert _all_at_once([call] * 8) == []
    assert ItemEntry.objects.count() == 1
    assert sorted(one.created for one in results) == [False] * 7 + [True]
    assert len({one.entry.pk for one in results}) == 1
