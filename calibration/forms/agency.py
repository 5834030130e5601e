"""Forms of what the agency sets: values of standards, and when lanes are due."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from calibration.calc.pavement_design import PA_PER_PSI
from calibration.calc.standards.values import EditableValue
from calibration.models import CalibrationSettings
from wimprog.lib.errors import DomainError
from wimprog.lib.forms import FactForm
from wimprog.lib.units import (
    KM_PER_MILE,
    MM_PER_IN,
    UnitSystem,
    format_number,
    parse_number,
)

_PER_IN_MILE = 1.0 / (KM_PER_MILE * MM_PER_IN / 10.0)
CONVERTED: dict[UnitSystem, dict[str, tuple[str, float, int]]] = {
    UnitSystem.US: {
        "price_per_lane_km_cm": ("per inch and lane-mile", _PER_IN_MILE, 2),
        "resilient_modulus_mpa": ("psi", PA_PER_PSI / 1e6, 0),
    },
    UnitSystem.SI: {
        "price_per_lane_km_cm": ("per cm and lane-km", 1.0, 2),
        "resilient_modulus_mpa": ("MPa", 1.0, 1),
    },
}
"""Units of settings that no kind of quantity has: symbol, size in SI, places."""


def shown_converted(
    settings: CalibrationSettings, name: str, system: UnitSystem | str
) -> str:
    """A converted setting as it was typed, or in the program's unit; "" without one."""
    value = getattr(settings, name)
    if value is None:
        return ""
    symbol, factor, digits = CONVERTED[UnitSystem(system)][name]
    kept = settings.as_typed.get(name)
    if kept and kept[1] == symbol:
        return str(kept[0])
    return format_number(value / factor, digits)


class ConvertedField(forms.CharField):
    """A number in a unit of its own: text in, (text, number) out; None when empty."""

    def __init__(self, *, symbol: str, **options: Any) -> None:
        options["widget"] = forms.TextInput(
            attrs={"inputmode": "decimal", "autocomplete": "off"}
        )
        super().__init__(**options)
        self.symbol = symbol

    def to_python(self, value: Any) -> Any:
        text = (super().to_python(value) or "").strip()
        if not text:
            return None
        try:
            return text, parse_number(text)
        except ValueError as error:
            raise ValidationError(f"{error}, in {self.symbol}.") from None


class CalibrationSettingsForm(FactForm):
    """How the agency decides about calibrations."""

    class Meta:
        model = CalibrationSettings
        fields = [
            "bias_tolerance_pct",
            "chance_level",
            "soon_days",
            "settling_hours",
            "weeks_after_installation",
            "weeks_after_works",
            "reference_share",
            "match_window_s",
            "session_cost",
            "price_per_lane_km_cm",
            "designed_per_year_km",
            "design_esals",
            "resilient_modulus_mpa",
            "design_reliability",
            "serviceability_loss",
            "layer_coefficient_per_in",
            "too_thin_factor",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, (symbol, _, _) in CONVERTED[self.system].items():
            before = self.fields[name]
            self.fields[name] = ConvertedField(
                symbol=symbol,
                label=f"{before.label}, {symbol}",
                required=False,
                help_text=before.help_text,
            )
            self.initial[name] = shown_converted(self.instance, name, self.system)
        self.fields["price_per_lane_km_cm"].help_text = (
            "Of one unit of thickness of the layer over one lane’s length, in the "
            "program’s currency."
        )

    def _post_clean(self) -> None:
        as_typed = dict(self.instance.as_typed)
        for name, (symbol, factor, _) in CONVERTED[self.system].items():
            value = self.cleaned_data.get(name)
            if isinstance(value, tuple):
                as_typed[name] = [value[0], symbol]
                self.cleaned_data[name] = value[1] * factor
            elif name in self.cleaned_data:
                as_typed.pop(name, None)
        self.instance.as_typed = as_typed
        super()._post_clean()


class StandardValueForm(forms.Form):
    """The agency's own value in the place of a recalled one."""

    value = forms.CharField(
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    )
    source = forms.CharField(
        label="Where it stands",
        max_length=200,
        help_text="Document, edition and clause, or the agency’s decision.",
    )
    why = forms.CharField(
        label="Why",
        required=False,
        max_length=200,
        help_text="Kept with the change: the reason, when it is not plain.",
    )

    def __init__(self, *args: Any, known: EditableValue, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.known = known
        self.fields["value"].label = known.name.capitalize()
        if known.unit:
            self.fields["value"].widget.attrs["data-unit"] = known.unit

    def clean_value(self) -> float:
        try:
            number = parse_number(self.cleaned_data["value"])
        except ValueError as error:
            raise ValidationError(f"{error}.") from None
        try:
            return self.known.checked(number, "as typed")
        except DomainError as error:
            raise ValidationError(error.message) from None


class ReturnForm(forms.Form):
    """Give up the agency's own value."""

    why = forms.CharField(label="Why", max_length=200)
