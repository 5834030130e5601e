"""The text of a profile's file: is it text at all, and which line is which row."""

from __future__ import annotations

import codecs

import numpy as np
from numpy.typing import NDArray

from sites.calc.profile_layout import split_line
from wimprog.lib.errors import UnreadableInput

_NOT_TEXT = (
    (b"PK\x03\x04", "The file is a workbook or a zip archive; save the sheet as CSV."),
    (b"\xd0\xcf\x11\xe0", "The file is an old workbook; save the sheet as CSV."),
    (b"\x1f\x8b", "The file is compressed; unpack it first."),
    (b"%PDF", "The file is a PDF; export the profile as CSV."),
)
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def plain_text(data: bytes) -> bytes:
    """The file as UTF-8 with line feeds, without a byte-order mark.

    Parameters
    ----------
    data
        The file.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        When the file is not text; the message says what to export instead.
    """
    for mark, message in _NOT_TEXT:
        if data.startswith(mark):
            raise UnreadableInput(message)
    if data.startswith(_UTF_16):
        try:
            data = data.decode("utf-16").encode()
        except UnicodeDecodeError:
            raise UnreadableInput(
                "The file begins as UTF-16 text and is not; export it again as CSV."
            ) from None
    data = data.removeprefix(codecs.BOM_UTF8)
    if b"\0" in data:
        raise UnreadableInput(
            "The file is not text. A profile in a binary format (such as a PPF file of "
            "ASTM E2560) is not read here; export it as CSV with distance and "
            "elevations under a heading."
        )
    if not data.isascii():
        try:
            data.decode("utf-8")
        except UnicodeDecodeError:  # the one-byte encoding of many office programs
            data = data.decode("cp1252", errors="replace").encode()
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return data


def lines_of_rows(body: bytes, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Lines, from 0, of rows counted from 0; empty lines are no rows.

    Parameters
    ----------
    body
        Text with line feeds.
    rows
        Row numbers.
    """
    ends = np.flatnonzero(np.frombuffer(body, dtype=np.uint8) == ord("\n"))
    if not body.endswith(b"\n"):
        ends = np.append(ends, len(body))
    filled = np.flatnonzero(np.diff(ends, prepend=-1) > 1)
    return filled[rows]


def ragged_lines(
    body: bytes, delimiter: str, width: int, most: int
) -> list[tuple[int, str]]:
    """The first lines, from 0, that have not the wanted number of cells."""
    found: list[tuple[int, str]] = []
    for number, raw in enumerate(body.split(b"\n")):
        if not raw or (b'"' not in raw and raw.count(delimiter.encode()) == width - 1):
            continue
        text = raw.decode(errors="replace")
        if len(split_line(text, delimiter)) != width:
            found.append((number, text))
            if len(found) == most:
                break
    return found
