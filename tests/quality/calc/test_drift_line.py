"""The drift line's definition, on series whose answer can be done by hand."""

import datetime as dt

import pytest

from quality.calc.drift_line import drift_line

MONDAY = dt.date(2030, 1, 7)


def weeks(n):
    return [MONDAY + dt.timedelta(weeks=i) for i in range(n)]


def test_a_step_after_the_reference_shows_its_size():
    means = [5000.0] * 8 + [5200.0] * 8
    line = drift_line(weeks(16), means, [100] * 16, [dt.date(2030, 1, 1)])
    assert [round(change, 6) for _, change in line] == [0.0, 0.0, 4.0, 4.0]
    assert line[0][0] == weeks(16)[3]


def test_each_calibration_starts_a_new_reference():
    means = [5000.0] * 8 + [5500.0] * 8
    line = drift_line(weeks(16), means, [100] * 16, [MONDAY, weeks(16)[8]])
    assert [round(change, 6) for _, change in line] == [0.0, 0.0, 0.0, 0.0]


def test_weeks_count_by_their_vehicles():
    line = drift_line(
        weeks(8), [5000.0] * 4 + [5100.0] * 4, [300] * 4 + [100] * 4, [MONDAY]
    )
    reference = (5000 * 1200 + 5100 * 400) / 1600
    assert line[1][1] == pytest.approx(100 * (5100 / reference - 1))


def test_before_the_first_calibration_there_is_no_line():
    assert drift_line(weeks(4), [5000.0] * 4, [100] * 4, []) == []
    assert drift_line(weeks(4), [5000.0] * 4, [100] * 4, [dt.date(2031, 1, 1)]) == []


def test_too_few_vehicles_is_no_data_not_zero():
    line = drift_line(weeks(12), [5000.0] * 12, [100] * 8 + [7] * 4, [MONDAY])
    assert line[-1][1] is None


def test_lengths_must_agree():
    with pytest.raises(ValueError, match="same length"):
        drift_line(weeks(2), [5000.0], [10, 10], [MONDAY])
