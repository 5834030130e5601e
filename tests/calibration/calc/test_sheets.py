"""The two sheets: what is taken, what comes back as typed, and every refusal."""

import pytest

from calibration.calc.run_errors import run_errors
from calibration.calc.sheets import read_runs_sheet, read_static_sheet
from calibration.calc.types import LanePosition, Quantity
from wimprog.lib.errors import UnreadableInput
from wimprog.lib.units import KG_PER_LB, Typed

STATIC = """\
vehicle,class,scale_certificate,weighed_at,axle_1_lb,axle_2_lb,axle_3_lb,spacing_1_ft,spacing_2_ft
A,6,SC-1,2031-05-14T06:40,"11,480",16950,16870,16.8,4.4
B,5,SC-1,2031-05-14T06:50,9000,14000,,14.2,
"""
RUNS_HEAD = (
    "run,vehicle,time,speed_mph,pavement_temp_f,lane_position,"
    "axle_1_lb,axle_2_lb,axle_3_lb,spacing_1_ft,spacing_2_ft,exclusion_reason\n"
)
FIRST = "1,A,2031-05-14T08:00,48,61.0,right,11000,17000,16900,16.7,4.4,\n"
SECOND = "2,B,2031-05-14T08:07,56.50,62.7,Center,9100,14100,,14.1,,\n"
RUNS = RUNS_HEAD + FIRST + SECOND


def static(text=STATIC):
    return read_static_sheet(text.encode() if isinstance(text, str) else text)


def runs(text=RUNS, **options):
    content = text.encode() if isinstance(text, str) else text
    return read_runs_sheet(content, static(), **options)


def complaints_of(call, *args):
    with pytest.raises(UnreadableInput) as caught:
        call(*args)
    assert "Nothing was stored" in caught.value.message
    return caught.value.complaints


def test_sheets_are_read_in_si():
    one, two = static()
    assert (one.name, one.vehicle_class, one.scale_certificate) == ("A", 6, "SC-1")
    assert one.axle_weights_kg[0] == pytest.approx(11480 * KG_PER_LB)
    assert one.axle_spacings_m == pytest.approx((16.8 * 0.3048, 4.4 * 0.3048))
    assert (two.n_axles, len(two.axle_spacings_m)) == (2, 1)
    first, second = runs()
    assert first.speed_kmh == pytest.approx(48 * 1.609344)
    assert first.pavement_temp_c == pytest.approx((61 - 32) / 1.8)
    assert first.lane_position is LanePosition.RIGHT
    assert second.lane_position is LanePosition.CENTRE
    assert second.reference_speed_kmh is None
    assert len(second.axle_weights_kg) == 2
    assert run_errors(static(), runs())[Quantity.GROSS_WEIGHT].n == 2


def test_what_was_typed_comes_back_exactly():
    first, second = runs()
    assert static()[0].typed["axle_weights_kg"] == ("11,480 16950 16870", "lb")
    assert second.typed["speed_kmh"] == ("56.50", "mph")
    assert second.typed["axle_spacings_m"] == ("14.1", "ft")
    assert first.typed["pavement_temp_c"] == ("61.0", "°F")
    assert Typed(*second.typed["speed_kmh"]).value_si == second.speed_kmh


@pytest.mark.parametrize(
    "change",
    [
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: text.replace("\n", "\r").encode(),
        lambda text: text.replace(",", ";").encode(),
        lambda text: text.replace(",", "\t").encode(),
        lambda text: ("\n" + text + "\n ,,,\n").encode(),
        lambda text: text.upper().replace("RIGHT", "right").encode(),
    ],
    ids=["BOM", "CRLF", "CR", "semicolons", "tabs", "blank lines", "upper case"],
)
def test_harmless_variants_are_the_same_sheet(change):
    assert runs(change(RUNS)) == runs()


def test_other_units_give_the_same_truck():
    kilograms = (
        "vehicle,weighed_at,axle_1_kip,axle_2_kip,axle_3_kip,spacing_1_mm,spacing_2_mm\n"
        "A,2031-05-14T06:40,11.48,16.95,16.87,5120.64,1341.12\n"
    )
    (same,) = static(kilograms)
    assert same.axle_weights_kg == pytest.approx(static()[0].axle_weights_kg)
    assert same.axle_spacings_m == pytest.approx(static()[0].axle_spacings_m)
    assert same.vehicle_class is None


def test_a_run_with_a_reason_is_set_aside_even_with_axles_missing():
    text = RUNS + "3,A,2031-05-14T08:20,50,63,left,11000,,,,,changed lanes\n"
    *_, aside = runs(text)
    assert (aside.excluded, aside.exclusion_reason) == (True, "changed lanes")
    assert aside.axle_spacings_m is None


def test_one_run_only_is_read():
    (only,) = runs(RUNS_HEAD + FIRST)
    assert run_errors(static(), [only])[Quantity.GROSS_WEIGHT].n == 1


ROW = {
    "run": "3",
    "vehicle": "A",
    "time": "2031-05-14T09:00",
    "speed_mph": "50",
    "pavement_temp_f": "63",
    "lane_position": "left",
    "axle_1_lb": "11000",
    "axle_2_lb": "17000",
    "axle_3_lb": "16900",
    "spacing_1_ft": "16.7",
    "spacing_2_ft": "4.4",
    "exclusion_reason": "",
}
BAD_CELLS = [
    # change of a good row; field complained of; part of the complaint
    ({"axle_2_lb": "heavy"}, "axle_2_lb", "“heavy” is not a number"),
    ({"axle_2_lb": '"17,0"'}, "axle_2_lb", "write a point for decimals"),
    ({"axle_2_lb": "-17000"}, "axle_2_lb", "greater than zero"),
    ({"axle_2_lb": "0"}, "axle_2_lb", "greater than zero"),
    ({"axle_2_lb": "inf"}, "axle_2_lb", "not a finite number"),
    ({"axle_2_lb": ""}, "axle_2_lb", "empty and one after it is not"),
    ({"axle_3_lb": ""}, "axle weights", "2 axle weights; A has 3 axles"),
    ({"spacing_2_ft": ""}, "axle spacings", "1 axle spacings; A has 2"),
    ({"vehicle": "B"}, "axle weights", "3 axle weights; B has 2 axles"),
    ({"vehicle": "C"}, "vehicle", "one of A, B"),
    ({"vehicle": ""}, "vehicle", "The cell is empty"),
    ({"run": ""}, "run", "The cell is empty"),
    ({"run": "1"}, "run", "label is already on line 2"),
    ({"time": "2031-05-14T08:00"}, "run", "same time is already on line 2"),
    ({"time": "2031-05-14T06:39"}, "time", "earlier than the static weighing"),
    ({"time": "5/14/2031 9:00"}, "time", "2031-05-14T08:07"),
    ({"time": "2031-05-14"}, "time", "not a date with a time of day"),
    ({"time": ""}, "time", "The cell is empty"),
    ({"speed_mph": "500"}, "speed_mph", "0.6214 to 124.3 mph"),
    ({"speed_mph": "fast"}, "speed_mph", "not a number"),
    ({"pavement_temp_f": "400"}, "pavement_temp_f", "cannot be right"),
    ({"lane_position": "middle"}, "lane_position", "left, centre or right"),
    ({"axle_1_lb": '"1"2'}, "", "stray or missing quotation mark"),
]


@pytest.mark.parametrize(("change", "field", "part"), BAD_CELLS)
def test_a_bad_cell_is_named_with_its_line(change, field, part):
    text = RUNS + ",".join((ROW | change).values()) + "\n"
    complaints = complaints_of(runs, text)
    told = [one for one in complaints if part in str(one)]
    assert told, [str(one) for one in complaints]
    assert told[0].row == 4
    assert told[0].field == field
    assert told[0].remedy


def test_decimal_commas_between_semicolons_are_not_guessed_at():
    text = RUNS.replace(",", ";").replace("16.7", "16,7")
    (complaint,) = complaints_of(runs, text)
    assert (complaint.row, complaint.field) == (2, "spacing_1_ft")
    assert complaint.value == "16,7"


def test_decimal_commas_between_commas_are_recognised():
    (complaint,) = complaints_of(runs, RUNS.replace("16.7", "16,7"))
    assert (complaint.row, complaint.value) == (2, "13 cells")
    assert "decimal commas" in complaint.remedy


def test_a_line_that_was_cut_is_complained_of():
    (complaint,) = complaints_of(runs, RUNS[:-12])
    assert (complaint.row, complaint.expected) == (3, "12 cells")
    assert "cut" in complaint.remedy


FILES = [
    (b"", None, "empty"),
    (b" \r\n \n", None, "empty"),
    (b"\xef\xbb\xbf\n", None, "empty"),
    (b"PK\x03\x04....", None, "workbook or a zip"),
    (RUNS.encode("utf-16"), None, "not UTF-8"),
    (RUNS.replace("right", "links\xfc").encode("latin-1"), 2, "byte 0xfc"),
    (RUNS_HEAD.encode(), 2, "no row below it"),
    (RUNS.replace("axle_3_lb", "axle_4_lb").encode(), 1, "not numbered 1, 2, 3"),
    (RUNS.replace("axle_3_lb", "axle_3_kg").encode(), 1, "in different units"),
    (RUNS.replace("axle_3_lb", "axle_2_lb").encode(), 1, "same heading"),
    (RUNS.replace("axle_3_lb", "").encode(), 1, "Column 9 has no heading"),
    (RUNS.replace("axle_3_lb", "axle_3_pounds").encode(), 1, "is not known"),
    (RUNS.replace("speed_mph", "speed").encode(), 1, "speed_mph|kmh"),
    (RUNS.replace("pavement_temp_f", "speed_kmh").encode(), 1, "different units"),
    (RUNS.replace("time", "note").encode(), 1, "A column is missing"),
    (b"run,vehicle,time\n1,A,2031-05-14T08:00\n", 1, "no axle weight columns"),
]


@pytest.mark.parametrize(("content", "row", "part"), FILES)
def test_a_file_of_another_kind_is_named(content, row, part):
    complaints = complaints_of(runs, content)
    told = [one for one in complaints if part in str(one)]
    assert told, [str(one) for one in complaints]
    assert told[0].row == row


@pytest.mark.parametrize(
    ("change", "row", "part"),
    [
        (("A,6", "A,14"), 2, "not a vehicle class"),
        (("A,6", "A,six"), 2, "not a vehicle class"),
        (("14.2,", ","), 3, "axle spacings of vehicle B does not fit"),
        (("2031-05-14T06:40", "yesterday"), 2, "not a date"),
        (("B,5", ",5"), 3, "The cell is empty"),
        (("16870", "-16870"), 2, "greater than zero"),
        (("B,5,SC-1,2031-05-14T06:50", "A,5,SC-1,2031-05-14T06:40"), 3, "on line 2"),
        (("axle_1_lb", "axle_1_ft"), 1, "is not known"),
    ],
)
def test_a_bad_static_sheet_is_refused(change, row, part):
    complaints = complaints_of(static, STATIC.replace(*change))
    told = [one for one in complaints if part in str(one)]
    assert told, [str(one) for one in complaints]
    assert told[0].row == row


def test_all_complaints_come_at_once():
    rows = [",".join((ROW | change).values()) for change, _, _ in BAD_CELLS[:6]]
    text = RUNS + "\n".join(rows) + "\n"
    lines = {one.row for one in complaints_of(runs, text)}
    assert lines >= {4, 5, 6, 7, 8, 9}


def test_kilograms_under_a_heading_of_pounds_are_questioned():
    kilograms = RUNS_HEAD + (
        "1,A,2031-05-14T08:00,48,61,right,4990,7711,7666,16.7,4.4,\n"
        "2,B,2031-05-14T08:07,56,62,left,4128,6396,,14.1,,\n"
    )
    (complaint,) = complaints_of(runs, kilograms)
    assert "2 runs, the first on line 2, weigh 0.45 times" in complaint.message
    assert "_lb or _kg" in complaint.remedy
    assert len(runs(kilograms, units_are_right=True)) == 2
    relabelled = kilograms.replace("_lb", "_kg")
    assert len(runs(relabelled)) == 2


def test_pounds_under_a_heading_of_kilograms_are_questioned():
    (complaint,) = complaints_of(runs, RUNS.replace("_lb", "_kg"))
    assert "2.19 times" in complaint.message  # 44,900/45,300 × 2.2046
    (alone,) = complaints_of(runs, (RUNS_HEAD + FIRST).replace("_lb", "_kg"))
    assert alone.row == 2


def test_one_run_in_other_units_is_questioned_on_its_own_line():
    third = FIRST.replace("1,A", "3,A").replace("08:00", "09:00")
    slipped = third.replace("11000,17000,16900", "4990,7711,7666")
    text = (
        RUNS
        + slipped
        + slipped.replace("3,A", "4,A")
        .replace("09:00", "09:30")
        .replace("left\n", "left,")
    )
    text += "5,A,2031-05-14T10:00,48,61,left,11000,17000,16900,16.7,4.4,\n"
    text += "6,A,2031-05-14T10:10,48,61,left,11,,,,,tyre burst\n"
    text += "7,A,2031-05-14T10:20,48,61,left,11000,17000,16900,16.7,4.4,\n"
    complaints = complaints_of(runs, text)
    assert [one.row for one in complaints] == [4, 5]


@pytest.mark.parametrize(
    ("excluded", "reason", "is_aside"),
    [("yes", "wet", True), ("", "wet", True), ("no", "", False), ("X", "wet", True)],
)
def test_the_two_columns_of_setting_aside_agree(excluded, reason, is_aside):
    head = RUNS_HEAD.replace("exclusion_reason", "excluded,exclusion_reason")
    text = head + FIRST.replace("4.4,\n", f"4.4,{excluded},{reason}\n")
    assert runs(text)[0].excluded is is_aside


@pytest.mark.parametrize(
    ("excluded", "reason", "part"),
    [
        ("no", "wet", "not clear"),
        ("maybe", "", "not clear"),
        ("yes", "", "set aside without a reason"),
    ],
)
def test_the_two_columns_of_setting_aside_disagree(excluded, reason, part):
    head = RUNS_HEAD.replace("exclusion_reason", "excluded,exclusion_reason")
    text = head + FIRST.replace("4.4,\n", f"4.4,{excluded},{reason}\n")
    assert part in str(complaints_of(runs, text)[0])


def test_a_lane_that_records_no_spacings_has_none():
    text = (
        "run,vehicle,time,axle_1_kip,axle_2_kip,axle_3_kip\n"
        "1,A,2031-05-14T08:00,11,17,16.9\n"
    )
    (run,) = runs(text)
    assert run.axle_spacings_m is None
    assert "axle_spacings_m" not in run.typed
    assert run.speed_kmh is None
