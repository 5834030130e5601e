"""Reads of makes and models: the list, what one is held to, who changed it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, QuerySet

from installs.calc.types import ElectricalQuantity, QuantityRules
from installs.models import ElectricalLimit, Sensor, SensorModel
from installs.selectors.electrical_rules import quantity_rules

SHOWN_CHANGES = 40
_CHANGES = {"+": "added", "~": "changed", "-": "removed"}


@dataclass(frozen=True)
class HeldTo:
    """One quantity of a model: what was entered, and what follows from it."""

    quantity: ElectricalQuantity
    entered: ElectricalLimit
    rules: QuantityRules

    @property
    def limit_words(self) -> str:
        """The limit with its unit."""
        from installs.calc.electrical import limit_words

        return limit_words(self.quantity, self.rules.limit)

    @property
    def coefficient_words(self) -> str:
        """The temperature coefficient; empty where none is entered."""
        found = self.rules.coefficient
        return f"{found.pct_per_c:+g} % per °C" if found else ""


@dataclass(frozen=True)
class Change:
    """One change of a model or of a limit of it."""

    at: dt.datetime
    who: str
    what: str
    how: str
    why: str


def sensor_model_list() -> QuerySet[SensorModel]:
    """Makes and models with the number of their limits and sensors."""
    return SensorModel.objects.annotate(
        n_limits=Count("limits", distinct=True),
        n_sensors=Count("sensors", distinct=True),
    ).order_by("maker", "name")


def held_to(model: SensorModel) -> list[HeldTo]:
    """What each quantity of a model is held to, in the order of the quantities."""
    rows = {row.quantity: row for row in model.limits.all()}
    return [
        HeldTo(quantity, rows[str(quantity)], quantity_rules(quantity, rows[quantity]))
        for quantity in ElectricalQuantity
        if str(quantity) in rows
    ]


def model_changes(model: SensorModel) -> list[Change]:
    """Who changed a model or its limits, and why, newest first, in two queries."""
    own = model.history.select_related("history_user").all()[:SHOWN_CHANGES]
    limits = (
        ElectricalLimit.history.filter(sensor_model_id=model.pk)
        .select_related("history_user")
        .order_by("-history_date", "-history_id")[:SHOWN_CHANGES]
    )
    changes = [_change(row, "make and model", str(model)) for row in own]
    changes += [_change(row, row.quantity, _limit_text(row)) for row in limits]
    changes.sort(key=lambda one: one.at, reverse=True)
    return changes[:SHOWN_CHANGES]


def _change(row: Any, what: str, text: str) -> Change:
    user = row.history_user
    return Change(
        at=row.history_date,
        who=(user.get_full_name() or user.get_username()) if user else "nobody named",
        what=what,
        how=f"{_CHANGES[row.history_type]}: {text}",
        why=row.history_change_reason or "",
    )


def _limit_text(row: Any) -> str:
    parts = [
        words.format(getattr(row, name))
        for name, words in (
            ("low", "at least {:g}"),
            ("high", "at most {:g}"),
            ("data_sheet_tolerance_pct", "±{:g} % of the data sheet"),
            ("baseline_tolerance_pct", "±{:g} % of first readings"),
            ("temp_coefficient_pct_per_c", "{:+g} % per °C"),
        )
        if getattr(row, name) is not None
    ]
    return f"{', '.join(parts)} ({row.source})"


def data_sheet_words(sensor: Sensor) -> list[tuple[str, str]]:
    """A sensor's own data sheet as typed, each value with its unit."""
    found = []
    for word, entry in sensor.data_sheet.items():
        text = str(entry)
        unit = ElectricalQuantity(word).unit if word in set(ElectricalQuantity) else ""
        bare = text.replace(",", "").replace(".", "").strip().isdigit()
        found.append((word, f"{text} {unit}".strip() if bare else text))
    return found
