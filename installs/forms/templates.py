"""Forms of the stage templates: a stage, and an item by what it asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from installs import cautions
from installs.calc.record_limits import unit_shown
from installs.calc.template_checks import BY_CURING_TABLE, answers_of, is_branch
from installs.calc.types import ElectricalQuantity
from installs.calc.types.judging import ItemSpec
from installs.calc.types.records import ItemKind, LimitRule, SignRole
from installs.models import TemplateItem, TemplateStage
from installs.selectors.templates import spec_of_item
from wimprog.lib.units import Kind, UnitSystem, parse_number, shown_unit

LIMITS = ("low", "high", "largest_range")
COMMON = ("prompt", "help", "required", "only_if", "least_photos")
WHOSE = ("limit_source", "limit_reference")
#: The boxes of an item, by what it asks for.
BOXES: dict[ItemKind, tuple[str, ...]] = {
    ItemKind.MEASUREMENT: ("low", "high", "limit_rule", *WHOSE),
    ItemKind.SERIES: ("points", *LIMITS, *WHOSE),
    ItemKind.TRIANGLE: ("high", *WHOSE),
    ItemKind.READING: ("test_stage", "low", "high", "limit_rule", *WHOSE),
    ItemKind.YES_NO: ("expected", *WHOSE),
    ItemKind.CHOICE: ("options", "expected", *WHOSE),
    ItemKind.PHOTO: (),
    ItemKind.BATCH: WHOSE,
    ItemKind.TEXT: WHOSE,
}
_ASKED_ALWAYS = ("", "always")


def _words(words: Any) -> list[tuple[str, str]]:
    return [(str(word), str(word)) for word in words]


@dataclass(frozen=True)
class LimitUnit:
    """The unit that an item's limits are typed in."""

    symbol: str
    factor: float = 1.0
    offset: float = 0.0

    @classmethod
    def of(cls, spec: ItemSpec, system: UnitSystem) -> LimitUnit:
        """Of a triangle it is the offset at the far edge, a short length."""
        measure = spec.measure
        if spec.kind is ItemKind.TRIANGLE:
            measure = Kind.SHORT_LENGTH
        if measure is None or spec.quantity is not None:
            return cls(unit_shown(spec, system))
        unit = shown_unit(measure, system)
        return cls(unit.symbol, unit.factor, unit.offset)

    def si(self, value: float, *, difference: bool) -> float:
        """As stored; a difference knows no offset."""
        return value * self.factor + (0.0 if difference else self.offset)

    def shown(self, value_si: float, *, difference: bool) -> str:
        """As it goes into the box, without needless digits."""
        value = (value_si - (0.0 if difference else self.offset)) / self.factor
        return f"{value:.9g}"


class LimitField(forms.CharField):
    """One side of a limit: text in, a number out, None where there is no limit."""

    def __init__(self, *, unit: LimitUnit, difference: bool, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault(
            "widget",
            forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        )
        super().__init__(**options)
        self.unit, self.difference = unit, difference
        self.widget.attrs["data-unit"] = unit.symbol

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        try:
            number = parse_number(text)
        except ValueError as error:
            raise ValidationError(f"{error}, in {self.unit.symbol}.") from None
        return self.unit.si(number, difference=self.difference)


class LinesField(forms.CharField):
    """Several answers, one a line."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("widget", forms.Textarea(attrs={"rows": 4}))
        super().__init__(**options)

    def prepare_value(self, value: Any) -> Any:
        return "\n".join(value) if isinstance(value, list | tuple) else value

    def to_python(self, value: Any) -> Any:
        lines = [" ".join(one.split()) for one in str(value or "").splitlines()]
        return [one for one in lines if one]

    def clean(self, value: Any) -> Any:
        lines = self.to_python(value)
        if self.required and not lines:
            raise ValidationError("Write one answer a line.")
        twice = {one for one in lines if lines.count(one) > 1}
        if twice:
            raise ValidationError(f"“{min(twice)}” stands there twice.")
        return lines


class StageForm(forms.ModelForm):
    """A stage: what it proves, what can hurt, who signs."""

    cautions = forms.MultipleChoiceField(
        label="Cautions shown before it",
        required=False,
        choices=[(key, key.replace("_", " ")) for key in cautions.BY_KEY],
        widget=forms.CheckboxSelectMultiple,
    )
    sign_roles = forms.MultipleChoiceField(
        label="Signed by",
        choices=_words(SignRole),
        widget=forms.CheckboxSelectMultiple,
        help_text="Work that will be hidden is best seen by two.",
    )
    why = forms.CharField(
        label="Why", required=False, max_length=200, help_text="Kept with the change."
    )

    class Meta:
        model = TemplateStage
        fields = ["title", "purpose", "cautions", "sign_roles"]
        widgets = {"purpose": forms.Textarea(attrs={"rows": 3})}
        labels = {"purpose": "What it has to prove"}


class ItemKindForm(forms.Form):
    """What a new item asks for: the first of two steps."""

    kind = forms.ChoiceField(
        label="What kind of answer",
        choices=_words(ItemKind),
        widget=forms.RadioSelect,
    )
    measure = forms.ChoiceField(
        label="What is measured",
        required=False,
        choices=[("", "nothing, or in a unit of its own"), *_words(Kind)],
        help_text="For a measurement or a series; its limits are then typed in the "
        "program’s units.",
    )
    unit = forms.CharField(
        label="Unit of its own",
        required=False,
        max_length=16,
        help_text="Such as min, ° or vehicles, where nothing above fits.",
    )
    quantity = forms.ChoiceField(
        label="What the instrument reads",
        required=False,
        choices=[("", "choose for a reading"), *_words(ElectricalQuantity)],
    )

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        kind = found.get("kind")
        if kind == ItemKind.READING and not found.get("quantity"):
            self.add_error("quantity", "Choose what the instrument reads.")
        if kind == ItemKind.SERIES and not (found.get("measure") or found.get("unit")):
            self.add_error("measure", "Choose what is measured, or write its unit.")
        if found.get("measure") and found.get("unit"):
            self.add_error("unit", "Leave it empty, or choose nothing above.")
        return found

    def item(self, stage: TemplateStage) -> TemplateItem:
        """A new item of that kind, with what does not belong to it left out."""
        found = self.cleaned_data
        kind = ItemKind(found["kind"])
        measured = kind in (ItemKind.MEASUREMENT, ItemKind.SERIES)
        measure = found["measure"] if measured else ""
        return TemplateItem(
            stage=stage,
            kind=kind.value,
            measure=Kind.LENGTH.value if kind is ItemKind.TRIANGLE else measure,
            unit=found["unit"] if measured else "",
            quantity=found["quantity"] if kind is ItemKind.READING else "",
            least_photos=1 if kind is ItemKind.PHOTO else 0,
        )


class ItemForm(forms.ModelForm):
    """One item, with the boxes that its kind has; limits in the program's units."""

    options = LinesField(label="Answers, one a line")
    why = forms.CharField(
        label="Why", required=False, max_length=200, help_text="Kept with the change."
    )

    class Meta:
        model = TemplateItem
        fields = [
            "prompt",
            "help",
            "options",
            "expected",
            "test_stage",
            "points",
            "low",
            "high",
            "largest_range",
            "limit_rule",
            "limit_source",
            "limit_reference",
            "required",
            "least_photos",
        ]
        widgets = {
            "prompt": forms.Textarea(attrs={"rows": 2}),
            "help": forms.Textarea(attrs={"rows": 2}),
        }
        labels = {
            "prompt": "What it asks",
            "help": "How to do it",
            "expected": "Answer that passes",
            "test_stage": "Electrical test that it belongs to",
            "points": "Numbers along the sensor",
            "limit_rule": "Where its limits come from",
            "limit_source": "Whose it is",
            "limit_reference": "Clause, sheet or drawing",
            "required": "It has to be answered",
            "least_photos": "Photos at least",
        }
        help_texts = {"limit_reference": "Where the limit can be read."}

    def __init__(
        self,
        *args: Any,
        system: UnitSystem | str,
        earlier: Sequence[TemplateItem],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.kind = ItemKind(self.instance.kind)
        self._limit_boxes(UnitSystem(system))
        self._answer_boxes()
        self._condition_box(earlier)
        self.order_fields([*self.Meta.fields, "only_if", "why"])
        wanted = {*COMMON, *BOXES[self.kind], "why"}
        for name in set(self.fields) - wanted:
            del self.fields[name]
        if self.instance.pk is None:
            self.fields["why"].widget = forms.HiddenInput()

    def _limit_boxes(self, system: UnitSystem) -> None:
        spec = spec_of_item(self.instance)
        unit = LimitUnit.of(spec, system)
        labels = {
            "low": "At least",
            "high": "At most",
            "largest_range": "Its numbers differ by at most",
        }
        helps = {
            "largest_range": "Between any two of them.",
            "high": "Out of square at the far edge of the lane; empty takes the "
            "tolerance of the work settings."
            if self.kind is ItemKind.TRIANGLE
            else "",
        }
        for name, label in labels.items():
            difference = name == "largest_range"
            self.fields[name] = LimitField(
                unit=unit,
                difference=difference,
                label=label,
                help_text=helps.get(name, ""),
            )
            value = getattr(self.instance, name)
            if value is not None:
                self.initial[name] = unit.shown(value, difference=difference)
        rules = [LimitRule.FIXED]
        if spec.quantity is not None:
            rules.append(LimitRule.SENSOR_MODEL)
        if spec.key in BY_CURING_TABLE:
            rules.append(LimitRule.CURING_TABLE)
        self.fields["limit_rule"] = forms.ChoiceField(
            label="Where its limits come from",
            choices=_words(rules),
            help_text="The limits written here stand where that has none.",
        )
        if len(rules) == 1:
            self.fields["limit_rule"].widget = forms.HiddenInput()
            self.initial["limit_rule"] = LimitRule.FIXED.value

    def _answer_boxes(self) -> None:
        if self.kind is ItemKind.YES_NO:
            self.fields["expected"] = forms.ChoiceField(
                label="Answer that passes",
                required=False,
                choices=[
                    ("", "either: the next questions hang on it"),
                    ("yes", "yes"),
                    ("no", "no"),
                ],
            )
        elif self.kind is ItemKind.CHOICE:
            self.fields["expected"].help_text = "Empty when each of them passes."
        if self.kind is ItemKind.READING:
            self.fields["test_stage"].required = True
        if self.kind is ItemKind.SERIES:
            self.fields["points"].required = True

    def _condition_box(self, earlier: Sequence[TemplateItem]) -> None:
        """Every answer that it can hang on: of questions where each answer passes."""
        held = (self.instance.only_if_key, self.instance.only_if_answer)
        pairs = [_ASKED_ALWAYS]
        self._conditions: dict[str, tuple[str, str]] = {"": ("", "")}
        for item in earlier:
            spec = spec_of_item(item)
            if not (is_branch(spec) or spec.key == held[0]):
                continue
            for answer in answers_of(spec):
                code = f"{spec.key}={answer}"
                self._conditions[code] = (spec.key, answer)
                pairs.append((code, f"“{item.prompt}” is “{answer}”"))
        self.fields["only_if"] = forms.ChoiceField(
            label="Asked only if", required=False, choices=pairs
        )
        if held[0]:
            self.initial["only_if"] = f"{held[0]}={held[1]}"
        elif len(pairs) == 1:
            self.fields["only_if"].widget = forms.HiddenInput()

    def clean_prompt(self) -> str:
        """One line, whatever it was typed as."""
        return " ".join(str(self.cleaned_data["prompt"]).split())

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if "only_if" in found:
            key, answer = self._conditions[found["only_if"]]
            self.instance.only_if_key, self.instance.only_if_answer = key, answer
        return found

    @property
    def reason(self) -> str:
        """Why, as typed."""
        return str(self.cleaned_data.get("why") or "")


class NoteForm(forms.Form):
    """What a version changes, and why."""

    note = forms.CharField(
        label="What this version changes, and why",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 5}),
    )


class ReasonForm(forms.Form):
    """Why, before something is done that many will notice."""

    why = forms.CharField(
        label="Why", max_length=200, help_text="Kept with the version."
    )


class MoveForm(forms.Form):
    """Which way an item or a stage goes."""

    way = forms.ChoiceField(choices=[("up", "up"), ("down", "down")])
