"""What is wrong with a file is named by line, field, value and remedy."""

from __future__ import annotations

import gzip
import io
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quality.records.detect import content_sha256, detect, open_records
from quality.records.report import Layout, Reason
from tests.quality.records.conftest import BUS, SAMPLES, TRUCK, read
from wimprog.lib.errors import UnreadableInput

PIPE = (SAMPLES / "orrin_w2016_pipe.wgt").read_bytes().splitlines()[0]
STATION = b"S99000101312031" + b"1" * 198
# 2001 layout from memory: 3-S2 with total 26.3 t = 5.1+5.6+6.2+4.5+4.9
W_2001 = b"W99000101310105121609   0263" + b"05051046056014062065045015049"


def replaced(line: bytes, start: int, text: bytes) -> bytes:
    """The line with ``text`` from column ``start`` (counted from 1)."""
    return line[: start - 1] + text + line[start - 1 + len(text) :]


@pytest.mark.parametrize(
    ("line", "reason", "words", "field", "value"),
    [
        (replaced(TRUCK, 1, b"X"), Reason.RECORD_TYPE, "not a truck weight", "1", "X"),
        (TRUCK[:30], Reason.TOO_SHORT, "30 columns", "", "W17018"),
        (replaced(TRUCK, 10, b" "), Reason.STATION, "direction", "column 10", " "),
        (replaced(TRUCK, 4, b"      "), Reason.STATION, "station", "4–9", "      "),
        (
            replaced(TRUCK, 27, b"57.886"),
            Reason.NOT_A_NUMBER,
            "gross",
            "27–32",
            "57.886",
        ),
        (replaced(TRUCK, 20, b"  "), Reason.NOT_A_NUMBER, "empty", "20–21", "  "),
        (
            replaced(TRUCK, 36, b"1 2"),
            Reason.NOT_A_NUMBER,
            "axle weight 1",
            "35",
            "11 20",
        ),
        (replaced(TRUCK, 16, b"0231"), Reason.DATE, "calendar", "12–19", "20120231"),
        (replaced(TRUCK, 12, b"1492"), Reason.DATE, "calendar", "12–19", "14921107"),
        (replaced(TRUCK, 20, b"24"), Reason.HOUR, "no such hour", "20–21", "24"),
        (replaced(TRUCK, 22, b"16"), Reason.VEHICLE_CLASS, "class", "22–23", "16"),
        (
            replaced(TRUCK, 33, b"01"),
            Reason.AXLE_COUNT,
            "number of axles",
            "33–34",
            "01",
        ),
        (
            replaced(TRUCK, 33, b"14"),
            Reason.AXLE_COUNT,
            "number of axles",
            "33–34",
            "14",
        ),
        (replaced(TRUCK, 33, b"06"), Reason.AXLES_MISSING, "ends after 75", "33", "06"),
        (replaced(TRUCK, 49, b"    "), Reason.AXLES_MISSING, "empty", "49–52", "    "),
        (replaced(TRUCK, 33, b"04"), Reason.AXLES_EXTRA, "filled in", "67–70", "0048"),
        (TRUCK.ljust(150) + b"9", Reason.TOO_LONG, "thirteenth", "", "W1701"),
        (replaced(TRUCK, 6, b"\xc3\xa9"), Reason.NOT_ASCII, "column 6", "4–9", "\\xc3"),
        (
            replaced(TRUCK, 27, b"057880"),
            Reason.GROSS_WEIGHT,
            "exceed its gross weight by 6 lb",
            "27–32",
            "057880",
        ),
        (
            replaced(TRUCK, 27, b"057992"),
            Reason.GROSS_WEIGHT,
            "fall short of its gross weight by 106 lb",
            "27–32",
            "057992",
        ),
    ],
)
def test_a_bad_line_is_refused_by_name_and_its_neighbours_kept(
    line: bytes, reason: Reason, words: str, field: str, value: str
) -> None:
    table, report = read(b"\n".join([BUS, line, TRUCK]) + b"\n")
    assert table.column("source_line").to_pylist() == [1, 3]
    assert (report.n_kept, report.n_refused) == (2, 1)
    assert list(report.refused_by_reason) == [reason]
    complaint = report.complaints[0]
    assert complaint.row == 2
    assert words in complaint.message
    assert field in complaint.field
    assert value in complaint.value
    assert complaint.expected
    assert report.acceptable()


def test_the_axle_sum_may_differ_by_one_pound_an_axle() -> None:
    for gross, kept in ((57886 - 5, 1), (57886 - 6, 0), (57886 + 5, 1), (57886 + 6, 0)):
        _, report = read(replaced(TRUCK, 27, b"%06d" % gross) + b"\n")
        assert report.n_kept == kept, gross


@pytest.mark.parametrize("keep", range(35, 75))
def test_a_file_cut_within_its_last_line_says_so(keep: int) -> None:
    table, report = read(BUS + b"\n" + TRUCK[:keep])
    assert table.num_rows == 1
    assert "The file ends in the middle of this line." in report.complaints[0].message
    assert report.complaints[0].row == 2
    assert "send it again" in report.complaints[0].remedy


@pytest.mark.parametrize(
    "raw",
    [
        BUS + b"\n" + TRUCK,
        BUS + b"\r\n" + TRUCK + b"\r\n",
        b"\xef\xbb\xbf" + BUS + b"\n" + TRUCK + b"\n",
        BUS.ljust(147) + b"\n" + TRUCK.ljust(147) + b"\n",
        BUS.ljust(200) + b"\n\n" + TRUCK + b"\n\n",
        BUS.replace(b"025209829", b" 252 9829") + b"\n" + TRUCK + b"\n",
        BUS.ljust(147, b"0") + b"\n" + TRUCK + b"\n",
    ],
    ids=["no last line end", "crlf", "bom", "padded", "over-padded", "blanks", "zeros"],
)
def test_harmless_differences_change_nothing(raw: bytes) -> None:
    plain, _ = read(BUS + b"\n" + TRUCK + b"\n")
    table, report = read(raw)
    assert report.n_refused == 0
    assert table.drop(["source_line"]) == plain.drop(["source_line"])


@pytest.mark.parametrize(
    ("raw", "layout", "words"),
    [
        (b"", Layout.EMPTY, "empty"),
        (b"\n \n", Layout.EMPTY, "only blanks"),
        (b"\x89PNG\0\0\0", Layout.BINARY, "not text"),
        ("W17".encode("utf-16"), Layout.BINARY, "UTF-16"),
        (STATION + b"\n", Layout.STATION, "station description records"),
        (b"1,2,3,4,5\n1,2,3,4,5\n", Layout.UNKNOWN, "without headings"),
        (b"Dear all,\nplease find\n", Layout.UNKNOWN, "not one that is known"),
        (b"Work notes for the week\n", Layout.UNKNOWN, "not one that is known"),
    ],
)
def test_a_file_of_another_kind_is_named(
    raw: bytes, layout: Layout, words: str
) -> None:
    found = detect(io.BytesIO(raw))
    assert found.layout is layout
    assert words in found.sentence
    with pytest.raises(UnreadableInput, match=words):
        open_records(io.BytesIO(raw))


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        (TRUCK, PIPE, "line 2 is a pipe-delimited record in a fixed-width file"),
        (PIPE, TRUCK, "line 2 is a fixed-width record in a pipe-delimited file"),
        (TRUCK, STATION, "line 2 is a station record among truck weight records"),
        (TRUCK, W_2001, "line 2 is a 2001 metric truck weight record"),
    ],
)
def test_mixed_layouts_refuse_the_file(first: bytes, second: bytes, words: str) -> None:
    raw = b"\n".join([first, second, first, first]) + b"\n"
    with pytest.raises(UnreadableInput, match=words) as caught:
        read(raw)
    assert caught.value.complaints[0].row == 2
    assert caught.value.complaints[0].remedy


def _zip(**members: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, raw in members.items():
            archive.writestr(name, raw)
    return out.getvalue()


def test_gzip_and_a_zip_of_one_file_read_like_the_file() -> None:
    raw = BUS + b"\n" + TRUCK + b"\n"
    plain, report = read(raw)
    for packed in (gzip.compress(raw), _zip(a=raw)):
        table, packed_report = read(packed)
        assert table == plain
        assert (
            packed_report.sha256 == report.sha256 == content_sha256(io.BytesIO(packed))
        )
    assert "in a zip" in detect(io.BytesIO(_zip(a=raw))).sentence


@pytest.mark.parametrize(
    ("packed", "words"),
    [
        (_zip(a=TRUCK, b=BUS), "holds 2 files"),
        (_zip(), "holds 0 files"),
        (_zip(a=TRUCK)[:40], "cannot be opened"),
        (gzip.compress(TRUCK * 99)[:-20], "damaged or was cut off"),
        (_zip(a=_zip(b=TRUCK)), "packed a second time"),
    ],
    ids=["two files", "none", "cut zip", "cut gzip", "zip in a zip"],
)
def test_a_package_that_cannot_be_read_says_why(packed: bytes, words: str) -> None:
    with pytest.raises(UnreadableInput, match=words):
        read(packed)


def test_a_package_that_grows_without_bound_is_stopped() -> None:
    bomb = gzip.compress((TRUCK + b"\n") * 2 + (b" " * 4000 + b"\n") * 20_000, 9)
    with pytest.raises(UnreadableInput, match="grows more than 200 times"):
        read(bomb)


def test_the_share_refused_decides_only_beyond_fifty_lines() -> None:
    bad = replaced(TRUCK, 20, b"24") + b"\n"
    good = TRUCK + b"\n"
    for n_bad, n_good, taken in ((50, 1, True), (51, 900, False), (51, 1000, True)):
        _, report = read(good + bad * n_bad + good * (n_good - 1))
        assert report.acceptable() is taken, (n_bad, n_good)
    _, report = read(bad)
    assert not report.acceptable()


def test_complaints_are_kept_to_a_thousand_and_counted_beyond() -> None:
    bad = replaced(TRUCK, 20, b"24") + b"\n"
    _, report = read(bad * 1500)
    assert len(report.complaints) == 1000
    assert report.refused_by_reason[Reason.HOUR] == report.n_refused == 1500
    assert "1,500 refused (100.0 %: hour 1,500)" in report.sentence()


def test_hour_marks_are_not_vehicles() -> None:
    head = TRUCK[:21]
    raw = b"\n".join([head + b" m", head + b"d ", head[:19] + b"25 d", TRUCK]) + b"\n"
    table, report = read(raw)
    assert table.num_rows == report.n_kept == 1
    assert report.n_hour_mark_lines == 2
    assert {mark.missing for mark in report.hour_marks} == {True, False}
    assert {str(mark.hour) for mark in report.hour_marks} == {"2012-11-07T16"}
    assert report.refused_by_reason == {Reason.HOUR: 1}


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.binary(max_size=160),
            st.sampled_from([TRUCK, BUS, PIPE, STATION, W_2001]),
            st.tuples(
                st.sampled_from([TRUCK, BUS, PIPE]),
                st.integers(0, 75),
                st.binary(max_size=3),
            ).map(
                lambda cut: cut[0][: cut[1]] + cut[2] + cut[0][cut[1] + len(cut[2]) :]
            ),
        ),
        max_size=12,
    ),
    st.sampled_from([b"\n", b"\r\n"]),
    st.sampled_from([TRUCK + b"\n", PIPE + b"\n", b""]),
)
def test_no_bytes_crash_the_reader_and_every_line_is_accounted_for(
    lines: list[bytes], end: bytes, front: bytes
) -> None:
    raw = front * 20 + end.join(lines)
    try:
        table, report = read(raw)
    except UnreadableInput as refusal:
        if not refusal.message:
            pytest.fail("refused without a word")
        return
    assert table.num_rows == report.n_kept
    assert len(report.complaints) == report.n_refused
    assert all(complaint.row and complaint.message for complaint in report.complaints)
    counted = report.n_kept + report.n_refused + report.n_hour_mark_lines
    blank = sum(not line.strip(b"\r\n") for line in raw.split(b"\n"))
    assert report.n_lines - blank <= counted <= report.n_lines
