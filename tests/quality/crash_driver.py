"""Imports that are killed at named and at random moments, each in a process of its own.

Run by ``test_crash.py`` as ``python -m tests.quality.crash_driver FOLDER SAMPLE``. For
each moment: a fresh copy of a database and store that hold one file; a forked child
that takes a second file in and is killed with SIGKILL; then what is found, and what is
found after the same import again. Writes ``found.json`` and asserts nothing.

This process only forks and waits: whatever touches a database runs in a child.
"""

from __future__ import annotations

import hashlib
import importlib
import json
import os
import random
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

N_RANDOM = 6
SEED = 20310601


def _kill() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def in_child(work: Callable[[], Any], *, kill_after_s: float | None = None) -> Any:
    """Run ``work`` in a fork: its result, or the number of the signal that ended it."""
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(read_end)
        try:
            answer = json.dumps(work())
            with os.fdopen(write_end, "w") as out:
                out.write(answer)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    os.close(write_end)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(pid, signal.SIGKILL)
    with os.fdopen(read_end) as answers:
        answer = answers.read()
    _, status = os.waitpid(pid, 0)
    if os.WIFSIGNALED(status):
        return {"signal": os.WTERMSIG(status)}
    if os.waitstatus_to_exitcode(status):
        sys.exit("a child failed; see above")
    return json.loads(answer)


# --- what a child does ---------------------------------------------------------------


def use(folder: Path) -> None:
    """Point this child at a folder's database and store."""
    from django.conf import settings
    from django.db import connection

    settings.RECORD_STORE = folder / "records"
    connection.settings_dict["NAME"] = str(folder / "db.sqlite3")


def prepare(folder: Path, source: Path) -> None:
    from django.apps import apps
    from django.conf import settings
    from django.core.management import call_command

    from quality.services import records_import

    use(folder)
    # the tables as the models have them; going through their history takes a minute
    labels = [config.label for config in apps.get_app_configs()]
    settings.MIGRATION_MODULES = dict.fromkeys(labels)
    call_command("migrate", run_syncdb=True, verbosity=0)
    records_import(source, by=None)


def take_in(folder: Path, source: Path) -> float:
    from quality.services import records_import

    use(folder)
    start = time.perf_counter()
    records_import(source, by=None)
    return time.perf_counter() - start


def killed_at(moment: str, folder: Path, source: Path) -> None:
    MOMENTS[moment]()
    take_in(folder, source)


def found(folder: Path) -> dict[str, Any]:
    """What a reader who comes now would see, and what lies about."""
    from django.apps import apps
    from django.db.models import DateTimeField

    from quality.models import RecordPart
    from quality.records.store import read_parts

    use(folder)
    rows: dict[str, int] = {}
    digest = hashlib.sha256()
    for label in ("sites", "quality"):
        for model in sorted(apps.get_app_config(label).get_models(), key=str):
            names = [
                field.attname
                for field in model._meta.concrete_fields
                if not (isinstance(field, DateTimeField) and _is_of_now(field))
            ]
            values = sorted(map(repr, model._base_manager.values_list(*names)))
            rows[model.__name__] = len(values)
            digest.update(repr([model.__name__, values]).encode())
    parts = list(RecordPart.objects.order_by("path"))
    root = folder / "records"
    table = read_parts(root, [part.path for part in parts])
    records = hashlib.sha256(repr(table.to_pydict()).encode()).hexdigest()
    on_disk = {
        path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()
    }
    named = {part.path for part in parts}
    return {
        "rows": rows,
        "database": digest.hexdigest(),
        "records": records,
        "n_records": table.num_rows,
        "n_promised": sum(part.n_records for part in parts),
        "without_file": sorted(named - on_disk),
        "without_row": sorted(on_disk - named),
    }


def _is_of_now(field: Any) -> bool:
    return (
        field.auto_now
        or field.auto_now_add
        or field.name.endswith("_at")
        or (field.name == "history_date")
    )


def swept(folder: Path) -> dict[str, Any]:
    from quality.models import RecordPart
    from quality.records.store import sweep_orphans

    use(folder)
    paths = RecordPart.objects.values_list("path", flat=True)
    sweep_orphans(folder / "records", paths, older_than_s=-1)
    return found(folder)


# --- the moments: each makes a child kill itself there --------------------------------


def _around(owner: Any, name: str, *, after: bool, nth: int = 1) -> Callable[[], None]:
    """Die before or after the nth call of a function."""

    def arm() -> None:
        real = getattr(owner(), name)
        calls = []

        def dying(*args: Any, **how: Any) -> Any:
            calls.append(1)
            if len(calls) == nth and not after:
                _kill()
            result = real(*args, **how)
            if len(calls) == nth:
                _kill()
            return result

        setattr(owner(), name, dying)

    return arm


def _pending() -> Any:
    from quality.records import pending_part

    return pending_part.PendingPart


def _writer() -> Any:
    from quality.records import store

    return store.PartWriter


def _path() -> Any:
    return Path


def _connection() -> Any:
    from django.db import connection

    return connection


def _after_insert(table: str) -> Callable[[], None]:
    """Die when rows of a table have been sent and the transaction is still open."""

    def arm() -> None:
        from django.db import connection

        def watch(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
            result = execute(sql, params, many, context)
            if sql.upper().startswith("INSERT") and f'"{table}"' in sql:
                _kill()
            return result

        connection.execute_wrappers.append(watch)

    return arm


MOMENTS: dict[str, Callable[[], None]] = {
    "before a part is written": _around(_pending, "_write", after=False),
    "after a part is written": _around(_pending, "_write", after=True),
    "before the first part is moved": _around(_path, "replace", after=False),
    "after the first part is moved": _around(_path, "replace", after=True),
    "after the third part is moved": _around(_path, "replace", after=True, nth=3),
    "after all parts are moved": _around(_writer, "commit", after=True),
    "in the transaction, file row sent": _after_insert("quality_recordfile"),
    "in the transaction, manifest sent": _after_insert("quality_recordpart"),
    "in the transaction, sums sent": _after_insert("quality_dailysummary"),
    "before the commit": _around(_connection, "_commit", after=False),
    "after the commit": _around(_connection, "_commit", after=True),
}


# --- the run -------------------------------------------------------------------------


def second_source(sample: Path, folder: Path) -> Path:
    """The sample's vehicles again, in two later months of the same lanes."""
    raw = sample.read_bytes()
    path = folder / "second.wgt"
    path.write_bytes(
        raw.replace(b"203105", b"203106") + raw.replace(b"203105", b"203107")
    )
    return path


def one_case(folder: Path, old: Path, source: Path, kill: Callable[[Path], Any]) -> Any:
    """Crash, look, import again, look, sweep, look."""
    case = folder / "case"
    shutil.copytree(old, case)
    try:
        ended = kill(case)
        after_crash = in_child(lambda: found(case))
        in_child(lambda: take_in(case, source))
        again = in_child(lambda: found(case))
        tidy = in_child(lambda: swept(case))
    finally:
        shutil.rmtree(case)
    return {"ended": ended, "crashed": after_crash, "again": again, "tidy": tidy}


def _kill_at(moment: str, source: Path, case: Path) -> Any:
    return in_child(lambda: killed_at(moment, case, source))


def _kill_after(at_s: float, source: Path, case: Path) -> Any:
    return in_child(lambda: take_in(case, source), kill_after_s=at_s)


def main() -> None:
    folder, sample = Path(sys.argv[1]), Path(sys.argv[2])
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    # each state is a folder that can be copied, so the embedded database, whatever
    # the tests around it run on
    os.environ["DATABASE_URL"] = f"sqlite:///{folder / 'none.sqlite3'}"
    import django

    django.setup()
    # loaded before the forks, so that each need not do it
    for name in (
        "quality.services",
        "quality.calc.checks",
        "quality.calc.daily",
        "quality.calc.steering",
        "quality.records.detect",
        "quality.records.store",
    ):
        importlib.import_module(name)

    old, new = folder / "old", folder / "new"
    old.mkdir()
    source = second_source(sample, folder)
    in_child(lambda: prepare(old, sample))
    shutil.copytree(old, new)
    results: dict[str, Any] = {"old": in_child(lambda: found(old))}
    took_s = in_child(lambda: take_in(new, source))
    results["new"] = in_child(lambda: found(new))
    for moment in MOMENTS:
        kill = partial(_kill_at, moment, source)
        results.setdefault("named", {})[moment] = one_case(folder, old, source, kill)
    chance = random.Random(SEED)
    for _ in range(N_RANDOM):
        at_s = chance.uniform(0, took_s)
        kill = partial(_kill_after, at_s, source)
        when = f"{1000 * at_s:.0f} ms of {1000 * took_s:.0f}"
        results.setdefault("random", {})[when] = one_case(folder, old, source, kill)
    (folder / "found.json").write_text(json.dumps(results))


if __name__ == "__main__":
    main()
