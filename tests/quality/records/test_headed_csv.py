"""Headed columns: the mapping, the units, and what is said of a bad row."""

from __future__ import annotations

import io
import json

import numpy as np
import pyarrow as pa
import pytest

from quality.records.detect import detect
from quality.records.mapping import ColumnMapping, suggest_mapping
from quality.records.report import Reason
from quality.records.schema import LaneKey, TimeResolution, resolution_of
from tests.quality.records.conftest import MPH, SAMPLES, read
from wimprog.lib.errors import UnreadableInput
from wimprog.lib.units import KG_PER_LB

HEAD = b"Lane,Time,Class,Speed mph,Axles,GVW lb,Axle 1 lb,Spacing 1 ft,Axle 2 lb\n"
GOOD = b"1,2031-05-12 10:20:30,5,60,2,20000,8000,18.5,12000\n"
US = (SAMPLES / "vehicles_us.csv").read_bytes()


def rows(*lines: bytes) -> bytes:
    return HEAD + b"".join(line + b"\n" for line in lines)


def test_the_sample_in_pounds_holds_the_vehicles_of_the_record_file() -> None:
    table, report = read(US)
    fixed, _ = read((SAMPLES / "orrin_w2016.wgt").read_bytes(), options=MPH)
    assert report.n_refused == 0
    assert resolution_of(table.schema) is TimeResolution.INSTANT
    hour = np.asarray(table["time"]).astype("M8[h]")
    assert (hour == np.asarray(fixed["time"]).astype("M8[h]")).all()
    for name in ("vehicle_class", "n_axles", "gvw_kg", "speed_kmh", "w1_kg", "w6_kg"):
        assert table[name].to_pylist() == fixed[name].to_pylist(), name
    spacings = np.array(table["s3_m"].to_pylist(), dtype=float)
    assert np.allclose(
        spacings, np.array(fixed["s3_m"].to_pylist(), dtype=float), equal_nan=True
    )


def test_semicolons_decimal_commas_tonnes_and_day_first_are_suggested() -> None:
    raw = (SAMPLES / "vehicles_si.csv").read_bytes()
    mapping = detect(io.BytesIO(raw)).mapping
    assert mapping is not None
    assert (mapping.decimal_mark, mapping.date_order) == (",", "dmy")
    assert (mapping.mass_unit, mapping.spacing_unit) == ("t", "m")
    table, report = read(raw)
    pounds, _ = read(US)
    assert (report.n_kept, report.n_refused) == (80, 0)
    short = pounds.slice(0, 80)
    # each axle was rounded to 0.1 t, a gap to 0.01 m and the time to a second
    assert table["n_axles"].to_pylist() == short["n_axles"].to_pylist()
    for name, step in (("w1_kg", 50.1), ("w2_kg", 50.1), ("s1_m", 0.0051)):
        difference = np.asarray(table[name]) - np.asarray(short[name])
        assert np.abs(difference).max() <= step, name
    late = np.asarray(short["time"]) - np.asarray(table["time"])
    assert (late >= np.timedelta64(0)).all()
    assert (late < np.timedelta64(1, "s")).all()


@pytest.mark.parametrize(
    ("bad", "reason", "field", "value", "words"),
    [
        (
            b"1,2031-05-12 10:20:30,5,60,2,20000,eight,18.5,12000",
            Reason.NOT_A_NUMBER, "Axle 1 lb", "eight", "not a number",
        ),
        (
            b'1,2031-05-12 10:20:30,5,60,2,20000,8000,"18,5",12000',
            Reason.NOT_A_NUMBER, "Spacing 1 ft", "18,5", "not a number",
        ),
        (
            b"1,2031-05-12 10:20:30,5,60,2,inf,8000,18.5,12000",
            Reason.NOT_A_NUMBER, "GVW lb", "inf", "not a number",
        ),
        (
            b"1,2031-02-30 10:20:30,5,60,2,20000,8000,18.5,12000",
            Reason.DATE, "Time", "2031-02-30", "cannot be read",
        ),
        (
            b",2031-05-12 10:20:30,5,60,2,20000,8000,18.5,12000",
            Reason.STATION, "Lane", "", "lane cannot be told",
        ),
        (
            b"1,2031-05-12 10:20:30,99,60,2,20000,8000,18.5,12000",
            Reason.VEHICLE_CLASS, "Class", "99", "no such vehicle class",
        ),
        (
            b"1,2031-05-12 10:20:30,5,60,3,20000,8000,18.5,12000",
            Reason.AXLE_COUNT, "Axles", "3", "number of axles",
        ),
        (
            b"1,2031-05-12 10:20:30,5,60,2,20000,8000,,12000",
            Reason.AXLES_MISSING, "Spacing 1 ft", "", "is empty",
        ),
        (
            b"1,2031-05-12 10:20:30,5,60,2,20000,-8000,18.5,12000",
            Reason.AXLES_MISSING, "Axle 1 lb", "-8000", "is negative",
        ),
        (
            b"1,2031-05-12 10:20:30,5,60,2,21000,8000,18.5,12000",
            Reason.GROSS_WEIGHT, "GVW lb", "21000",
            "fall short of its gross weight by 1,000 lb",
        ),
        (
            b"1,2031-05-12 10:20:30,5,60,2,20,000,8000,18.5,12000",
            Reason.COLUMNS, "", "20,000", "10 columns and the header 9",
        ),
    ],
)  # fmt: skip
def test_a_bad_row_is_refused_by_name_and_its_neighbours_kept(
    bad: bytes, reason: Reason, field: str, value: str, words: str
) -> None:
    table, report = read(HEAD + GOOD + bad + b"\n\n" + GOOD)
    assert table["source_line"].to_pylist() == [2, 5]
    assert report.refused_by_reason == {reason: 1}
    complaint = report.complaints[0]
    assert complaint.row == 3
    assert complaint.field == field
    assert value in complaint.value
    assert words in complaint.message


def test_a_cut_last_row_says_so() -> None:
    table, report = read(HEAD + GOOD + GOOD[:30])
    assert table.num_rows == 1
    assert "The file ends in the middle" in report.complaints[0].message


def test_crlf_and_a_byte_order_mark_change_nothing() -> None:
    plain, _ = read(US)
    table, _ = read(b"\xef\xbb\xbf" + US.replace(b"\n", b"\r\n"))
    assert table == plain


def test_small_blocks_give_the_same_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    whole, _ = read(US)
    monkeypatch.setattr(
        "quality.records.blocks.raw_blocks.__kwdefaults__", {"block_bytes": 500}
    )
    monkeypatch.setattr("quality.records.detect.SAMPLE_BYTES", 400)
    pieces, _ = read(US)
    assert pieces.to_pylist() == whole.to_pylist()


def test_a_wrong_mass_unit_is_not_silent_when_the_gross_has_another() -> None:
    mapping = detect(io.BytesIO(HEAD + GOOD)).mapping
    assert mapping is not None
    assert mapping.mass_unit == "lb"
    table, _ = read(HEAD + GOOD)
    assert table["gvw_kg"][0].as_py() == pytest.approx(20000 * KG_PER_LB, rel=1e-7)


def test_a_mapping_survives_json_and_refuses_unknown_entries() -> None:
    mapping = detect(io.BytesIO(US)).mapping
    assert mapping is not None
    again = ColumnMapping.from_dict(json.loads(json.dumps(mapping.as_dict())))
    assert again == mapping
    with pytest.raises(UnreadableInput, match="axel"):
        ColumnMapping.from_dict({"axel": "x"})


def test_a_mapping_that_does_not_fit_names_every_problem() -> None:
    mapping = ColumnMapping(weights=("A1", "A2", "A3"), spacings=("S1",), time="When")
    with pytest.raises(UnreadableInput) as caught:
        read(HEAD + GOOD, mapping=mapping)
    said = " ".join(str(one) for one in caught.value.complaints)
    for words in (
        "“When”",
        "“A1”",
        "1 columns are named for axle spacings",
        "which lane",
    ):
        assert words in said


def test_identity_may_be_constant() -> None:
    suggested = suggest_mapping(HEAD.decode().strip().split(","))
    mapping = ColumnMapping.from_dict(
        {**suggested.as_dict(), "state_code": "99", "station_id": "101",
         "direction_code": "3"}
    )  # fmt: skip
    _, report = read(HEAD + GOOD, mapping=mapping)
    assert list(report.lanes) == [LaneKey("99", "000101", "3", "1")]


def test_date_and_hour_columns_know_only_the_hour() -> None:
    raw = (
        b"Lane,Date,Hour,W1 kg,S1 m,W2 kg\n"
        b"2,2031-05-12,7,4000,4.5,6000\n"
        b"2,2031-05-12,24,4000,4.5,6000\n"
    )
    table, report = read(raw)
    assert resolution_of(table.schema) is TimeResolution.HOUR
    assert str(table["time"][0].as_py()) == "2031-05-12 07:00:00"
    assert report.refused_by_reason == {Reason.DATE: 1}
    assert isinstance(table, pa.Table)


def test_columns_that_are_empty_throughout_are_not_in_the_way() -> None:
    head = HEAD.replace(b"Axle 2 lb", b"Axle 2 lb,Spacing 2 ft,Axle 3 lb")
    good = GOOD.rstrip(b"\n")
    table, report = read(head + good + b",,\n" + b" " + good + b",,\n,,,,,,,,,,\n")
    assert (report.n_lines, report.n_kept, report.n_refused) == (3, 2, 0)
    assert [lane.lane_code for lane in report.lanes] == ["1"]
    assert table["w3_kg"].null_count == 2


def test_more_lanes_than_a_program_has_refuse_the_file() -> None:
    row = GOOD[1:]
    lines = b"".join(b"%06d" % lane + row for lane in range(11_000))
    with pytest.raises(UnreadableInput, match="10,000 different lanes"):
        read(HEAD + lines)


def test_a_block_of_very_many_lines_goes_in_pieces(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("quality.records.blocks.BLOCK_LINES", 3)
    raw = HEAD + GOOD * 3 + b"\n" * 7 + b"x\n" + GOOD * 2
    table, report = read(raw)
    assert table["source_line"].to_pylist() == [2, 3, 4, 13, 14]
    assert (report.n_lines, report.n_refused) == (13, 1)
    assert report.complaints[0].row == 12
