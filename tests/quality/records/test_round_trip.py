"""What is written comes back exactly: pounds, tenths of a foot, hour, class, speed."""

from __future__ import annotations

import datetime as dt
import io

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quality.records.report import HourMark, Layout
from quality.records.schema import (
    RECORD_SCHEMA,
    LaneKey,
    TimeResolution,
    split_by_lane,
    split_by_month,
    with_resolution,
)
from quality.records.w_layout import OpenField, WOptions
from quality.records.w_write import write_hour_marks, write_w_records
from tests.quality.records.conftest import BUS, MPH, SAMPLES, TRUCK, read
from wimprog.lib.errors import DomainError
from wimprog.lib.units import KG_PER_LB, KMH_PER_MPH, M_PER_FT

EPOCH = dt.datetime.fromisoformat("1970-01-01")
LAST_HOUR = (dt.datetime.fromisoformat("2099-12-31T23:00") - EPOCH).days * 24
SCHEMA = with_resolution(RECORD_SCHEMA, TimeResolution.HOUR)


@st.composite
def vehicles(draw: st.DrawFn) -> dict[str, object]:
    n = draw(st.integers(2, 13))
    weights = draw(st.lists(st.integers(0, 76_923), min_size=n, max_size=n))
    spacings = draw(st.lists(st.integers(0, 9999), min_size=n - 1, max_size=n - 1))
    speed = draw(st.one_of(st.none(), st.integers(1, 999)))
    record: dict[str, object] = {
        "state_code": draw(st.from_regex(r"[0-9]{2}", fullmatch=True)),
        "station_id": draw(st.from_regex(r"[0-9A-Z]{6}", fullmatch=True)),
        "direction_code": draw(st.sampled_from("0123456789")),
        "lane_code": draw(st.sampled_from("0123456789")),
        "time": EPOCH + dt.timedelta(hours=draw(st.integers(0, LAST_HOUR))),
        "vehicle_class": draw(st.one_of(st.none(), st.integers(1, 15))),
        "speed_kmh": None if speed is None else speed * KMH_PER_MPH,
        "gvw_kg": sum(weights) * KG_PER_LB,
        "n_axles": n,
    }
    for k in range(13):
        record[f"w{k + 1}_kg"] = weights[k] * KG_PER_LB if k < n else None
        if k < 12:
            record[f"s{k + 1}_m"] = spacings[k] * M_PER_FT / 10 if k < n - 1 else None
    return record


@settings(max_examples=120, deadline=None)
@given(
    st.lists(vehicles(), min_size=1, max_size=20),
    st.sampled_from([Layout.W_FIXED, Layout.W_PIPE]),
    st.sampled_from([b"\n", b"\r\n"]),
)
def test_records_to_lines_to_records_is_exact(
    records: list[dict[str, object]], layout: Layout, line_end: bytes
) -> None:
    for line, record in enumerate(records, start=1):
        record["source_line"] = line
    table = pa.Table.from_pylist(records, schema=SCHEMA)
    out = io.BytesIO()
    write_w_records(
        table, out, layout=layout, open_field=OpenField.SPEED_MPH, line_end=line_end
    )
    back, report = read(out.getvalue(), options=MPH)
    assert report.complaints == []
    assert report.layout is layout
    assert back.to_pylist() == table.to_pylist()
    again = io.BytesIO()
    write_w_records(
        back, again, layout=layout, open_field=OpenField.SPEED_MPH, line_end=line_end
    )
    assert again.getvalue() == out.getvalue()


def test_temperatures_in_the_open_field_come_back() -> None:
    given = [b"068", b"-04", b"000", b"   ", b"101"]
    raw = b"".join(TRUCK[:23] + text + TRUCK[26:] + b"\n" for text in given)
    options = WOptions(open_field=OpenField.TEMPERATURE_F)
    table, report = read(raw, options=options)
    assert report.complaints == []
    out = io.BytesIO()
    write_w_records(table, out, open_field=OpenField.TEMPERATURE_F)
    assert out.getvalue() == raw


def test_the_guides_own_lines_come_back_byte_for_byte() -> None:
    raw = TRUCK + b"\n" + BUS + b"\n"
    table, _ = read(raw)
    out = io.BytesIO()
    assert write_w_records(table, out) == 2
    assert out.getvalue() == raw


def test_fixed_and_piped_samples_are_the_same_vehicles() -> None:
    fixed, _ = read((SAMPLES / "orrin_w2016.wgt").read_bytes(), options=MPH)
    piped, _ = read((SAMPLES / "orrin_w2016_pipe.wgt").read_bytes(), options=MPH)
    assert fixed.num_rows == 200
    assert fixed == piped


def test_unpadded_pipe_fields_and_a_long_station_are_read() -> None:
    line = b"W|17|A1234567|3|1|2012|11|7|16|4|| 18351|2|8522| 252 |9829\n"
    table, report = read(line)
    assert report.complaints == []
    assert list(report.lanes) == [LaneKey("17", "A1234567", "3", "1")]
    assert round(table["gvw_kg"][0].as_py() / KG_PER_LB) == 18351
    with pytest.raises(DomainError, match="longer than six characters"):
        write_w_records(table, io.BytesIO())


def test_hour_marks_come_back() -> None:
    lane = LaneKey("99", "000101", "3", "2")
    _, empty = read(TRUCK + b"\n")
    marks = {
        HourMark(lane, empty.first_at.astype("M8[h]"), True),
        HourMark(lane, empty.first_at.astype("M8[h]") + 1, False),
    }
    out = io.BytesIO(TRUCK + b"\n")
    out.seek(0, io.SEEK_END)
    assert write_hour_marks(marks, out) == 2
    _, report = read(out.getvalue())
    assert report.hour_marks == marks


def test_a_value_too_wide_for_its_field_is_refused() -> None:
    table, _ = read(TRUCK + b"\n")
    place = table.schema.get_field_index("w1_kg")
    heavy = table.set_column(
        place, table.schema.field(place), pa.array([100_000 * KG_PER_LB], pa.float32())
    )
    with pytest.raises(DomainError, match="axle weight 1 of 100,000 does not fit"):
        write_w_records(heavy, io.BytesIO())


def test_lanes_and_months_split_without_loss() -> None:
    table, report = read((SAMPLES / "orrin_w2016.wgt").read_bytes(), options=MPH)
    lanes = dict(split_by_lane(table))
    assert {lane: rows.num_rows for lane, rows in lanes.items()} == report.lanes
    for lane, rows in lanes.items():
        out = io.BytesIO()
        write_w_records(rows, out, lane=lane)
        back, _ = read(out.getvalue())
        assert back["gvw_kg"].to_pylist() == rows["gvw_kg"].to_pylist()
        months = list(split_by_month(rows))
        assert [str(month) for month, _ in months] == ["2031-05-01"]
        assert months[0][1] == rows


def test_small_blocks_give_the_same_records(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = (SAMPLES / "orrin_w2016.wgt").read_bytes()
    whole, _ = read(raw, options=MPH)
    monkeypatch.setattr(
        "quality.records.blocks.raw_blocks.__kwdefaults__", {"block_bytes": 100}
    )
    monkeypatch.setattr(
        "quality.records.blocks.line_blocks.__kwdefaults__", {"block_bytes": 100}
    )
    monkeypatch.setattr("quality.records.detect.SAMPLE_BYTES", 100)
    pieces, report = read(raw, options=MPH)
    assert pieces.to_pylist() == whole.to_pylist()
    assert report.n_hour_mark_lines == 16
