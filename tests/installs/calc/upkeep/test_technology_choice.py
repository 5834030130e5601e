"""The choice of a technology: ranks, gaps filled and told, what cannot be said."""

import numpy as np
import pytest

from installs.calc.types import Technology
from installs.calc.upkeep.technology_choice import PresentMoney, choose_technology
from installs.calc.upkeep.technology_types import (
    OWN,
    ClassWanted,
    Money,
    TechnologyCosts,
    TechnologyOption,
)
from installs.calc.upkeep.types import DataUse
from wimprog.lib.errors import DomainError

PIEZO, QUARTZ = Technology.POLYMER_PIEZO, Technology.QUARTZ_PIEZO
PLATE, CELL = Technology.BENDING_PLATE, Technology.LOAD_CELL
STRIP = Technology.STRAIN_GAUGE_STRIP
TODAY = PresentMoney("USD", 2031, growth_per_year=0.0)


def own(renewal, upkeep, year=2031):
    return TechnologyCosts(
        renewal=Money(renewal, "USD", year, "purchases", OWN),
        upkeep_per_year=Money(upkeep, "USD", year, "accounts", OWN),
    )


def draws(n=500, **lives):
    rng = np.random.default_rng(2)
    middle = {PIEZO: 4.0, QUARTZ: 5.0, PLATE: 6.0, CELL: 12.0, STRIP: 5.0, **lives}
    return {
        t: (np.exp(rng.normal(0.7, 0.2, n)), life * np.exp(rng.normal(0, 0.2, n)))
        for t, life in middle.items()
    }


def choose(options, use=DataUse.FREIGHT_STATISTICS, money=TODAY, lives=None, **more):
    return choose_technology(
        use,
        options,
        lives or draws(),
        money,
        rng=np.random.default_rng(3),
        **more,
    )


def test_own_costs_and_lives_set_the_rank_not_the_name():
    dear, cheap = own(60_000, 5_000), own(12_000, 2_000)
    first = choose(
        [
            TechnologyOption(PLATE, dear, gvw_pct=9.0, gvw_n=6),
            TechnologyOption(CELL, cheap, gvw_pct=5.0, gvw_n=6),
        ]
    )
    assert [line.technology for line in first.lines] == [CELL, PLATE]
    turned = choose(
        [
            TechnologyOption(PLATE, cheap, gvw_pct=9.0, gvw_n=6),
            TechnologyOption(CELL, dear, gvw_pct=5.0, gvw_n=6),
        ]
    )
    assert [line.technology for line in turned.lines] == [PLATE, CELL]
    assert [line.rank for line in turned.lines] == [1, 2]
    assert sum(line.cheapest_share for line in turned.lines) == pytest.approx(1.0)
    assert "bending plate costs least" in turned.sentence


def test_like_technologies_are_not_told_apart():
    one = choose(
        [
            TechnologyOption(PLATE, own(20_000, 3_000), gvw_pct=9.0),
            TechnologyOption(CELL, own(41_000, 3_000), gvw_pct=5.0),
        ]
    )
    assert 0.1 < one.lines[0].cheapest_share < 0.9
    assert "cannot be ruled out" in one.sentence


def test_a_technology_below_the_class_is_shown_but_not_ranked():
    found = choose([TechnologyOption(PIEZO), TechnologyOption(CELL)], DataUse.SCREENING)
    cell, piezo = found.lines
    assert (cell.rank, piezo.rank) == (1, None)
    assert piezo.reaches_class is False
    assert piezo.cost_per_year is not None
    assert "does not reach Type III" in piezo.sentence
    assert "Only load cell" in found.sentence


def test_own_accuracy_comes_before_the_published():
    found = choose(
        [TechnologyOption(PIEZO, gvw_pct=9.5, gvw_n=12)], DataUse.PAVEMENT_DESIGN
    )
    assert found.lines[0].rank == 1
    assert "accuracy: agency's own, n = 12" in found.lines[0].origins


def test_gaps_are_filled_and_marked():
    (line,) = choose(
        [TechnologyOption(PLATE, life_basis="2 failures in 9 lives")]
    ).lines
    assert any("Bushman" in o and "from memory" in o for o in line.origins)
    assert "life: 2 failures in 9 lives" in line.origins
    assert "accepted share: 80 % assumed, no source" in line.origins
    half = TechnologyCosts(renewal=Money(25_000, "USD", 2031, "purchases", OWN))
    (mixed,) = choose([TechnologyOption(PLATE, half)]).lines
    assert any("agency's own" in o and "renewal" in o for o in mixed.origins)
    assert any("from memory" in o and "upkeep" in o for o in mixed.origins)


def test_one_figure_a_year_is_used_where_there_is_no_more():
    (line,) = choose([TechnologyOption(QUARTZ, gvw_pct=9.0)]).lines
    ends = line.cost_per_year.interval
    assert ends.low < 7_500 < ends.high
    (better,) = choose(
        [TechnologyOption(QUARTZ, own(20_000, 2_000), gvw_pct=9.0)]
    ).lines
    assert not any("whole" in o for o in better.origins)


def test_other_money_is_not_mixed_in():
    found = choose([TechnologyOption(STRIP, gvw_pct=9.0), TechnologyOption(PLATE)])
    strip = next(line for line in found.lines if line.technology is STRIP)
    assert strip.cost_per_year is strip.rank is None
    assert "its cost of upkeep is not known" in strip.sentence
    euros = TechnologyCosts(
        renewal=Money(14_000, "EUR", 2031, "offer", OWN),
        upkeep_per_year=Money(1_000, "USD", 2031, "accounts", OWN),
    )
    (other,) = choose([TechnologyOption(STRIP, euros, gvw_pct=9.0)]).lines
    assert "give it in USD" in other.sentence


def test_old_prices_are_carried_to_today():
    grown = PresentMoney("USD", 2031, growth_per_year=0.03)
    option = TechnologyOption(PLATE, own(20_000, 3_000, year=2021))
    then, now = (choose([option], money=m).lines[0] for m in (TODAY, grown))
    assert now.cost_per_year.mean == pytest.approx(then.cost_per_year.mean * 1.03**10)


def test_time_down_makes_lane_months_dearer():
    quick, slow = (
        choose(
            [
                TechnologyOption(
                    PLATE,
                    own(20_000, 3_000),
                    months_down_per_renewal=m,
                    accepted_share=0.5,
                )
            ]
        ).lines[0]
        for m in (0.0, 12.0)
    )
    assert quick.cost_per_lane_month.mean == pytest.approx(quick.cost_per_year.mean / 6)
    assert slow.cost_per_lane_month.mean > slow.cost_per_year.mean / 6


@pytest.mark.parametrize(
    ("carries", "said"),
    [
        (None, "has not been surveyed"),
        (("Type II",), "cannot carry it"),
        (("Type I", "Type II"), ""),
    ],
)
def test_the_location_has_its_say(carries, said):
    found = choose([TechnologyOption(PLATE)], DataUse.BRIDGE, location_carries=carries)
    assert said in found.sentence
    assert found.location_carries_it == (
        None if carries is None else "Type I" in carries
    )


def test_the_agency_may_want_another_class():
    own_class = ClassWanted("Type II", 15.0, "program plan", OWN)
    found = choose([TechnologyOption(PIEZO)], DataUse.BRIDGE, wanted=own_class)
    assert found.lines[0].rank == 1
    assert "program plan; agency's own" in found.sentence


def test_accuracy_or_life_not_known_is_said():
    lives = draws()
    del lives[CELL]
    found = choose([TechnologyOption(QUARTZ), TechnologyOption(CELL)], lives=lives)
    by = {line.technology: line for line in found.lines}
    assert by[QUARTZ].reaches_class is None
    assert "not known" in by[QUARTZ].sentence
    assert "no life curve" in by[CELL].sentence
    assert "No technology that reaches it" in found.sentence


@pytest.mark.parametrize("use", DataUse)
def test_each_use_has_a_class_with_its_standing(use):
    found = choose([TechnologyOption(CELL)], use)
    assert found.wanted.source in found.sentence
    assert found.wanted.standing in found.sentence


def test_what_cannot_be_is_refused():
    with pytest.raises(DomainError, match="at least one"):
        choose([])
    with pytest.raises(DomainError, match="same number"):
        choose([TechnologyOption(CELL)], lives={CELL: (np.ones(2), np.ones(3))})
    with pytest.raises(DomainError, match="cost cannot be"):
        own(-1.0, 1.0)
    with pytest.raises(DomainError, match="factor of 1"):
        Money(1.0, "USD", 2031, "x", OWN, spread_factor=0.5)
    with pytest.raises(DomainError, match="at least one sensor"):
        TechnologyOption(CELL, sensors_per_lane=0)
    with pytest.raises(DomainError, match="accepted share"):
        TechnologyOption(CELL, accepted_share=1.5)
    with pytest.raises(DomainError, match="life of the equipment"):
        TechnologyCosts(equipment_life_years=0.0)
