"""Forms of makes and models, what their readings are held to, and data sheets."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BaseInlineFormSet, inlineformset_factory

from installs.calc.reading_text import MOST_TYPED, read_reading
from installs.calc.types import USUAL_QUANTITIES, ElectricalQuantity, Technology
from installs.models import ElectricalLimit, Sensor, SensorModel
from wimprog.lib.forms import FactForm
from wimprog.lib.units import parse_number

_NUMBER_BOX = {"inputmode": "text", "autocomplete": "off"}
_OF_TEMPERATURE = (
    "temp_coefficient_pct_per_c",
    "reference_temp_c",
    "coefficient_source",
)
_PLAIN = (
    "data_sheet_tolerance_pct",
    "baseline_tolerance_pct",
    "temp_coefficient_pct_per_c",
)


class SensorModelForm(FactForm):
    """A make and model."""

    class Meta:
        model = SensorModel
        fields = ["maker", "name", "technology", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}


class LimitForm(FactForm):
    """What one quantity of a model is held to.

    Numbers are kept as typed; a lowest or highest value may carry another unit of the
    quantity ("1 GΩ").
    """

    class Meta:
        model = ElectricalLimit
        fields = [
            "quantity",
            "low",
            "high",
            "source",
            "data_sheet_tolerance_pct",
            "baseline_tolerance_pct",
            "temp_coefficient_pct_per_c",
            "reference_temp_c",
            "coefficient_source",
        ]
        labels = {
            "low": "Lowest accepted",
            "high": "Highest accepted",
            "source": "Source of limits and tolerances",
            "data_sheet_tolerance_pct": "Within ± of its own data sheet",
            "baseline_tolerance_pct": "Within ± of its own first readings",
            "temp_coefficient_pct_per_c": "Temperature coefficient",
            "coefficient_source": "Source of the coefficient",
        }
        help_texts = {
            "source": "Maker's sheet, standard, contract or the agency's own.",
            "temp_coefficient_pct_per_c": "Per cent of the value at the reference "
            "temperature, for each °C above it.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["why"]  # asked once, for the model and all its limits
        # Its name ends like a temperature's, but it is a share for each degree.
        self.measures.pop("temp_coefficient_pct_per_c", None)
        word = self.initial.get("quantity") or self.instance.quantity
        unit = ElectricalQuantity(word).unit if word else ""
        for name in ("low", "high"):
            self._text_box(name, unit)
        for name in _PLAIN:
            self._text_box(name, "% per °C" if name.endswith("_c") else "%")

    @property
    def sides(self) -> list[forms.BoundField]:
        """What every set has: the quantity, its limit and where that is from."""
        return [self[name] for name in ("quantity", "low", "high", "source")]

    @property
    def further(self) -> list[forms.BoundField]:
        """Tolerances and temperature: what many sets leave empty."""
        return [self[name] for name in (*_PLAIN[:2], *_OF_TEMPERATURE)]

    @property
    def is_further_filled(self) -> bool:
        """Whether the further boxes hold something, or something wrong."""
        return any(field.value() or field.errors for field in self.further)

    def _text_box(self, name: str, unit: str) -> None:
        old = self.fields[name]
        self.fields[name] = forms.CharField(
            label=old.label,
            required=False,
            help_text=old.help_text,
            max_length=MOST_TYPED,
            widget=forms.TextInput(attrs=_NUMBER_BOX | {"data-unit": unit}),
        )
        value = getattr(self.instance, name, None)
        typed = self.instance.as_typed.get(name)
        if value is not None:
            self.initial[name] = typed[0] if typed else f"{value:g}"
        elif isinstance(self.initial.get(name), float):
            self.initial[name] = f"{self.initial[name]:g}"

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        word = found.get("quantity")
        for name in ("low", "high"):
            self._read(name, ElectricalQuantity(word) if word else None)
        for name in _PLAIN:
            self._read(name, None)
        return found

    def _read(self, name: str, quantity: ElectricalQuantity | None) -> None:
        """Turn a box's text into its number, and keep the text."""
        text = self.cleaned_data.get(name)
        if not text:
            self.cleaned_data[name] = None
            self.instance.as_typed.pop(name, None)
            return
        try:
            if quantity is not None:
                read = read_reading(text, quantity)
                if read.over_range:
                    raise ValueError("a limit is a number; leave the “>” out")
                value = read.value
            else:
                value = parse_number(text.removesuffix("%").strip())
        except ValueError as error:
            self.add_error(name, f"{str(error)[:1].upper()}{str(error)[1:]}.")
            return
        self.cleaned_data[name] = value
        self.instance.as_typed[name] = [text, quantity.unit if quantity else "%"]


class LimitFormSet(BaseInlineFormSet):
    """All quantities of a model; each only once."""

    def add_fields(self, form: Any, index: int | None) -> None:
        super().add_fields(form, index)
        if "DELETE" in form.fields:
            form.fields["DELETE"].label = "Take this set away (its history stays)"

    def get_unique_error_message(self, unique_check: Any) -> str:
        return "A quantity can be held to only one set of limits; it is there twice."


def limit_formset(
    data: Any, *, model: SensorModel, system: str, usual: bool = False
) -> BaseInlineFormSet:
    """The boxes of a model's limits, with an empty set of them (or the usual ones)."""
    from installs.calc.published import typical_limits

    initial = []
    if usual and data is None and model.technology:
        there = set(model.limits.values_list("quantity", flat=True)) if model.pk else ()
        initial = [
            {
                "quantity": quantity.value,
                "low": limit.low,
                "high": limit.high,
                "source": f"{limit.source} ({limit.standing})",
            }
            for quantity, limit in typical_limits(Technology(model.technology)).items()
            if quantity.value not in there
        ]
    factory = inlineformset_factory(
        SensorModel,
        ElectricalLimit,
        form=LimitForm,
        formset=LimitFormSet,
        extra=len(initial) or 1,
        max_num=len(ElectricalQuantity),
        can_delete=True,
        can_delete_extra=False,
    )
    return factory(
        data,
        instance=model,
        prefix="limits",
        initial=initial,
        form_kwargs={"system": system},
    )


class DataSheetForm(forms.Form):
    """The maker's values for one sensor, as its own data sheet gives them."""

    why = forms.CharField(
        label="Why",
        required=False,
        max_length=200,
        help_text="Kept with the change: the reason, when it is not plain.",
    )

    def __init__(self, *args: Any, sensor: Sensor, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sensor = sensor
        usual = USUAL_QUANTITIES[Technology(sensor.model.technology)]
        self.quantities = tuple(quantity for quantity in usual if not quantity.signed)
        boxes: dict[str, forms.Field] = {}
        for quantity in self.quantities:
            boxes[str(quantity)] = forms.CharField(
                label=str(quantity).capitalize(),
                required=False,
                max_length=MOST_TYPED,
                widget=forms.TextInput(
                    attrs=_NUMBER_BOX | {"data-unit": quantity.unit}
                ),
            )
            self.initial[str(quantity)] = sensor.data_sheet.get(str(quantity), "")
        self.fields = {**boxes, **self.fields}

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        for quantity in self.quantities:
            text = found.get(str(quantity))
            if not text:
                continue
            try:
                read = read_reading(text, quantity)
                if read.over_range or read.value <= 0:
                    raise ValueError("a data sheet gives a number above zero")
            except ValueError as error:
                words = f"{str(error)[:1].upper()}{str(error)[1:]}."
                self.add_error(str(quantity), ValidationError(words))
        return found

    @property
    def data_sheet(self) -> dict[str, Any]:
        """The sheet with what was typed; quantities without a box stay as they were."""
        boxes = {str(quantity) for quantity in self.quantities}
        kept = {q: v for q, v in self.sensor.data_sheet.items() if q not in boxes}
        typed = {q: self.cleaned_data[q] for q in boxes if self.cleaned_data.get(q)}
        return {**kept, **typed}
