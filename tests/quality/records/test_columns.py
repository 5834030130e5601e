"""Wheels, temperature and declared units of a headed file."""

from __future__ import annotations

import io
import json
from dataclasses import fields, replace

import numpy as np
import pytest

from quality.records.detect import detect
from quality.records.mapping import COLUMN_LISTS, ColumnMapping, suggest_mapping
from quality.records.report import Reason
from quality.records.w_layout import OpenField, WOptions
from tests.quality.records.conftest import MPH, SAMPLES, TRUCK, read
from wimprog.lib.errors import UnreadableInput

WHEELS = (
    b"Lane,Time,Pavement temp F,Left 1 kg,Right 1 kg,Spacing 1 m,"
    b"Left 2 kg,Right 2 kg,GVW kg\n"
)
US = (SAMPLES / "vehicles_us.csv").read_bytes()
W_FILE = (SAMPLES / "orrin_w2016.wgt").read_bytes()


def test_a_full_mapping_survives_json_entry_by_entry() -> None:
    values = {
        field.name: (f"{field.name} 1", f"{field.name} 2")
        if field.name in COLUMN_LISTS
        else f"a {field.name}"
        for field in fields(ColumnMapping)
    }
    mapping = ColumnMapping(**values)
    data = json.loads(json.dumps(mapping.as_dict()))
    assert set(data) == set(values)
    assert ColumnMapping.from_dict(data) == mapping
    older = {name: data[name] for name in data if "wheel" not in name}
    again = ColumnMapping.from_dict(older)
    assert (again.left_wheels, again.weights) == ((), mapping.weights)


def test_one_text_in_place_of_a_list_of_headings_is_refused() -> None:
    with pytest.raises(UnreadableInput, match="“weights” is one text"):
        ColumnMapping.from_dict({"weights": "Axle 1"})


def test_wheels_are_suggested_and_make_axles_and_an_imbalance() -> None:
    raw = (
        WHEELS
        + b"1,2031-05-12 10:20:30,77,2200,1800,4.5,3300,2700,10000\n"
        + b"1,2031-05-12 10:20:31,,2000,2000,4.5,3000,3000,10000\n"
        + b"1,2031-05-12 10:20:32,500,0,0,4.5,0,0,0\n"
    )
    mapping = detect(io.BytesIO(raw)).mapping
    assert mapping is not None
    assert mapping.left_wheels == ("Left 1 kg", "Left 2 kg")
    assert mapping.right_wheels == ("Right 1 kg", "Right 2 kg")
    assert (mapping.temperature_unit, mapping.mass_unit) == ("°F", "kg")
    counted = raw.replace(b"GVW kg", b"GVW kg,Axles").replace(b"00\n", b"00,2\n")
    counted = counted.replace(b",0,0\n", b",0,0,2\n").replace(b",0\n", b",0,2\n")
    table, report = read(counted)
    assert report.complaints == []
    assert table["w1_kg"].to_pylist() == [4000, 4000, 0]
    assert table["w2_kg"].to_pylist() == [6000, 6000, 0]
    # by hand: 100 × (5,500 − 4,500) / 10,000; no weight, no share
    assert table["left_right_imbalance_pct"].to_pylist() == [10, 0, None]
    # 77 °F = 25 °C; 500 °F is no pavement
    assert table["temperature_c"].to_pylist() == [25, None, None]


@pytest.mark.parametrize(
    ("row", "reason", "field", "words"),
    [
        (b"2200,,4.5,3300,2700,8200", Reason.AXLES_MISSING, "Right 1 kg", "is empty"),
        (b"2200,-1,4.5,3300,2700,8199", Reason.AXLES_MISSING, "Right 1", "negative"),
        (b"2200,x,4.5,3300,2700,8200", Reason.NOT_A_NUMBER, "Right 1", "not a number"),
        (
            b"2200,1800,4.5,3300,2700,10005",
            Reason.GROSS_WEIGHT, "GVW kg", "fall short of its gross weight by 5 kg",
        ),
    ],
)  # fmt: skip
def test_a_wheel_that_is_wrong_is_named(row, reason, field, words) -> None:
    good = b"1,2031-05-12 10:20:30,77,2200,1800,4.5,3300,2700,10004\n"
    table, report = read(WHEELS + good + b"1,2031-05-12 10:20:30,77," + row + b"\n")
    assert table["source_line"].to_pylist() == [2]
    assert report.refused_by_reason == {reason: 1}
    assert field in report.complaints[0].field
    assert words in report.complaints[0].message


def test_axles_named_beside_wheels_are_the_weights() -> None:
    raw = (
        b"Lane,Time,Axle 1 kg,L1 kg,R1 kg,Gap 1 m,Axle 2 kg,L2 kg,R2 kg\n"
        b"1,2031-05-12 10:20:30,4001,2200,1800,4.5,6000,3000,3000\n"
    )
    table, report = read(raw)
    assert report.n_refused == 0
    assert table["w1_kg"].to_pylist() == [4001]
    assert table["left_right_imbalance_pct"][0].as_py() == pytest.approx(4)


def test_wheels_that_do_not_pair_are_a_problem_of_the_mapping() -> None:
    mapping = suggest_mapping(WHEELS.decode().strip().split(","))
    lame = replace(mapping, right_wheels=mapping.right_wheels[:1])
    said = [str(one) for one in lame.problems(WHEELS.decode().strip().split(","))]
    assert any("1 columns are named for right wheels and 2" in one for one in said)
    assert mapping.problems(WHEELS.decode().strip().split(",")) == ()


def test_a_file_without_them_has_neither() -> None:
    for raw in (US, W_FILE):
        table, _ = read(raw)
        for name in ("temperature_c", "left_right_imbalance_pct"):
            assert table[name].null_count == table.num_rows


@pytest.mark.parametrize(
    ("field", "celsius"),
    [
        (b"068", 20.0), (b" 32", 0.0), (b"-04", -20.0), (b"000", -17.78), (b"   ", None)
    ],
)  # fmt: skip
def test_the_open_field_may_hold_a_temperature(field: bytes, celsius) -> None:
    line = TRUCK[:23] + field + TRUCK[26:]
    table, report = read(
        line + b"\n", options=WOptions(open_field=OpenField.TEMPERATURE_F)
    )
    assert table["temperature_c"].to_pylist() == [
        celsius if celsius is None else pytest.approx(celsius, abs=0.005)
    ]
    assert table["speed_kmh"].null_count == 1
    assert report.notes == []


def test_an_open_field_that_is_no_temperature_is_told() -> None:
    line = TRUCK[:23] + b"6-8" + TRUCK[26:]
    table, report = read(
        line + b"\n", options=WOptions(open_field=OpenField.TEMPERATURE_F)
    )
    assert table["temperature_c"].null_count == 1
    assert (
        "1 records hold something else than a pavement temperature" in (report.notes[0])
    )


def suspicions(raw: bytes, **change: str) -> list[str]:
    mapping = detect(io.BytesIO(raw)).mapping
    assert mapping is not None
    _, report = read(raw, mapping=replace(mapping, **change))
    assert report.n_kept > 0
    return [note for note in report.notes if note.startswith("Check the units")]


@pytest.mark.parametrize(
    ("declared", "words"),
    [
        ({"mass_unit": "kg"}, ["weights were read as kg; they look like lb"]),
        ({"mass_unit": "kip"}, ["weights were read as kip; they look like lb"]),
        ({"spacing_unit": "m"}, ["spacings were read as m; they look like ft"]),
        ({"spacing_unit": "in"}, ["spacings were read as in; they look like ft"]),
        (
            {"mass_unit": "kg", "spacing_unit": "m"},
            ["weights were read as kg", "spacings were read as m"],
        ),
        ({}, []),
    ],
)
def test_a_unit_declared_wrongly_is_a_sentence_and_not_a_refusal(
    declared, words
) -> None:
    found = suspicions(US, **declared)
    assert len(found) == len(words)
    for sentence, part in zip(found, words, strict=True):
        assert part in sentence


def test_pounds_written_as_kilograms_in_a_weight_record_are_suspected() -> None:
    _, right = read(W_FILE, options=MPH)
    assert right.notes == []
    lines = []
    for line in W_FILE.splitlines():
        text = bytearray(line)
        n_axles = int(line[32:34]) if len(line) > 34 else 0
        total = 0
        for k in range(n_axles):
            kg = round(int(line[34 + 9 * k : 39 + 9 * k]) * 0.45359237)
            text[34 + 9 * k : 39 + 9 * k] = b"%05d" % kg
            total += kg
        if n_axles:
            text[26:32] = b"%06d" % total
        lines.append(bytes(text))
    table, report = read(b"\n".join(lines) + b"\n", options=MPH)
    assert table.num_rows == right.n_kept
    (note,) = report.notes
    assert "weights were read as lb; they look like kg" in note
    assert np.median(np.asarray(table["w1_kg"])) < 3000
