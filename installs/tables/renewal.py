"""Tables and sheets of the renewal forecast."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import django_tables2 as tables
from django.utils.html import format_html, format_html_join

from installs.models import Installation
from installs.selectors.renewal import Renewal, SensorRisk
from installs.selectors.replacement_order import Order, spot_words
from wimprog.lib.tables import Table
from wimprog.lib.units import chance_words, format_number

NUMBER = {"td": {"class": "number"}, "th": {"class": "number"}}
HORIZONS = (1, 2, 5)


class RiskTable(Table):
    """One row a live sensor, with its chances of failing and why."""

    caption = "Sensors in the road and their chances of failing"
    sensor = tables.Column(
        accessor="installation", order_by=("installation__sensor__serial",)
    )
    place = tables.Column(
        accessor="installation__lane", order_by=("installation__lane__wim_site__code",)
    )
    age_years = tables.Column("Age, years", attrs=NUMBER)
    one = tables.Column(
        "Within 1 year", accessor="forecast", order_by=("chance_1y",), attrs=NUMBER
    )
    two = tables.Column(
        "Within 2 years", accessor="forecast", order_by=("chance_2y",), attrs=NUMBER
    )
    five = tables.Column(
        "Within 5 years", accessor="forecast", order_by=("chance_5y",), attrs=NUMBER
    )
    why = tables.Column(
        "What drives it", accessor="forecast", order_by=("hazard_ratio",)
    )

    class Meta(Table.Meta):
        empty_text = "No sensor is in the road."

    def render_sensor(self, value: Installation, record: SensorRisk) -> str:
        return format_html(
            '<a href="{}">{}</a> <span class="quiet">{}</span>',
            value.get_absolute_url(),
            str(value.sensor),
            record.technology,
        )

    def render_place(self, record: SensorRisk) -> str:
        lane = record.installation.lane
        return format_html(
            '<a href="{}">{}</a> {}',
            lane.get_absolute_url(),
            str(lane),
            record.installation.position,
        )

    def render_age_years(self, value: float) -> str:
        return format_number(value, 1)

    def _chance(self, record: SensorRisk, years: float) -> str:
        chance = record.forecast.within(years)
        return format_html(
            '<b>{}</b> <span class="quiet">{} to {}</span>',
            chance_words(chance.probability),
            chance_words(chance.low),
            chance_words(chance.high),
        )

    def render_one(self, record: SensorRisk) -> str:
        return self._chance(record, 1)

    def render_two(self, record: SensorRisk) -> str:
        return self._chance(record, 2)

    def render_five(self, record: SensorRisk) -> str:
        return self._chance(record, 5)

    def render_why(self, record: SensorRisk) -> str:
        """Its drivers in words, each linked by the sensor's page to its tests."""
        drivers = record.forecast.condition.drivers
        if not drivers:
            return "its age alone"
        return format_html_join("; ", "{}", ((one.sentence,) for one in drivers))


RISK_HEADINGS = (
    "site", "lane", "position", "sensor", "technology", "installed on", "age, years",
    *(
        f"{part} {years} y"
        for years in HORIZONS
        for part in ("chance within", "low", "high")
    ),
    "interval level", "hazard ratio by condition", "what drives it",
    "median remaining, years", "rests on",
)  # fmt: skip


def risk_sheet(found: Renewal) -> Iterable[list[Any]]:
    """The sensors and their chances for a spreadsheet."""
    for risk in found.risks:
        lane = risk.installation.lane
        chances = [risk.forecast.within(years) for years in HORIZONS]
        condition = risk.forecast.condition
        yield [
            lane.wim_site.code,
            lane.label,
            risk.installation.position,
            str(risk.installation.sensor),
            risk.technology,
            risk.installation.installed_on,
            round(risk.age_years, 3),
            *(
                round(number, 4)
                for chance in chances
                for number in (chance.probability, chance.low, chance.high)
            ),
            chances[0].level,
            round(condition.hazard_ratio, 3),
            "; ".join(one.sentence for one in condition.drivers) or "its age alone",
            round(risk.forecast.median_remaining_years, 2),
            risk.forecast.basis,
        ]


ORDER_HEADINGS = (
    "place in the order", "site", "replace", "cost", "of it for the trip",
    "lane-months saved", "lane-months saved per 1,000", "cost so far",
    "lane-months so far", "within the budget", "why",
)  # fmt: skip


def order_sheet(order: Order | None) -> Iterable[list[Any]]:
    """The order under the budget, and what just misses it."""
    for step in order.steps if order else ():
        line = step.line
        yield [
            line.rank,
            line.site,
            spot_words(step.spots),
            round(line.cost, 2),
            round(line.mobilisation, 2),
            round(line.lane_months_saved, 3),
            round(line.saved_per_1000, 3),
            round(line.cumulative_cost, 2),
            round(line.cumulative_saved, 3),
            "yes" if step.is_funded else "no, just misses",
            line.sentence,
        ]
