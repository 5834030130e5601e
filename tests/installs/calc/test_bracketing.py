"""Brackets of failures, and the curve drawn from nothing but brackets."""

from datetime import date

import pytest

from installs.calc.bracketing import bracket, turnbull
from installs.calc.survival import kaplan_meier
from installs.calc.types import Life
from wimprog.lib.errors import DomainError

IN = date(2020, 1, 1)
GONE = date(2024, 6, 1)


def test_last_good_to_first_bad():
    tests = [
        (date(2023, 5, 1), False),
        (date(2021, 5, 1), True),
        (date(2022, 5, 1), True),
        (date(2019, 5, 1), True),
        (date(2025, 5, 1), True),
    ]
    found = bracket(tests, installed_on=IN, failed_on=GONE)
    assert (found.last_good, found.first_bad) == (date(2022, 5, 1), date(2023, 5, 1))
    assert found.low_years == pytest.approx(851 / 365.25)
    assert found.high_years == pytest.approx(1216 / 365.25)
    assert "last good test 2022-05-01, first bad test 2023-05-01" in found.sentence


def test_a_bad_test_before_a_good_one_does_not_count():
    tests = [(date(2021, 5, 1), False), (date(2022, 5, 1), True)]
    found = bracket(tests, installed_on=IN, failed_on=GONE)
    assert (found.last_good, found.first_bad) == (date(2022, 5, 1), GONE)
    assert "found failed" in found.sentence


def test_without_a_good_test_it_worked_when_installed():
    found = bracket([], installed_on=IN, failed_on=GONE)
    assert (found.low_years, found.first_bad) == (0.0, GONE)
    assert "no good test" in found.sentence


def test_a_known_day_is_not_bracketed():
    assert bracket([], installed_on=IN, failed_on=GONE, day_is_known=True) is None
    good = [(GONE, True)]
    assert bracket(good, installed_on=IN, failed_on=GONE) is None
    assert bracket([], installed_on=IN, failed_on=IN) is None


def test_failure_before_installation_is_refused():
    with pytest.raises(DomainError, match="before the installation"):
        bracket([], installed_on=GONE, failed_on=IN)


def test_exact_lives_give_kaplan_meier():
    lives = [*(Life(x, True) for x in (1, 2, 2, 5)), Life(2, False), Life(7, False)]
    found = turnbull(lives)
    assert found.from_years == found.to_years == (1, 2, 5)
    assert found.survival == pytest.approx(kaplan_meier(lives).survival)


def test_a_bracket_that_begins_at_an_exact_failure_excludes_it():
    """(5, 7] begins after 5, and so does the life censored at 5."""
    found = turnbull(
        [Life(5, True), Life(7, True, low_years=5, high_years=7), Life(5, False)]
    )
    assert found.survival[0] == pytest.approx(2 / 3)
    assert found.bounds(4.9) == (1.0, 1.0)
    assert found.bounds(6.0) == (pytest.approx(found.survival[1]), pytest.approx(2 / 3))
    assert found.bounds(7.0)[0] == found.bounds(7.0)[1]


def test_what_turnbull_cannot_do_is_said():
    with pytest.raises(DomainError, match="before the records began"):
        turnbull([Life(5, True, entry_age_years=1.0)])
    with pytest.raises(DomainError, match="no lives"):
        turnbull([])
    assert turnbull([Life(3, False)]).survival == ()
