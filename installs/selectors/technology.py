"""Which technology for a lane or a surveyed place: all that the page and paper show."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from installs.calc.types import Technology
from installs.calc.upkeep.types import DataUse
from installs.models import Installation, LaneUse, TechnologyMoney
from installs.selectors.lives import lives_by_technology, technology_expectations
from installs.selectors.renewal_money import Money as RenewalMoney
from installs.selectors.renewal_money import money_of, slug_of
from sites.models import Lane, Program, SiteSurvey
from sites.selectors.survey_settings import suitability_settings
from sites.selectors.surveys import survey_judged
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict

if TYPE_CHECKING:
    from collections.abc import Mapping

    from installs.calc.likelihood import Array
    from installs.calc.upkeep.technology_doubts import Turn
    from installs.calc.upkeep.technology_types import (
        ClassWanted,
        TechnologyChoice,
        TechnologyCosts,
        TechnologyLine,
        TechnologyOption,
    )

N_DRAWS = 1000
SEED = 20_240_601
E1318 = "astm-e1318"
#: Signs of money whose code is known; another sign is its own code.
CODES = {"$": "USD", "US$": "USD", "A$": "AUD", "€": "EUR", "£": "GBP"}
NO_SURVEY = "cannot say which class the location carries: it has no survey"


@dataclass(frozen=True)
class Location:
    """What the latest survey says the place can carry.

    Attributes
    ----------
    carries
        Types of ASTM E1318 that every known condition allows; None where it cannot be
        said for the type wanted.
    words, limited_by
        For people; what limits it, a line each.
    """

    survey: SiteSurvey | None
    carries: frozenset[str] | None
    words: str
    limited_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class ShownTechnology:
    """A technology's line with where it stands and where its inputs are set."""

    line: TechnologyLine
    standing: str

    @property
    def slug(self) -> str:
        """Its word in an address."""
        return slug_of(self.line.technology)

    @property
    def share_pct(self) -> float | None:
        """Per cent of draws in which it is cheapest."""
        share = self.line.cheapest_share
        return None if share is None else 100.0 * share


@dataclass(frozen=True)
class TechnologyPage:
    """The choice, or what is missing before there can be one (``choice`` None)."""

    place: str
    lane: Lane | None
    uses: tuple[DataUse, ...]
    wanted_rows: tuple[tuple[DataUse, ClassWanted], ...]
    location: Location
    choice: TechnologyChoice | None = None
    lines: tuple[ShownTechnology, ...] = ()
    turns: tuple[Turn, ...] = ()
    n_turns: int = 0
    money_words: str = ""

    @property
    def wanted(self) -> ClassWanted | None:
        """The strictest class that a use asks for."""
        return self.choice.wanted if self.choice else None


def lanes_and_surveys() -> tuple[list[Lane], list[SiteSurvey]]:
    """Where a technology can be chosen: lanes with their uses, and candidate places."""
    lanes = Lane.objects.select_related("wim_site").prefetch_related("uses", "surveys")
    places = SiteSurvey.objects.filter(lane__isnull=True).select_related("wim_site")
    return list(lanes.order_by("wim_site__code", "number")), list(places)


def uses_kept(lane: Lane) -> list[DataUse]:
    """What a lane's weights are used for."""
    return [DataUse(row.use) for row in LaneUse.objects.filter(lane=lane)]


def technology_page(
    program: Program,
    today: dt.date,
    *,
    lane: Lane | None = None,
    survey: SiteSurvey | None = None,
    uses: Sequence[DataUse] = (),
) -> TechnologyPage:
    """The choice for a lane, by its latest survey and kept uses, or for a survey."""
    from installs.calc.upkeep.technology_types import CLASS_WANTED

    if lane is not None:
        uses = uses_kept(lane)
        survey = lane.surveys.filter(surveyed_on__lte=today).first()
    place = str(lane) if lane else str(survey)
    rows = [(use, CLASS_WANTED[use]) for use in uses]
    strictest = min(rows, key=lambda row: row[1].gvw_pct, default=None)
    location = _location(survey, strictest[1] if strictest else None, program)
    bare = TechnologyPage(place, lane, tuple(uses), tuple(rows), location)
    if strictest is None:
        return bare
    return _chosen(bare, strictest[0], program, today)


def _location(
    survey: SiteSurvey | None, wanted: ClassWanted | None, program: Program
) -> Location:
    if survey is None:
        return Location(None, None, NO_SURVEY)
    asked = wanted.e1318_type if wanted else survey.wanted_type
    try:
        found = survey_judged(survey, suitability_settings(program.unit_system), asked)
        outcomes = {one.name: one for one in found.standard_of(E1318).outcomes}
    except (DomainError, KeyError) as error:
        return Location(survey, None, f"cannot say which class it carries: {error}")
    known = {k for k, one in outcomes.items() if one.verdict is Verdict.MEETS}
    here = outcomes.get(asked)
    open_ = here is None or here.verdict is Verdict.CANNOT_SAY
    limits = tuple(f"misses {name}" for name in (here.missed if here else ()))
    limits += tuple(f"{name}: cannot say" for name in (here.unknown if here else ()))
    return Location(survey, None if open_ else frozenset(known), found.sentence, limits)


def _chosen(
    bare: TechnologyPage, use: DataUse, program: Program, today: dt.date
) -> TechnologyPage:
    from dataclasses import replace

    import numpy as np

    from installs.calc.upkeep.technology_choice import PresentMoney, choose_technology
    from installs.calc.upkeep.technology_doubts import standing_of, turns
    from installs.calc.upkeep.technology_types import PUBLISHED_GVW_PCT

    code = CODES.get(program.currency, program.currency)
    growth = program.price_growth_pct / 100.0
    money = PresentMoney(code, today.year, growth, program.currency)
    draws, bases = life_draws(today)
    options = _options(code, today, bases, growth_pct=program.price_growth_pct)
    unknown = (
        "The survey cannot say whether the location can carry it."
        if bare.location.survey
        else "The location has not been surveyed: whether it can, is not known."
    )

    def choose(
        given: Sequence[TechnologyOption],
        drawn: Mapping[Technology, tuple[Array, Array]],
    ) -> TechnologyChoice:
        return choose_technology(
            use,
            given,
            drawn,
            money,
            rng=np.random.default_rng(SEED),
            location_carries=bare.location.carries,
            location_unknown=unknown,
        )

    choice = choose(options, draws)
    first = next((line for line in choice.lines if line.rank == 1), None)
    moved = turns(options, draws, choose)
    return replace(
        bare,
        choice=choice,
        lines=tuple(
            ShownTechnology(x, standing_of(x, first, PUBLISHED_GVW_PCT))
            for x in choice.lines
        ),
        turns=tuple(one for one in moved if one.is_turned),
        n_turns=len(moved),
        money_words=f"Money of {today.year}, {program.currency} taken as {code}; older "
        f"prices raised by {program.price_growth_pct:g} % a year (the program’s price "
        "growth). Prices in other money are not converted.",
    )


def life_draws(
    today: dt.date,
) -> tuple[dict[Technology, tuple[Array, Array]], dict[Technology, str]]:
    """Draws of each weighing technology's pooled curve, and what it rests on."""
    import numpy as np

    from installs.calc.pooling import borrowing, pooled_priors
    from installs.calc.survival import fit_weibull, parameter_draws

    lives = lives_by_technology(today)
    expected = technology_expectations()
    priors = pooled_priors(lives, {word: one.prior for word, one in expected.items()})
    rng = np.random.default_rng(SEED)
    draws, bases = {}, {}
    for one in (one for one in Technology if one.weighs):
        own = lives.get(one.value, [])
        prior = priors.get(one.value, expected[one.value].prior)
        fit = fit_weibull(own, prior=prior)
        # Shuffled: the lives of two technologies do not err together.
        order = rng.permutation(N_DRAWS)
        shapes, scales = parameter_draws(fit, N_DRAWS, rng)
        draws[one] = shapes[order], scales[order]
        bases[one] = (
            f"{fit.n_units} of the agency’s own, of which failed {fit.n_failures}; "
            f"{borrowing(fit).sentence}; expectation: "
            f"{expected[one.value].prior.source}"
        )
    return draws, bases


def _options(
    code: str, today: dt.date, bases: dict[Technology, str], *, growth_pct: float
) -> list[TechnologyOption]:
    from installs.calc.upkeep.technology_types import TechnologyOption

    kept = {row.technology: row for row in TechnologyMoney.objects.all()}
    money = money_of(technology_expectations(), growth_pct=growth_pct)
    counts = _sensors_per_lane()
    return [
        TechnologyOption(
            technology=one,
            costs=_costs(one, kept.get(one.value), money, counts[one], code, today),
            sensors_per_lane=counts[one],
            months_down_per_renewal=money.settings.months_to_replace,
            accepted_share=row.accepted_share or None
            if (row := kept.get(one.value))
            else None,
            life_basis=f"{bases[one]}; sensors that a lane needs: {counts[one]}",
        )
        for one in bases
    ]


def _sensors_per_lane() -> dict[Technology, int]:
    """As the agency's lanes mostly have them in the road; one where none is."""
    live = Installation.objects.live().values_list(
        "lane_id", "sensor__model__technology"
    )
    lanes: dict[str, Counter[int]] = {}
    for (_, word), n in Counter(live).items():
        lanes.setdefault(word, Counter())[n] += 1
    return {
        one: lanes[one.value].most_common(1)[0][0] if one.value in lanes else 1
        for one in Technology
    }


def _costs(
    one: Technology,
    row: TechnologyMoney | None,
    money: RenewalMoney,
    n_sensors: int,
    code: str,
    today: dt.date,
) -> TechnologyCosts:
    """The agency's own costs; a lane's renewal from a sensor's where only that is."""
    from installs.calc.upkeep.technology_types import OWN, Money, TechnologyCosts

    def own(amount: object) -> Money | None:
        if row is None or amount is None:
            return None
        return Money(float(str(amount)), code, row.price_year, row.source, OWN)

    renewal = own(row.renewal_cost) if row else None
    each = money.prices[one].amount
    if renewal is None and each is not None:
        shared = float(money.settings.mobilisation) + money.closure_setup
        whole = n_sensors * (each + money.closure_each) + shared
        source = f"{n_sensors} × {money.prices[one].source}; trip and closure from "
        source += f"the renewal settings ({money.settings_source})"
        renewal = Money(whole, code, today.year, source, OWN)
    return TechnologyCosts(
        renewal=renewal,
        upkeep_per_year=own(row.upkeep_per_year) if row else None,
        equipment=own(row.equipment_cost) if row else None,
        equipment_life_years=row.equipment_life_years if row else 10.0,
    )
