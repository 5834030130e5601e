"""Least squares and analysis of variance against NIST's data, outliers likewise."""

import numpy as np
import pytest
from scipy import stats

from calibration.calc.effects import VEHICLE, find_effects
from calibration.calc.least_squares import fit
from calibration.calc.outliers import generalised_esd, grubbs
from tests.calibration.calc.build_effects import table

# fmt: off
NORRIS_YX = [
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1),
    (228.1, 226.5), (668.5, 666.3), (998.5, 996.3), (449.1, 448.6), (778.9, 777.0),
    (559.2, 558.2), (0.3, 0.4), (0.1, 0.6), (778.1, 775.5), (668.8, 666.9),
    (339.3, 338.0), (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1),
    (998.0, 995.8), (888.8, 887.6), (119.6, 120.2), (0.3, 0.3), (0.6, 0.3),
    (557.6, 556.8), (339.3, 339.1), (888.0, 887.2), (998.5, 999.0), (778.9, 779.0),
    (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9),
    (0.2, 0.5),
]
ROSNER = [
    -.25, .68, .94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
]
R = [3.118906, 2.942973, 3.179424, 2.810181, 2.815580,
     2.848172, 2.279327, 2.310366, 2.101581, 2.067178]
LAMBDA = [3.158794, 3.151430, 3.143890, 3.136165, 3.128247,
          3.120128, 3.111796, 3.103243, 3.094456, 3.085425]
ONE_WAY = [
    [6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3],
]
# fmt: on


def test_straight_line_of_norris():
    """NIST StRD, Norris: certified values (data and values from memory; all printed
    digits come out)."""
    y, x = np.array(NORRIS_YX).T
    found = fit(np.column_stack([np.ones(36), x]), y)
    assert found.coefficients == pytest.approx(
        [-0.262323073774029, 1.00211681802045], rel=1e-10
    )
    assert [found.se(c) for c in np.eye(2)] == pytest.approx(
        [0.232818234301152, 0.429796848199937e-03], rel=1e-10
    )
    assert found.sd == pytest.approx(0.884796396144373, rel=1e-10)


def test_line_through_the_origin():
    """NIST StRD, NoInt1: certified slope, its deviation and the residual deviation."""
    x, y = np.arange(60.0, 71.0), np.arange(130.0, 141.0)
    found = fit(x[:, np.newaxis], y)
    assert found.coefficients[0] == pytest.approx(2.07438016528926, rel=1e-12)
    assert found.se([1.0]) == pytest.approx(0.0165289256198347, rel=1e-10)
    assert found.sd == pytest.approx(3.56753034006338, rel=1e-12)


def test_one_way_analysis_of_variance():
    """E-Handbook 7.4.3 (values from memory): F 9.59; scipy gives the same."""
    values = [value for group in ONE_WAY for value in group]
    names = [name for name in "ABC" for _ in range(5)]
    effect = find_effects(table(values, vehicles=names)).of(VEHICLE)
    assert effect.test.f == pytest.approx(9.59, abs=5e-3)
    assert (effect.test.df_num, effect.test.df_den) == (2, 12)
    by_scipy = stats.f_oneway(*ONE_WAY)
    assert effect.test.f == pytest.approx(by_scipy.statistic)
    assert effect.test.p == pytest.approx(by_scipy.pvalue)
    means = [np.mean(group) for group in ONE_WAY]
    assert [one.value for one in effect.estimates] == pytest.approx(means)


def test_grubbs_example():
    """E-Handbook 1.3.5.17.1: G 2.4687, critical 2.032 (one-sided, 5 %)."""
    values = np.array([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    found = grubbs(values, is_two_sided=False)
    assert found.index == 7
    assert found.g == pytest.approx(2.4687, abs=1e-4)
    assert found.critical == pytest.approx(2.032, abs=5e-4)
    assert found.p == pytest.approx(1.501e-07, rel=1e-3)
    assert grubbs(values).critical == pytest.approx(2.126645, abs=1e-6)


def test_generalised_esd_example():
    """E-Handbook 1.3.5.17.3: Rosner's 54 values hold three outliers."""
    steps, count = generalised_esd(np.array(ROSNER), 10)
    assert count == 3
    assert [step.r for step in steps] == pytest.approx(R, abs=1e-3)
    assert [step.critical for step in steps] == pytest.approx(LAMBDA, abs=1e-3)
    assert {ROSNER[step.index] for step in steps[:3]} == {6.01, 5.42, 5.34}
