import datetime as dt

import pytest

from wimprog.lib.dates import add_months


@pytest.mark.parametrize(
    ("day", "months", "result"),
    [
        (dt.date(2031, 1, 31), 1, dt.date(2031, 2, 28)),
        (dt.date(2032, 1, 31), 1, dt.date(2032, 2, 29)),
        (dt.date(2031, 5, 14), 12, dt.date(2032, 5, 14)),
        (dt.date(2031, 1, 15), -1, dt.date(2030, 12, 15)),
        (dt.date(2031, 12, 1), 1, dt.date(2032, 1, 1)),
        (dt.date(2031, 3, 1), -72, dt.date(2025, 3, 1)),
    ],
)
def test_months_are_added_by_the_calendar(day, months, result):
    assert add_months(day, months) == result
