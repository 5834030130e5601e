"""Spares: levels, orders and sentences."""

import math

import numpy as np
import pytest

from installs.calc.upkeep.spares import (
    advise_stock,
    poisson_demand,
    simulated_demand,
    spread_demand,
)
from wimprog.lib.errors import DomainError

TWO = poisson_demand(2.0)


def test_order_as_soon_as_the_position_is_below_the_minimum():
    enough = advise_stock("P-2", TWO, lead_time_days=60, on_hand=3, on_order=1)
    assert (enough.minimum_level, enough.position, enough.order_now) == (4, 4, 0)
    assert enough.reorder_point == 3
    assert "No order is needed" in enough.sentence
    short = advise_stock("P-2", TWO, lead_time_days=60, on_hand=4, promised=1)
    assert (short.position, short.order_now) == (3, 1)
    assert short.chance_enough == pytest.approx(TWO.enough(3))
    assert "Order 1 now" in short.sentence
    assert "60 days" in short.sentence


def test_an_order_lasts_to_the_next_one():
    advice = advise_stock(
        "P-2", TWO, lead_time_days=60, on_hand=1, cycle_demand=poisson_demand(6.0)
    )
    assert advice.order_up_to == 9
    assert advice.order_now == 8


def test_promised_beyond_stock_is_said():
    advice = advise_stock("P-2", TWO, lead_time_days=60, on_hand=1, promised=3)
    assert advice.chance_enough == 0.0
    assert "2 more are promised" in advice.sentence


def test_nothing_is_kept_of_a_model_that_nobody_needs():
    advice = advise_stock("old", poisson_demand(0.0), lead_time_days=60)
    assert (advice.minimum_level, advice.order_now, advice.chance_enough) == (0, 0, 1)


def test_simulated_counts_by_hand():
    demand = simulated_demand([0, 0, 1, 1, 1, 2, 2, 3, 3, 9])
    assert demand.mean == pytest.approx(2.2)
    assert [demand.least_for(p) for p in (0.2, 0.5, 0.9, 0.95)] == [0, 1, 3, 9]
    assert demand.enough(4) == pytest.approx(0.9)
    assert demand.enough(50) == pytest.approx(1.0)
    assert "10 simulated futures" in demand.basis


def test_more_spread_needs_more_stock():
    assert spread_demand(2.0, 6.0).least_for(0.95) > TWO.least_for(0.95)
    assert spread_demand(2.0, 1.5) == TWO


@pytest.mark.parametrize("bad", [-1.0, math.nan])
def test_demand_that_cannot_be_is_refused(bad):
    with pytest.raises(DomainError, match="mean"):
        poisson_demand(bad)
    with pytest.raises(DomainError, match="variance"):
        spread_demand(1.0, bad)
    with pytest.raises(DomainError, match="counts"):
        simulated_demand(np.array([-1]))


def test_stock_that_cannot_be_is_refused():
    with pytest.raises(DomainError, match="service level"):
        advise_stock("P-2", TWO, lead_time_days=60, service_level=1.0)
    with pytest.raises(DomainError, match="below zero"):
        advise_stock("P-2", TWO, lead_time_days=60, on_hand=-1)
