"""Imports as jobs: received, looked at, queued, run by a worker, taken up again.

A worker claims a job by a conditional update and renews its lease as it reads; when the
lease has run out the work was interrupted, and since an import is safe to repeat it may
simply be started again.
"""

from __future__ import annotations

import datetime as dt
import logging
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from quality.models import ImportState, RecordImport
from quality.services.importing import records_import
from quality.services.incoming import ImportOptions
from quality.services.previewing import records_preview
from wimprog.lib.errors import DomainError, UnreadableInput
from wimprog.lib.models import save_with_reason

log = logging.getLogger(__name__)

LEASE = dt.timedelta(minutes=5)
"""How long a worker may be silent; storing what was read says nothing until it ends."""
SHOWN_COMPLAINTS = 200
FAILED = (
    "Something went wrong on the server while it was taken in; nothing of it was "
    "stored. Try again, and if it fails again show the server's log to whoever looks "
    "after it."
)


def _keep_upload(upload: UploadedFile) -> Path:
    limit = settings.UPLOAD_LIMIT_MB * 1024 * 1024
    if upload.size is not None and upload.size > limit:
        raise UnreadableInput(
            f"{upload.name} holds {upload.size / 1e6:,.0f} MB; the limit here is "
            f"{settings.UPLOAD_LIMIT_MB:,} MB. Use `manage.py import_records` on the "
            "server, or split the file by month."
        )
    folder = Path(settings.UPLOAD_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{uuid.uuid4().hex}.records"
    with path.open("wb") as out:
        for chunk in upload.chunks(1 << 20):
            out.write(chunk)
    return path


def import_receive(
    *, upload: UploadedFile, options: ImportOptions, by: Any
) -> RecordImport:
    """Keep an upload, read it, and say what is in it. Nothing is taken in yet.

    Raises
    ------
    UnreadableInput
        When it cannot be read; the upload is not kept then.
    """
    path = _keep_upload(upload)
    try:
        return import_look(
            record_import=RecordImport(
                source_name=(upload.name or "upload")[:255],
                path=str(path),
                requested_by=by,
            ),
            options=options,
            by=by,
        )
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def import_look(
    *, record_import: RecordImport, options: ImportOptions, by: Any
) -> RecordImport:
    """Read a kept upload (again) with these options and keep what was found."""
    path = Path(record_import.path)
    preview = records_preview(
        path, source_name=record_import.source_name, options=options
    )
    kept = preview.as_dict()
    kept["complaints"] = kept["complaints"][:SHOWN_COMPLAINTS]
    record_import.options = options.as_dict()
    record_import.preview = kept
    record_import.bytes_total = path.stat().st_size
    save_with_reason(record_import, by=by, why="file received and read")
    return record_import


def import_enqueue(
    *, record_import: RecordImport, send: Callable[[int], Any], by: Any
) -> RecordImport:
    """Say "take it in": queue the work.

    ``send`` hands the job's id to the worker, after this transaction is safe.

    Raises
    ------
    DomainError
        When it is already under way or done.
    """
    idle = Q(state__in=[ImportState.READ, ImportState.REFUSED]) | _interrupted()
    with transaction.atomic():
        changed = RecordImport.objects.filter(idle, pk=record_import.pk).update(
            state=ImportState.QUEUED, message="", bytes_done=0, lease_until=None
        )
        if not changed:
            raise DomainError(
                "This file is already being taken in or is done; look at its page."
            )
        record_import.refresh_from_db()
        save_with_reason(record_import, by=by, why="told to take it in")
        transaction.on_commit(lambda: send(record_import.pk))
    return record_import


def import_discard(*, record_import: RecordImport, by: Any) -> None:
    """Forget an upload that was not taken in; its history keeps who and when.

    Raises
    ------
    DomainError
        When it is being taken in, or was.
    """
    with transaction.atomic():
        job = RecordImport.objects.select_for_update().get(pk=record_import.pk)
        if job.state not in (ImportState.READ, ImportState.REFUSED):
            raise DomainError(
                f"{job.source_name} is being taken in or is done; it cannot be "
                "discarded any more."
            )
        job._history_user = by  # type: ignore[attr-defined]
        job._change_reason = "discarded"  # type: ignore[attr-defined]
        job.delete()
    Path(record_import.path).unlink(missing_ok=True)


class _LeaseLost(Exception):
    """Another worker has taken the job up, believing this one dead."""


def _interrupted() -> Q:
    """Jobs whose worker has fallen silent."""
    return Q(state=ImportState.RUNNING, lease_until__lt=timezone.now())


def _claim(pk: int) -> RecordImport | None:
    """The job, if it was free and is this worker's now."""
    free = Q(state=ImportState.QUEUED) | _interrupted()
    with transaction.atomic():
        claimed = RecordImport.objects.filter(free, pk=pk).update(
            state=ImportState.RUNNING,
            lease_until=timezone.now() + LEASE,
            attempt=F("attempt") + 1,
        )
        jobs = RecordImport.objects.select_related("requested_by")
        return jobs.get(pk=pk) if claimed else None


def import_run(pk: int) -> None:
    """Do the work of one job, if nobody else is at it."""
    job = _claim(pk)
    if job is None:
        log.info("import %s: somebody else is at it, or it is done", pk)
        return
    mine = RecordImport.objects.filter(pk=pk, attempt=job.attempt)

    def progress(done: int, total: int) -> None:
        lease_until = timezone.now() + LEASE
        if not mine.update(bytes_done=done, bytes_total=total, lease_until=lease_until):
            raise _LeaseLost

    try:
        record_file = records_import(
            job.path,
            source_name=job.source_name,
            options=ImportOptions.from_dict(job.options),
            by=job.requested_by,
            why=f"import {pk} from the browser",
            progress=progress,
        )
    except _LeaseLost:
        log.warning("import %s: taken over by another worker", pk)
    except DomainError as error:
        log.warning("import %s refused: %s", pk, error.message)
        mine.update(state=ImportState.REFUSED, message=error.message, lease_until=None)
    except Exception:
        log.exception("import %s failed", pk)
        mine.update(state=ImportState.REFUSED, message=FAILED, lease_until=None)
    else:
        RecordImport.objects.filter(pk=pk).update(
            state=ImportState.DONE,
            record_file=record_file,
            bytes_done=F("bytes_total"),
            lease_until=None,
            message="",
        )
        Path(job.path).unlink(missing_ok=True)


def imports_reap(send: Callable[[int], Any]) -> int:
    """Send every interrupted job to the workers again; how many there were."""
    lost = list(
        RecordImport.objects.filter(_interrupted()).values_list("pk", flat=True)
    )
    for pk in lost:
        send(pk)
    return len(lost)
