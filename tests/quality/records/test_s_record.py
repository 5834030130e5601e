"""Station description records: by their columns, both ways, and what is refused."""

from __future__ import annotations

import dataclasses
import io
import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quality.records.s_record import (
    CALIBRATIONS,
    FIELDS,
    LENGTH,
    SENSORS,
    WEIGHING_METHODS,
    StationRecord,
    read_station_records,
    write_station_records,
)
from quality.records.schema import LaneKey
from wimprog.lib.errors import DomainError, UnreadableInput

PLAIN = StationRecord("99", "000101", "3", "1", 2031)
WORDS = st.text(string.ascii_letters + string.digits + " -", max_size=8).map(str.strip)


def written(*records: StationRecord, line_end: bytes = b"\n") -> bytes:
    out = io.BytesIO()
    assert write_station_records(records, out, line_end=line_end) == len(records)
    return out.getvalue()


def read(raw: bytes):
    return read_station_records(io.BytesIO(raw))


def replaced(line: bytes, first: int, text: bytes) -> bytes:
    """The line with ``text`` from column ``first`` (counted from 1)."""
    return line[: first - 1] + text + line[first - 1 + len(text) :]


def test_every_column_belongs_to_one_field_and_every_field_to_the_record() -> None:
    columns = [
        column for field in FIELDS for column in range(field.first, field.last + 1)
    ]
    assert columns == list(range(2, LENGTH + 1))
    names = [field.name for field in dataclasses.fields(StationRecord)]
    assert [field.name for field in FIELDS] == names


@st.composite
def stations(draw: st.DrawFn) -> StationRecord:
    def maybe(strategy):
        return draw(st.one_of(st.none(), strategy))

    def code(codes):
        return draw(st.sampled_from(["", *codes]))

    return StationRecord(
        state_code=draw(st.from_regex(r"[0-9]{2}", fullmatch=True)),
        station_id=draw(st.from_regex(r"[0-9A-Z]{6}", fullmatch=True)),
        direction_code=draw(st.sampled_from("0123456789")),
        lane_code=draw(st.sampled_from("0123456789")),
        year=draw(st.integers(1900, 2099)),
        functional_class=code(["1R", "7U"]),
        lanes_in_direction=maybe(st.integers(0, 9)),
        used_for_federal_system=code("YN"),
        class_groups=maybe(st.integers(0, 99)),
        lanes_weight=maybe(st.integers(0, 9)),
        weighing_method=code(WEIGHING_METHODS),
        calibration=code(CALIBRATIONS),
        sensor=code(SENSORS),
        second_sensor=code([*SENSORS, "N"]),
        lrs_id=draw(st.from_regex(r"([1-9A-Z][0-9A-Z]{0,59})?", fullmatch=True)),
        lrs_point_mi=maybe(st.integers(0, 99_999_999).map(lambda one: one / 1000)),
        latitude_deg=maybe(st.integers(0, 90_000_000).map(lambda one: one / 1e6)),
        longitude_west_deg=maybe(st.integers(0, 180_000_000).map(lambda n: n / 1e6)),
        previous_station=draw(st.from_regex(r"[0-9A-Z]{0,6}", fullmatch=True)),
        year_established=maybe(st.integers(1900, 2099)),
        hpms_sample=code("YN"),
        signed_route=draw(WORDS),
        location=draw(WORDS),
    )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(stations(), min_size=1, max_size=8, unique_by=lambda r: (r.lane, r.year)),
    st.sampled_from([b"\n", b"\r\n"]),
)
def test_records_to_lines_to_records_is_exact(records, line_end) -> None:
    raw = written(*records, line_end=line_end)
    assert {len(line) for line in raw.split(line_end)[:-1]} == {LENGTH}
    file = read(raw)
    assert file.complaints == ()
    assert file.records == tuple(records)
    assert written(*file.records, line_end=line_end) == raw


@pytest.mark.parametrize(
    ("first", "text", "field", "words"),
    [
        (1, b"W", "column 1", "not a station description record"),
        (2, b"9 ", "columns 2–3", "state is empty or not right-justified"),
        (4, b"      ", "columns 4–9", "station is empty"),
        (12, b"20x1", "columns 12–15", "year is not a whole number"),
        (12, b"    ", "columns 12–15", "year is empty"),
        (12, b"1066", "columns 12–15", "year is not known"),
        (16, b"8R", "columns 16–17", "functional class is not known"),
        (28, b"9", "column 28", "weighing method is not known"),
        (29, b"Q", "column 29", "calibration is not known"),
        (31, b"N", "column 31", "sensor is not known"),
        (102, b"95000000", "columns 102–109", "latitude is not known"),
        (102, b"45.00000", "columns 102–109", "latitude is not a whole number"),
        (164, b"\xc3\xa9", "", "not plain ASCII"),
    ],
)
def test_a_bad_line_is_refused_by_name_and_its_neighbours_kept(
    first: int, text: bytes, field: str, words: str
) -> None:
    other = dataclasses.replace(PLAIN, lane_code="2")
    bad = replaced(written(PLAIN).rstrip(b"\n"), first, text)
    file = read(written(other) + bad + b"\n" + written(PLAIN))
    assert file.records == (other, PLAIN)
    (complaint,) = file.complaints
    assert complaint.row == 2
    assert field in complaint.field
    assert words in complaint.message
    assert complaint.expected
    assert (file.n_lines, file.n_refused) == (3, 1)


def test_the_same_lane_and_year_twice_is_told_and_the_first_kept() -> None:
    file = read(written(PLAIN, dataclasses.replace(PLAIN, sensor="Q")))
    assert file.records == (PLAIN,)
    assert "a record before it" in file.complaints[0].message


def test_trailing_blanks_may_be_cut_and_a_cut_head_is_told() -> None:
    assert read(written(PLAIN).rstrip()).records == (PLAIN,)
    file = read(written(PLAIN) + b"S99000")
    assert "ends before its year. The file ends in the middle" in str(
        file.complaints[0]
    )


def test_what_is_not_known_is_refused_in_words() -> None:
    for raw, words in (
        (b"S|99|000101|3|1|2031\n", "pipe-delimited"),
        (b"hello\n", "No line is a station description record. Line 1"),
        (b"", "No line is a station description record."),
        (written(PLAIN)[:-1] + b"x\n", "214 columns"),
    ):
        with pytest.raises(UnreadableInput, match=words):
            read(raw)


def test_lanes_without_a_station_record_are_found() -> None:
    file = read(written(PLAIN))
    missing = LaneKey("99", "000101", "3", "2")
    assert file.undescribed([PLAIN.lane, missing]) == (missing,)
    assert file.of(PLAIN.lane, 2031) == PLAIN
    assert file.of(PLAIN.lane, 2030) is None


@pytest.mark.parametrize(
    "change",
    [
        {"station_id": "TOOLONG"},
        {"station_id": ""},
        {"calibration": "Q"},
        {"latitude_deg": 95.0},
        {"latitude_deg": 45.12345678},
        {"year": 31},
        {"location": "é"},
        {"lanes_weight": 12},
    ],
)
def test_what_does_not_fit_is_not_written(change) -> None:
    record = dataclasses.replace(PLAIN, **change)
    with pytest.raises(DomainError, match="does not fit the station record"):
        write_station_records([record], io.BytesIO())
