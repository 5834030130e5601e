"""Forms of an array plan: its own facts, and its elements as rows of one sheet."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.dateparse import parse_datetime

from installs.calc.layout.types import ElementKind
from installs.calc.plausible import (
    USUAL_OF_ELEMENT,
    USUAL_OF_PLAN,
)
from installs.calc.types import Technology
from installs.forms.fine import FineFactForm, NumberField
from installs.models import ArrayPlan, PlanElement
from wimprog.lib.units import UnitSystem

BLANK_ELEMENTS = 3
MOST_ELEMENTS = 60


class PlanStartForm(forms.Form):
    """Which technology a new plan is for."""

    technology = forms.ChoiceField(
        choices=[
            (one.value, one.value)
            for one in Technology
            if one is not Technology.TEMPERATURE_PROBE  # it lies in another's array
        ]
    )


class PlanForm(FineFactForm):
    """What a plan says of its lane, its line and its cabinet."""

    sure = forms.BooleanField(
        label="The numbers asked about are right as typed", required=False
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    class Meta:
        model = ArrayPlan
        fields = [
            "reference_line",
            "drawing_ref",
            "lane_width_m",
            "shoulder_width_m",
            "speed_kmh",
            "controller_spacing_m",
            "cabinet_along_m",
            "cabinet_from_edge_m",
            "longest_lead_m",
            "note",
        ]
        widgets = {
            "reference_line": forms.Textarea(attrs={"rows": 2}),
            "note": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["seen"] = self.instance.updated_at.isoformat()
        self.ask = False

    def clean_seen(self) -> dt.datetime | None:
        text = self.cleaned_data["seen"]
        if not text:
            return None
        try:
            return parse_datetime(text)
        except ValueError:
            raise ValidationError("Open the plan again and change it there.") from None


class PlanElementForm(FineFactForm):
    """One thing of the array, as a row of the sheet."""

    class Meta:
        model = PlanElement
        fields = [
            "kind",
            "name",
            "start_m",
            "length_m",
            "across_from_m",
            "across_to_m",
            "slot_width_mm",
            "slot_depth_mm",
            "sensor_area_mm2",
            "turns",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["why"]
        self.fields["sensor_area_mm2"] = NumberField(
            label="Sensor’s cross-section", symbol="mm²", required=False
        )
        self.fields["across_from_m"].label = "From the right edge"
        self.fields["across_to_m"].label = "To, from the right edge"

    def _get_validation_exclusions(self) -> set[str]:
        """Names are held against each other on the sheet, where two may swap."""
        return {*super()._get_validation_exclusions(), "plan"}  # type: ignore[misc]

    @property
    def questions_asked(self) -> list[str]:
        """Numbers of this row that look like numbers in another unit."""
        found = self.cleaned_data
        if not found.get("kind"):
            return []
        usual = USUAL_OF_ELEMENT[ElementKind(found["kind"])]
        return self.questions(usual, str(found.get("name") or "a nameless row"))


class BaseElements(forms.BaseInlineFormSet):
    """All elements of one plan; two of them may swap their names."""

    def add_fields(self, form: Any, index: int | None) -> None:
        """Say plainly what the last box of a row does."""
        super().add_fields(form, index)
        if "DELETE" in form.fields:
            form.fields["DELETE"].label = "Take out"

    def clean(self) -> None:
        """Every row that was sent out comes back as itself."""
        super().clean()
        if any(form.instance.pk is None for form in self.initial_forms):
            raise ValidationError(
                "A row of this sheet is no longer in the plan; open the plan again."
            )

    def validate_unique(self) -> None:
        """Each name stands once on the sheet."""
        seen: set[str] = set()
        for form in self.forms:
            if form in self.deleted_forms or not form.cleaned_data.get("name"):
                continue
            name = form.cleaned_data["name"].strip().casefold()
            if name in seen:
                form.add_error(
                    "name", "Another row has this name; each thing needs its own."
                )
            seen.add(name)


_Elements = forms.inlineformset_factory(
    ArrayPlan,
    PlanElement,
    form=PlanElementForm,
    formset=BaseElements,
    extra=BLANK_ELEMENTS,
    max_num=MOST_ELEMENTS,
    can_delete=True,
)


class PlanSheet:
    """A draft and its elements as one form, kept together or not at all."""

    def __init__(self, data: Any, *, plan: ArrayPlan, system: UnitSystem | str) -> None:
        self.form = PlanForm(data, instance=plan, system=system)
        self.elements = _Elements(
            data,
            instance=plan,
            prefix="elements",
            queryset=plan.elements.order_by("order", "start_m"),
            form_kwargs={"system": system},
        )

    def is_valid(self) -> bool:
        """Whether all of it can be kept; odd numbers are asked about once."""
        valid = all([self.form.is_valid(), self.elements.is_valid()])
        if not valid:
            self.form.add_error(None, "Some boxes have to be mended first.")
            return False
        questions = self.form.questions(USUAL_OF_PLAN)
        for row in self.elements.forms:
            if row not in self.elements.deleted_forms and row.cleaned_data:
                questions += row.questions_asked
        if questions and not self.form.cleaned_data["sure"]:
            self.form.ask = True
            for question in questions:
                self.form.add_error(None, question)
            return False
        return True

    @property
    def changed(self) -> list[PlanElement]:
        """New rows, and rows of which something was changed."""
        struck = self.elements.deleted_forms
        return [
            row.instance
            for row in self.elements.forms
            if row not in struck
            and row.cleaned_data
            and (row.instance.pk is None or row.changed_texts)
        ]

    @property
    def removed(self) -> list[PlanElement]:
        """Rows that are kept and were struck out."""
        return [row.instance for row in self.elements.deleted_forms if row.instance.pk]
