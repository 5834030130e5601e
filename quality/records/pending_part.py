"""One part of the store while it is being written.

Rows wait in memory until there are enough for whole row groups. The file is written
beside its place, brought to disk with the folders it lies in, and moved into place
under a name made from its source and its content.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from quality.records.schema import STORE_SCHEMA, times_ms, with_optional

ROW_GROUP = 131_072


@dataclass(frozen=True)
class Part:
    """One committed file of the store; ``path`` is relative to the store's root."""

    path: str
    month: np.datetime64
    n_records: int
    n_bytes: int
    first_at: np.datetime64
    last_at: np.datetime64
    sha256: str


class PendingPart:
    """A part on its way: rows that wait, and the file beside its place.

    Parameters
    ----------
    folder
        Where the part will lie.
    source
        Digest of the source file.
    schema
        Of the rows; its metadata goes into the part.
    may_open
        Asked before a file is opened; rows are laid by while it says no.
    """

    def __init__(
        self,
        folder: Path,
        source: str,
        schema: pa.Schema,
        may_open: Callable[[], bool],
    ) -> None:
        self.folder, self.source, self.may_open = folder, source, may_open
        self.schema = STORE_SCHEMA.with_metadata(schema.metadata)
        self.waiting = 0
        self.rows: list[pa.Table] = []
        self.n = 0
        self.first, self.last = np.datetime64("9999-01-01"), np.datetime64("0001-01-01")
        _make_folder(folder)
        self.aside = folder / f".{source[:16]}.{os.getpid()}.{id(self):x}.tmp"
        self._writer: pq.ParquetWriter | None = None
        self._laid_by: list[Path] = []

    @property
    def is_open(self) -> bool:
        """Whether its file is being written to."""
        return self._writer is not None

    def writer(self) -> pq.ParquetWriter:
        """The open file; opened late, so that a source of many months opens few."""
        if self._writer is None:
            self._writer = pq.ParquetWriter(
                self.aside,
                self.schema,
                compression="zstd",
                compression_level=3,
                use_dictionary=[n for n in self.schema.names if n not in _DELTA],
                column_encoding=dict.fromkeys(_DELTA, "DELTA_BINARY_PACKED"),
                write_statistics=["time"],
            )
        return self._writer

    def add(self, rows: pa.Table) -> int:
        """Take rows; returns by how many the waiting rows grew."""
        before = self.waiting
        whole = with_optional(rows).select(self.schema.names)
        self.rows.append(whole.cast(self.schema))
        self.waiting += rows.num_rows
        self.n += rows.num_rows
        times = times_ms(rows)
        self.first = min(self.first, times.min())
        self.last = max(self.last, times.max())
        if self.waiting >= 2 * ROW_GROUP:
            self.flush(whole_groups=True)
        return self.waiting - before

    def flush(self, *, whole_groups: bool = False) -> int:
        """Get waiting rows out of memory; returns by how many they shrank."""
        if not self.waiting:
            return 0
        if not self.is_open and (self._laid_by or not self.may_open()):
            return self._lay_by()
        return self._write(whole_groups=whole_groups)

    def _lay_by(self) -> int:
        """Put waiting rows into a file of their own until the source has been read."""
        path = self.aside.with_suffix(f".{len(self._laid_by)}.tmp")
        self._laid_by.append(path)
        with pa.ipc.new_file(path, self.schema) as out:
            out.write_table(pa.concat_tables(self.rows))
        n, self.rows, self.waiting = self.waiting, [], 0
        return n

    def _take_up(self) -> None:
        """Write what was laid by, in its order; rows that wait come after it."""
        rest, self.rows, self.waiting = self.rows, [], 0
        for path in self._laid_by:
            with pa.OSFile(str(path)) as file:
                self.rows.append(pa.ipc.open_file(file).read_all())
            self.waiting += self.rows[-1].num_rows
            if self.waiting >= 2 * ROW_GROUP:
                self._write(whole_groups=True)
            path.unlink()
        self.rows += rest
        self.waiting += sum(table.num_rows for table in rest)

    def _write(self, *, whole_groups: bool) -> int:
        table = pa.concat_tables(self.rows).combine_chunks()
        n = table.num_rows // ROW_GROUP * ROW_GROUP if whole_groups else table.num_rows
        self.writer().write_table(table.slice(0, n), row_group_size=ROW_GROUP)
        self.rows = [table.slice(n)] if n < table.num_rows else []
        self.waiting -= n
        return n

    def commit(self, root: Path, month: np.datetime64) -> Part:
        """Bring the part to disk and into place."""
        if self._laid_by:
            self._take_up()
        if self.waiting:
            self._write(whole_groups=False)
        self.writer().close()
        self._writer = None  # a closed one still holds a tenth of a megabyte
        content = hashlib.sha256()
        with self.aside.open("rb+") as file:
            while chunk := file.read(1 << 20):
                content.update(chunk)
            n_bytes = file.tell()
            os.fsync(file.fileno())
        digest = content.hexdigest()
        final = self.folder / _file_name(self.source, digest)
        self.aside.replace(final)
        _sync_folder(self.folder)
        return Part(
            path=final.relative_to(root).as_posix(),
            month=month.astype("datetime64[D]"),
            n_records=self.n,
            n_bytes=n_bytes,
            first_at=self.first,
            last_at=self.last,
            sha256=digest,
        )

    def remove(self) -> None:
        """Forget the part."""
        if self._writer is not None:
            self._writer.close()
        for path in (self.aside, *self._laid_by):
            path.unlink(missing_ok=True)


_DELTA = ("time", "source_line")


def _file_name(source_sha256: str, content_sha256: str) -> str:
    return f"{source_sha256[:16]}-{content_sha256[:16]}.parquet"


def digest_in_name(path: str) -> str:
    """The first 16 digits of a part's own SHA-256, from its name.

    >>> digest_in_name("site=A/lane=E1/year=2031/month=05/00ff-12ab.parquet")
    '12ab'
    """
    return Path(path).stem.partition("-")[2]


def _make_folder(folder: Path) -> None:
    """Make a folder and those above it, each brought to disk in the one above."""
    missing = []
    while not folder.is_dir():
        missing.append(folder)
        folder = folder.parent
    for made in reversed(missing):
        made.mkdir(exist_ok=True)
        _sync_folder(made.parent)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
