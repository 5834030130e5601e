"""The columnar store: one Parquet file a source, lane and month.

A part is written aside, brought to disk and moved into place under a name made from
its source and its content, so that a crash leaves either no part or a whole one, and
writing the same records again changes nothing. A part exists for readers only when the
manifest (kept in the database) names it; nothing here ever lists the folder to read.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from types import TracebackType

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from quality.records.pending_part import Part as Part
from quality.records.pending_part import PendingPart
from quality.records.pending_part import digest_in_name as digest_in_name
from quality.records.schema import (
    STORE_SCHEMA,
    TIME_TYPE,
    split_by_month,
    with_optional,
)
from wimprog.lib.errors import DomainError

BUFFER_ROWS = 1_000_000
OPEN_PARTS = 64
"""Parts of one source that are written to at a time; what more of them hold is laid by
uncompressed and written when the source has been read. A year of one site has 12 a
lane; of a whole program, thousands: more than a process may hold open."""
ORPHAN_AGE_S = 24 * 3600.0
_UNSAFE = re.compile(r"[^A-Za-z0-9_.-]")


def partition_of(site_code: str, lane_label: str, month: np.datetime64) -> str:
    """Folder of a lane's month, relative to the root.

    Anything but letters, digits, ``_``, ``.`` and ``-`` is written as ``%xx``, so that
    two names never meet in one folder and none leaves the root.
    """
    year, number = str(month.astype("datetime64[M]")).split("-")
    site, lane = (_folder_name(name) for name in (site_code, lane_label))
    return f"site={site}/lane={lane}/year={year}/month={number}"


def _folder_name(name: str) -> str:
    if not name.strip("."):
        raise DomainError("A site and a lane need a name before records are stored.")
    return _UNSAFE.sub(
        lambda found: "".join(f"%{byte:02x}" for byte in found[0].encode()), name
    )


class PartWriter:
    """Takes a source's records as they come and writes one part a lane and month.

    A context manager: parts appear only at :meth:`commit`; leaving without it removes
    what was written aside. Rows wait in memory up to :data:`BUFFER_ROWS` in all, and
    at most :data:`OPEN_PARTS` files are open, whatever the source holds.

    Parameters
    ----------
    root
        Root folder of the store.
    source_sha256
        Digest of the source file; the part's name begins with it.
    """

    def __init__(self, root: Path | str, source_sha256: str) -> None:
        self.root = Path(root)
        self.source = source_sha256
        self._open: dict[tuple[str, str, np.datetime64], PendingPart] = {}
        self._waiting = 0

    def __enter__(self) -> PartWriter:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.abandon()

    def add(self, site_code: str, lane_label: str, table: pa.Table) -> None:
        """Take one lane's records (``STORE_SCHEMA``), of any months, in order."""
        for month, rows in split_by_month(table):
            key = (site_code, lane_label, month)
            if key not in self._open:
                folder = self.root / partition_of(*key)
                self._open[key] = PendingPart(
                    folder, self.source, rows.schema, self._may_open
                )
            self._waiting += self._open[key].add(rows)
        if self._waiting > BUFFER_ROWS:
            fullest_first = sorted(self._open.values(), key=lambda one: -one.waiting)
            for pending in fullest_first:
                self._waiting -= pending.flush()
                if self._waiting <= BUFFER_ROWS // 2:
                    break

    def _may_open(self) -> bool:
        """Whether one more part may be written to."""
        return sum(one.is_open for one in self._open.values()) < OPEN_PARTS

    def commit(self) -> list[tuple[str, str, Part]]:
        """Move every part into place: site code, lane label and part, in that order."""
        done = []
        for key in sorted(self._open):
            site_code, lane_label, month = key
            pending = self._open[key]
            done.append((site_code, lane_label, pending.commit(self.root, month)))
        self._open.clear()
        self._waiting = 0
        return done

    def abandon(self) -> None:
        """Remove what was written aside and not committed."""
        for pending in self._open.values():
            pending.remove()
        self._open.clear()
        self._waiting = 0


def write_part(
    root: Path | str,
    site_code: str,
    lane_label: str,
    table: pa.Table,
    *,
    source_sha256: str,
) -> list[Part]:
    """Write one lane's records (``STORE_SCHEMA``); one part a month, in order."""
    with PartWriter(root, source_sha256) as writer:
        writer.add(site_code, lane_label, table)
        return [part for _, _, part in writer.commit()]


def inside(root: Path, path: str) -> Path:
    """The file of a manifest's path.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When it is not inside the store.
    """
    full = root / path
    if not full.resolve().is_relative_to(root.resolve()):
        raise DomainError(f"“{path}” is not inside the store.")
    return full


def iter_parts(
    root: Path | str,
    paths: Iterable[str],
    *,
    columns: Sequence[str] | None = None,
    first: np.datetime64 | None = None,
    last: np.datetime64 | None = None,
) -> Iterator[pa.Table]:
    """Each named part in turn, narrowed to ``first <= time < last``.

    Parameters
    ----------
    root, paths
        The store, and the manifest's paths in it.
    columns
        Columns wanted; all by default. An optional column is null in parts that were
        written before it was kept.
    first, last
        Half-open period in site-local standard time.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a named part is missing from the folder or cannot be read.
    """
    root = Path(root)
    wanted = list(columns) if columns is not None else STORE_SCHEMA.names
    read = wanted if "time" in wanted else [*wanted, "time"]
    narrowed = first is not None or last is not None
    for path in paths:
        try:
            file = pq.ParquetFile(inside(root, path), memory_map=True)
            table = file.read(columns=read if narrowed else wanted)
        except (OSError, pa.ArrowException) as error:
            raise DomainError(
                f"The stored records “{path}” cannot be read ({error}). Restore the "
                "file from a backup; `manage.py check_store` lists every such file."
            ) from None
        if narrowed:
            keep = pa.array(np.ones(table.num_rows, dtype=bool))
            time_column = table.column("time")
            if first is not None:
                at = pa.scalar(first.astype("M8[ms]").astype(int), pa.int64())
                keep = pc.and_(keep, pc.greater_equal(time_column, at.cast(TIME_TYPE)))
            if last is not None:
                at = pa.scalar(last.astype("M8[ms]").astype(int), pa.int64())
                keep = pc.and_(keep, pc.less(time_column, at.cast(TIME_TYPE)))
            table = table.filter(keep)
        yield with_optional(table).select(wanted)


def read_parts(
    root: Path | str,
    paths: Iterable[str],
    *,
    columns: Sequence[str] | None = None,
    first: np.datetime64 | None = None,
    last: np.datetime64 | None = None,
) -> pa.Table:
    """The named parts as one table; see :func:`iter_parts`."""
    tables = list(iter_parts(root, paths, columns=columns, first=first, last=last))
    if not tables:
        names = list(columns) if columns is not None else STORE_SCHEMA.names
        return pa.schema([STORE_SCHEMA.field(name) for name in names]).empty_table()
    return pa.concat_tables(tables)


def part_files(root: Path | str) -> list[str]:
    """Parts and files written aside, named by the manifest or not, in order.

    For tidying and checking only; whoever reads records goes by the manifest.
    """
    root = Path(root)
    return sorted(
        file.relative_to(root).as_posix()
        for pattern in ("*.parquet", ".*.tmp")
        for file in root.glob(f"site=*/lane=*/year=*/month=*/{pattern}")
    )


def sweep_orphans(
    root: Path | str,
    known_paths: Iterable[str],
    *,
    older_than_s: float = ORPHAN_AGE_S,
) -> list[str]:
    """Remove files that no manifest row names; returns their relative paths.

    Only files older than ``older_than_s`` go, so that an import that has moved its
    parts into place and not yet written its manifest rows is left alone.
    """
    root = Path(root)
    known = set(known_paths)
    oldest = time.time() - older_than_s
    removed = []
    for path in part_files(root):
        file = root / path
        try:
            if path in known or file.stat().st_mtime > oldest:
                continue
            file.unlink()
        except FileNotFoundError:
            continue  # another sweep was faster
        removed.append(path)
    return removed
