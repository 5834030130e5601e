"""The Traffic Monitoring Guide's own W record examples.

Source: FHWA Traffic Monitoring Guide 2016, chapter 7, as re-keyed in a public format
library; figures decoded by hand in the guide's columns. The third line has two digits
transposed (91,025 for 19,125) and so is a ready-made bad record.
"""

from __future__ import annotations

import io

import pytest

from quality.records.detect import open_records
from quality.records.report import Layout
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS
from wimprog.lib.units import KG_PER_LB, M_PER_FT

LINES = (
    b"W1701811531201211071609   0578860511210015112300004513730021409815004810831",
    b"W1701811531201211071604   0183510208522025209829",
    b"W1701811531201211071606   0472890309818013191025004618346",
)


@pytest.fixture(scope="module")
def reader():
    reader = open_records(io.BytesIO(b"\n".join(LINES) + b"\n"))
    return reader, reader.read_all()


@pytest.mark.parametrize(
    ("row", "vehicle_class", "gross_lb", "weights_lb", "spacings_ft"),
    [
        (0, 9, 57_886, [11210, 12300, 13730, 9815, 10831], [15.1, 4.5, 21.4, 4.8]),
        (1, 4, 18_351, [8522, 9829], [25.2]),
    ],
)
def test_sound_examples_decode_as_published(
    reader, row, vehicle_class, gross_lb, weights_lb, spacings_ft
) -> None:
    record = reader[1].slice(row, 1).to_pylist()[0]
    assert record["vehicle_class"] == vehicle_class
    assert str(record["time"]) == "2012-11-07 16:00:00"
    assert (record["state_code"], record["station_id"]) == ("17", "018115")
    assert (record["direction_code"], record["lane_code"]) == ("3", "1")
    assert round(record["gvw_kg"] / KG_PER_LB) == gross_lb == sum(weights_lb)
    assert record["n_axles"] == len(weights_lb)
    weights = [record[name] for name in WEIGHT_COLUMNS if record[name] is not None]
    spacings = [record[name] for name in SPACING_COLUMNS if record[name] is not None]
    assert [round(kg / KG_PER_LB) for kg in weights] == weights_lb
    assert [round(m / M_PER_FT, 1) for m in spacings] == spacings_ft


def test_the_transposed_example_is_refused_by_its_difference(reader) -> None:
    report = reader[0].report
    assert report.layout is Layout.W_FIXED
    assert (report.n_kept, report.n_refused) == (2, 1)
    (complaint,) = report.complaints
    assert complaint.row == 3
    assert "its axles exceed its gross weight by 71,900 lb" in complaint.message
    assert complaint.value == "047289"
    assert report.acceptable()
