"""Profiles from delimited text: what is read, and what is refused in which words."""

from __future__ import annotations

import io

import numpy as np
import pytest

from sites.calc.profile_checks import length_text, spacing_of
from sites.calc.profile_layout import ProfileColumns
from sites.calc.profile_reading import read_profile
from sites.calc.profile_text import lines_of_rows
from sites.calc.profile_words import DistanceUnit, ElevationUnit, WheelPath
from wimprog.lib.errors import UnreadableInput

N = 2001  # 50 m at 25 mm
X_M = np.arange(N) * 0.025


def road(n=N, seed=11):
    return np.round(np.cumsum(np.random.default_rng(seed).normal(0.0, 0.3, n)), 3)


LEFT, RIGHT = road(), road(seed=12)


def text(
    header="distance (m),left elevation (mm),right elevation (mm)",
    rows=None,
    delimiter=",",
    preamble="",
):
    cells = rows or [
        f"{x:.3f},{a:.3f},{b:.3f}" for x, a, b in zip(X_M, LEFT, RIGHT, strict=True)
    ]
    return (preamble + "\n".join([header, *cells]) + "\n").replace(",", delimiter)


def lines():
    return text().splitlines()


def with_line(number, new):
    """The file with one line (counted from 1) replaced."""
    changed = lines()
    changed[number - 1] = new
    return "\n".join(changed)


def refused(source, **options):
    with pytest.raises(UnreadableInput) as caught:
        read_profile(source.encode() if isinstance(source, str) else source, **options)
    return caught.value


# --- what is read ------------------------------------------------------------------


def test_a_profile_is_read_as_written():
    profile = read_profile(text().encode())
    assert profile.paths == (WheelPath.LEFT, WheelPath.RIGHT)
    assert (profile.n, profile.interval_mm, profile.start_m) == (N, 25.0, 0.0)
    assert profile.length_m == pytest.approx(50.0)
    assert profile.notes == ()
    np.testing.assert_array_equal(profile.elevation_mm[WheelPath.LEFT], LEFT)
    np.testing.assert_array_equal(profile.elevation_mm[WheelPath.RIGHT], RIGHT)


def test_elevations_cannot_be_changed_afterwards():
    heights = read_profile(text().encode()).elevation_mm[WheelPath.LEFT]
    with pytest.raises(ValueError, match="read-only"):
        heights[0] = 1.0


def test_a_stream_is_read_like_bytes():
    assert read_profile(io.BytesIO(text().encode())).n == N


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_delimiters_and_line_ends(delimiter, ending):
    source = text(delimiter=delimiter).replace("\n", ending)
    profile = read_profile(source.encode())
    np.testing.assert_array_equal(profile.elevation_mm[WheelPath.LEFT], LEFT)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings(encoding):
    assert read_profile(text().encode(encoding)).n == N


def test_a_heading_in_a_one_byte_encoding():
    header = "distance (m),left (mm),température"
    profile = read_profile(text(header).encode("cp1252"))
    assert profile.paths == (WheelPath.LEFT,)


def test_a_byte_that_is_no_character_is_told_like_any_other():
    source = with_line(500, "12.450,\x81.5,3").encode("latin-1")
    assert refused(source).complaints[0].row == 500


def test_decimal_commas_between_semicolons():
    source = text(delimiter=";").replace(".", ",")
    profile = read_profile(source.encode())
    np.testing.assert_array_equal(profile.elevation_mm[WheelPath.RIGHT], RIGHT)


def test_lines_above_the_heading_and_blank_lines_are_passed_over():
    source = text(preamble="Orrin Valley, lane 1\n\nrun 3\n") + "\n\n"
    assert read_profile(source.encode()).n == N


def test_a_row_of_units_below_the_heading():
    source = text("Dist,LElev,RElev\nm,mm,mm")
    assert read_profile(source.encode()).n == N


def test_an_empty_cell_at_the_end_of_each_row():
    rows = [
        f"{x:.3f},{a:.3f},{b:.3f}," for x, a, b in zip(X_M, LEFT, RIGHT, strict=True)
    ]
    assert read_profile(text(rows=rows).encode()).n == N


@pytest.mark.parametrize(
    ("header", "paths"),
    [
        ("Distance (m),LWP [mm],RWP [mm]", [WheelPath.LEFT, WheelPath.RIGHT]),
        ("Chainage_m,RightElev_mm,note", [WheelPath.RIGHT]),
        ("chainage m,elevation mm,speed", [WheelPath.SINGLE]),
        ("dist_m,L_mm,R_mm", [WheelPath.LEFT, WheelPath.RIGHT]),
        ("Distance (m),Left elevation (mm),Left IRI", [WheelPath.LEFT]),
        ("Distance (m),elevation (mm),Left profile (mm)", [WheelPath.LEFT]),
        ("Distance (m),Left (mm),Left-right difference (mm)", [WheelPath.LEFT]),
    ],
)
def test_headings_are_known_by_their_words(header, paths):
    assert list(read_profile(text(header).encode()).paths) == paths


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("m", 1.0), ("ft", 0.3048), ("km", 1000.0), ("mi", 1609.344), ("sta", 30.48)],
)
def test_units_of_distance(unit, factor):
    rows = [
        f"{x / factor:.9f},{a:.3f},0" for x, a in zip(X_M + 100.0, LEFT, strict=True)
    ]
    profile = read_profile(text(f"distance ({unit}),left (mm),x", rows).encode())
    assert profile.interval_mm == pytest.approx(25.0, abs=1e-5)
    assert profile.start_m == pytest.approx(100.0, abs=1e-6)


@pytest.mark.parametrize(
    ("unit", "millimetres"), [("mm", 1.0), ("m", 1000.0), ("in", 25.4), ("ft", 304.8)]
)
def test_units_of_elevation(unit, millimetres):
    rows = [f"{x:.3f},{a / millimetres:.9f},0" for x, a in zip(X_M, LEFT, strict=True)]
    profile = read_profile(text(f"distance (m),left ({unit}),x", rows).encode())
    heights = profile.elevation_mm[WheelPath.LEFT]
    np.testing.assert_allclose(heights, LEFT, atol=1e-5)


def test_stations_of_a_hundred_feet():
    feet = 1234.5 + X_M / 0.3048
    rows = [
        f"{int(f // 100)}+{f % 100:08.5f},{a},0"
        for f, a in zip(feet, LEFT, strict=True)
    ]
    profile = read_profile(text("Sta,left (mm),x", rows).encode())
    assert profile.start_m == pytest.approx(1234.5 * 0.3048)
    assert profile.interval_mm == pytest.approx(25.0, abs=1e-4)


def test_falling_distances_are_a_run_against_the_count():
    rows = [
        f"{500.0 - x:.3f},{a:.3f},{b:.3f}"
        for x, a, b in zip(X_M, LEFT, RIGHT, strict=True)
    ]
    profile = read_profile(text(rows=rows).encode())
    assert profile.direction == -1
    assert (profile.start_m, profile.end_m) == pytest.approx((500.0, 450.0))
    assert profile.travelled_m(490.0) == pytest.approx(10.0)
    np.testing.assert_array_equal(profile.elevation_mm[WheelPath.LEFT], LEFT)


def test_distances_rounded_to_the_centimetre_are_even():
    rows = [f"{x:.2f},{a:.3f},0" for x, a in zip(X_M, LEFT, strict=True)]
    profile = read_profile(text("distance (m),left (mm),x", rows).encode())
    assert profile.interval_mm == pytest.approx(25.0)


def test_named_columns_and_units_win_and_the_contradiction_is_noted():
    source = text("d,one (in),two")
    profile = read_profile(
        source.encode(),
        columns=ProfileColumns(
            distance="d",
            right="one (in)",
            distance_unit=DistanceUnit.M,
            elevation_unit=ElevationUnit.MM,
        ),
    )
    assert profile.paths == (WheelPath.RIGHT,)
    np.testing.assert_array_equal(profile.elevation_mm[WheelPath.RIGHT], LEFT)
    assert profile.notes == ("The heading “one (in)” says in; read as mm, as chosen.",)


def test_a_chosen_unit_of_distance_wins_over_the_heading():
    profile = read_profile(
        text("distance (ft),left (mm),x").encode(),
        columns=ProfileColumns(distance_unit=DistanceUnit.M),
    )
    assert profile.interval_mm == 25.0
    assert profile.notes[0].endswith("says ft; read as m, as chosen.")


def test_a_wide_interval_is_read_and_noted():
    rows = [f"{x * 6:.3f},{a * 2:.3f},0" for x, a in zip(X_M, LEFT, strict=True)]
    profile = read_profile(text("distance (m),left (mm),x", rows).encode())
    assert profile.interval_mm == pytest.approx(150.0)
    assert profile.notes == (
        "Samples are 150 mm apart; AASHTO M 331 asks for 25 mm. Waves shorter than "
        "300 mm are not seen.",
    )


# --- what is refused: layout ---------------------------------------------------------


@pytest.mark.parametrize(
    ("source", "words"),
    [
        (b"", "The file is empty"),
        (b"\n\n", "The file is empty"),
        (b"\x01\x00\x02\x00profile", "export it as CSV"),
        (b"PK\x03\x04....", "save the sheet as CSV"),
        (b"\xd0\xcf\x11\xe0....", "save the sheet as CSV"),
        (b"\x1f\x8b....", "unpack it first"),
        (b"%PDF-1.7", "export the profile as CSV"),
        (b"\xff\xfea", "begins as UTF-16 text and is not"),
        (b"no table here\nat all\n", "no heading was found in the first 2 lines"),
        (b"distance (m),left (mm)\n", "no numbers below it"),
        (b"distance (m),left (mm)", "no numbers below it"),
    ],
)
def test_what_is_no_profile_is_refused_in_words(source, words):
    assert words in refused(source).message


def test_a_missing_column_is_named_with_what_there_is():
    complaint = refused(text("place (m),left (mm),right (mm)")).complaints[0]
    assert (complaint.row, complaint.field) == (1, "distance")
    assert complaint.value == "place (m), left (mm), right (mm)"
    complaints = refused(text("a,b,c")).complaints
    assert [c.field for c in complaints] == ["distance", "elevation"]


def test_a_named_column_that_is_not_there():
    complaint = refused(text(), columns=ProfileColumns(left="Left Z")).complaints[0]
    assert complaint.message == "there is no such column."
    assert complaint.value == "Left Z"
    assert "right elevation (mm)" in complaint.expected


def test_two_columns_that_could_be_the_left_path():
    error = refused(text("distance (m),left (mm),left profile (mm)"))
    complaint = error.complaints[0]
    assert complaint.value == "left (mm), left profile (mm)"
    assert complaint.remedy == "Name the column to read."


def test_a_unit_is_never_guessed():
    complaints = refused(text("distance,left,right (mm)")).complaints
    assert [c.field for c in complaints] == ["distance", "left"]
    assert complaints[0].expected.startswith("one of m, ft, km, mi, station")
    assert complaints[1].expected.startswith("one of mm, m, in, ft")


# --- what is refused: values ---------------------------------------------------------


def test_a_value_that_is_no_number():
    complaint = refused(with_line(500, "12.450,n.a.,3")).complaints[0]
    assert (complaint.row, complaint.field) == (500, "left elevation (mm)")
    assert complaint.value == "n.a."
    assert "point for decimals" in complaint.expected


def test_a_bad_value_among_decimal_commas():
    source = text(delimiter=";").replace(".", ",")
    wrong = source.splitlines()
    wrong[499] = "12,450;n/v;3,0"
    complaint = refused("\n".join(wrong)).complaints[0]
    assert (complaint.row, complaint.value) == (500, "n/v")


def test_lines_are_counted_with_preamble_and_blank_lines():
    source = "Orrin Valley\n\n" + with_line(500, "\n\n12.450,n.a.,3")
    assert refused(source).complaints[0].row == 504


@pytest.mark.parametrize("cell", ["", "NaN", "inf", "1e308", "-1e9"])
def test_a_gap_is_not_filled(cell):
    error = refused(with_line(500, f"12.450,{cell},3"))
    complaint = error.complaints[0]
    assert (complaint.row, complaint.field) == (500, "left elevation (mm)")


def test_a_missing_distance_is_a_gap_too():
    assert refused(with_line(500, ",1.0,3")).complaints[0].field == "distance (m)"


def test_a_line_of_another_length():
    error = refused(with_line(N + 1, "50.000,1"))  # cut within the last line
    assert "1 line with more or fewer cells" in error.message
    assert error.complaints[0].row == N + 1
    assert error.complaints[0].expected == "3 cells"


def test_many_lines_of_another_length_beside_quoted_ones():
    rows = [f'{x:.3f},"1.0"' + ",0" * (i % 2) for i, x in enumerate(X_M)]
    error = refused(text("distance (m),left (mm),x", rows))
    assert "1,001 lines with more or fewer cells" in error.message
    assert [c.row for c in error.complaints] == list(range(2, 42, 2))


def test_lines_that_are_no_table():
    """A quote that is never closed swallows the rest of the file."""
    error = refused(with_line(500, '12.450,"1.0,3'))
    assert error.message.startswith("The profile was not read")


@pytest.mark.parametrize("cell", ["1,5", "0x10", "1.2.3", "--1", "1 2"])
def test_other_ways_to_write_a_number_are_told(cell):
    complaint = refused(with_line(500, f'12.450,"{cell}",3')).complaints[0]
    assert (complaint.row, complaint.value) == (500, cell)


@pytest.mark.parametrize("cell", ["+1.5", " 1.5 ", "1.", ".5", "-1e-1", "1E2"])
def test_other_ways_to_write_a_number_are_read(cell):
    profile = read_profile(
        with_line(500, f"12.450,{cell},3").encode(), question_elevation=False
    )
    assert profile.elevation_mm[WheelPath.LEFT][498] == float(cell)


def test_a_station_that_is_none():
    rows = [f"12+{i % 100:02d}.0,1,0" for i in range(50)]
    rows[7] = "12+345.0,1,0"
    complaint = refused(text("Sta,left (mm),x", rows)).complaints[0]
    assert (complaint.row, complaint.value) == (9, "12+345.0")
    assert complaint.expected == "a station such as 12+34.5"


def test_only_the_first_complaints_are_told_and_all_are_counted():
    rows = [f"{x:.3f},bad,0" for x in X_M]
    error = refused(text("distance (m),left (mm),x", rows))
    assert len(error.complaints) == 20
    assert "2,001 values" in error.message


# --- what is refused: spacing --------------------------------------------------------


def test_a_lost_sample_is_told_with_place_and_size():
    found = lines()
    del found[500]
    error = refused("\n".join(found))
    complaint = error.complaints[0]
    assert complaint.row == 501
    assert complaint.value == "50 mm after 12.450 m"
    assert complaint.expected == "25 mm"
    assert "usually 25 mm, but 25 mm to 50 mm; 1 step of 1,999" in error.message


def test_a_doubled_sample_is_uneven():
    found = lines()
    found.insert(500, found[499])
    assert refused("\n".join(found)).complaints[0].value == "0 mm after 12.450 m"


def test_an_interval_that_drifts_is_told():
    """Steps that are each near enough, and together 3 % long."""
    steps = np.full(N - 1, 0.025)
    steps[:200] *= 1.03
    x = np.concatenate([[0.0], np.cumsum(steps)])
    spacing = spacing_of(x)
    assert spacing.drifts
    assert spacing.uneven.min() == 40
    assert not spacing_of(X_M).uneven.size
    rows = [f"{at:.5f},{a:.3f},0" for at, a in zip(x, LEFT, strict=True)]
    complaint = refused(text("distance (m),left (mm),x", rows)).complaints[0]
    assert "over the 40 steps before" in complaint.message


def test_a_turn_is_refused_even_when_resampling():
    source = with_line(500, "9.000,1.0,1.0")
    for options in ({}, {"resample_mm": 25.0}):
        complaint = refused(source, **options).complaints[0]
        assert complaint.row == 500
        assert complaint.value == "9.000 m after 12.425 m"


def test_resampling_closes_a_small_hole_and_says_so():
    found = lines()
    del found[500]
    profile = read_profile("\n".join(found).encode(), resample_mm=25.0)
    assert (profile.n, profile.interval_mm) == (N, 25.0)
    expected = LEFT.copy()
    expected[499] = (LEFT[498] + LEFT[500]) / 2
    np.testing.assert_allclose(profile.elevation_mm[WheelPath.LEFT], expected)
    assert profile.notes[0].startswith("Resampled from 2,000 samples, usually 25 mm")


def test_resampling_runs_with_falling_distances():
    rows = [f"{500.0 - x:.3f},{a:.3f},0" for x, a in zip(X_M, LEFT, strict=True)]
    source = text("distance (m),left (mm),x", rows)
    profile = read_profile(source.encode(), resample_mm=50.0)
    assert (profile.direction, profile.start_m) == (-1, 500.0)
    np.testing.assert_allclose(profile.elevation_mm[WheelPath.LEFT], LEFT[::2])


def test_resampling_invents_no_road():
    found = lines()
    del found[500:515]
    error = refused("\n".join(found), resample_mm=25.0)
    assert error.complaints[0].message == "more than 250 mm of road have no sample."


def test_resampling_needs_distances_that_differ():
    found = lines()
    found.insert(500, found[499])
    error = refused("\n".join(found), resample_mm=25.0)
    assert error.complaints[0].message.startswith("the distance is the same")


@pytest.mark.parametrize("wanted", [0.0, -1.0, 251.0, float("nan")])
def test_an_interval_that_nobody_can_have(wanted):
    assert "ask for an interval" in refused(text(), resample_mm=wanted).message


@pytest.mark.parametrize(
    ("step_m", "is_read"), [(0.25, True), (0.2505, True), (0.251, False), (0.3, False)]
)
def test_an_interval_beyond_the_practice(step_m, is_read):
    rows = [f"{i * step_m:.4f},{a * 3:.3f},0" for i, a in enumerate(LEFT)]
    source = text("distance (m),left (mm),x", rows)
    if is_read:
        assert read_profile(source.encode()).n == N
    else:
        complaint = refused(source).complaints[0]
        assert "at most 250 mm: ASTM E1926" in complaint.expected


@pytest.mark.parametrize(("n", "is_read"), [(569, True), (568, False), (2, False)])
def test_a_profile_too_short_for_any_window(n, is_read):
    rows = [f"{x:.3f},{a:.3f},0" for x, a in zip(X_M[:n], LEFT[:n], strict=True)]
    source = text("distance (m),left (mm),x", rows)
    if is_read:  # 568 steps of 25 mm are 14.2 m
        assert read_profile(source.encode()).n == n
    else:
        assert "At least 14.2 m are needed" in refused(source).message


# --- what is refused: elevations -----------------------------------------------------


@pytest.mark.parametrize(
    ("written", "said", "instead"),
    [("mm", "m", "mm"), ("mm", "in", "mm"), ("m", "mm", "m or ft"), ("in", "mm", "in"),
     ("ft", "mm", "m or ft"), ("mm", "ft", "mm")],
)  # fmt: skip
def test_a_mistaken_unit_is_questioned(written, said, instead):
    millimetres = {"mm": 1.0, "m": 1000.0, "in": 25.4, "ft": 304.8}[written]
    rows = [f"{x:.3f},{a / millimetres:.9f},0" for x, a in zip(X_M, LEFT, strict=True)]
    complaint = refused(text(f"distance (m),left ({said}),x", rows)).complaints[0]
    assert f"a road in {instead}: check the unit" in complaint.remedy
    assert complaint.expected == "a roughness of 0.2 to 15 m/km"


def test_a_person_may_take_them_as_measured():
    rows = [f"{x:.3f},{a * 30:.9f},0" for x, a in zip(X_M, LEFT, strict=True)]
    source = text("distance (m),left (mm),x", rows)
    assert "rougher than any paved road" in refused(source).complaints[0].message
    assert read_profile(source.encode(), question_elevation=False).n == N


def test_a_dead_sensor_is_no_smooth_road():
    rows = [f"{x:.3f},7.5,0" for x in X_M]
    complaint = refused(text("distance (m),left (mm),x", rows)).complaints[0]
    assert "never change" in complaint.message


def test_a_code_for_a_lost_signal_is_a_jump():
    error = refused(with_line(500, "12.450,-9999,3"))
    assert [c.row for c in error.complaints] == [500, 501]
    assert error.complaints[0].value.startswith("−10,0")
    assert "−9999" in error.complaints[0].remedy


def test_a_road_full_of_jumps_that_the_index_cannot_see():
    """Every other sample 40 mm high: over 250 mm the slope is the road's."""
    saw = LEFT + 40.0 * (np.arange(N) % 2)
    rows = [f"{x:.3f},{a:.3f},0" for x, a in zip(X_M, saw, strict=True)]
    error = refused(text("distance (m),left (mm),x", rows))
    assert "jump at 2,000 places" in error.message


def test_the_jump_limit_grows_with_the_interval():
    """30 mm and a fifth of the interval: 35 mm at 25 mm."""
    for jump, is_read in ((34.9, True), (35.1, False)):
        heights = LEFT.copy()
        heights[1000:] += jump - (heights[1000] - heights[999])
        rows = [f"{x:.3f},{a:.3f},0" for x, a in zip(X_M, heights, strict=True)]
        source = text("distance (m),left (mm),x", rows)
        if is_read:
            assert read_profile(source.encode()).n == N
        else:
            assert refused(source).complaints[0].value == "35.1 mm"


# --- small parts ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_mm", "words"),
    [(25.0, "25 mm"), (25.4, "25.4 mm"), (0.0, "0 mm"), (999.94, "999.9 mm"),
     (1525.0, "1.525 m"), (25_000.0, "25 m"), (2_500_000.0, "2,500 m")],
)  # fmt: skip
def test_lengths_in_words(length_mm, words):
    assert length_text(length_mm) == words


def test_rows_find_their_lines():
    body = b"a\n\nb\nc\n\n\nd"
    assert lines_of_rows(body, np.array([0, 1, 2, 3])).tolist() == [0, 2, 3, 6]
