"""The head of the guide's 2001 metric weight record by its published columns.

Source: FHWA Traffic Monitoring Guide 2001: columns 1 to 19 as the same edition's
vehicle classification record has them (re-keyed in a public format library). Columns 20
to 105 (class, open field, total weight in 0.1 t, axle count, weights in 0.1 t and
spacings in 0.1 m, three wide) are from memory. The values are invented.
"""

from __future__ import annotations

import io

from quality.records.detect import open_records
from quality.records.report import Layout

# (first column, last column, text)
COLUMNS = (
    (1, 1, "W"), (2, 3, "99"), (4, 9, "000101"), (10, 10, "3"), (11, 11, "2"),
    (12, 13, "98"), (14, 15, "11"), (16, 17, "07"), (18, 19, "16"),
    # from memory from here on
    (20, 21, "09"), (22, 24, "   "), (25, 28, "0263"), (29, 30, "05"),
    (31, 33, "051"), (34, 36, "046"), (37, 39, "056"), (40, 42, "014"),
    (43, 45, "062"), (46, 48, "065"), (49, 51, "045"), (52, 54, "015"),
    (55, 57, "049"),
)  # fmt: skip


def test_a_record_decodes_by_its_columns() -> None:
    line = "".join(text for _, _, text in COLUMNS)
    for first, last, text in COLUMNS:
        assert line[first - 1 : last] == text
    reader = open_records(io.BytesIO(line.encode() + b"\n"))
    (record,) = reader.read_all().to_pylist()
    assert reader.report.layout is Layout.W_2001
    assert (record["state_code"], record["station_id"]) == ("99", "000101")
    assert (record["direction_code"], record["lane_code"]) == ("3", "2")
    assert str(record["time"]) == "1998-11-07 16:00:00"
    assert (record["vehicle_class"], record["n_axles"]) == (9, 5)
    assert record["gvw_kg"] == 26_300
    assert [record[f"w{k}_kg"] for k in range(1, 7)] == [
        5100, 5600, 6200, 4500, 4900, None
    ]  # fmt: skip
    assert [round(record[f"s{k}_m"], 3) for k in range(1, 5)] == [4.6, 1.4, 6.5, 1.5]
