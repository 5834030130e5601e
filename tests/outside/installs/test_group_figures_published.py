"""Figures of a group against printed values; the source stands beside each."""

import pytest

from installs.calc.group_figures import group_figures, median_of
from installs.calc.survival import kaplan_meier
from installs.calc.types import LaneHistory
from tests.outside.installs.published_lives import SIX_MP, SIX_MP_CONTROL, VALVE_SEATS


@pytest.mark.parametrize(
    ("lives", "median", "low", "high"),
    [(SIX_MP, 23, 13, None), (SIX_MP_CONTROL, 8, 4, 11)],
)
def test_median_remission_and_its_interval(lives, median, low, high):
    # Freireich et al. (1963): median remission 23 weeks under 6-MP, 8 weeks under
    # placebo, as printed in most textbooks. The 95 % log-log limits, 13 and none, 4
    # and 11, are those the common statistics packages print for it: from memory.
    found = median_of(kaplan_meier(lives))
    assert (found.years, found.low_years, found.high_years) == (median, low, high)


def test_survival_at_an_age_with_its_numbers_at_risk():
    # Kaplan-Meier of the 6-MP arm by hand, as in the textbooks: S(6) = 18/21 with 21
    # at risk, S(10) = 18/21 x 16/17 x 14/15 = 0.7529 with 15 at risk.
    one = group_figures("6-MP", SIX_MP, [LaneHistory("a", (), 1.0)])
    ten = one.survival[-1]
    assert (ten.age_years, ten.at_risk) == (10.0, 15)
    assert ten.value == pytest.approx(0.7529, abs=5e-5)


def test_mean_number_of_valve_seat_replacements():
    # Nelson & Doganaksoy (1989), 41 diesel engines, as used by Meeker & Escobar,
    # Statistical Methods for Reliability Data (1998), example 16.2: 48 replacements.
    engines = [
        LaneHistory(str(i), tuple(float(d) for d in days), float(end))
        for i, (days, end) in enumerate(VALVE_SEATS)
    ]
    one = group_figures("engines", SIX_MP, engines)
    assert (len(engines), one.counts.n_failures) == (41, 48)
    # By the tenth day no engine had failed, and all were watched.
    assert [(at.value, at.at_risk) for at in one.per_lane] == [(0.0, 41)] * 4
