"""File names that speak of days, and those that only look like it."""

from __future__ import annotations

import datetime as dt

import pytest

from quality.calc.file_dates import name_disagrees, named_days

MAY = (dt.date(2031, 5, 1), dt.date(2031, 5, 31))


@pytest.mark.parametrize(
    "name",
    [
        "OV-001_2031-05.wgt",
        "ov001 2031_05_12.csv",
        "20310512.txt",
        "05122031.wgt",
        "12052031.wgt",
        "OV001_203105.zip",
        "051231.wgt",
        "310512.wgt",
        "12.05.2031.csv",
        "May2031.csv",
        "OV-may_2031-part2.csv",
        "week of 5-30-31.csv",
        "5.6.2031.csv",
        "lane1.csv",
        "site 000101.wgt",
        "OV-001.wgt",
        "1234567890.wgt",
        "2031-13-05.csv",
        "000101_2031-05.wgt",
        "990412.wgt",
        "2031-04-28 to 2031-05-04.csv",
    ],
)
def test_names_that_agree_or_say_nothing(name: str) -> None:
    assert name_disagrees(name, *MAY) is None


@pytest.mark.parametrize(
    ("name", "first_on", "last_on"),
    [
        ("OV-001_2031-04.wgt", dt.date(2031, 4, 1), dt.date(2031, 4, 30)),
        ("OV-001_2030-05.wgt", dt.date(2030, 5, 1), dt.date(2030, 5, 31)),
        ("20310612.txt", dt.date(2031, 6, 12), dt.date(2031, 6, 12)),
        ("jun_2031.csv", dt.date(2031, 6, 1), dt.date(2031, 6, 30)),
        ("2028-02-29.csv", dt.date(2028, 2, 29), dt.date(2028, 2, 29)),
    ],
)
def test_names_that_disagree(name: str, first_on: dt.date, last_on: dt.date) -> None:
    found = name_disagrees(name, *MAY)
    assert found is not None
    assert (found.first_on, found.last_on) == (first_on, last_on)
    assert found.words in name


def test_the_nearest_reading_is_told() -> None:
    """04/05/2031 may be 5 April or 4 May; the records are of June."""
    june = (dt.date(2031, 6, 1), dt.date(2031, 6, 30))
    found = name_disagrees("04-05-2031.csv", *june)
    assert found is not None
    assert found.first_on == dt.date(2031, 5, 4)
    assert len(named_days("04-05-2031.csv")) == 2


def test_readings_that_are_no_days() -> None:
    assert named_days("2031-02-30.csv") == ()
    assert named_days("99999999.csv") == ()
    assert named_days("") == ()
