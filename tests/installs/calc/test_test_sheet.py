"""A technician's spreadsheet: what is understood, what is complained of, what bombs."""

import datetime as dt
import io
import struct
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from installs.calc import sheet_grid
from installs.calc.test_sheet import read_test_sheet
from installs.calc.types import ElectricalQuantity, TestStage
from wimprog.lib.errors import UnreadableInput

Q = ElectricalQuantity
SAMPLE = Path(__file__).parents[3] / "fixtures" / "samples" / "sensor_tests.csv"
HEAD = "site,lane,position,tested at,stage,tested by,insulation resistance (MΩ)"
ROW = "OV-014,E1,piezo 1,2031-05-14 10:15,visit,T. Quist,500"


def sheet(*lines, encoding="utf-8"):
    return read_test_sheet("\n".join(lines).encode(encoding))


def book(rows, title="tests", **more):
    made = Workbook()
    made.active.title = title
    for row in rows:
        made.active.append(row)
    for name in more.get("others", ()):
        made.create_sheet(name)
    content = io.BytesIO()
    made.save(content)
    return content.getvalue()


def only(complaints):
    (one,) = complaints
    return one


# --- what is understood ------------------------------------------------------------


def test_the_sample_is_understood_whole():
    found = read_test_sheet(SAMPLE.read_bytes(), name="sensor_tests.csv")
    assert found.complaints == ()
    assert [one.row for one in found.tests] == [2, 3, 4, 5]
    first, _, loop, _ = found.tests
    assert (first.site, first.lane, first.position) == ("OV-001", "E1", "piezo 1")
    assert first.tested_at == dt.datetime(2031, 5, 14, 8, 40)  # noqa: DTZ001
    assert first.stage is TestStage.VISIT
    assert first.pavement_temp == ("71", "°F")
    assert first.pavement_temp_c == pytest.approx((71 - 32) / 1.8)
    assert first.test_voltage_v == 500.0
    assert first.readings[Q.INSULATION_RESISTANCE].over_range
    assert first.readings[Q.INSULATION_RESISTANCE].typed == "> 2000"
    assert loop.readings[Q.INDUCTANCE].value == 121.0
    assert loop.readings[Q.INDUCTANCE].typed == "0.121 mH"
    assert Q.CAPACITANCE not in loop.readings


def test_rows_count_as_the_spreadsheet_counts_them():
    """An empty row counts, a cell of two lines does not count twice."""
    found = sheet(HEAD + ",note", "", ROW + ',"two\nlines"', ROW + ",")
    assert [one.row for one in found.tests] == [3, 4]
    assert found.tests[0].note == "two\nlines"


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_separators_and_encodings(separator, encoding):
    lines = (line.replace(",", separator) for line in (HEAD, ROW))
    found = sheet(*lines, encoding=encoding)
    assert found.tests[0].readings[Q.INSULATION_RESISTANCE].value == 500.0


@pytest.mark.parametrize(
    "heading",
    [
        "Insulation Resistance [GΩ]",
        "insulation resistance, GΩ",
        "insulation_resistance (Gohm)",
        "insulation GΩ",
        "INSULATION (G\u2126)",
    ],
)
def test_headings_say_their_unit_in_several_ways(heading):
    quoted = f'"{heading}"'
    found = sheet(HEAD.replace("insulation resistance (MΩ)", quoted), ROW)
    assert found.complaints == ()
    assert found.quantities == (Q.INSULATION_RESISTANCE,)
    assert found.tests[0].readings[Q.INSULATION_RESISTANCE].value == 500_000.0


def test_a_workbook_is_read_like_text():
    rows = [
        ["site", "lane", "serial", "tested at", "time", "stage", "tested by"],
        ["OV-014", "E1", 1234, dt.date(2031, 5, 14), dt.time(10, 15), "After lead-in"],
        ["OV-014", "E1", "S1", dt.datetime(2031, 5, 14, 9, 5), None, "bench"],  # noqa: DTZ001
    ]
    rows[0] += ["capacitance (nF)", "pavement temperature (°C)"]
    rows[1] += ["T. Quist", 8.1, 21.5]
    rows[2] += ["T. Quist", "> 20", None]
    found = read_test_sheet(book(rows, title="May"), name="May.xlsx")
    assert found.complaints == ()
    assert found.sheet == "May"
    one, two = found.tests
    assert one.serial == "1234"
    assert one.tested_at == dt.datetime(2031, 5, 14, 10, 15)  # noqa: DTZ001
    assert one.stage is TestStage.AFTER_LEAD_IN
    assert one.pavement_temp == ("21.5", "°C")
    assert one.readings[Q.CAPACITANCE].typed == "8.1"
    assert two.tested_at == dt.datetime(2031, 5, 14, 9, 5)  # noqa: DTZ001
    assert two.readings[Q.CAPACITANCE].over_range


# --- what is complained of ---------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "field", "said"),
    [
        ("OV-014", "", "site", "empty"),
        ("E1", "", "lane", "empty"),
        ("piezo 1", "", "position", "Neither position nor serial"),
        ("piezo 1", "p" * 41, "position", "too long"),
        ("2031-05-14 10:15", "", "tested at", "empty"),
        ("2031-05-14 10:15", "2031-05-14", "tested at", "not a day with a time"),
        ("2031-05-14 10:15", "5/14/2031 10:15", "tested at", "not a day with a time"),
        ("visit", "", "stage", "empty"),
        ("visit", "yesterday", "stage", "not a stage"),
        ("T. Quist", "", "tested by", "empty"),
        ("500", "", "", "holds no reading"),
        ("500", "OL", "insulation resistance (MΩ)", "meter's range"),
        ("500", "-5", "insulation resistance (MΩ)", "below zero"),
    ],
)
def test_each_fault_is_named_by_row_and_field(old, new, field, said):
    found = sheet(HEAD, ROW, ROW.replace(old, new))
    one = only(found.complaints)
    assert (one.row, one.field) == (3, field)
    assert said in str(one)
    assert len(found.tests) == 1


def test_every_complaint_is_gathered():
    bad = ROW.replace("500", "OL").replace("visit", "never").replace("E1", "")
    found = sheet(HEAD, bad, ROW, bad)
    assert [one.row for one in found.complaints] == [2, 2, 2, 4, 4, 4]
    assert all(one.remedy or one.expected for one in found.complaints)


@pytest.mark.parametrize(
    ("heading", "said"),
    [
        ("capacitance", "does not say the quantity's unit"),
        ("capacitance (MΩ)", "not one of the quantity's"),
        ("insulation resistance (mΩ)", "not one of the quantity's"),
        ("quality factor (%)", "not one of the quantity's"),
        ("pavement temp", "unit of temperature"),
        ("pavement temp (K)", "unit of temperature"),
        ("note (short)", "more than the column's name"),
        ("ohms per mile", "heading is not known"),
        ("lane", "say the same thing"),
        ("insulation (GΩ)", "say the same thing"),
    ],
)
def test_headings_that_cannot_be_used(heading, said):
    found = sheet(f'{HEAD},"{heading}"', f"{ROW},1")
    one = only(found.complaints)
    assert one.row == 1
    assert said in one.message
    assert one.remedy
    assert found.tests == ()


def test_missing_columns_are_all_named():
    found = sheet("a,b", "1,2")
    fields = {one.field for one in found.complaints}
    assert {"site", "lane", "tested at", "stage", "tested by", "position"} <= fields
    assert any("No column holds a quantity" in one.message for one in found.complaints)


def test_numbers_cut_in_two_by_a_comma_are_noticed():
    one = only(sheet(HEAD, ROW + ",5").complaints)
    assert "under no heading" in one.message
    assert "comma" in one.remedy


@pytest.mark.parametrize(
    ("heading", "value", "said"),
    [
        ("pavement temp (°F)", "710", "cannot be right"),
        ("pavement temp (°F)", "warm", "not a number"),
        ("test voltage (V)", "9000", "cannot be right"),
        ("time", "25:00", "not a time of day"),
    ],
)
def test_other_numbers_are_held_to_reason(heading, value, said):
    one = only(sheet(f"{HEAD},{heading}", f"{ROW},{value}").complaints)
    assert (one.row, one.field) == (2, heading)
    assert said in one.message


def test_a_time_of_its_own_completes_a_day():
    row = ROW.replace(" 10:15", "") + ",9:05"
    found = sheet(HEAD + ",time", row)
    assert found.tests[0].tested_at == dt.datetime(2031, 5, 14, 9, 5)  # noqa: DTZ001


def test_a_formula_without_its_value_is_complained_of():
    head = HEAD.split(",")
    row = [*ROW.split(",")[:-1], "=5*100"]
    one = only(read_test_sheet(book([head, row])).complaints)
    assert (one.row, one.field) == (2, "insulation resistance (MΩ)")
    assert "formula" in one.message


# --- what is refused ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"  \n ", "empty"),
        (b",,\n,,\n", "empty"),
        (HEAD.encode(), "no row below"),
        (b"\xd0\xcf\x11\xe0 old", "password"),
        (b"PK\x03\x04 torn", "torn"),
        (b"a,b\n1,\xff", "not UTF-8"),
        (b"a\x00b", "zeros"),
        (b'site,lane\n"open', "not well-formed"),
        (b"x" * (sheet_grid.MOST_BYTES + 1), "too large"),
        (b"a,b\n" + b"1,2\n" * sheet_grid.MOST_ROWS, "too many rows"),
        (b"a," * sheet_grid.MOST_COLUMNS + b"a", "too many cells"),
    ],
)
def test_what_is_no_sheet_of_tests_is_refused_in_words(content, said):
    with pytest.raises(UnreadableInput) as caught:
        read_test_sheet(content, name="tests.csv")
    assert "Nothing was stored." in caught.value.message
    assert "tests.csv" in caught.value.message
    assert said in str(only(caught.value.complaints))


def zipped(**parts):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as made:
        for name, body in parts.items():
            made.writestr(name.replace("__", "/").replace("_", "."), body)
    return content.getvalue()


def test_a_workbook_that_would_swell_is_refused_before_it_is_unpacked():
    bomb = zipped(
        xl__workbook_xml=b"<x/>", xl__big_xml=b"\0" * sheet_grid.MOST_UNPACKED_BYTES
    )
    assert len(bomb) < 100_000
    with pytest.raises(UnreadableInput) as caught:
        read_test_sheet(bomb)
    assert "would unpack" in str(only(caught.value.complaints))


def test_a_workbook_that_lies_about_its_size_is_refused():
    """The declared size is 10 bytes; what is packed is more than allowed."""
    bomb = bytearray(
        zipped(
            xl__workbook_xml=b"<x/>",
            xl__big_xml=b"\0" * sheet_grid.MOST_UNPACKED_BYTES,
        )
    )
    size = struct.pack("<I", sheet_grid.MOST_UNPACKED_BYTES)
    at = bomb.find(size)
    while at >= 0:
        bomb[at : at + 4] = struct.pack("<I", 10)
        at = bomb.find(size)
    with pytest.raises(UnreadableInput):
        read_test_sheet(bytes(bomb))


def test_other_zip_files_are_not_workbooks():
    with pytest.raises(UnreadableInput) as caught:
        read_test_sheet(zipped(readme_txt=b"hello"))
    assert "not a workbook" in str(only(caught.value.complaints))


def test_a_workbook_of_nonsense_is_refused():
    with pytest.raises(UnreadableInput) as caught:
        read_test_sheet(zipped(xl__workbook_xml=b"<x"))
    assert "cannot be read" in str(only(caught.value.complaints))


def test_a_wide_or_long_workbook_is_refused():
    with pytest.raises(UnreadableInput, match="cannot be read"):
        read_test_sheet(book([["a"] * (sheet_grid.MOST_COLUMNS + 1)]))
    rows = [["a"]] * (sheet_grid.MOST_ROWS + 1)
    with pytest.raises(UnreadableInput) as caught:
        read_test_sheet(book(rows))
    assert "too many rows" in str(only(caught.value.complaints))


@settings(max_examples=80, deadline=None)
@given(st.binary(max_size=300))
def test_no_bytes_make_it_fall_over(content):
    """Anything is either a sheet with complaints or refused in words."""
    tests, complaints = outcome(content)
    assert complaints
    assert not tests


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.text(alphabet=st.characters(codec="utf-8"), max_size=20), max_size=9)
)
def test_no_text_makes_a_row_fall_over(cells):
    row = ",".join('"' + cell.replace('"', '""') + '"' for cell in cells)
    tests, complaints = outcome(f"{HEAD}\n{row}".encode())
    assert bool(complaints) != bool(tests)


def outcome(content):
    """Tests and complaints, whether complained of or refused."""
    try:
        found = read_test_sheet(content)
    except UnreadableInput as error:
        return (), error.complaints
    return found.tests, found.complaints
