"""What a loop should read: its size, turns and lead, asked by address."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from installs.calc.expected import WIRE_OHM_PER_1000_FT
from wimprog.lib.forms import MeasureField
from wimprog.lib.units import Kind, UnitSystem

MOST_TURNS = 12


class LoopReckoner(forms.Form):
    """Size, turns and lead of a loop."""

    turns = forms.IntegerField(min_value=1, max_value=MOST_TURNS)
    gauge_awg = forms.TypedChoiceField(
        label="Wire",
        coerce=int,
        choices=[(gauge, f"#{gauge} AWG") for gauge in sorted(WIRE_OHM_PER_1000_FT)],
    )

    def __init__(self, *args: Any, system: UnitSystem | str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        boxes = {
            "perimeter_m": MeasureField(
                kind=Kind.LENGTH,
                system=UnitSystem(system),
                label="Perimeter",
                help_text="Once around the loop: 24 for 6 ft by 6 ft.",
            ),
            "lead_m": MeasureField(
                kind=Kind.LENGTH,
                system=UnitSystem(system),
                label="Lead to the cabinet",
                required=False,
                help_text="Length of the twisted pair, one way.",
            ),
        }
        self.fields = {**boxes, **self.fields}

    def _metres(self, name: str) -> float | None:
        typed = self.cleaned_data[name]
        if typed is None:
            return None
        if typed.value_si <= 0:
            raise ValidationError("Give a length above zero.")
        return float(typed.value_si)

    def clean_perimeter_m(self) -> float | None:
        return self._metres("perimeter_m")

    def clean_lead_m(self) -> float | None:
        return self._metres("lead_m")
