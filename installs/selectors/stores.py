"""What lies in the store, how it came to that, and whether it is enough."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from installs.calc.types import years_between
from installs.calc.upkeep.types import StockMove
from installs.models import Purchase, SparePart, StockEntry
from installs.selectors.on_order import OnOrder, on_order, perhaps_coming
from wimprog.lib.judgement import Condition
from wimprog.lib.units import format_number

if TYPE_CHECKING:
    from decimal import Decimal

    from installs.calc.upkeep.spares import Demand
    from installs.selectors.renewal import Renewal
    from sites.models import Program

DAYS_PER_YEAR = 365.25
#: Bookings over a shorter time say nothing of the use in a year; ours.
LEAST_YEARS_OF_USE = 1.0

ENOUGH, ORDER, NONE_LEFT, CANNOT_SAY = "enough", "order now", "none left", "cannot say"
CONDITION = {
    ENOUGH: Condition.SOUND,
    ORDER: Condition.WATCH,
    NONE_LEFT: Condition.ACT,
    CANNOT_SAY: Condition.NO_DATA,
}


# --- the ledger ----------------------------------------------------------------------


def level_after(level: int, move: str, quantity: int) -> int:
    """Stock after an entry: a count sets it, the other moves add or take."""
    sign = StockMove(move).sign
    return level + sign * quantity if sign else quantity


def stock_of(parts: Iterable[int]) -> dict[int, int]:
    """How many of each spare part lie in the store by its entries; one query."""
    wanted = list(parts)
    stock = dict.fromkeys(wanted, 0)
    rows = (
        StockEntry.objects.filter(spare_part__in=wanted)
        .order_by("moved_on", "pk")
        .values_list("spare_part_id", "move", "quantity")
    )
    for part, move, quantity in rows:
        stock[part] = level_after(stock[part], move, quantity)
    return stock


@dataclass(frozen=True)
class LedgerRow:
    """An entry and the stock after it."""

    entry: StockEntry
    level: int
    by: str
    why: str

    @property
    def change(self) -> str:
        """What it did, signed; a count is told as what it was set to."""
        sign = StockMove(self.entry.move).sign
        if not sign:
            return f"= {self.entry.quantity}"
        return f"{'+' if sign > 0 else '−'}{self.entry.quantity}"


def ledger_of(part: SparePart) -> list[LedgerRow]:
    """Every entry of a part in the order that it counts, with who and why."""
    entries = part.entries.select_related("visit__wim_site", "purchase").order_by(
        "moved_on", "pk"
    )
    made = {
        one.id: one
        for one in StockEntry.history.filter(
            spare_part_id=part.pk, history_type="+"
        ).select_related("history_user")
    }
    rows, level = [], 0
    for entry in entries:
        level = level_after(level, entry.move, entry.quantity)
        first = made.get(entry.pk)
        user = first.history_user if first else None
        who = (user.get_full_name() or user.get_username()) if user else ""
        why = (first.history_change_reason or "") if first else ""
        rows.append(LedgerRow(entry, level, who, why))
    return rows


# --- what will be needed -------------------------------------------------------------


@dataclass(frozen=True)
class Use:
    """Use of a part by its bookings: number used less returned, over how long."""

    n: int
    years: float


@dataclass(frozen=True)
class Needed:
    """Demand while an order is on its way, and what it rests on, in words."""

    demand: Demand
    rests_on: str


def uses_of(parts: Iterable[int], today: dt.date) -> dict[int, Use]:
    """Use of each part since its first entry; one query."""
    used: dict[int, int] = defaultdict(int)
    first: dict[int, dt.date] = {}
    for part, move, quantity, day in (
        StockEntry.objects.filter(spare_part__in=list(parts))
        .order_by("moved_on")
        .values_list("spare_part_id", "move", "quantity", "moved_on")
    ):
        first.setdefault(part, day)
        if move in (StockMove.USED.value, StockMove.RETURNED.value):
            used[part] -= StockMove(move).sign * quantity
    return {
        part: Use(max(used[part], 0), max(years_between(day, today), 0.0))
        for part, day in first.items()
    }


def demand_by_use(part: SparePart, use: Use | None) -> Needed | None:
    """Demand of the lead time from what is used a year; None where nothing says it.

    The agency's own figure makes it Poisson. Without one, the bookings of a year or
    more make it negative binomial: with n used in T years and Jeffreys' prior the rate
    is gamma distributed, n + ½ over T (Gelman et al., Bayesian Data Analysis, 3rd ed.,
    §2.6 to 2.8; from memory).
    """
    from installs.calc.upkeep.spares import poisson_demand, spread_demand

    lead_years = part.lead_time_days / DAYS_PER_YEAR
    if part.used_per_year is not None:
        return Needed(
            poisson_demand(part.used_per_year * lead_years),
            f"{format_number(part.used_per_year, 1)} used a year, as entered",
        )
    if use is None or use.years < LEAST_YEARS_OF_USE:
        return None
    mean = (use.n + 0.5) * lead_years / use.years
    spread = mean * (1.0 + lead_years / use.years)
    return Needed(
        spread_demand(mean, spread),
        f"{use.n} used in {format_number(use.years, 1)} years by the bookings",
    )


def demand_by_forecast(
    parts: Sequence[SparePart], found: Renewal, today: dt.date
) -> dict[int, Needed]:
    """Demand of the lead time from simulated futures of the sensors in the road.

    A sensor is needed when one of its model stops working, or stands failed already;
    under the policy and with the chances of the renewal forecast. Models of which none
    is in the road have no entry.
    """
    import numpy as np

    from installs.calc.upkeep.spares import simulated_demand
    from installs.selectors.policies import futures_of

    models = [spot.installation.sensor.model_id for spot in found.spots]
    wanted = [one for one in parts if one.sensor_model_id in set(models)]
    if not wanted:
        return {}
    leads = {one.pk: max(one.lead_time_days, 1) / DAYS_PER_YEAR for one in wanted}
    futures = futures_of(
        found.spots,
        found.fits,
        found.ratios,
        found.money,
        today=today,
        horizon_years=max(leads.values()),
    )
    events = futures.play(found.policy)
    model = np.array(models)[events.position]
    needed = {}
    for one in wanted:
        seen = (model == one.sensor_model_id) & (events.end_years < leads[one.pk])
        counts = np.bincount(events.draw[seen], minlength=futures.n_draws)
        own = [
            s
            for s in found.spots
            if s.installation.sensor.model_id == one.sensor_model_id
        ]
        n_down = sum(spot.is_down for spot in own)
        rests_on = f"{len(own) - n_down} of it in the road"
        if n_down:
            rests_on += f", {n_down} failed and not replaced"
        needed[one.pk] = Needed(simulated_demand(counts), rests_on)
    return needed


# --- whether it is enough ------------------------------------------------------------


@dataclass(frozen=True)
class StoreRow:
    """A part with what there is, what is wanted, and what to do.

    Attributes
    ----------
    count
        By the ledger; None when nothing was ever booked.
    minimum
        To keep; None when neither forecast, use nor the agency says it.
    order_now
        How many to order.
    chance_short
        That more are needed than there are before an order placed today arrives.
    word, sentence
        What to do, and why.
    on_order
        Ordered for the store and not received yet; ``expected_on`` the earliest day on
        which some of it should come.
    """

    part: SparePart
    count: int | None
    minimum: int | None
    order_now: int
    chance_short: float | None
    word: str
    sentence: str
    perhaps_coming: tuple[Purchase, ...] = ()
    on_order: int = 0
    expected_on: dt.date | None = None

    @property
    def condition(self) -> Condition:
        """The mark beside the word."""
        return CONDITION[self.word]

    @property
    def value(self) -> Decimal | None:
        """Money that lies in the store; None without a price or a count."""
        if self.part.unit_price is None or self.count is None:
            return None
        return self.part.unit_price * max(self.count, 0)


def row_of(
    part: SparePart,
    count: int | None,
    needed: Needed | None,
    coming: OnOrder | None = None,
) -> StoreRow:
    """Hold what there is of a part, and what was ordered, against what is needed."""
    coming = coming or OnOrder()
    on_hand = max(count or 0, 0)
    minimum, said, chance_short = part.least_wanted, [], None
    if needed is not None:
        from installs.calc.upkeep.spares import advise_stock

        advice = advise_stock(
            part.name,
            needed.demand,
            lead_time_days=part.lead_time_days,
            service_level=min(max(part.service_level, 0.01), 0.999),
            on_hand=on_hand,
            on_order=coming.number,
        )
        chance_short = 1.0 - needed.demand.enough(on_hand)
        said.append(
            f"About {format_number(needed.demand.mean, 1)} needed in the "
            f"{part.lead_time_days} days that an order takes ({needed.rests_on}; "
            f"{needed.demand.basis}). With {advice.minimum_level} there is enough with "
            f"a chance of {_pct(needed.demand.enough(advice.minimum_level))} "
            f"(wanted {_pct(part.service_level)})."
        )
        if minimum is None:
            minimum = advice.minimum_level
    if part.least_wanted is not None:
        said.append(f"The agency keeps never fewer than {part.least_wanted}.")
    if count is None:
        said.append("Nothing was ever counted or booked.")
    elif count < 0:
        said.append(f"The bookings come to {count}, below zero: count the store.")
    if minimum is None:
        said.append(
            "No forecast, no use in a year and no year of bookings say how many are "
            "needed."
        )
    order_now = max((minimum or 0) - on_hand - coming.number, 0)
    if coming.number:
        said.append(coming.sentence)
    if count is None or (minimum is None and on_hand):
        word = CANNOT_SAY
    elif not on_hand and (minimum is None or minimum):
        word = NONE_LEFT
    else:
        word = ORDER if order_now else ENOUGH
    if order_now and count is not None:
        said.append(f"Order {order_now}.")
    return StoreRow(
        part,
        count,
        minimum,
        order_now,
        chance_short,
        word,
        " ".join(said),
        on_order=coming.number,
        expected_on=coming.expected_on,
    )


def _pct(chance: float) -> str:
    return f"{format_number(100 * chance, 0)} %"


def store_rows(program: Program, today: dt.date) -> list[StoreRow]:
    """Every part with what to do about it, the most pressing first."""
    parts = list(SparePart.objects.select_related("sensor_model"))
    return _rows(parts, program, today)


def store_row(part: SparePart, program: Program, today: dt.date) -> StoreRow:
    """One part with what to do about it."""
    return _rows([part], program, today)[0]


def _rows(
    parts: Sequence[SparePart], program: Program, today: dt.date
) -> list[StoreRow]:
    from dataclasses import replace

    from installs.selectors.renewal import renewal_forecast

    keys = [one.pk for one in parts]
    stock, uses = stock_of(keys), uses_of(keys, today)
    needed: Mapping[int, Needed] = {}
    if any(one.sensor_model_id for one in parts):
        needed = demand_by_forecast(parts, renewal_forecast(program, today), today)
    coming, ordered = perhaps_coming(parts, today), on_order(keys, today)
    rows = []
    for one in parts:
        use = uses.get(one.pk)
        row = row_of(
            one,
            stock[one.pk] if use is not None else None,
            needed.get(one.pk) or demand_by_use(one, use),
            ordered.get(one.pk),
        )
        rows.append(replace(row, perhaps_coming=coming.get(one.pk, ())))
    order = list(Condition)
    return sorted(rows, key=lambda row: (order.index(row.condition), row.part.name))
