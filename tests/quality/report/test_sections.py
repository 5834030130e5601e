"""The report's sections, from invented facts small enough to count by hand."""

import datetime as dt
import io
from dataclasses import replace

import pytest
from openpyxl import load_workbook

from quality.report.sections import all_sections, plain, summary, wilson
from quality.report.types import (
    CalibrationRow,
    DriftRow,
    FileTotals,
    LaneYear,
    SetAside,
    YearFacts,
)
from quality.report.writers import report_pdf, report_xlsx

LANE = LaneYear(
    lane_id=1,
    site_code="OV-001",
    name="OV-001 lane E1",
    technologies=("quartz piezo",),
    expected_days=365,
    recorded_days=360,
    accepted_days=340,
    set_aside_days=10,
    hours_seen=8500,
    n_vehicles=123456,
    months=(1.0, 0.5, None, *[0.9] * 9),
)
FACTS = YearFacts(
    agency="Orrin Valley Roads Agency",
    scope="all sites",
    year=2030,
    first_on=dt.date(2030, 1, 1),
    last_on=dt.date(2030, 12, 31),
    as_of=dt.date(2031, 5, 14),
    n_sites=1,
    lanes=(LANE,),
    set_aside=(
        SetAside(
            "OV-001 lane E1",
            dt.date(2030, 2, 1),
            dt.date(2030, 2, 10),
            10,
            "=HYPERLINK(1) controller clock",
            "analyst",
            dt.date(2030, 3, 1),
        ),
    ),
    calibrations=(
        CalibrationRow(
            "OV-001 lane E1", dt.date(2030, 4, 2), "routine", "as found", 20, -3.1,
            -4.0, -2.2, 1.9, "astm-e1318", "Type I", "meets", 1.0, 1.03,
        ),
        CalibrationRow(
            "OV-001 lane E1", dt.date(2030, 4, 2), "routine", "as left", 12, 0.2, -0.9,
            1.3, 1.7, "astm-e1318", "Type I", "meets", 1.0, 1.03,
        ),
    ),
    drifts=(
        DriftRow("OV-001 lane E1", dt.date(2030, 4, 2), 1.2, -0.4, 2.8, 38, 9000, ""),
    ),
    n_tests=2,
    n_sensors_tested=2,
    n_sensors_live=2,
    electrical=(),
    changes=(),
    visits=(),
    files=FileTotals(12, 123500, 123456, 44),
    calibration_interval_months=12,
    watch_drift_pct=2.0,
    act_drift_pct=4.0,
    weeks={
        "OV-001 lane E1": tuple(
            (dt.date(2030, 1, 7) + dt.timedelta(weeks=i), 5000.0 + i) for i in range(50)
        )
    },
)  # fmt: skip
EMPTY = replace(
    FACTS, lanes=(), set_aside=(), calibrations=(), drifts=(), weeks={}, n_sites=0,
    files=FileTotals(0, 0, 0, 0),
)  # fmt: skip


@pytest.mark.parametrize(
    ("successes", "n", "low", "high"),
    [
        # Wilson's score interval as computed by an outside library
        # (scipy.stats.binomtest(...).proportion_ci(method="wilson")); the first line
        # is the figure for 8,500 of 8,760 hours worked in the project's method notes.
        (8500, 8760, 0.9666, 0.9737),
        (0, 10, 0.0, 0.27753),
        (10, 10, 0.72247, 1.0),
    ],
)
def test_wilson_interval(successes, n, low, high):
    from scipy.stats import binomtest

    ours = wilson(successes, n)
    theirs = binomtest(successes, n).proportion_ci(0.95, "wilson")
    assert ours == pytest.approx((theirs.low, theirs.high), abs=1e-9)
    assert ours == pytest.approx((low, high), abs=5e-5)


def test_wilson_of_nothing_is_no_interval():
    assert wilson(0, 0) is None


def test_the_year_in_brief_counts_days_once():
    text = " ".join(summary(FACTS).paragraphs)
    assert "Of 365 lane-days" in text
    assert "360 hold records" in text
    assert "340 were accepted" in text
    assert "10 have not been judged" in text
    assert "1 calibrations left a verdict; 1 left" in text


def test_a_year_without_lanes_is_no_data_not_zero_per_cent():
    text = " ".join(summary(EMPTY).paragraphs)
    assert "no data" in text
    assert "0.0 %" not in text


def test_months_without_data_are_said_not_shaded_as_zero():
    section = next(s for s in all_sections(FACTS) if s.key == "completeness")
    months = plain(section)["tables"][1]["rows"][0]
    assert months[:4] == ["OV-001 lane E1", "100", "50", "no data"]


def test_methods_stand_last_and_every_key_is_its_own():
    keys = [section.key for section in all_sections(FACTS)]
    assert keys[-1] == "methods"
    assert len(keys) == len(set(keys))


def test_the_workbook_holds_numbers_and_no_formulas():
    book = load_workbook(io.BytesIO(report_xlsx(FACTS, all_sections(FACTS))))
    sheet = book["Calibrations"]
    assert [cell.value for cell in sheet[2]][5:9] == [-3.1, -4.0, -2.2, 1.9]
    reasons = [
        cell.value for one in book.worksheets for row in one.iter_rows() for cell in row
    ]
    assert not any(isinstance(v, str) and v.startswith("=") for v in reasons)


@pytest.mark.parametrize("facts", [FACTS, EMPTY], ids=["a year", "an empty year"])
def test_the_pdf_is_tagged_and_the_same_every_time(facts):
    sections = all_sections(facts)
    first = report_pdf(facts, sections)
    assert first.startswith(b"%PDF-")
    assert b"/StructTreeRoot" in first
    assert first == report_pdf(facts, sections)


def test_the_workbook_is_the_same_every_time():
    sections = all_sections(FACTS)
    assert report_xlsx(FACTS, sections) == report_xlsx(FACTS, sections)


def test_text_of_users_never_becomes_markup():
    nasty = replace(FACTS, agency='#panic("x") *bold* $x$ <a> _u_ @ref')
    assert report_pdf(nasty, all_sections(nasty)).startswith(b"%PDF-")
