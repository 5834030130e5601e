"""``manage.py forecast``: what will have to be replaced, when, and at what cost."""

from __future__ import annotations

import datetime as dt
import json
import sys
from argparse import ArgumentTypeError
from typing import Any

from django.core.management.base import CommandParser

from installs.calc.types import Band
from installs.selectors import Renewal, program_today, renewal_forecast
from installs.selectors.replacement_order import Order, order_of
from sites.models import Program
from sites.selectors import program_get
from wimprog.lib.commands import ProgramCommand
from wimprog.lib.errors import DomainError

NOTHING = 1
BAD_INPUT = 2
MOST_YEARS = 50


def _years(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= MOST_YEARS:
        raise ArgumentTypeError(f"“{text}” is not a number from 1 to {MOST_YEARS}")
    return int(text)


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(
            f"“{text}” is not a day; write it as 2031-05-03"
        ) from None


def _band(band: Band | None) -> dict[str, float] | None:
    if band is None:
        return None
    numbers = {"expected": band.expected, "p10": band.p10}
    return numbers | {"p50": band.p50, "p90": band.p90}


def _order(order: Order | None) -> dict[str, Any] | None:
    if order is None:
        return None
    return {
        "budget": order.budget,
        "budget_is": order.budget_is,
        "spent": order.found.spent,
        "lane_months_saved": order.found.lane_months_saved,
        "lane_months_lost_if_nothing": order.found.lane_months_lost_if_nothing,
        "best_possible": order.found.best_possible,
        "steps": [
            {
                "replace": list(step.line.keys),
                "site": step.line.site,
                "cost": step.line.cost,
                "lane_months_saved": step.line.lane_months_saved,
                "within_budget": step.is_funded,
            }
            for step in order.steps
        ],
    }


def as_dict(found: Renewal, program: Program, order: Order | None) -> dict[str, Any]:
    """The forecast as JSON-ready values."""
    fleet = found.fleet
    return {
        "as_of": found.as_of.isoformat(),
        "currency": program.currency,
        "technologies": [
            {
                "technology": one.technology,
                "in_service": one.n_live,
                "lives": one.fit.n_units,
                "failures": one.fit.n_failures,
                "method": str(one.fit.method),
                "prior": one.fit.prior_text or None,
                "shape": one.fit.shape,
                "scale_years": one.fit.scale_years,
                "median_years": one.fit.median_years,
                "observed_median_years": one.curve.median_years,
                "replacement_cost": float(one.expectation.cost)
                if one.expectation.cost is not None
                else None,
                "notes": [*one.fit.notes, *one.curve.notes],
            }
            for one in found.curves
        ],
        "years": [
            {
                "year": year.period.label,
                "from": year.period.first_day.isoformat(),
                "to": year.period.last_day.isoformat(),
                "replacements": _band(year.replacements),
                "cost": _band(year.cost),
                "by_technology": {
                    str(word): number for word, number in year.expected_by_technology
                },
            }
            for year in (fleet.years if fleet else ())
        ],
        "total": _band(fleet.total) if fleet else None,
        "total_cost": _band(fleet.total_cost) if fleet else None,
        "sensors": fleet.n_sensors if fleet else 0,
        "unpriced": [str(word) for word in fleet.unpriced] if fleet else [],
        "method": fleet.method if fleet else "",
        "policy": found.policy.label,
        "empty_positions": found.n_down,
        "trust": found.back_test.sentence,
        "brier": found.back_test.brier,
        "doubts": list(found.warnings),
        "assumed": list(found.assumed),
        "order": _order(order),
    }


class Command(ProgramCommand):
    """The renewal forecast, from the lives that are recorded."""

    help = (
        "Forecast sensor replacements and their cost by budget year. Exit status: 0 "
        "done, 1 nothing can be forecast, 2 bad input."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--years", type=_years, default=5, help="budget years ahead (default 5)"
        )
        parser.add_argument(
            "--as-of",
            type=_day,
            help="the day of the forecast, from what was known then (default today)",
        )
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        program = program_get()
        as_of = options["as_of"] or program_today()
        try:
            found = renewal_forecast(program, as_of, n_years=options["years"])
        except DomainError as error:
            self.stderr.write(error.message)
            sys.exit(BAD_INPUT)
        if found.fleet is None:
            self._nothing(found, program, as_json=options["json"])
        order = order_of(found, None, currency=program.currency)
        if options["json"]:
            told = as_dict(found, program, order)
            self.stdout.write(json.dumps(told, indent=2, ensure_ascii=False))
        else:
            self._tables(found, program)
            self._order(order)

    def _nothing(self, found: Renewal, program: Program, *, as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps(as_dict(found, program, None), indent=2))
        self.stderr.write(
            f"Nothing can be forecast as of {found.as_of}: no sensor was in the road. "
            "Record the installation of each sensor first."
        )
        sys.exit(NOTHING)

    def _tables(self, found: Renewal, program: Program) -> None:
        fleet = found.fleet
        if fleet is None:
            return
        write = self.stdout.write
        write(f"Renewal forecast as of {found.as_of}\n")
        write(
            f"{'technology':<20}{'in road':>8}{'lives':>7}{'failed':>8}"
            f"{'median life':>13}  rests on"
        )
        for one in found.curves:
            write(
                f"{one.technology:<20}{one.n_live:>8}{one.fit.n_units:>7}"
                f"{one.fit.n_failures:>8}{one.fit.median_years:>11.1f} y  "
                f"{one.fit.basis}"
            )
        write("")
        money = f"cost, {program.currency}"
        write(f"{'year':<14}{'expected':>9}{'10/50/90 %':>14}{money:>14}  10/50/90 %")
        totals = ("all together", fleet.total, fleet.total_cost)
        rows = [(y.period.label, y.replacements, y.cost) for y in fleet.years]
        for label, count, cost in [*rows, totals]:
            band = f"{count.p10:.0f}/{count.p50:.0f}/{count.p90:.0f}"
            spent = f"{cost.expected:,.0f}" if cost else "no data"
            span = f"{cost.p10:,.0f}/{cost.p50:,.0f}/{cost.p90:,.0f}" if cost else ""
            write(f"{label:<14}{count.expected:>9.1f}{band:>14}{spent:>14}  {span}")
        if fleet.unpriced:
            write(f"No replacement cost is entered for: {', '.join(fleet.unpriced)}.")
        write(f"\n{fleet.method}")
        write(f"\nHow far to trust it: {found.back_test.sentence}")
        for line in (*found.warnings, *found.assumed):
            write(line)

    def _order(self, order: Order | None) -> None:
        """What the budget replaces first, as on the page."""
        if order is None:
            return
        self.stdout.write(f"\nBudget: {order.budget_is}. {order.found.sentence}")
        for step in order.steps:
            mark = "" if step.is_funded else "just misses: "
            self.stdout.write(f"{step.line.rank:>4}  {mark}{step.line.sentence}")
