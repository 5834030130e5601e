"""Open a file of records whether it comes plain, as gzip or as a zip of one file."""

from __future__ import annotations

import gzip
import hashlib
import io
import lzma
import struct
import zipfile
import zlib
from enum import StrEnum
from typing import BinaryIO

from wimprog.lib.errors import UnreadableInput

SAMPLE_BYTES = 1 << 16
LARGEST_RATIO = 200
"""Text of records packs 5 to 20 times; beyond this a file is not what it claims."""
RATIO_FROM_BYTES = 64 << 20
LARGEST_BYTES = 200 << 30
DAMAGE = (
    EOFError,
    NotImplementedError,
    OSError,
    OverflowError,
    RuntimeError,
    ValueError,
    lzma.LZMAError,
    struct.error,
    zipfile.BadZipFile,
    zlib.error,
)
"""What the unpacking libraries raise on damaged input."""


class Container(StrEnum):
    """How the text is wrapped."""

    PLAIN = "plain"
    GZIP = "gzip"
    ZIP = "zip"


def container_of(start: bytes) -> Container:
    """The wrapping that a file's first bytes show."""
    if start[:2] == b"\x1f\x8b":
        return Container.GZIP
    if start[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        return Container.ZIP
    return Container.PLAIN


class TextStream(io.RawIOBase):
    """The unwrapped bytes: counted, hashed and kept within bounds as they pass.

    Parameters
    ----------
    source
        Unwrapped stream.
    packed
        The wrapped stream under it, to hold the ratio against; None when plain.
    """

    def __init__(
        self,
        source: BinaryIO,
        packed: BinaryIO | None = None,
        packed_bytes: int | None = None,
    ) -> None:
        super().__init__()
        self._source, self._packed, self._packed_bytes = source, packed, packed_bytes
        self._sha = hashlib.sha256()
        self.n_bytes = 0

    def readable(self) -> bool:
        """Always."""
        return True

    def read(self, size: int = -1, /) -> bytes:
        """Up to ``size`` bytes; fewer only at the end."""
        parts, wanted = [], size
        while wanted:
            try:
                got = self._source.read(wanted)
            except DAMAGE as error:
                raise UnreadableInput(
                    f"The packed file is damaged or was cut off ({error}). Send it "
                    "again."
                ) from None
            if not got:
                break
            parts.append(got)
            if wanted < 0:
                break
            wanted -= len(got)
        data = b"".join(parts)
        self._sha.update(data)
        self.n_bytes += len(data)
        self._hold_bounds()
        return data

    def _hold_bounds(self) -> None:
        if self.n_bytes > LARGEST_BYTES:
            raise UnreadableInput(
                f"The file holds more than {LARGEST_BYTES >> 30} GiB of text. Split it."
            )
        if self._packed is None and self._packed_bytes is None:
            return
        if self.n_bytes > RATIO_FROM_BYTES:
            packed = self._packed_bytes
            if packed is None and self._packed is not None:
                packed = self._packed.tell()
            if self.n_bytes > LARGEST_RATIO * max(packed or 1, 1):
                raise UnreadableInput(
                    f"The packed file grows more than {LARGEST_RATIO} times when it is "
                    "unpacked; records do not. It was not read further."
                )

    @property
    def sha256(self) -> str:
        """Digest of the bytes that have passed."""
        return self._sha.hexdigest()


def open_text(source: BinaryIO) -> tuple[TextStream, Container, str]:
    """Unwrap a seekable binary file from where it stands (its start).

    Returns
    -------
    stream, container, member
        ``member`` is the name inside a zip, else "".

    Raises
    ------
    UnreadableInput
        A zip with several files, with none, or with a password.
    """
    start = source.read(4)
    source.seek(0)
    container = container_of(start)
    if container is Container.GZIP:
        unpacked = gzip.GzipFile(fileobj=source, mode="rb")
        return TextStream(unpacked, packed=source), container, ""  # type: ignore[arg-type]
    if container is Container.ZIP:
        member, stream = _open_zip(source)
        return stream, container, member
    return TextStream(source), container, ""


def _open_zip(source: BinaryIO) -> tuple[str, TextStream]:
    try:
        archive = zipfile.ZipFile(source)
        members = [
            info
            for info in archive.infolist()
            if not info.is_dir() and not info.filename.startswith("__MACOSX/")
        ]
        if len(members) != 1:
            names = ", ".join(info.filename for info in members[:5])
            more = "…" if len(members) > 5 else ""
            raise UnreadableInput(
                f"The zip holds {len(members)} files"
                + (f" ({names}{more})" if names else "")
                + "; a zip of exactly one file of records is read. Send the files one "
                "by one."
            )
        info = members[0]
        if info.flag_bits & 1:
            raise UnreadableInput(
                f"“{info.filename}” in the zip is locked with a password. Send it "
                "without one."
            )
        unpacked = archive.open(info)
    except DAMAGE as error:
        raise UnreadableInput(
            f"The zip cannot be opened ({error}). It may have been cut off in "
            "transfer: send it again, or send the file without packing it."
        ) from None
    stream = TextStream(unpacked, packed_bytes=info.compress_size)  # type: ignore[arg-type]
    return info.filename, stream
