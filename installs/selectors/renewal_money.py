"""What replacements cost, and whose figure each is."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from installs.calc.types import Effect, LifePrior, Technology
from installs.models import (
    HazardEffect,
    Installation,
    RenewalSettings,
    TechnologyMoney,
    TechnologyProfile,
)
from wimprog.lib.units import format_number

if TYPE_CHECKING:
    from installs.calc.upkeep.costs import SensorPrice, SharedCosts
    from installs.calc.upkeep.fleet import Times
    from installs.selectors.lives import Expectation

OWN = "agency's own"
NONE = "no cost entered"
#: What the settings say of themselves until the agency has kept its own.
ASSUMED = "assumed until the agency enters its own"
MONTHS_PER_YEAR = 12.0


@dataclass(frozen=True)
class Price:
    """What replacing one sensor of a technology costs, and whose figure that is.

    ``amount`` is for the sensor, its lead, grout, crew and tools, without the trip and
    the closed lane, in today's money; None where nobody has entered any.
    """

    technology: Technology
    parts: float | None
    work: float
    source: str

    @property
    def amount(self) -> float | None:
        """Parts and work together."""
        return None if self.parts is None else self.parts + self.work


@dataclass(frozen=True)
class AcceptedShare:
    """Share of a lane's records that is accepted while it works, and whose word."""

    value: float
    source: str


@dataclass(frozen=True)
class Money:
    """All that turns replacements into money, each part with its source."""

    settings: RenewalSettings
    prices: Mapping[Technology, Price]
    shares: Mapping[Technology, AcceptedShare]
    growth_per_year: float

    @property
    def shared(self) -> SharedCosts:
        """What replacements share."""
        from installs.calc.upkeep.costs import SharedCosts

        kept = self.settings
        return SharedCosts(
            mobilisation=float(kept.mobilisation),
            closure_rate_per_hour=float(kept.closure_rate_per_hour),
            closure_setup_hours=kept.closure_setup_hours,
            closure_hours_each=kept.closure_hours_each,
            urgent_extra=float(kept.urgent_extra),
            trip_window_years=kept.trip_window_months / MONTHS_PER_YEAR,
            price_growth_per_year=self.growth_per_year,
        )

    @property
    def closure_each(self) -> float:
        """Of the closed lane, for one sensor more."""
        kept = self.settings
        return float(kept.closure_rate_per_hour) * kept.closure_hours_each

    @property
    def closure_setup(self) -> float:
        """Of setting up and clearing the closure of one lane."""
        kept = self.settings
        return float(kept.closure_rate_per_hour) * kept.closure_setup_hours

    @property
    def times(self) -> Times:
        """How long a position is down."""
        from installs.calc.upkeep.fleet import Times

        return Times(
            repair_years=self.settings.months_to_replace / MONTHS_PER_YEAR,
            planned_down_years=self.settings.months_planned / MONTHS_PER_YEAR,
        )

    @property
    def settings_source(self) -> str:
        """Whose figures the shared costs and times are."""
        return self.settings.source if self.settings.created_at else ASSUMED

    def sensor_prices(
        self, technologies: Iterable[Technology]
    ) -> dict[Technology, SensorPrice]:
        """As computation takes them; one without a cost counts nothing, and is told."""
        from installs.calc.upkeep.costs import SensorPrice

        return {
            one: SensorPrice(self.prices[one].parts or 0.0, self.prices[one].work)
            for one in technologies
        }

    def unpriced(self, technologies: Iterable[Technology]) -> tuple[Technology, ...]:
        """Those of the technologies that nobody has priced."""
        return tuple(
            one for one in sorted(set(technologies)) if self.prices[one].amount is None
        )


def renewal_settings_get() -> RenewalSettings:
    """What the agency renews by; assumptions, said so, until it has kept its own."""
    return RenewalSettings.objects.filter(pk=1).first() or RenewalSettings(pk=1)


def money_of(expectations: Mapping[str, Expectation], *, growth_pct: float) -> Money:
    """Costs and accepted shares as the agency has entered them; two queries."""
    settings = renewal_settings_get()
    kept = {row.technology: row for row in TechnologyMoney.objects.all()}
    return Money(
        settings=settings,
        prices={
            one: _price(expectations[one.value], kept.get(one.value), settings)
            for one in Technology
        },
        shares={one: _share(kept.get(one.value)) for one in Technology},
        growth_per_year=growth_pct / 100.0,
    )


def _price(
    expected: Expectation, row: TechnologyMoney | None, settings: RenewalSettings
) -> Price:
    if row is not None and (row.parts_each is not None or row.work_each is not None):
        return Price(
            expected.technology,
            float(row.parts_each or 0),
            float(row.work_each or 0),
            f"{row.source}, money of {row.price_year}",
        )
    if expected.cost is None:
        return Price(expected.technology, None, 0.0, NONE)
    hours = settings.closure_setup_hours + settings.closure_hours_each
    closure = float(settings.closure_rate_per_hour) * hours
    left = float(expected.cost) - closure
    told = f"{expected.cost_source}: {format_number(float(expected.cost), 0)}"
    if left <= 0:
        return Price(
            expected.technology,
            0.0,
            0.0,
            f"{told} with the closed lane, which is less than the closure alone "
            f"({format_number(closure, 0)}): only the closure is counted. Enter parts "
            "and work",
        )
    return Price(
        expected.technology,
        left,
        0.0,
        f"{told} with the closed lane, less {format_number(closure, 0)} for the "
        "closure, which is reckoned beside it",
    )


def _share(row: TechnologyMoney | None) -> AcceptedShare:
    from installs.calc.upkeep.technology_choice import ASSUMED_ACCEPTED_SHARE

    if row is None or not row.accepted_share:
        return AcceptedShare(ASSUMED_ACCEPTED_SHARE, ASSUMED)
    return AcceptedShare(row.accepted_share, row.source)


@dataclass(frozen=True)
class TechnologyRow:
    """What is reckoned with for one technology, published beside the agency's own."""

    technology: Technology
    published: LifePrior
    profile: TechnologyProfile | None
    money: TechnologyMoney | None
    price: Price
    share: AcceptedShare
    published_costs: tuple[str, ...]
    n_live: int

    @property
    def slug(self) -> str:
        """Its word in an address."""
        return slug_of(self.technology)


@dataclass(frozen=True)
class EffectRow:
    """One effect of condition: what ships, and the agency's own word."""

    assumed: Effect
    own: HazardEffect | None

    @property
    def slug(self) -> str:
        """Its word in an address."""
        return slug_of(self.assumed.name)


@dataclass(frozen=True)
class SettingsPage:
    """Everything renewal is reckoned with, and the last changes."""

    settings: RenewalSettings
    technologies: tuple[TechnologyRow, ...]
    effects: tuple[EffectRow, ...]
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Change:
    """A change that was kept: of what, when, by whom, why."""

    what: str
    at: dt.datetime
    by: str
    why: str


def slug_of(word: str) -> str:
    """A word as it stands in an address."""
    return word.replace(" ", "-")


def technology_of(slug: str) -> Technology | None:
    """The technology of an address; None for none."""
    return next((one for one in Technology if slug_of(one) == slug), None)


def settings_page() -> SettingsPage:
    """What renewal is reckoned with, and whose figure each is."""
    from installs.calc.condition import ASSUMED_EFFECTS
    from installs.calc.published import published_prior
    from installs.calc.upkeep.technology_types import PUBLISHED_COSTS, TechnologyCosts
    from installs.selectors.lives import technology_expectations

    expectations = technology_expectations()
    money = money_of(expectations, growth_pct=0.0)
    profiles = {row.technology: row for row in TechnologyProfile.objects.all()}
    costs = {row.technology: row for row in TechnologyMoney.objects.all()}
    own = {row.name: row for row in HazardEffect.objects.all()}
    live = Counter(
        Installation.objects.live().values_list("sensor__model__technology", flat=True)
    )
    rows = []
    for one in Technology:
        known = PUBLISHED_COSTS.get(one, TechnologyCosts())
        parts = (
            ("a lane renewed", known.renewal),
            ("upkeep a year", known.upkeep_per_year),
            ("all costs a year", known.whole_per_year),
        )
        rows.append(
            TechnologyRow(
                technology=one,
                published=published_prior(one),
                profile=profiles.get(one.value),
                money=costs.get(one.value),
                price=money.prices[one],
                share=money.shares[one],
                published_costs=tuple(f"{w}: {m.text}" for w, m in parts if m),
                n_live=live[one.value],
            )
        )
    return SettingsPage(
        settings=money.settings,
        technologies=tuple(rows),
        effects=tuple(EffectRow(one, own.get(one.name)) for one in ASSUMED_EFFECTS),
        changes=_changes(),
    )


def _changes(most: int = 15) -> tuple[Change, ...]:
    """The last changes of any of these figures; one query a model."""
    found = []
    for model in (RenewalSettings, TechnologyProfile, TechnologyMoney, HazardEffect):
        rows = model.history.select_related("history_user")[:most]
        for row in rows:
            taken = " taken back" if row.history_type == "-" else ""
            found.append(
                Change(
                    f"{row.instance}: {model._meta.verbose_name}{taken}",
                    row.history_date,
                    str(row.history_user or "the system"),
                    row.history_change_reason or "",
                )
            )
    return tuple(sorted(found, key=lambda one: one.at, reverse=True)[:most])
