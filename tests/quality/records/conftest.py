"""Sample files, vehicles made to order, and one way of reading bytes."""

from __future__ import annotations

import io
from pathlib import Path

import pyarrow as pa
import pytest

from quality.records.detect import open_records
from quality.records.report import ReadReport
from quality.records.w_layout import OpenField, WOptions

ROOT = Path(__file__).resolve().parents[3]
SAMPLES = ROOT / "fixtures" / "samples"
MPH = WOptions(open_field=OpenField.SPEED_MPH)

# the guide's own examples (TMG 2016, W record): classes 9 and 4
TRUCK = b"W1701811531201211071609   0578860511210015112300004513730021409815004810831"
BUS = b"W1701811531201211071604   0183510208522025209829"


def read(raw: bytes, **how: object) -> tuple[pa.Table, ReadReport]:
    reader = open_records(io.BytesIO(raw), **how)  # type: ignore[arg-type]
    table = reader.read_all()
    return table, reader.report


@pytest.fixture
def samples() -> Path:
    return SAMPLES
