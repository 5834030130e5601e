"""The fast reader against a slow one, digit for digit and line for line."""

from __future__ import annotations

import random

import numpy as np
import pyarrow as pa
import pytest

from quality.records.report import Layout
from tests.quality.records.conftest import MPH, SAMPLES, read
from tests.quality.records.slow_parser import parse

NAMES = (
    "state_code", "station_id", "direction_code", "lane_code", "time",
    "vehicle_class", "n_axles",
)  # fmt: skip


def vehicle(rng: random.Random) -> str:
    """A sound line, zeros or blanks in front, cut or padded behind."""
    n = rng.choice((2, 2, 3, 4, 5, 5, 5, 6, 7, 9, 13))
    weights = [rng.choice((0, rng.randint(1, 9999), rng.randint(1, 76_923)))] + [
        rng.randint(1, 76_923) for _ in range(n - 1)
    ]
    pad = rng.choice("00 ")

    def number(value: int, width: int) -> str:
        return str(value).rjust(width, pad)

    axles = number(weights[0], 5)
    for weight in weights[1:]:
        axles += number(rng.randint(0, 9999), 4) + number(weight, 5)
    gross = min(sum(weights) + rng.randint(-n, n), 999_999)
    line = (
        "W" + rng.choice(("17", "99", " 8"))
        + rng.choice(("018115", "  8115", "A00001"))
        + rng.choice("12345678") + rng.choice("1234")
        + f"{rng.randint(1970, 2099)}{rng.randint(1, 12):02}{rng.randint(1, 28):02}"
        + number(rng.randint(0, 23), 2)
        + rng.choice(("  ", number(rng.randint(1, 15), 2)))
        + rng.choice(("   ", "000", "x 7", number(rng.randint(1, 120), 3)))
        + number(max(gross, 0), 6) + number(n, 2) + axles
    )  # fmt: skip
    return rng.choice((line, line, line.ljust(147), line.ljust(147, "0"), line + "  "))


def spoiled(line: str, rng: random.Random) -> str:
    """The line with one fault, which may or may not matter."""
    place = rng.randrange(len(line))
    how = rng.randrange(5)
    if how == 0:
        return line[:place]
    if how == 1:
        return line[:place] + rng.choice("0 9-.Xx|;?\x00\xe9") + line[place + 1 :]
    if how == 2:
        return line[:place] + line[place + 1 :]
    if how == 3:
        return line[:place] + rng.choice("07 ") + line[place:]
    return line.ljust(147) + rng.choice(("", "   ", "1"))


def text(seed: int, n: int) -> bytes:
    """Lines, a quarter of them spoiled, with every kind of line end."""
    rng = random.Random(seed)
    lines = [vehicle(rng) for _ in range(20)]
    for _ in range(n):
        line = vehicle(rng)
        # m and d in the class would mark an hour; S in front is another layout
        lines.append(spoiled(line, rng) if rng.random() < 0.25 else line)
    ends = [rng.choice(("\n", "\n", "\r\n")) for _ in lines]
    ends[-1] = rng.choice(("", "\n"))
    joined = "".join(line + end for line, end in zip(lines, ends, strict=True))
    return joined.encode("latin-1")


def check_equal(raw: bytes, table: pa.Table) -> None:
    wanted = parse(raw)
    records = table.to_pylist()
    assert [record["source_line"] for record in records] == list(wanted)
    for record in records:
        slow = wanted[record["source_line"]]
        for name in NAMES:
            assert record[name] == slow[name], (record["source_line"], name)
        fast = [record[f"w{k}_kg"] for k in range(1, 14)]
        fast += [record[f"s{k}_m"] for k in range(1, 13)]
        n = slow["n_axles"]
        numbers = slow["weights_kg"] + [None] * (13 - n)
        numbers += slow["spacings_m"] + [None] * (13 - n)
        for got, exact in zip(
            [*fast, record["gvw_kg"], record["speed_kmh"]],
            [*numbers, slow["gvw_kg"], slow["speed_kmh"]],
            strict=True,
        ):
            assert (got is None) == (exact is None)
            if exact is not None:
                # the nearest 32-bit number to the exact decimal
                assert np.float32(got) == np.float32(float(exact))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_fixed_width_equals_the_slow_parser(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "quality.records.blocks.line_blocks.__kwdefaults__", {"block_bytes": 20_000}
    )
    monkeypatch.setattr("quality.records.detect.SAMPLE_BYTES", 4000)
    monkeypatch.setattr("quality.records.w_record.PIECE", 50)
    raw = text(seed, 1500)
    table, report = read(raw, options=MPH)
    assert report.layout is Layout.W_FIXED
    assert table.num_rows > 1000
    assert report.n_refused > 150
    check_equal(raw, table)
    lines = raw.removesuffix(b"\n").split(b"\n")
    empty = sum(not line.removesuffix(b"\r") for line in lines)
    assert report.n_lines == len(lines)
    assert report.n_kept + report.n_refused + empty == len(lines)
    assert [one.row for one in report.complaints] == sorted(
        one.row or 0 for one in report.complaints
    )


def test_the_sample_equals_the_slow_parser() -> None:
    raw = (SAMPLES / "orrin_w2016.wgt").read_bytes()
    table, _ = read(raw, options=MPH)
    check_equal(raw, table)


def piped(line: str, rng: random.Random, *, strip: bool) -> str:
    """The fixed-width line with a pipe between its fields."""
    stops = [1, 3, 9, 10, 11, 15, 17, 19, 21, 23, 26, 32, 34]
    for k in range(13):
        stops += [39 + 9 * k, 43 + 9 * k]
    fields, start = [], 0
    for stop in stops:
        if start >= len(line):
            break
        field = line[start:stop]
        fields.append(field.strip() if strip and rng.random() < 0.8 else field)
        start = stop
    return "|".join(fields)


@pytest.mark.parametrize("strip", [False, True])
def test_delimited_equals_the_same_lines_in_fixed_width(strip: bool) -> None:
    rng = random.Random(7)
    lines = [vehicle(rng).rstrip() for _ in range(800)]
    fixed = "\n".join(lines).encode() + b"\n"
    delimited = "\n".join(piped(line, rng, strip=strip) for line in lines) + "\n"
    table, report = read(delimited.encode(), options=MPH)
    assert report.layout is Layout.W_PIPE
    assert report.n_refused == 0
    check_equal(fixed, table)
