"""The store held against its manifest, and what interruptions leave tidied away."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import time
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone

from quality.models import ImportState, RecordImport, RecordPart
from quality.records.store import iter_parts
from quality.selectors.computing import record_executor
from quality.services import records_import
from quality.services.store_keeping import store_check, store_sweep
from tests.quality.conftest import SAMPLES
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db
DAYS_S = 24 * 3600.0


@pytest.fixture
def parts(store: Path, program: Any) -> list[RecordPart]:
    """The sample's two parts."""
    records_import(SAMPLES / "orrin_w2016.wgt", by=None)
    return list(RecordPart.objects.order_by("path"))


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Any:
    """Run ``check_store``: exit status and what it printed."""

    def call(*args: str) -> tuple[int, str]:
        status = 0
        try:
            call_command("check_store", *args)
        except SystemExit as end:
            status = int(end.code or 0)
        told = capsys.readouterr()
        return status, told.out + told.err

    return call


def aged(path: Path, days: float) -> Path:
    then = time.time() - days * DAYS_S
    os.utime(path, (then, then))
    return path


def change_one_byte(file: Path) -> None:
    """As a failing disk would: same size, same time, one bit of the records."""
    raw = bytearray(file.read_bytes())
    raw[len(raw) // 3] ^= 1
    before = file.stat()
    file.write_bytes(raw)
    os.utime(file, (before.st_atime, before.st_mtime))


def test_a_whole_store_is_said_to_be_whole(parts, store, run):
    status, text = run()
    assert status == 0
    assert "2 parts, 200 records" in text
    assert text.rstrip().endswith("The store is whole.")


def test_names_hold_the_files_own_digests(parts, store):
    """Held against hashlib: FIPS 180-4's SHA-256 by another hand than ours."""
    for part in parts:
        digest = hashlib.sha256((store / part.path).read_bytes()).hexdigest()
        assert Path(part.path).stem.endswith(f"-{digest[:16]}")


def test_a_changed_byte_is_an_alarm_that_only_checksums_see(parts, store, run):
    change_one_byte(store / parts[0].path)
    status, text = run()
    assert status == 1
    assert f"ALARM changed: {parts[0].path}: The file's SHA-256" in text
    assert "Restore the files above from a backup" in text
    assert run("--quick")[0] == 0


@pytest.mark.parametrize("where", ["sha256", "name"])
def test_the_checksum_is_the_rows_or_else_the_names(where, parts, store):
    part = parts[0]
    kept = hashlib.sha256((store / part.path).read_bytes()).hexdigest()
    RecordPart.objects.update(sha256="")
    RecordPart.objects.filter(pk=part.pk).update(
        sha256=kept if where == "sha256" else ""
    )
    assert store_check().is_whole
    if where == "sha256":
        # agrees with the name and not with the row
        wrong = kept[:16] + "0" * 48
        RecordPart.objects.filter(pk=part.pk).update(sha256=wrong)
        (found,) = store_check().alarms
        assert found.path == part.path


def test_a_part_without_any_checksum_is_not_called_sound(parts, store, run):
    new = parts[0].path.rpartition("/")[0] + "/old.parquet"
    (store / parts[0].path).rename(store / new)
    RecordPart.objects.filter(pk=parts[0].pk).update(path=new, sha256="")
    status, text = run()
    assert status == 0
    assert f"no checksum kept: {new}" in text


@pytest.mark.parametrize("quick", [True, False])
def test_a_lost_and_a_cut_file_are_alarms(quick, parts, store, run):
    (store / parts[0].path).unlink()
    with (store / parts[1].path).open("rb+") as file:
        file.truncate(100)
    status, text = run(*(["--quick"] if quick else []), "--json")
    told = json.loads(text)
    assert (status, told["is_whole"]) == (1, False)
    assert [(one["path"], one["state"]) for one in told["alarms"]] == [
        (parts[0].path, "missing"),
        (parts[1].path, "changed"),
    ]


def test_a_row_that_promises_other_records_is_an_alarm(parts, run):
    RecordPart.objects.filter(pk=parts[0].pk).update(n_records=7)
    status, text = run("--quick")
    assert status == 1
    assert "the manifest says 7" in text


def test_a_file_without_a_row_is_litter_and_no_alarm(parts, store, run):
    folder = (store / parts[0].path).parent
    old, fresh = folder / "a-old.parquet", folder / ".b.1.tmp"
    old.write_bytes(b"left by a crash")
    fresh.write_bytes(b"being written")
    aged(old, 3)
    before = sorted(store.rglob("*"))
    status, text = run()
    assert status == 0
    assert f"litter: {old.relative_to(store).as_posix()} (15 bytes)" in text
    assert f"may be at work: {fresh.relative_to(store).as_posix()}" in text
    assert sorted(store.rglob("*")) == before


@pytest.mark.parametrize("where", ["serial", "threads:2"])
def test_the_check_runs_where_the_setting_says(where, parts, store, settings):
    settings.RECORD_EXECUTOR = where
    (store / parts[1].path).unlink()
    assert [found.path for found in store_check().alarms] == [parts[1].path]


def test_a_setting_that_names_no_place_is_said(parts, settings, run):
    settings.RECORD_EXECUTOR = "elsewhere"
    status, text = run()
    assert status == 2
    assert "“elsewhere” does not say where" in text
    with pytest.raises(DomainError), record_executor():
        pass


def test_reading_goes_by_the_manifest_alone(parts, store):
    """A whole part that no row names is not read, wherever it lies."""
    named = store / parts[0].path
    named.with_name("00-11.parquet").write_bytes(named.read_bytes())
    tables = list(iter_parts(store, [part.path for part in parts]))
    assert sum(table.num_rows for table in tables) == 200


# --- tidying -----------------------------------------------------------------------


@pytest.fixture
def uploads(settings: Any, store: Path) -> Path:
    settings.UPLOAD_DIR.mkdir()
    return settings.UPLOAD_DIR


def upload(folder: Path, name: str, *, days: float = 3) -> Path:
    path = folder / name
    path.write_bytes(b"records")
    return aged(path, days)


def import_of(path: Path, user: Any, **values: Any) -> RecordImport:
    return RecordImport.objects.create(
        source_name=path.name, path=str(path), requested_by=user, **values
    )


def sweep() -> Any:
    return store_sweep(send=lambda pk: None)


def test_uploads_that_no_import_speaks_of_go_after_a_day(uploads, analyst):
    stray = upload(uploads, "a.records")
    young = upload(uploads, "b.records", days=0.5)
    done = upload(uploads, "c.records")
    import_of(done, analyst, state=ImportState.DONE)
    other = upload(uploads, "notes.txt")
    kept = []
    for place, state in enumerate(ImportState.values):
        if state != ImportState.DONE:
            kept.append(upload(uploads, f"k{place}.records"))
            import_of(kept[-1], analyst, state=state)
    assert sweep().removed_uploads == (stray.name, done.name)
    assert sorted(uploads.iterdir()) == sorted([young, other, *kept])
    assert sweep().removed_uploads == ()


def test_an_import_whose_upload_is_gone_is_named(uploads, analyst):
    import_of(uploads / "gone.records", analyst)
    assert sweep().lost_uploads == ("gone.records",)


def test_what_waits_long_for_a_word_is_named_and_kept(uploads, analyst, capsys):
    path = upload(uploads, "w.records", days=60)
    waiting = import_of(path, analyst)
    import_of(upload(uploads, "new.records"), analyst)
    long_ago = timezone.now() - dt.timedelta(days=60)
    RecordImport.objects.filter(pk=waiting.pk).update(created_at=long_ago)
    call_command("sweep_store")
    assert "waiting long for somebody's word: w.records\n" in capsys.readouterr().out
    assert path.exists()


def test_without_a_store_or_uploads_there_is_nothing_to_do(store, db, run):
    swept = sweep()
    assert (swept.removed, swept.removed_uploads, swept.missing) == ((), (), ())
    status, text = run()
    assert (status, "0 parts, 0 records" in text) == (0, True)
