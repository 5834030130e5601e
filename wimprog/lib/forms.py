"""Forms in the program's units that keep what was typed.

A model form of ours shows each field whose name ends in a unit (``_kg``, ``_m``,
``_mm``, ``_km``, ``_kmh``, ``_c``) in the program's units, takes numbers as people
type them, stores SI, and keeps the typed text beside it.
"""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from wimprog.lib.models import Fact
from wimprog.lib.units import (
    Kind,
    Typed,
    Unit,
    UnitSystem,
    format_number,
    kind_of_field,
    parse_number,
    shown_unit,
)


class DateInput(forms.DateInput):
    """A day, picked or typed."""

    input_type = "date"

    def __init__(self, **options: Any) -> None:
        super().__init__(format="%Y-%m-%d", **options)


class LocalTimeInput(forms.DateTimeInput):
    """A day and time, picked or typed."""

    input_type = "datetime-local"

    def __init__(self, **options: Any) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M", **options)


class LocalTimeField(forms.DateTimeField):
    """A day and time on the clock at the site; an instant inside."""

    def __init__(self, *, zone: ZoneInfo | str, **options: Any) -> None:
        self.zone = ZoneInfo(str(zone))
        options.setdefault("widget", LocalTimeInput())
        super().__init__(**options)

    def to_python(self, value: Any) -> Any:
        with timezone.override(self.zone):
            return super().to_python(value)

    def prepare_value(self, value: Any) -> Any:
        with timezone.override(self.zone):
            return super().prepare_value(value)


class PlainNumberField(forms.CharField):
    """A number without a unit to turn, as people type it (1,200; −0.5)."""

    widget = forms.TextInput(attrs={"autocomplete": "off"})

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        try:
            return parse_number(text)
        except ValueError as error:
            raise ValidationError(f"{error}.") from None


class MeasureField(forms.CharField):
    """A measured quantity: text in, :class:`Typed` out (None when left empty)."""

    def __init__(self, *, kind: Kind, system: UnitSystem, **options: Any) -> None:
        self.unit: Unit = shown_unit(kind, system)
        options.setdefault(
            "widget",
            forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        )
        super().__init__(**options)
        self.widget.attrs["data-unit"] = self.unit.symbol

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        try:
            parse_number(text)
        except ValueError as error:
            raise ValidationError(f"{error}, in {self.unit.symbol}.") from None
        return Typed(text.strip(), self.unit.symbol)


class MeasureListField(forms.CharField):
    """Several measured quantities in one line, one for each axle."""

    def __init__(self, *, kind: Kind, system: UnitSystem, **options: Any) -> None:
        self.unit: Unit = shown_unit(kind, system)
        options.setdefault(
            "widget",
            forms.TextInput(attrs={"autocomplete": "off", "inputmode": "text"}),
        )
        super().__init__(**options)
        self.widget.attrs["data-unit"] = self.unit.symbol

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return []
        typed = []
        for place, part in enumerate(text.replace(";", " ").split(), start=1):
            try:
                number = parse_number(part)
            except ValueError as error:
                raise ValidationError(
                    f"Number {place}: {error}; separate the axles by spaces."
                ) from None
            if number <= 0:
                raise ValidationError(
                    f"Number {place} is {part}; each must be greater than zero."
                )
            typed.append(Typed(part, self.unit.symbol))
        return typed


class FactForm(forms.ModelForm):
    """Model form of a :class:`Fact` in the program's units, with a place for why."""

    why = forms.CharField(
        label="Why",
        required=False,
        max_length=200,
        help_text="Kept with the change: the reason, when it is not plain.",
    )

    def __init__(
        self, *args: Any, system: UnitSystem | str = UnitSystem.US, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.system = UnitSystem(system)
        self.measures: dict[str, Kind] = {}
        for name, field in list(self.fields.items()):
            kind = kind_of_field(name)
            if kind is None or name == "why":
                continue
            self.measures[name] = kind
            model_field = self._meta.model._meta.get_field(name)
            many = model_field.get_internal_type() == "JSONField"
            factory = MeasureListField if many else MeasureField
            self.fields[name] = factory(
                kind=kind,
                system=self.system,
                label=field.label,
                required=field.required,
                help_text=field.help_text,
            )
            self.initial[name] = self._shown(name, kind, many=many)
        if self.instance.pk is None:
            self.fields["why"].widget = forms.HiddenInput()

    def _shown(self, name: str, kind: Kind, *, many: bool) -> str:
        """The stored value as it goes into the box."""
        value = getattr(self.instance, name, None)
        if value is None or value == "":
            return ""
        unit = shown_unit(kind, self.system)
        if many:
            kept = self.instance.as_typed.get(name)
            if kept and kept[1] == unit.symbol:
                return str(kept[0])
            return " ".join(
                format_number(unit.from_si(one), unit.digits) for one in value
            )
        typed = self.instance.typed(name) if isinstance(self.instance, Fact) else None
        if typed is not None and typed.unit == unit.symbol:
            return typed.text
        return format_number(unit.from_si(value), unit.digits)

    def _post_clean(self) -> None:
        """Turn typed quantities into SI before the model's own checks run."""
        as_typed = dict(self.instance.as_typed)
        for name in self.measures:
            if name not in self.cleaned_data:
                continue
            value = self.cleaned_data[name]
            if isinstance(value, Typed):
                as_typed[name] = [value.text, value.unit]
                self.cleaned_data[name] = value.value_si
            elif isinstance(value, list):
                if value:
                    text = " ".join(one.text for one in value)
                    as_typed[name] = [text, value[0].unit]
                else:
                    as_typed.pop(name, None)
                self.cleaned_data[name] = [one.value_si for one in value] or None
            else:
                as_typed.pop(name, None)
        self.instance.as_typed = as_typed
        super()._post_clean()  # type: ignore[misc]

    @property
    def reason(self) -> str:
        """Why, as typed."""
        return str(self.cleaned_data.get("why") or "")
