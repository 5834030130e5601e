"""Spoiled files of every layout: read or refused in words, and counts that add up.

A longer run is in tests/bench/fuzz_readers.py.
"""

from __future__ import annotations

import gzip
import io
import random
import subprocess
import sys
import textwrap

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quality.records.detect import detect, open_records
from quality.records.w_layout import OpenField
from tests.bench.fuzz_readers import SPOILERS, sound_files
from tests.quality.records.conftest import BUS, SAMPLES, TRUCK
from tests.quality.records.examine import WRAPPINGS, examine
from tests.quality.records.test_w_2001 import TRUCK_2001
from wimprog.lib.errors import UnreadableInput

FILES = sound_files()
PIPE = (SAMPLES / "orrin_w2016_pipe.wgt").read_bytes().splitlines()[0]
TABLE = (SAMPLES / "vehicles_us.csv").read_bytes().splitlines()
LINES = (TRUCK, BUS, PIPE, TRUCK_2001, b"S99000101312031", *TABLE[:3], b"")
FIXED_SEEDS = settings(max_examples=40, deadline=None, derandomize=True)


@FIXED_SEEDS
@given(
    st.lists(st.one_of(st.sampled_from(LINES), st.binary(max_size=80)), max_size=30),
    st.sampled_from([b"\n", b"\r\n", b"\r", b"\0"]),
    st.sampled_from(sorted(WRAPPINGS)),
    st.sampled_from(list(OpenField)),
)
def test_lines_of_any_kind(lines, end, wrapping, open_field) -> None:
    assert examine(WRAPPINGS[wrapping](end.join(lines)), open_field=open_field)


@FIXED_SEEDS
@given(
    st.sampled_from(FILES),
    st.lists(st.sampled_from(SPOILERS), min_size=1, max_size=3),
    st.sampled_from(sorted(WRAPPINGS)),
    st.randoms(use_true_random=False),
)
def test_sound_files_that_something_happened_to(raw, spoilers, wrapping, rng) -> None:
    raw = b"".join(raw.splitlines(keepends=True)[:30])
    for spoil in spoilers:
        raw = spoil(rng, raw)
    assert examine(WRAPPINGS[wrapping](raw))


@FIXED_SEEDS
@given(
    st.sampled_from(["gzip", "zip"]),
    st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255)), max_size=6),
    st.integers(0, 400),
)
def test_damaged_packing(wrapping, changes, length) -> None:
    packed = bytearray(WRAPPINGS[wrapping](b"\n".join([TRUCK, BUS] * 20)))
    for place, value in changes:
        packed[place % len(packed)] = value
    assert examine(bytes(packed[: max(len(packed) - length, 4)]))


def test_a_table_with_old_line_ends_does_not_crash() -> None:
    assert detect(io.BytesIO(b"a,b,c,d\n\r1,2,3,4\n\r")).header == ("a", "b", "c", "d")


def test_a_zip_whose_directory_points_before_its_start_is_refused() -> None:
    packed = bytearray(WRAPPINGS["zip"](TRUCK * 20))
    for seed in range(200):
        rng = random.Random(seed)
        spoiled = bytearray(packed)
        for _ in range(3):
            spoiled[-rng.randrange(1, 80)] = rng.randrange(256)
        assert examine(bytes(spoiled))


@pytest.mark.parametrize(
    ("front", "again", "words"),
    [
        (TRUCK + b"\n", b"0", "No line ends within"),
        (b"a,b,c,d", b",e", "No line ends within"),
    ],
)
def test_a_line_without_end_is_refused_before_it_is_kept(front, again, words) -> None:
    from tests.bench.fuzz_readers import Endless

    endless = Endless(front, again, 1 << 40)
    with pytest.raises(UnreadableInput, match=words):
        for _ in open_records(endless):
            pass
    assert endless.at < 1 << 24


def test_memory_stays_bounded_when_a_small_package_holds_much() -> None:
    """In a process of its own, so that its peak is that of this file alone."""
    script = """
        import gzip, io, resource
        from quality.records.detect import open_records
        from wimprog.lib.errors import UnreadableInput
        from tests.quality.records.conftest import TRUCK
        def peak():
            return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        blank = (b" " * 500 + b"\\n" * 12) * (9 << 14)
        bomb = gzip.compress((TRUCK + b"\\n") * 9 + blank, 9)
        before = peak()
        try:
            for _ in open_records(io.BytesIO(bomb)):
                pass
        except UnreadableInput as refusal:
            print(refusal.message)
        print(f"grew {peak() - before:.0f} MB")
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)],
        capture_output=True,
        text=True,
        check=True,
    )
    refusal, grew = done.stdout.splitlines()
    assert "grows more than 200 times" in refusal
    assert float(grew.split()[1]) < 300


def test_a_file_packed_again_and_again_is_refused() -> None:
    packed = TRUCK + b"\n"
    for _ in range(3):
        packed = gzip.compress(packed)
    with pytest.raises(UnreadableInput, match="not text"):
        open_records(io.BytesIO(packed))


def test_a_heading_of_very_many_digits_is_passed_over_at_once() -> None:
    # a pattern that looks for digits at the end once took hours over this
    long = b"Axle " + b"1" * 60_000
    found = detect(io.BytesIO(b"Lane,Time," + long + b",Class\n1,2,3,4\n"))
    assert found.mapping is not None
    assert found.mapping.weights == ()
    assert found.mapping.lane == "Lane"
