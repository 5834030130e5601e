"""The history band: what is drawn where, what is said, what is escaped."""

# ruff: noqa: S314 (the XML read here is our own drawing)

import datetime as dt
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from wimprog.lib.band import (
    Band,
    CalibrationMark,
    DriftPoint,
    DueFlag,
    MonthShare,
    SensorBar,
    SurvivalPoint,
    TestTick,
    band_axis_svg,
    band_defs_svg,
    band_key,
    band_rows,
    band_summary,
    band_svg,
)

SVG = "{http://www.w3.org/2000/svg}"
TODAY = dt.date(2030, 1, 1)
EMPTY = Band(TODAY, dt.date(2020, 1, 1), dt.date(2034, 1, 1), 5.0)


def weekly(n, value):
    first = TODAY - dt.timedelta(weeks=n)
    return tuple(DriftPoint(first + dt.timedelta(weeks=i), value(i)) for i in range(n))


def months(n, share):
    firsts = [dt.date(2020 + i // 12, i % 12 + 1, 1) for i in range(n)]
    return tuple(MonthShare(day, share(i)) for i, day in enumerate(firsts))


def full():
    return replace(
        EMPTY,
        sensors=(
            SensorBar("S-1", "polymer piezo", dt.date(2021, 1, 1),
                      dt.date(2025, 1, 1), "failed"),
            SensorBar("S-2", "polymer piezo", dt.date(2025, 2, 1),
                      dt.date(2027, 1, 1), "removed"),
            SensorBar("S-3", "quartz piezo", dt.date(2027, 2, 1)),
            SensorBar("L-1", "inductive loop", dt.date(2021, 1, 1), row=1),
        ),
        tests=tuple(
            TestTick(dt.date(year, 6, 1), ok)
            for year, ok in ((2022, True), (2023, None), (2024, False), (2028, True))
        ),
        calibrations=(
            CalibrationMark(dt.date(2022, 7, 1), 1.2, 0.1, 2.3, 40),
            CalibrationMark(dt.date(2029, 7, 1), -4.1, -5.3, -2.9, 38),
        ),
        drift=weekly(400, lambda i: 3 * math.sin(i / 20)),
        months=months(120, lambda i: None if i % 10 == 9 else 0.97),
        survival=tuple(
            SurvivalPoint(dt.date(2030 + i, 1, 1), 0.8**i) for i in range(5)
        ),
        due=(DueFlag(dt.date(2030, 9, 1), "calibration"),),
        chance_pct=36.0,
        chance_low_pct=21.0,
        chance_high_pct=52.0,
        chance_basis="41 lives, 23 failures",
    )  # fmt: skip


def parsed(band, size="row"):
    return ET.fromstring(band_svg(band, size=size, band_id="b1", title="OV-014 E1"))


def uses(root, name):
    return [u for u in root.iter(f"{SVG}use") if u.get("href") == f"#{name}"]


def share(text):
    return float(text.removesuffix("%"))


@pytest.mark.parametrize("size", ["row", "page", "print"])
@pytest.mark.parametrize("band", [EMPTY, full()], ids=["empty", "full"])
def test_every_size_is_sound_xml_with_a_name_and_a_description(band, size):
    root = parsed(band, size)
    assert root.get("role") == "img"
    named = {e.get("id"): e.text for e in root if e.get("id")}
    title, desc = root.get("aria-labelledby").split()
    assert named[title] == "OV-014 E1"
    assert named[desc] == band_summary(band)


def test_days_lie_in_proportion_along_the_axis():
    root = parsed(full())
    days = (EMPTY.end - EMPTY.start).days
    (flag,) = uses(root, "wim-flag")
    due = (dt.date(2030, 9, 1) - EMPTY.start).days / days
    assert share(flag.get("x")) == pytest.approx(100 * due, abs=0.05)
    bars = [r for r in root.iter(f"{SVG}rect") if "url(#wim-" in r.get("fill", "")]
    assert share(bars[0].get("x")) == pytest.approx(
        100 * (dt.date(2021, 1, 1) - EMPTY.start).days / days, abs=0.05
    )
    end = share(bars[2].get("x")) + share(bars[2].get("width"))
    assert end == pytest.approx(100 * (TODAY - EMPTY.start).days / days, abs=0.11)


def test_bars_are_hatched_by_technology_and_stacked_by_position():
    root = parsed(full())
    bars = [r for r in root.iter(f"{SVG}rect") if "url(#wim-" in r.get("fill", "")]
    assert [b.get("fill") for b in bars] == [
        "url(#wim-polymer-piezo)",
        "url(#wim-polymer-piezo)",
        "url(#wim-quartz-piezo)",
        "url(#wim-inductive-loop)",
    ]
    tops = [float(b.get("y")) for b in bars]
    assert tops[0] == tops[1] == tops[2] < tops[3]


def test_a_failure_is_crossed_and_a_removal_barred():
    root = parsed(full())
    assert len(uses(root, "wim-failed")) == 1
    heavy = [e for e in root.iter(f"{SVG}line") if e.get("stroke-width") == "2.5"]
    assert len(heavy) == 1


def test_tests_differ_in_height_not_only_in_colour():
    heights = {
        m.group(1)
        for p in parsed(full()).iter(f"{SVG}path")
        for m in re.finditer(r"v(\d)(?=M|$)", p.get("d"))
        if p.get("fill") == "none" and "Z" not in p.get("d").upper()
    }
    assert {"3", "6", "9"} <= heights


def test_bias_beyond_the_axis_is_held_at_its_edge_and_looks_otherwise():
    far = replace(EMPTY, calibrations=(CalibrationMark(dt.date(2025, 1, 1), -40.0),))
    near = replace(EMPTY, calibrations=(CalibrationMark(dt.date(2025, 1, 1), -4.0),))
    (low,) = uses(parsed(far), "wim-cal-low")
    (inside,) = uses(parsed(near), "wim-cal")
    assert float(low.get("y")) > float(inside.get("y"))
    assert not uses(parsed(far), "wim-cal")


def test_a_calibration_without_bias_has_a_mark_of_its_own():
    band = replace(EMPTY, calibrations=(CalibrationMark(dt.date(2025, 1, 1), None),))
    assert len(uses(parsed(band), "wim-cal-unknown")) == 1
    assert "bias not known" in band_summary(band)


def drift_paths(band, stroke):
    return [
        p.get("d")
        for p in parsed(band, "page").iter(f"{SVG}path")
        if p.get("stroke") == stroke and p.get("stroke-linejoin") == "round"
    ]


def test_the_drift_line_breaks_where_there_is_no_data():
    whole = replace(EMPTY, drift=weekly(60, lambda i: 1.0))
    gap = replace(EMPTY, drift=weekly(60, lambda i: None if i == 30 else 1.0))
    hole = replace(EMPTY, drift=whole.drift[:20] + whole.drift[40:])
    assert [d.count("M") for d in drift_paths(whole, "currentColor")] == [1]
    assert [d.count("M") for d in drift_paths(gap, "currentColor")] == [2]
    assert [d.count("M") for d in drift_paths(hole, "currentColor")] == [2]


def test_drift_outside_the_tolerance_is_drawn_again_and_heavier():
    inside = replace(EMPTY, drift=weekly(60, lambda i: 4.9))
    outside = replace(EMPTY, drift=weekly(60, lambda i: 5.1 if 20 < i < 40 else 0.0))
    assert drift_paths(inside, "#D55E00") == []
    assert len(drift_paths(outside, "#D55E00")) == 1


def test_thinning_for_a_row_hides_no_excursion():
    spike = replace(EMPTY, drift=weekly(500, lambda i: 7.9 if i == 250 else 0.0))
    row = band_svg(spike, band_id="b", title="t")
    assert "#D55E00" in row


def test_a_month_without_data_is_outlined_and_never_shaded():
    none = replace(EMPTY, months=months(3, lambda i: None))
    zero = replace(EMPTY, months=months(3, lambda i: 0.0))
    outlined = [p for p in parsed(none).iter(f"{SVG}path") if p.get("fill") == "#fff"]
    assert outlined[0].get("d").count("M") == 3
    assert not [p for p in parsed(none).iter(f"{SVG}path") if p.get("fill-opacity")]
    shaded = [p for p in parsed(zero).iter(f"{SVG}path") if p.get("fill-opacity")]
    assert len(shaded) == 1
    assert "No month with data" in band_summary(none)
    assert "3 months with data, on average 0 % accepted" in band_summary(zero)


def test_shades_step_at_their_limits():
    def opacity(value):
        band = replace(EMPTY, months=months(1, lambda i: value))
        return next(
            p.get("fill-opacity")
            for p in parsed(band).iter(f"{SVG}path")
            if p.get("fill-opacity")
        )

    assert opacity(1.0) == opacity(0.95) == "1"
    assert opacity(0.949) == opacity(0.8) == ".66"
    assert opacity(0.799) == opacity(0.5) == ".4"
    assert opacity(0.499) == opacity(0.0) == ".18"


def test_text_is_escaped_everywhere():
    evil = '<script>"&\x00'
    band = replace(
        full(),
        sensors=(SensorBar(evil, evil, dt.date(2021, 1, 1)),),
        due=(DueFlag(dt.date(2030, 9, 1), evil),),
        chance_basis=evil,
        drift_label=evil,
    )
    for size in ("row", "page", "print"):
        text = band_svg(band, size=size, band_id='x" onload="y', title=evil)
        ET.fromstring(text)
        assert "<script" not in text
        assert ' onload="' not in text


def test_an_unknown_technology_still_has_a_hatch_that_is_defined():
    defined = {
        p.get("id") for p in ET.fromstring(band_defs_svg()).iter(f"{SVG}pattern")
    }
    band = replace(EMPTY, sensors=(SensorBar("x", "unheard of", dt.date(2021, 1, 1)),))
    (bar,) = parsed(band).iter(f"{SVG}rect")
    assert bar.get("fill") == "url(#wim-other)"
    assert "wim-other" in defined


def test_the_definitions_hold_everything_the_bands_refer_to():
    text = band_svg(full(), size="page", band_id="b", title="t")
    asked = set(re.findall(r'url\(#([\w-]+)\)|href="#([\w-]+)"', text))
    names = {a or b for a, b in asked}
    ids = set(re.findall(r' id="([\w-]+)"', band_defs_svg()))
    assert names
    assert names <= ids


def test_a_printed_band_needs_nothing_from_the_page():
    text = band_svg(full(), size="print", band_id="b", title="t")
    asked = set(re.findall(r'url\(#([\w-]+)\)|href="#([\w-]+)"', text))
    assert {a or b for a, b in asked} <= set(re.findall(r' id="([\w-]+)"', text))
    assert 'width="100%" height="' in text  # the inner, stretched drawing
    assert ET.fromstring(text).get("width") == "680"


def test_no_style_attribute_that_a_content_policy_would_drop():
    for size in ("row", "page", "print"):
        assert "style=" not in band_svg(full(), size=size, band_id="b", title="t")
    assert "style=" not in band_defs_svg() + band_axis_svg(
        EMPTY.start, EMPTY.today, EMPTY.end
    )


def test_a_row_of_twelve_years_stays_under_eight_kilobytes():
    band = replace(
        full(),
        start=dt.date(2018, 1, 1),
        drift=weekly(620, lambda i: 3 * math.sin(i / 7)),
        months=months(120, lambda i: (0.97, 0.85, 0.6, None)[i % 4]),
    )
    assert len(band_svg(band, band_id="band-70", title="OV-014 E1").encode()) < 8192


def test_the_summary_tells_what_is_shown():
    text = band_summary(full())
    for part in (
        "2 in service (quartz piezo, inductive loop), the oldest since 1 Jan 2021",
        "before: 1 failed, 1 removed",
        "Last electrical test 1 Jun 2028: within limits",
        "Last calibrated 1 Jul 2029, gross weight −4.1 % (−5.3 to −2.9 %, n 38)",
        "(tolerance ±5.0 %)",
        "108 months with data, on average 97 % accepted, 12 without data",
        "Chance of failure within 2 years 36 % (21 to 52 %; 41 lives, 23 failures)",
        "calibration due 1 Sep 2030",
    ):
        assert part in text


def test_an_empty_band_says_so_in_words():
    assert band_summary(EMPTY).startswith("No data")
    texts = [t.text for t in parsed(EMPTY).iter(f"{SVG}text")]
    assert "no data yet" in texts
    assert band_rows(EMPTY) == []


def test_the_table_holds_every_fact_in_order_of_time():
    band = full()
    rows = band_rows(band)
    expected = sum(
        len(part)
        for part in (band.sensors, band.tests, band.calibrations, band.drift,
                     band.months, band.survival, band.due)
    )  # fmt: skip
    assert len(rows) == expected
    assert [r["from"] for r in rows] == sorted(r["from"] for r in rows)
    (month,) = [r for r in rows if r["from"] == dt.date(2020, 10, 1)]
    assert (month["value"], month["until"]) == ("no data", dt.date(2020, 10, 31))
    assert any(r["note"] == "−5.3 to −2.9 %, n 38" for r in rows)
    assert any(r["until"] is None and r["note"] == "in service" for r in rows)


def test_what_was_due_before_today_stands_at_today_and_says_so():
    band = replace(EMPTY, due=(DueFlag(dt.date(2029, 9, 1), "calibration"),))
    root = parsed(band)
    (flag,) = uses(root, "wim-flag")
    assert flag[0].text == "calibration was due 1 Sep 2029"
    today = 100 * (TODAY - band.start).days / (band.end - band.start).days
    assert share(flag.get("x")) == pytest.approx(today, abs=0.05)


def test_nothing_is_drawn_outside_the_axis():
    band = replace(
        full(),
        sensors=(SensorBar("old", "load cell", dt.date(2000, 1, 1)),),
        due=(DueFlag(dt.date(2050, 1, 1), "calibration"),),
    )
    root = parsed(band)
    assert not uses(root, "wim-flag")
    (bar,) = [r for r in root.iter(f"{SVG}rect") if "wim-" in r.get("fill", "")]
    assert bar.get("x") == "0%"


@pytest.mark.parametrize(
    ("start", "today", "end"),
    [
        (dt.date(2030, 1, 1), TODAY, dt.date(2030, 1, 1)),
        (dt.date(2030, 1, 2), TODAY, dt.date(2034, 1, 1)),
        (dt.date(2020, 1, 1), TODAY, dt.date(2029, 1, 1)),
    ],
)
def test_an_axis_out_of_order_is_refused(start, today, end):
    with pytest.raises(ValueError, match="start < end"):
        Band(today, start, end, 5.0)


def test_a_tolerance_must_be_greater_than_zero():
    with pytest.raises(ValueError, match="tolerance_pct"):
        replace(EMPTY, tolerance_pct=0.0)


def test_the_axis_letters_years_and_today_apart():
    root = ET.fromstring(band_axis_svg(EMPTY.start, dt.date(2030, 2, 1), EMPTY.end))
    words = [t.text for t in root.iter(f"{SVG}text")]
    assert words == ["2020", "2022", "2024", "2026", "2028", "2032", "2034", "today"]


def test_the_key_names_the_technologies_once():
    words = [word for _, word in band_key(["load cell", "load cell", "quartz piezo"])]
    assert words[:2] == ["load cell", "quartz piezo"]
    assert "month without data" in words
    for drawing, _ in band_key(["load cell"]):
        assert ET.fromstring(drawing).get("aria-hidden") == "true"
