"""Imports as jobs: one worker at a time, taken up again, nothing stored twice."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.utils import timezone

from quality.models import ImportState, RecordFile, RecordImport
from quality.selectors import is_interrupted
from quality.services import (
    ImportOptions,
    import_discard,
    import_enqueue,
    import_receive,
    import_run,
    imports_reap,
    jobs,
)
from tests.quality.conftest import SAMPLES
from wimprog.lib.errors import DomainError, UnreadableInput

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("store", "program")]
AN_HOUR = dt.timedelta(hours=1)


def upload(name: str = "orrin_w2016.wgt", raw: bytes | None = None):
    content = (SAMPLES / "orrin_w2016.wgt").read_bytes() if raw is None else raw
    return SimpleUploadedFile(name, content)


@pytest.fixture
def job(analyst) -> RecordImport:
    """A received file that waits for a worker."""
    received = import_receive(upload=upload(), options=ImportOptions(), by=analyst)
    RecordImport.objects.filter(pk=received.pk).update(state=ImportState.QUEUED)
    received.refresh_from_db()
    return received


def test_a_received_file_is_kept_under_a_name_of_our_own(settings, analyst):
    raw = upload("../../etc/../orrin.wgt")
    received = import_receive(upload=raw, options=ImportOptions(), by=analyst)
    kept = Path(received.path)
    assert kept.parent == settings.UPLOAD_DIR
    assert "orrin" not in kept.name
    assert received.source_name == "orrin.wgt"
    assert received.state == ImportState.READ
    assert received.preview["n_kept"] == 200
    assert not RecordFile.objects.exists()


def test_an_upload_that_cannot_be_read_is_not_kept(settings, analyst):
    with pytest.raises(UnreadableInput, match="empty"):
        import_receive(upload=upload(raw=b""), options=ImportOptions(), by=analyst)
    assert list(settings.UPLOAD_DIR.iterdir()) == []
    assert not RecordImport.objects.exists()


def test_an_upload_over_the_limit_is_refused_with_another_way(settings, analyst):
    settings.UPLOAD_LIMIT_MB = 0
    with pytest.raises(UnreadableInput, match="import_records"):
        import_receive(upload=upload(), options=ImportOptions(), by=analyst)
    assert not RecordImport.objects.exists()


def test_a_job_is_done_once_and_its_upload_removed(job, analyst):
    import_run(job.pk)
    import_run(job.pk)
    job.refresh_from_db()
    assert job.state == ImportState.DONE
    assert job.attempt == 1
    assert job.bytes_done == job.bytes_total > 0
    assert job.record_file == RecordFile.objects.get()
    assert job.record_file.imported_by == analyst
    assert not Path(job.path).exists()


def test_a_job_that_another_worker_is_at_is_left_alone(job):
    lease = timezone.now() + AN_HOUR
    RecordImport.objects.filter(pk=job.pk).update(
        state=ImportState.RUNNING, lease_until=lease, attempt=1
    )
    import_run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempt) == (ImportState.RUNNING, 1)
    assert not RecordFile.objects.exists()


def interrupted(job: RecordImport) -> None:
    RecordImport.objects.filter(pk=job.pk).update(
        state=ImportState.RUNNING, lease_until=timezone.now() - AN_HOUR, attempt=1
    )
    job.refresh_from_db()


def test_an_interrupted_job_is_sent_again_and_ends_as_if_never_interrupted(job):
    interrupted(job)
    assert is_interrupted(job)
    sent: list[int] = []
    assert imports_reap(sent.append) == 1
    assert sent == [job.pk]
    import_run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempt) == (ImportState.DONE, 2)
    assert RecordFile.objects.count() == 1
    assert imports_reap(sent.append) == 0


def test_the_daily_sweep_takes_interrupted_jobs_up_again(job, capsys):
    interrupted(job)
    call_command("sweep_store")
    assert "1 interrupted imports" in capsys.readouterr().out
    job.refresh_from_db()
    assert job.state == ImportState.DONE


def test_a_worker_that_lost_its_lease_stops_and_stores_nothing(job, monkeypatch):
    real = jobs.records_import

    def overtaken(path, *, progress, **how):
        RecordImport.objects.filter(pk=job.pk).update(attempt=2)
        return real(path, progress=progress, **how)

    monkeypatch.setattr(jobs, "records_import", overtaken)
    import_run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempt) == (ImportState.RUNNING, 2)
    assert not RecordFile.objects.exists()
    assert Path(job.path).exists()


def test_a_refusal_is_told_on_the_job_and_may_be_tried_again(job, analyst):
    job.options["new_sites"] = False
    job.save()
    import_run(job.pk)
    job.refresh_from_db()
    assert job.state == ImportState.REFUSED
    assert "not in the program" in job.message
    import_enqueue(record_import=job, send=lambda pk: None, by=analyst)
    assert job.state == ImportState.QUEUED


def test_a_fault_of_the_server_ends_the_job_with_words(job, monkeypatch):
    def full(*args, **how):
        raise OSError("no space left on device")

    monkeypatch.setattr(jobs, "records_import", full)
    import_run(job.pk)
    job.refresh_from_db()
    assert job.state == ImportState.REFUSED
    assert "nothing of it was stored" in job.message


def test_a_job_is_queued_once(job, analyst):
    with pytest.raises(DomainError, match="already being taken in"):
        import_enqueue(record_import=job, send=lambda pk: None, by=analyst)


def test_a_discarded_upload_is_gone_and_its_history_says_who(analyst):
    received = import_receive(upload=upload(), options=ImportOptions(), by=analyst)
    pk, path = received.pk, Path(received.path)
    import_discard(record_import=received, by=analyst)
    assert not path.exists()
    assert not RecordImport.objects.exists()
    last = RecordImport.history.filter(id=pk).first()
    assert (last.history_type, last.history_user) == ("-", analyst)


def test_what_is_being_taken_in_cannot_be_discarded(job, analyst):
    with pytest.raises(DomainError, match="cannot be discarded"):
        import_discard(record_import=job, by=analyst)
    assert Path(job.path).exists()
