"""Give the readers spoiled files for so many seconds; say what became of them.

Run with: python -m tests.bench.fuzz_readers --seconds 120 [--seed 1]

Sound files of every layout are cut, mixed, mis-encoded, packed and damaged at random.
A crash, a count that does not add up or more than a gigabyte of memory ends the run
with the seed that made it; without one the run ends with a table.
"""

from __future__ import annotations

import argparse
import io
import random
import resource
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from quality.records.detect import open_records
from quality.records.s_record import StationRecord, write_station_records
from quality.records.w_layout import OpenField
from tests.quality.records.examine import WRAPPINGS, examine
from tests.quality.records.test_columns import WHEELS
from tests.quality.records.test_w_2001 import TRUCK_2001
from wimprog.lib.errors import UnreadableInput

SAMPLES = Path(__file__).resolve().parents[2] / "fixtures/samples"
MEMORY_MB = 1024


def _stations() -> bytes:
    out = io.BytesIO()
    write_station_records(
        [StationRecord("99", "000101", "3", str(n), 2031) for n in range(9)], out
    )
    return out.getvalue()


def sound_files() -> list[bytes]:
    """One of every layout."""
    names = ("orrin_w2016.wgt", "orrin_w2016_pipe.wgt", "vehicles_us.csv")
    wheel = b"1,2031-05-12 10:20:30,77,2200,1800,4.5,3300,2700,10000\n"
    return [
        *((SAMPLES / name).read_bytes() for name in names),
        (SAMPLES / "vehicles_si.csv").read_bytes(),
        (TRUCK_2001 + b"\n") * 40,
        WHEELS + wheel * 20,
        _stations(),
    ]


def _some(rng: random.Random, raw: bytes) -> bytes:
    lines = raw.splitlines(keepends=True)
    start = rng.randrange(len(lines))
    head = lines[:1] if rng.random() < 0.7 else []
    return b"".join(head + lines[start : start + rng.randint(1, 60)])


def _bytes(rng: random.Random, raw: bytes) -> bytes:
    text = bytearray(raw)
    for _ in range(rng.choice((1, 1, 3, 20))):
        if text:
            text[rng.randrange(len(text))] = rng.choice(b'0 9-.,;|"\r\n\0WSmd\xe9\xff')
    return bytes(text)


def _cut(rng: random.Random, raw: bytes) -> bytes:
    at = sorted(rng.randrange(len(raw) + 1) for _ in range(2))
    return raw[: at[0]] + raw[at[1] :] if rng.random() < 0.5 else raw[: at[0]]


def _swap_fields(rng: random.Random, raw: bytes) -> bytes:
    mark = rng.choice((b",", b"|", b";", b" "))
    lines = raw.split(b"\n")
    place = rng.randrange(len(lines))
    fields = lines[place].split(mark)
    rng.shuffle(fields)
    lines[place] = mark.join(fields)
    return b"\n".join(lines)


def _long_line(rng: random.Random, raw: bytes) -> bytes:
    more = rng.choice((b"0", b" ", b"W", b",", b"|", b'"')) * rng.choice(
        (200, 5000, 140_000)
    )
    at = rng.randrange(len(raw) + 1)
    return raw[:at] + more + raw[at:]


def _encoding(rng: random.Random, raw: bytes) -> bytes:
    text = raw.decode("latin-1")
    how = rng.choice(("utf-16", "utf-16-le", "utf-32", "cp500", "utf-8-sig", "utf-7"))
    return text.encode(how, errors="replace")


def _line_ends(rng: random.Random, raw: bytes) -> bytes:
    return raw.replace(b"\n", rng.choice((b"\r\n", b"\r", b"\n\n", b"\n\r", b"")))


SPOILERS: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    _bytes, _bytes, _cut, _swap_fields, _long_line, _encoding, _line_ends,
)  # fmt: skip


def spoiled(rng: random.Random, files: list[bytes]) -> bytes:
    """A file that something has happened to."""
    raw = _some(rng, rng.choice(files))
    if rng.random() < 0.2:
        raw += _some(rng, rng.choice(files))
    for _ in range(rng.choice((0, 1, 1, 2, 3))):
        raw = rng.choice(SPOILERS)(rng, raw)
    raw = WRAPPINGS[rng.choice(("plain", "plain", "plain", "gzip", "zip"))](raw)
    if rng.random() < 0.1:
        raw = _bytes(rng, raw)
    return _cut(rng, raw) if rng.random() < 0.05 else raw


class Endless(io.RawIOBase):
    """A file that goes on with the same bytes for ``size``."""

    def __init__(self, front: bytes, again: bytes, size: int) -> None:
        super().__init__()
        self.front, self.again, self.size, self.at = front, again * 4096, size, 0

    def read(self, size: int = -1, /) -> bytes:
        """The front, then the same again."""
        if self.at < len(self.front):
            got = self.front[self.at : self.at + size]
        else:
            got = self.again[: min(size, max(self.size - self.at, 0))]
        self.at += len(got)
        return got

    def seek(self, offset: int, whence: int = 0, /) -> int:
        """To the start only."""
        self.at = offset
        return offset


def _packed(wrapping: str, again: bytes) -> io.BytesIO:
    return io.BytesIO(WRAPPINGS[wrapping](again * (1 << 27)))


def huge_files() -> dict[str, Callable[[], io.IOBase]]:
    """Files that are meant to fill the memory, each made when it is its turn."""
    truck = (SAMPLES / "orrin_w2016.wgt").read_bytes()
    table = (SAMPLES / "vehicles_us.csv").read_bytes()
    size = 1 << 26
    return {
        "a line that does not end": lambda: Endless(truck, b"0", size),
        "a heading that does not end": lambda: Endless(b"a,b,c,d", b",e", size),
        "nothing but line ends": lambda: Endless(truck, b"\n", size),
        "a table of line ends": lambda: Endless(table, b"\n", size),
        "short lines": lambda: Endless(truck, b"W\n", size >> 2),
        "commas": lambda: Endless(table, b",,,,,,,,,,,,,,,,,,\n", size),
        "an open quotation mark": lambda: Endless(table, b'1,"\n', size >> 3),
        "lanes without number": lambda: Endless(
            table, b"".join(b"%06d,3\n" % n for n in range(1000)), size >> 3
        ),
        "a gzip of zeros": lambda: _packed("gzip", b"0"),
        "a zip of line ends": lambda: _packed("zip", b"\n"),
    }


def peak_mb() -> float:
    """The process's largest resident memory so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--huge", action="store_true", help="files that fill memory")
    options = parser.parse_args()
    say = sys.stdout.write
    files, fates = sound_files(), Counter[str]()
    seed, end = options.seed, time.monotonic() + options.seconds
    while time.monotonic() < end:
        rng = random.Random(seed)
        raw = spoiled(rng, files)
        try:
            fates[examine(raw, open_field=rng.choice(list(OpenField)))] += 1
        except BaseException:
            say(f"seed {seed}: {raw[:200]!r}\n")
            raise
        seed += 1
    say(f"{seed - options.seed:,} files, seeds from {options.seed}\n")
    for fate, n in fates.most_common():
        say(f"{fate:12} {n:8,}\n")
    say(f"peak memory {peak_mb():,.0f} MB\n")
    for name, make in huge_files().items() if options.huge else ():
        try:
            reader = open_records(make())  # type: ignore[arg-type]
            n = sum(batch.num_rows for batch in reader)
            fate = f"{n:,} kept, {reader.report.n_refused:,} refused"
        except UnreadableInput as refusal:
            fate = refusal.message.split(".")[0]
        say(f"{name:28} peak so far {peak_mb():6,.0f} MB  {fate}\n")
    if peak_mb() > MEMORY_MB:
        raise SystemExit(f"more than {MEMORY_MB} MB")


if __name__ == "__main__":
    main()
