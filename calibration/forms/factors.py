"""The factors set in the controller, as found and as left."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from calibration.calc.words import FactorOrigin
from calibration.models import FactorSet
from wimprog.lib.forms import FactForm
from wimprog.lib.units import UNITS, Kind, Unit, UnitSystem, parse_number, shown_unit

_SPEED = re.compile(
    r"^\s*(?P<speed>[\d.,]+)\s*(?P<unit>mph|km/h|kmh)?\s*[:=]\s*(?P<factor>\S+)\s*$",
    re.IGNORECASE,
)
_SENSOR = re.compile(r"^\s*(?P<name>[^:=]{1,60}?)\s*[:=]\s*(?P<factor>\S+)\s*$")


class LinesField(forms.CharField):
    """Several lines, each of a name or a number and a factor."""

    def __init__(self, **options: Any) -> None:
        options.setdefault(
            "widget", forms.Textarea(attrs={"rows": 4, "spellcheck": "false"})
        )
        super().__init__(required=False, **options)


class FactorSetForm(FactForm):
    """Factors of one stage, typed in as the controller shows them."""

    overall_text = forms.CharField(
        label="One factor for all",
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text="Empty where the controller has none.",
    )
    speed_lines = LinesField(label="By speed point")
    sensor_lines = LinesField(
        label="By sensor",
        help_text="One a line: “piezo 1: 0.985”.",
    )

    class Meta:
        model = FactorSet
        fields = ["method", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}

    field_order = (
        "overall_text",
        "speed_lines",
        "sensor_lines",
        "method",
        "note",
        "why",
    )

    def __init__(
        self, *args: Any, offered: dict[str, str] | None = None, **kwargs: Any
    ):
        super().__init__(*args, **kwargs)
        self.unit: Unit = shown_unit(Kind.SPEED, UnitSystem(self.system))
        self.fields[
            "speed_lines"
        ].help_text = f"One a line, speed in {self.unit.symbol}: “45: 1.012”."
        self.fields["method"].label = "How they came about"
        self.fields["method"].required = False
        if self.instance.pk:
            self.fields["why"].required = True
            self.fields["why"].help_text = "Kept with the change."
        typed = self.instance.as_typed
        self.initial.update(
            {
                "overall_text": typed.get("overall", [""])[0]
                or _number(self.instance.overall),
                "speed_lines": typed.get("by_speed", [""])[0]
                or write_speeds(self.instance.by_speed, self.unit),
                "sensor_lines": typed.get("by_sensor", [""])[0]
                or "\n".join(f"{k}: {v:g}" for k, v in self.instance.by_sensor.items()),
            }
        )
        self.initial.update(offered or {})
        self.order_fields(self.field_order)

    def clean_method(self) -> str:
        return self.cleaned_data["method"] or FactorOrigin.TYPED.value

    def clean_overall_text(self) -> str:
        text = str(self.cleaned_data["overall_text"]).strip()
        self.instance.overall = _factor(text) if text else None
        return text

    def clean_speed_lines(self) -> str:
        text = str(self.cleaned_data["speed_lines"]).strip()
        pairs = []
        for line, row in _rows(text):
            match = _SPEED.match(row)
            if match is None:
                raise ValidationError(
                    f"Line {line}, “{row}”: write a speed, a colon and a factor, such "
                    "as “45: 1.012”."
                )
            unit = UNITS[{"mph": "mph"}.get((match["unit"] or "").lower(), "km/h")]
            unit = unit if match["unit"] else self.unit
            pairs.append([unit.to_si(_plain(match["speed"])), _factor(match["factor"])])
        self.instance.by_speed = sorted(pairs)
        return text

    def clean_sensor_lines(self) -> str:
        text = str(self.cleaned_data["sensor_lines"]).strip()
        found: dict[str, float] = {}
        for line, row in _rows(text):
            match = _SENSOR.match(row)
            if match is None:
                raise ValidationError(
                    f"Line {line}, “{row}”: write the sensor’s name, a colon and a "
                    "factor, such as “piezo 1: 0.985”."
                )
            if match["name"] in found:
                raise ValidationError(f"Line {line}: {match['name']} is there twice.")
            found[match["name"]] = _factor(match["factor"])
        self.instance.by_sensor = found
        return text

    def _post_clean(self) -> None:
        super()._post_clean()
        for name, box in (
            ("overall", "overall_text"),
            ("by_speed", "speed_lines"),
            ("by_sensor", "sensor_lines"),
        ):
            text = self.cleaned_data.get(box)
            if text:
                unit = self.unit.symbol if name == "by_speed" else ""
                self.instance.as_typed[name] = [text, unit]
            else:
                self.instance.as_typed.pop(name, None)


def write_speeds(pairs: list[list[float]], unit: Unit) -> str:
    """Stored pairs of speed [km/h] and factor as lines."""
    return "\n".join(
        f"{unit.from_si(speed):.4g}: {factor:.5g}" for speed, factor in pairs
    )


def _rows(text: str) -> list[tuple[int, str]]:
    rows = enumerate(text.splitlines(), start=1)
    return [(line, row.strip()) for line, row in rows if row.strip()]


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def _plain(text: str) -> float:
    try:
        return parse_number(text)
    except ValueError as error:
        raise ValidationError(f"{error}.") from None


def _factor(text: str) -> float:
    number = _plain(text)
    if number <= 0:
        raise ValidationError(f"“{text}”: a factor is greater than zero.")
    return number
