"""Condition of live sensors, from their tests and the pavement they lie in."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from installs.calc.types import (
    Condition,
    ConditionModel,
    DatedReading,
    Effect,
    ElectricalQuantity,
    WeibullFit,
)
from installs.models import HazardEffect, Installation, Reading
from installs.selectors.electrical import COMPLETE_STAGES
from installs.selectors.electrical_rules import rules_by_model

if TYPE_CHECKING:
    from installs.selectors.lives import LifeRow

Known = list[tuple[float, dict[str, float]]]


def known_conditions(rows: Sequence[LifeRow], today: dt.date) -> dict[int, Known]:
    """What was known of each installation, by age, up to a day; three queries."""
    from installs.calc.condition import ASPHALT
    from installs.calc.condition_values import FOLLOWED, known_condition
    from installs.calc.judged_ways import followed_readings

    wanted = {row.pk: row for row in rows}
    places = {
        pk: (model_id, pavement, ZoneInfo(zone))
        for pk, model_id, pavement, zone in Installation.objects.values_list(
            "pk",
            "sensor__model_id",
            "lane__wim_site__pavement_type",
            "lane__wim_site__time_zone",
        )
        if pk in wanted
    }
    readings: dict[int, dict[ElectricalQuantity, list[DatedReading]]]
    readings = defaultdict(lambda: defaultdict(list))
    for pk, at, temp_c, word, value, over in (
        Reading.objects.filter(
            quantity__in=[q.value for q in FOLLOWED],
            test__stage__in=COMPLETE_STAGES,
        )
        .order_by("test__tested_at", "pk")
        .values_list(
            "test__installation_id",
            "test__tested_at",
            "test__pavement_temp_c",
            "quantity",
            "value",
            "over_range",
        )
    ):
        if pk in places:
            on = at.astimezone(places[pk][2]).date()
            if on <= today:
                quantity = ElectricalQuantity(word)
                readings[pk][quantity].append(DatedReading(on, value, over, temp_c))
    rules = rules_by_model({model_id for model_id, _, _ in places.values()})
    found: dict[int, Known] = {}
    for pk, (model_id, pavement, _) in places.items():
        followed = {
            quantity: followed_readings(
                quantity, series, rules[model_id][quantity]
            ).readings
            for quantity, series in readings[pk].items()
        }
        known = known_condition(followed, wanted[pk].installed_on)
        if pavement:
            known.insert(0, (0.0, {ASPHALT: float(pavement == "asphalt")}))
        found[pk] = known
    return found


def effects_in_use() -> list[Effect]:
    """The effects of condition: the agency's own word, else what is assumed."""
    from installs.calc.condition import ASSUMED_EFFECTS

    own = {row.name: row for row in HazardEffect.objects.all()}
    found = []
    for effect in ASSUMED_EFFECTS:
        row = own.get(effect.name)
        if row is not None:
            effect = replace(
                effect,
                ratio=row.ratio,
                log_sd=row.log_sd,
                standing="agency's own",
                source=row.source,
            )
        found.append(effect)
    return found


def condition_models(
    rows: Sequence[LifeRow], known: dict[int, Known], fits: dict[str, WeibullFit]
) -> dict[str, ConditionModel]:
    """By technology, the effects of condition: stated, or fitted to its history."""
    from installs.calc.condition import condition_model, spells

    stated = effects_in_use()
    found = {}
    for technology, fit in fits.items():
        history = [
            spell
            for row in rows
            if row.technology == technology
            for spell in spells(row.life, known.get(row.pk, []))
        ]
        seen = {name for spell in history for name in spell.values}
        found[technology] = condition_model(
            history,
            fit,
            effects=[effect for effect in stated if effect.name in seen],
        )
    return found


def conditions_of(
    rows: Sequence[LifeRow], fits: dict[str, WeibullFit], today: dt.date
) -> dict[int, Condition]:
    """Condition of each live sensor against others of its technology and age."""
    from installs.calc.condition import condition_of

    known = known_conditions(rows, today)
    models = condition_models(rows, known, fits)
    found = {}
    for row in rows:
        if row.ended_on is None and known.get(row.pk):
            values: dict[str, float] = {}
            for _, later in known[row.pk]:
                values |= later
            found[row.pk] = condition_of(models[row.technology], values)
    return found
