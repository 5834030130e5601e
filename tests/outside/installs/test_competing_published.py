"""Competing failure modes and bracketed failures against what was printed."""

import pytest

from installs.calc.bracketing import turnbull
from installs.calc.competing import (
    cause_specific_lives,
    cumulative_incidence,
    incidence_from_curves,
)
from installs.calc.survival import weibull_survival
from installs.calc.types import Life
from installs.calc.weibull import weibull_maximum_likelihood
from tests.outside.installs.published_lives import (
    COSMESIS_BRACKETS,
    COSMESIS_CENSORED,
    SHOCK_MODE_1_KM,
    SHOCK_MODE_2_KM,
    SHOCK_WORKING_KM,
    lives,
)

SHOCK = lives(SHOCK_MODE_1_KM + SHOCK_MODE_2_KM, SHOCK_WORKING_KM)
MODES = (
    ["mode 1"] * len(SHOCK_MODE_1_KM)
    + ["mode 2"] * len(SHOCK_MODE_2_KM)
    + [""] * len(SHOCK_WORKING_KM)
)


def test_shock_absorber_modes_by_20000_km():
    """Data: O'Connor 1985 by way of Meeker & Escobar 1998, table C.2. Recorded values
    of an independent computation: .18566 and .11319, together .29884 = 1 - S; one curve
    for both modes .29986; mode 1 with mode 2 taken away .19902, which is no share."""
    fits = {
        mode: weibull_maximum_likelihood(cause_specific_lives(SHOCK, MODES, mode))
        for mode in ("mode 1", "mode 2")
    }
    found = incidence_from_curves(fits, 20_000.0)
    assert found["mode 1"] == pytest.approx(0.18566, abs=5.1e-6)
    assert found["mode 2"] == pytest.approx(0.11319, abs=5.1e-6)
    left = [float(weibull_survival(fit, 20_000.0)) for fit in fits.values()]
    assert sum(found.values()) == pytest.approx(1 - left[0] * left[1], abs=1e-9)
    assert sum(found.values()) == pytest.approx(0.29884, abs=6e-6)
    assert 1 - left[0] == pytest.approx(0.19902, abs=5.1e-6)
    both = weibull_maximum_likelihood(SHOCK)
    assert 1 - float(weibull_survival(both, 20_000.0)) == pytest.approx(
        0.29986, abs=5.1e-6
    )


def test_shock_absorber_modes_without_a_curve():
    """The shares drawn from the counts lie about those of the curves."""
    first, second = cumulative_incidence(SHOCK, MODES)
    assert (first.n_ended, second.n_ended) == (7, 4)
    for one, share in ((first, 0.18566), (second, 0.11319)):
        at = [i for i, age in enumerate(one.age_years) if age <= 20_000][-1]
        assert one.low[at] < share < one.high[at]


def test_breast_cosmesis_radiotherapy():
    """Finkelstein & Wolfe, Biometrics 41 (1985) 933-945, radiotherapy alone, months;
    masses as printed by the interval-censoring package of R (data and masses from
    memory; all eight agree to the four printed digits)."""
    found = turnbull(
        [
            *(Life(b, True, low_years=a, high_years=b) for a, b in COSMESIS_BRACKETS),
            *(Life(age, False) for age in COSMESIS_CENSORED),
        ]
    )
    assert found.n_units == 46
    assert list(zip(found.from_years, found.to_years, strict=True)) == [
        (4, 5), (6, 7), (7, 8), (11, 12), (24, 25), (33, 34), (38, 40), (46, 48),
    ]  # fmt: skip
    steps = [
        before - after
        for before, after in zip((1.0, *found.survival), found.survival, strict=False)
    ]
    printed = [0.0463, 0.0334, 0.0887, 0.0708, 0.0926, 0.0818, 0.1209, 0.4656]
    assert steps == pytest.approx(printed, abs=5.1e-5)
