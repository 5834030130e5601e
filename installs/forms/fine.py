"""Boxes for work with a tape: fine digits, plain numbers, per cent, odd units asked."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from installs.calc.plausible import Usual, unit_question
from wimprog.lib.forms import FactForm, PlainNumberField
from wimprog.lib.units import Kind, Typed, Unit, shown_unit

#: Nothing on a road is longer, in metres, or in millimetres, or faster, or hotter.
MOST_SI = 10_000.0


def plain(value: float) -> str:
    """A number as it goes back into its box, without needless digits."""
    return f"{value:.9g}"


def fine_text(value_si: float, unit: Unit) -> str:
    """A measured value nobody typed, as its box begins: lengths to the third place."""
    fine = unit.kind in (Kind.LENGTH, Kind.SHORT_LENGTH)
    return plain(round(unit.from_si(value_si), 3 if fine else 1))


class NumberField(PlainNumberField):
    """A number without a unit of its own, typed as people type numbers."""

    def __init__(self, *, symbol: str = "", **options: Any) -> None:
        options.setdefault(
            "widget",
            forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        )
        super().__init__(**options)
        if symbol:
            self.widget.attrs["data-unit"] = symbol

    def prepare_value(self, value: Any) -> Any:
        return plain(value) if isinstance(value, float) else value


class PercentField(NumberField):
    """A share, shown and typed in per cent."""

    def __init__(self, **options: Any) -> None:
        super().__init__(symbol="%", **options)

    def prepare_value(self, value: Any) -> Any:
        return plain(100.0 * value) if isinstance(value, float) else value

    def to_python(self, value: Any) -> Any:
        number = super().to_python(value)
        if number is None:
            return None
        if not 0 <= number <= 100:
            raise ValidationError(f"“{value}” is not between 0 and 100 %.")
        return number / 100.0


class FineFactForm(FactForm):
    """A fact form for work with a tape: finer digits, and rounding changes nothing.

    Where nobody typed a value, its box shows it to the third place; sent back as it
    was, the stored value stays what it was.
    """

    def _shown(self, name: str, kind: Kind, *, many: bool) -> str:
        value = getattr(self.instance, name, None)
        unit = shown_unit(kind, self.system)
        typed = self.instance.typed(name)
        if many or value is None or (typed is not None and typed.unit == unit.symbol):
            return super()._shown(name, kind, many=many)
        return fine_text(value, unit)

    @property
    def changed_texts(self) -> list[str]:
        """The boxes whose text is not the one that the page was sent out with."""
        return [
            name
            for name in self.fields
            if name != "why" and self._text(name) != self._first_text(name)
        ]

    def _text(self, name: str) -> str:
        sent = self.fields[name].widget.value_from_datadict(
            self.data, self.files, self.add_prefix(name)
        )
        return "" if sent in (None, False) else str(sent).strip()

    def _first_text(self, name: str) -> str:
        first = self[name].initial
        first = self.fields[name].prepare_value(first)
        return "" if first in (None, False) else str(first).strip()

    def clean(self) -> dict[str, Any] | None:
        found = super().clean()
        for name, value in list(self.cleaned_data.items()):
            if isinstance(value, Typed) and abs(value.value_si) > MOST_SI:
                self.add_error(name, f"{value.text} {value.unit} is beyond any road.")
        self.typed_now = {
            name: value
            for name, value in self.cleaned_data.items()
            if isinstance(value, Typed) and name in self.changed_texts
        }
        return found

    def _post_clean(self) -> None:
        changed = self.changed_texts
        for name in self.measures:
            kept = name in self.cleaned_data and name not in changed
            if kept and not self.instance.typed(name):
                self.cleaned_data[name] = getattr(self.instance, name)
        super()._post_clean()

    def questions(self, usual: dict[str, Usual], of: str = "") -> list[str]:
        """What was typed now and looks like a number in another unit."""
        asked = []
        for name, typed in getattr(self, "typed_now", {}).items():
            if name in usual:
                what = f"{self.fields[name].label}".lower() + (
                    f" of {of}" if of else ""
                )
                asked.append(unit_question(what, typed, usual[name]))
        return [question for question in asked if question]
