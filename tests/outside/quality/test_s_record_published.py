"""A station description record by the published columns.

Source: FHWA Traffic Monitoring Guide 2013 and 2016, station description record, 213
columns; positions as in the guide's table, re-keyed in a public format library. The
line is put together here column by column from that table, not by our writer; its
values are invented.
"""

from __future__ import annotations

import io

from quality.records.detect import detect
from quality.records.report import Layout
from quality.records.s_record import read_station_records, write_station_records

# (first column, last column, text), from the guide's table
COLUMNS = (
    (1, 1, "S"), (2, 3, "99"), (4, 9, "000101"), (10, 10, "3"), (11, 11, "1"),
    (12, 15, "2031"), (16, 17, "1R"), (18, 18, "2"), (19, 19, "Y"), (20, 20, "2"),
    (21, 21, "3"), (22, 22, "2"), (23, 23, "3"), (24, 24, "F"), (25, 26, "13"),
    (27, 27, "1"), (28, 28, "5"), (29, 29, "A"), (30, 30, "1"), (31, 31, "Q"),
    (32, 32, "L"), (33, 33, "W"), (34, 93, "OV12".rjust(60, "0")),
    (94, 101, "00012345"), (102, 109, "45123456"), (110, 118, "121654321"),
    (119, 122, "    "), (123, 128, "000100"), (129, 132, "2019"), (133, 136, "    "),
    (137, 139, "017"), (140, 140, "N"), (141, 152, " " * 12), (153, 153, "Y"),
    (154, 155, "02"), (156, 163, "00000012"),
    (164, 213, "2.1 miles east of Orrin".ljust(50)),
)  # fmt: skip


def line() -> str:
    text = [" "] * 213
    for first, last, value in COLUMNS:
        assert len(value) == last - first + 1
        text[first - 1 : last] = value
    return "".join(text)


def test_a_record_decodes_by_the_published_columns_and_comes_back() -> None:
    raw = line().encode() + b"\n"
    assert detect(io.BytesIO(raw)).layout is Layout.STATION
    (record,) = read_station_records(io.BytesIO(raw)).records
    assert str(record.lane) == "state 99 station 000101 direction 3 lane 1"
    assert (record.year, record.functional_class) == (2031, "1R")
    assert (record.lanes_in_direction, record.lanes_weight) == (2, 1)
    assert (record.class_method, record.class_groups) == ("F", 13)
    assert (record.weighing_method, record.calibration) == ("5", "A")
    assert (record.sensor, record.second_sensor) == ("Q", "L")
    # implied decimals: 0.001 mi, and six in degrees (2 + 6 and 3 + 6 digits)
    assert record.lrs_point_mi == 12.345
    assert (record.latitude_deg, record.longitude_west_deg) == (45.123456, 121.654321)
    assert (record.year_established, record.year_discontinued) == (2019, None)
    assert (record.county, record.signed_route) == ("017", "00000012")
    assert (record.lrs_id, record.location) == ("OV12", "2.1 miles east of Orrin")
    out = io.BytesIO()
    write_station_records([record], out)
    assert out.getvalue() == raw
