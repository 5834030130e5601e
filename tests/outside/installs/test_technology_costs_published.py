"""Life-cycle cost of a lane against published figures."""

import numpy as np
import pytest
from scipy.stats import weibull_min

from installs.calc.types import Technology
from installs.calc.upkeep.technology_choice import PresentMoney, choose_technology
from installs.calc.upkeep.technology_types import TechnologyOption
from installs.calc.upkeep.types import DataUse

IN_1998 = PresentMoney("USD", 1998)


def line_of(technology, shape, scale, **more):
    choice = choose_technology(
        DataUse.FREIGHT_STATISTICS,
        [
            TechnologyOption(
                technology, months_down_per_renewal=0.0, accepted_share=1.0, **more
            )
        ],
        {technology: (np.full(4000, shape), np.full(4000, scale))},
        IN_1998,
        rng=np.random.default_rng(5),
    )
    return choice.lines[0]


@pytest.mark.parametrize(
    ("technology", "life", "printed"),
    [
        (Technology.POLYMER_PIEZO, 4.0, 4_750),
        (Technology.BENDING_PLATE, 6.0, 6_400),
        (Technology.LOAD_CELL, 12.0, 8_300),
    ],
)
def test_published_annual_cost_comes_back(technology, life, printed):
    """Bushman and Pratt, NATMEC 1998 (from memory): with the published lives, exact,
    the annual cost per lane is the published one. The spread of a published cost is
    log-normal about it, so its median is held here, through the interval's ends."""
    line = line_of(technology, 1e6, life)
    ends = line.cost_per_year.interval
    assert np.sqrt(ends.low * ends.high) == pytest.approx(printed, rel=0.02)


def test_least_of_several_lives():
    """The least of 4 Weibull lives: scipy draws against the closed form."""
    line = line_of(Technology.LOAD_CELL, 2.5, 10.0, sensors_per_lane=4)
    drawn = weibull_min(2.5, scale=10.0).rvs(
        (100_000, 4), random_state=np.random.default_rng(1)
    )
    assert line.life_years.mean == pytest.approx(drawn.min(axis=1).mean(), rel=0.01)
