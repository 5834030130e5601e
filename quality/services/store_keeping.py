"""Keeping the store and the uploads whole: looking, and tidying after interruptions.

The manifest decides what exists. Files are listed before its rows are read, so that
what an import names in between is never taken for litter.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.utils import timezone

from quality.models import ImportState, RecordImport, RecordPart
from quality.selectors.computing import record_executor
from quality.services.jobs import imports_reap

if TYPE_CHECKING:
    from quality.records.store_check import Litter, PartFinding, PartRow

UPLOAD_AGE_S = 24 * 3600.0
"""A younger upload may be on its way in: its row is written after it has been read."""
WAITING_DAYS = 30
"""Days after which an upload that waits for somebody's word is mentioned."""
ROWS_AT_ONCE = 2000


@dataclass(frozen=True)
class StoreChecked:
    """What holding the store against its manifest came to.

    Attributes
    ----------
    n_parts, n_records, n_bytes
        What the manifest names.
    checksums
        Whether every byte was read.
    alarms
        Parts that are missing, unreadable or changed.
    unsure
        Parts of which no checksum was kept.
    litter
        Files that no row names.
    """

    n_parts: int
    n_records: int
    n_bytes: int
    checksums: bool
    alarms: tuple[PartFinding, ...]
    unsure: tuple[PartFinding, ...]
    litter: tuple[Litter, ...]

    @property
    def is_whole(self) -> bool:
        """Whether every record that the manifest promises is there."""
        return not self.alarms


def _rows() -> Iterator[PartRow]:
    from quality.records.store_check import PartRow

    columns = ("path", "n_records", "size_bytes", "sha256")
    rows = RecordPart.objects.order_by("pk").values_list(*columns)
    for row in rows.iterator(chunk_size=ROWS_AT_ONCE):
        yield PartRow(*row)


def store_check(*, checksums: bool = True) -> StoreChecked:
    """Hold every file of the store against the manifest. Changes nothing."""
    from quality.records.store import part_files
    from quality.records.store_check import PartState, check_part, find_litter

    root = Path(settings.RECORD_STORE)
    files = part_files(root)
    rows = list(_rows())
    check = partial(check_part, root=str(root), checksums=checksums)
    with record_executor() as place:
        wanting = [
            found for found in place.map(check, rows) if found.state != PartState.SOUND
        ]
    return StoreChecked(
        n_parts=len(rows),
        n_records=sum(row.n_records for row in rows),
        n_bytes=sum(row.n_bytes for row in rows),
        checksums=checksums,
        alarms=tuple(found for found in wanting if found.state.is_alarm),
        unsure=tuple(found for found in wanting if not found.state.is_alarm),
        litter=tuple(find_litter(root, (row.path for row in rows), files)),
    )


@dataclass(frozen=True)
class Swept:
    """What tidying up came to.

    Attributes
    ----------
    removed
        Stray files of the store that were removed, relative to it.
    removed_uploads
        Names of uploads that no import spoke of any more.
    missing
        Parts that the manifest names and the store has not.
    lost_uploads
        Imports that wait for a file which is gone.
    waiting
        Imports that have waited long for somebody's word.
    resumed_imports
        Interrupted imports that were sent to the workers again.
    """

    removed: tuple[str, ...]
    removed_uploads: tuple[str, ...]
    missing: tuple[str, ...]
    lost_uploads: tuple[str, ...]
    waiting: tuple[str, ...]
    resumed_imports: int


def store_sweep(*, send: Callable[[int], Any]) -> Swept:
    """Remove what interruptions left and take interrupted imports up again.

    Parameters
    ----------
    send
        Hands an import's id to the workers.
    """
    from quality.records.store import sweep_orphans

    root = Path(settings.RECORD_STORE)
    paths = list(RecordPart.objects.values_list("path", flat=True))
    removed = sweep_orphans(root, paths)
    missing = [path for path in paths if not (root / path).is_file()]
    removed_uploads = _sweep_uploads()
    open_imports = RecordImport.objects.exclude(state=ImportState.DONE)
    lost = [job for job in open_imports if not Path(job.path).is_file()]
    long_ago = timezone.now() - dt.timedelta(days=WAITING_DAYS)
    waiting = open_imports.filter(
        state__in=[ImportState.READ, ImportState.REFUSED], created_at__lt=long_ago
    )
    return Swept(
        removed=tuple(removed),
        removed_uploads=tuple(removed_uploads),
        missing=tuple(missing),
        lost_uploads=tuple(job.source_name for job in lost),
        waiting=tuple(job.source_name for job in waiting),
        resumed_imports=imports_reap(send),
    )


def _sweep_uploads() -> list[str]:
    """Remove uploads whose import is done, was discarded, or never came to be."""
    folder = Path(settings.UPLOAD_DIR)
    if not folder.is_dir():
        return []
    oldest = time.time() - UPLOAD_AGE_S
    old = [
        file
        for file in sorted(folder.glob("*.records"))
        if file.is_file() and file.stat().st_mtime < oldest
    ]
    wanted = {
        Path(path).name
        for path in RecordImport.objects.exclude(state=ImportState.DONE).values_list(
            "path", flat=True
        )
    }
    stray = [file for file in old if file.name not in wanted]
    for file in stray:
        file.unlink(missing_ok=True)
    return [file.name for file in stray]
