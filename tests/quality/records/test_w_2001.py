"""The 2001 edition's metric record: read, told from 2016, and complained of."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quality.records.detect import detect
from quality.records.report import Layout, Reason
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS, LaneKey
from tests.quality.records.conftest import MPH, TRUCK, read
from wimprog.lib.errors import UnreadableInput
from wimprog.lib.units import KMH_PER_MPH


def line_2001(
    weights: list[int],
    spacings: list[int],
    *,
    head: bytes = b"W9900010131",
    when: bytes = b"01051216",
    vehicle_class: bytes = b"09",
    open_field: bytes = b"   ",
    gross: int | None = None,
    pad: bytes = b"0",
) -> bytes:
    """A line by its published positions: 0.1 t and 0.1 m, fields 3 wide."""

    def number(value: int, width: int) -> bytes:
        return str(value).encode().rjust(width, pad)

    gross = sum(weights) if gross is None else gross
    axles = number(weights[0], 3)
    for spacing, weight in zip(spacings, weights[1:], strict=True):
        axles += number(spacing, 3) + number(weight, 3)
    return (
        head + when + vehicle_class + open_field + number(gross, 4)
        + number(len(weights), 2) + axles
    )  # fmt: skip


TRUCK_2001 = line_2001([51, 56, 62, 45, 49], [46, 14, 65, 15])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(
            st.lists(st.integers(0, 300), min_size=13, max_size=13),
            st.lists(st.integers(1, 999), min_size=12, max_size=12),
            st.integers(2, 13),
            st.sampled_from([b"0", b" "]),
            st.one_of(st.none(), st.integers(1, 130)),
        ),
        min_size=1,
        max_size=12,
    ),
    st.sampled_from([b"\n", b"\r\n"]),
)
def test_tenths_of_a_tonne_and_of_a_metre_come_out_as_kg_and_m(records, end) -> None:
    lines, wanted = [TRUCK_2001], []
    for weights, spacings, n, pad, mph in records:
        lines.append(
            line_2001(
                weights[:n],
                spacings[: n - 1],
                pad=pad,
                open_field=b"   " if mph is None else b"%03d" % mph,
            )
        )
        wanted.append((weights[:n], spacings[: n - 1], mph))
    table, report = read(end.join(lines), options=MPH)
    assert report.layout is Layout.W_2001
    assert (report.n_kept, report.n_refused) == (len(lines), 0)
    for record, (weights, spacings, mph) in zip(
        table.to_pylist()[1:], wanted, strict=True
    ):
        n = len(weights)
        assert record["n_axles"] == n
        assert record["gvw_kg"] == 100 * sum(weights)
        assert [record[name] for name in WEIGHT_COLUMNS[:n]] == [
            100 * weight for weight in weights
        ]
        assert [record[name] for name in WEIGHT_COLUMNS[n:]] == [None] * (13 - n)
        assert [record[name] for name in SPACING_COLUMNS[: n - 1]] == [
            np.float32(spacing / 10) for spacing in spacings
        ]
        speed = None if mph is None else np.float32(mph * KMH_PER_MPH)
        assert record["speed_kmh"] == speed


@pytest.mark.parametrize(
    ("year", "wanted"),
    [(b"70", 1970), (b"99", 1999), (b"00", 2000), (b" 1", 2001), (b"69", 2069)],
)
def test_two_digit_years(year: bytes, wanted: int) -> None:
    table, report = read(
        TRUCK_2001 + b"\n" + line_2001([30, 40], [52], when=year + b"051207")
    )
    assert report.n_refused == 0
    assert list(report.lanes) == [LaneKey("99", "000101", "3", "1")]
    assert str(table["time"][1].as_py()) == f"{wanted}-05-12 07:00:00"


@pytest.mark.parametrize(
    ("bad", "reason", "field", "words"),
    [
        (TRUCK_2001[:28], Reason.TOO_SHORT, "", "28 columns"),
        (TRUCK_2001[:40], Reason.AXLES_MISSING, "29–30", "ends after 40"),
        (
            line_2001([51, 56], [46], gross=140),
            Reason.GROSS_WEIGHT, "25–28", "fall short of its gross weight by 3.3 t",
        ),
        (
            line_2001([51, 56], [46], when=b"01133109"),
            Reason.DATE, "12–17", "not a day of the calendar",
        ),
        (
            line_2001([51, 56], [46], vehicle_class=b" m"),
            Reason.NOT_A_NUMBER, "20–21", "not a whole number",
        ),
        (
            TRUCK_2001.replace(b"046056", b"   056"),
            Reason.AXLES_MISSING, "34–36", "axle spacing 1–2 is empty",
        ),
        (
            TRUCK_2001.replace(b"046056", b"0x6056"),
            Reason.NOT_A_NUMBER, "34–36", "not a whole number",
        ),
    ],
)  # fmt: skip
def test_a_bad_line_is_named_by_its_own_columns(bad, reason, field, words) -> None:
    raw = b"\n".join([TRUCK_2001, bad, TRUCK_2001, TRUCK_2001]) + b"\n"
    table, report = read(raw)
    assert table["source_line"].to_pylist() == [1, 3, 4]
    assert report.refused_by_reason == {reason: 1}
    (complaint,) = report.complaints
    assert complaint.row == 2
    assert field in complaint.field
    assert words in complaint.message


def test_one_step_an_axle_is_rounding_and_more_is_not() -> None:
    for gross, kept in ((107 + 2, 1), (107 + 3, 0), (107 - 2, 1), (107 - 3, 0)):
        _, report = read(TRUCK_2001 + b"\n" + line_2001([51, 56], [46], gross=gross))
        assert report.n_kept == 1 + kept, gross


def test_content_tells_the_editions_apart_whatever_the_name() -> None:
    for raw, layout in (
        (TRUCK_2001 + b"\n" + TRUCK_2001[:30], Layout.W_2001),
        (TRUCK + b"\n" + TRUCK[:30], Layout.W_FIXED),
    ):
        file = io.BytesIO(raw)
        file.name = "anything.wgt"
        assert detect(file).layout is layout


def test_a_2016_record_among_2001_records_refuses_the_file() -> None:
    raw = b"\n".join([TRUCK_2001, TRUCK_2001, TRUCK]) + b"\n"
    with pytest.raises(UnreadableInput, match="line 3 is a 2013 or 2016 truck weight"):
        read(raw)
