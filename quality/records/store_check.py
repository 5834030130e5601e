"""Hold the files of the store against what the manifest says of them. Changes nothing.

A manifest row whose file is gone, cannot be read, or holds other bytes than were
written is an alarm: records are lost until a backup or the source file brings them
back. A file that no row names is litter of an interrupted import: nobody reads it.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from quality.records.store import (
    ORPHAN_AGE_S,
    digest_in_name,
    inside,
    part_files,
)


class PartState(StrEnum):
    """How a part that the manifest names is found."""

    SOUND = "as written"
    MISSING = "missing"
    UNREADABLE = "unreadable"
    CHANGED = "changed"
    NO_CHECKSUM = "no checksum kept"

    @property
    def is_alarm(self) -> bool:
        """Whether records are lost until the file is brought back."""
        return self in (PartState.MISSING, PartState.UNREADABLE, PartState.CHANGED)


@dataclass(frozen=True)
class PartRow:
    """What the manifest says of a part; ``sha256`` is empty where it was not kept."""

    path: str
    n_records: int
    n_bytes: int
    sha256: str = ""


@dataclass(frozen=True)
class PartFinding:
    """How a part was found, and a sentence on it unless it is sound."""

    path: str
    state: PartState
    sentence: str = ""


@dataclass(frozen=True)
class Litter:
    """A file of the store that no manifest row names.

    ``may_be_at_work`` is true while an import could still be about to name it.
    """

    path: str
    n_bytes: int
    may_be_at_work: bool


def check_part(row: PartRow, *, root: str, checksums: bool = True) -> PartFinding:
    """Hold one part's file against its row.

    Parameters
    ----------
    row
        From the manifest.
    root
        Root folder of the store.
    checksums
        Read every byte; otherwise only the size and the file's own count of records.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the row's path leads out of the store.
    """
    file = inside(Path(root), row.path)
    try:
        n_bytes = file.stat().st_size
        digest = _digest(file) if checksums else ""
    except FileNotFoundError:
        return PartFinding(row.path, PartState.MISSING, "The file is gone.")
    except OSError as error:
        return PartFinding(row.path, PartState.UNREADABLE, f"{error.strerror}.")
    if n_bytes != row.n_bytes:
        return PartFinding(
            row.path,
            PartState.CHANGED,
            f"The file holds {n_bytes:,} bytes; {row.n_bytes:,} were written.",
        )
    wanted = row.sha256 or digest_in_name(row.path)
    if checksums and not digest.startswith(wanted):
        return PartFinding(
            row.path,
            PartState.CHANGED,
            f"The file's SHA-256 begins with {digest[:16]}; {wanted[:16]} was written.",
        )
    try:
        n_records = pq.ParquetFile(file).metadata.num_rows
    except (OSError, pa.ArrowException) as error:
        return PartFinding(row.path, PartState.UNREADABLE, f"{error}.")
    if n_records != row.n_records:
        return PartFinding(
            row.path,
            PartState.CHANGED,
            f"The file holds {n_records:,} records; the manifest says "
            f"{row.n_records:,}.",
        )
    if checksums and not wanted:
        return PartFinding(
            row.path,
            PartState.NO_CHECKSUM,
            "Its size and number of records are right; more cannot be told.",
        )
    return PartFinding(row.path, PartState.SOUND)


def _digest(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def find_litter(
    root: Path | str,
    known_paths: Iterable[str],
    files: Iterable[str] | None = None,
    *,
    older_than_s: float = ORPHAN_AGE_S,
) -> list[Litter]:
    """Files of the store that no manifest row names.

    Parameters
    ----------
    root, known_paths
        The store, and every path that the manifest names.
    files
        The store's files, listed *before* the manifest was read, so that what an import
        names in between is not taken for litter; listed now by default.
    older_than_s
        A younger file may belong to an import that is still at work.
    """
    root = Path(root)
    known = set(known_paths)
    oldest = time.time() - older_than_s
    found = []
    for path in part_files(root) if files is None else files:
        if path in known:
            continue
        try:
            about = (root / path).stat()
        except FileNotFoundError:  # tidied, or moved into place, meanwhile
            continue
        found.append(Litter(path, about.st_size, about.st_mtime > oldest))
    return found
