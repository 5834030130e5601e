"""Charts drawn by the server: ticks, scales, intervals, words."""

# ruff: noqa: S314 (the XML read here is our own drawing)

import datetime as dt
import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wimprog.lib.chart import (
    Chart,
    Limit,
    Point,
    Series,
    chart_summary,
    chart_svg,
    date_ticks,
)
from wimprog.lib.svg import nice_ticks, short, text_of, tick_text

SVG = "{http://www.w3.org/2000/svg}"
LINE = Chart(
    "Drift",
    "Week",
    "Change, %",
    (
        Series(
            "traffic",
            tuple(
                Point(dt.date(2030, 1, 7) + dt.timedelta(weeks=i), v, v - 1, v + 1)
                for i, v in enumerate((0.0, 1.0, -2.0, 3.0))
            ),
        ),
    ),
    "n 4 weeks",
    (Limit(5.0, "+5 % tolerance"), Limit(-5.0, "−5 % tolerance")),
)


def drawn(chart):
    figure = ET.fromstring(chart_svg(chart, chart_id="c1"))
    assert figure.tag == "figure"
    return figure[0]


def paths(root, **attributes):
    wanted = {k.replace("_", "-"): v for k, v in attributes.items()}
    return [
        p.get("d")
        for p in root.iter(f"{SVG}path")
        if all(p.get(k) == v for k, v in wanted.items())
    ]


def texts(root):
    return [t.text for t in root.iter(f"{SVG}text")]


@given(
    low=st.floats(-1e6, 1e6),
    span=st.floats(1e-3, 1e6),
    count=st.integers(2, 10),
)
def test_ticks_are_inside_evenly_spaced_and_about_as_many_as_asked(low, span, count):
    high = low + span
    ticks = nice_ticks(low, high, count)
    assert len(ticks) <= count + 1
    assert all(low - 1e-6 * span <= t <= high + 1e-6 * span for t in ticks)
    if len(ticks) > 2:
        steps = [b - a for a, b in pairwise(ticks)]
        assert max(steps) == pytest.approx(min(steps), rel=1e-3)
        leading = steps[0] / 10 ** math.floor(math.log10(steps[0]) + 1e-6)
        assert any(abs(leading - m) < 0.01 for m in (1, 2, 5, 10))


def test_ticks_of_an_empty_or_turned_range():
    assert nice_ticks(3.0, 3.0) == [3.0]
    assert nice_ticks(10.0, 0.0, 5) == [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    with pytest.raises(ValueError, match="finite"):
        nice_ticks(0.0, math.inf)


def test_tick_text_has_the_decimals_of_its_step_and_a_true_minus():
    assert [tick_text(t, [-0.5, 0.0, 0.5]) for t in (-0.5, 0.0)] == ["−0.5", "0.0"]
    assert tick_text(20000, [0, 20000]) == "20,000"


@pytest.mark.parametrize(
    ("last", "expected"),
    [
        (dt.date(2030, 5, 20), [(2030, m) for m in (2, 3, 4, 5)]),
        (dt.date(2035, 6, 1), [(y, 1) for y in range(2031, 2036)]),
    ],
)
def test_date_ticks_are_firsts_of_months_or_years(last, expected):
    ticks = date_ticks(dt.date(2030, 1, 15), last)
    assert [(t.year, t.month) for t in ticks] == expected
    assert {t.day for t in ticks} == {1}


def test_a_line_chart_says_units_limits_name_and_n():
    root = drawn(LINE)
    words = texts(root)
    for part in ("Change, %", "Week", "+5 % tolerance", "−5 % tolerance", "traffic"):
        assert part in words
    assert "n 4 weeks" in chart_svg(LINE, chart_id="c1")
    assert paths(root, fill_opacity=".16")  # the ribbon of the interval


def test_a_limit_lies_at_its_value():
    root = drawn(replace(LINE, y_range=(-10.0, 10.0)))
    top, low = (
        float(d.split("M")[1].split("H")[0].split()[1])
        for d in paths(root, stroke_dasharray="5 4")
    )
    zero = next(float(t.get("y")) - 4 for t in root.iter(f"{SVG}text") if t.text == "0")
    assert zero - top == pytest.approx(low - zero, abs=0.2)


def test_a_missing_value_breaks_the_line():
    points = tuple(Point(float(i), None if i == 2 else 1.0) for i in range(5))
    root = drawn(replace(LINE, series=(Series("a", points),), limits=()))
    assert len(paths(root, stroke_width="2")) == 2


def test_a_survival_curve_runs_level_then_down():
    points = (Point(0.0, 1.0), Point(2.0, 0.5), Point(4.0, 0.25))
    chart = replace(
        LINE,
        series=(Series("lives", points, "steps"),),
        limits=(),
        at_risk=((0.0, 41), (2.0, 20)),
    )
    root = drawn(chart)
    (d,) = paths(root, stroke_width="2")
    assert [c for c in d if c.isalpha()] == list("MHVHV")
    assert {"at risk", "41", "20"} <= set(texts(root))


def test_bars_start_at_zero_and_name_what_has_no_data():
    points = (Point(0.0, 10.0, 5.0, 15.0), Point(1.0, None), Point(2.0, 5.0))
    chart = replace(
        LINE,
        series=(Series("", points, "bars"),),
        names=("a", "b", "c"),
        limits=(),
    )
    root = drawn(chart)
    ten, five = list(root.iter(f"{SVG}rect"))
    assert float(ten.get("height")) == pytest.approx(
        2 * float(five.get("height")), abs=0.2
    )
    assert "no data" in texts(root)


def test_labels_of_two_lines_that_end_together_are_moved_apart():
    series = tuple(
        Series(name, (Point(0.0, 0.0), Point(1.0, 1.0))) for name in ("one", "two")
    )
    root = drawn(replace(LINE, series=series, limits=()))
    at = {t.text: float(t.get("y") or 0) for t in root.iter(f"{SVG}text")}
    assert abs(at["one"] - at["two"]) > 13.9


@pytest.mark.parametrize("points", [(), (Point(1.0, None),), (Point(1.0, math.nan),)])
def test_without_a_value_it_says_no_data(points):
    chart = replace(LINE, series=(Series("a", points),))
    assert texts(drawn(chart)) == ["no data"]
    assert "a: no data" in chart_summary(chart)


def test_a_single_point_can_be_drawn():
    chart = replace(LINE, series=(Series("a", (Point(1.0, 2.0),)),), limits=())
    assert "a: 1 value, 2 to 2" in drawn(chart)[1].text


def test_words_are_escaped():
    chart = Chart("<b>", "<i>", '"&', (Series("<u>", (Point(0.0, 1.0),), "points"),),
                  "<script>", (Limit(1.0, "<s>"),))  # fmt: skip
    text = chart_svg(chart, chart_id='a" onload="')
    ET.fromstring(text)
    assert "<script>" not in text
    assert "<b>" not in text


def test_numbers_are_short_and_finite():
    assert short(-0.04) == "0"
    assert short(100.0) == "100"
    with pytest.raises(ValueError, match="finite"):
        short(math.nan)


def test_characters_that_xml_forbids_are_dropped():
    assert text_of("a\x00\x0b\ud800b<") == "ab&lt;"
