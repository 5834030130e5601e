"""How fast a large installation record opens, as ratios within one run.

Run with: python -m tests.bench.bench_record

A record of 12 stages, 150 items and 60 photos, in an embedded database of its own, is
opened through its selector, through the page and through one stage's page; each is held
against the bare queries of the selector, whose rows nobody judges. Saving one answer is
held against saving the same row without any rule.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

Call = Callable[[], Any]


def _begin(folder: Path) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    os.environ["DATABASE_URL"] = f"sqlite:///{folder / 'bench.sqlite3'}"
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)


def _calls() -> dict[str, Call]:
    from django.contrib.auth.models import Group, User
    from django.test import Client
    from django.urls import NoReverseMatch, reverse

    from installs import selectors, services
    from installs.models import ItemEntry
    from installs.selectors.record_facts import record_facts
    from tests import factories
    from tests.installs import record_factories as make

    factories.ProgramFactory.create()
    person = User.objects.create_user("manager")
    person.groups.add(Group.objects.get(name="program manager"))
    record = make.large_record(person)
    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(person)
    item = record.template.stages.get(number=1).items.get(number=1)
    entry = item.entries.get(pk=item.entries.latest("pk").pk)

    def bare_save() -> None:
        ItemEntry(
            record=record,
            item=item,
            numbers=entry.numbers,
            typed=entry.typed,
            observed_at=entry.observed_at,
            entered_by=person,
        ).save(force_insert=True)

    def save() -> None:
        services.answer_save(
            record=record,
            item=item,
            client_id=uuid.uuid4(),
            seen=10**12,
            numbers_typed=[("0.90", "in")],
            by=person,
        )

    def page(*address: Any) -> Call | None:
        try:
            url = reverse(*address[:1], args=address[1:])
        except NoReverseMatch:
            return None

        def get() -> None:
            answer = client.get(url)
            if answer.status_code != 200:
                raise SystemExit(f"{url} answered {answer.status_code}")

        return get

    calls: dict[str, Call | None] = {
        "bare queries": lambda: record_facts(record.pk),
        "selector, all judged": lambda: selectors.record_page(record),
        "page of the record": page("installs:record-detail", record.pk),
        "page of one stage": page("installs:record-stage", record.pk, "stage-1"),
        "bare save of an answer": bare_save,
        "save of an answer": save,
    }
    return {name: call for name, call in calls.items() if call is not None}


def _time(call: Call) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=9)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        _begin(Path(folder))
        calls = _calls()
        times: dict[str, list[float]] = {name: [] for name in calls}
        for call in calls.values():
            call()  # imports and caches
        for _ in range(options.rounds):
            for name, call in calls.items():
                times[name].append(_time(call))
    middle = {name: statistics.median(taken) for name, taken in times.items()}
    lines = [
        f"12 stages, 150 items, 60 photos; {options.rounds} interleaved rounds; "
        "ratio of time, 1 is the bare work"
    ]
    for name, taken in middle.items():
        bare = "bare save of an answer" if "save" in name else "bare queries"
        ratio = taken / middle[bare]
        lines.append(f"{name:24} ratio {ratio:6.2f}   {1000 * taken:8.1f} ms")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
