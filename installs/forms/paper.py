"""A paper sheet of one stage, typed in afterwards."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from installs.calc.types.records import ItemKind
from installs.models import Instrument, ProductBatch
from installs.services import PaperAnswer
from wimprog.lib.forms import LocalTimeField

NUMBERS = (
    ItemKind.MEASUREMENT,
    ItemKind.SERIES,
    ItemKind.TRIANGLE,
    ItemKind.READING,
)


class PaperForm(forms.Form):
    """One box an item; a box left empty adds nothing to the record."""

    def __init__(
        self, *args: Any, view: Any, zone: str, now: dt.datetime, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.now = now
        self.fields["observed_at"] = LocalTimeField(
            zone=zone, label="When it was measured, by the sheet"
        )
        self.fields["written_by"] = forms.CharField(
            label="Who wrote the sheet", max_length=120
        )
        self.asked = [one for one in view.items if one.item.kind != ItemKind.PHOTO]
        instruments = Instrument.objects.all()
        batches = ProductBatch.objects.all()
        for one in self.asked:
            self.fields[self.box(one)] = self._answer_field(one, batches)
            if one.entry is not None or view.is_frozen:
                self.fields[f"{self.box(one)}_reason"] = forms.CharField(
                    label=f"{one.item.number}. Reason for the other answer",
                    required=False,
                    max_length=1000,
                )
            if one.item.kind == ItemKind.READING:
                self.fields[f"{self.box(one)}_instrument"] = forms.ModelChoiceField(
                    instruments, label="Instrument", required=False
                )

    @staticmethod
    def box(one: Any) -> str:
        """The name of an item's box."""
        return f"item_{one.item.pk}"

    def _answer_field(self, one: Any, batches: Any) -> forms.Field:
        label = f"{one.item.number}. {one.item.prompt}"
        told = one.limit_words
        if one.item.kind == ItemKind.BATCH:
            return forms.ModelChoiceField(
                batches, label=label, required=False, empty_label="not on the sheet"
            )
        if one.choices:
            words = [("", "not on the sheet"), *[(w, w) for w in one.choices]]
            return forms.ChoiceField(
                label=label, required=False, choices=words, help_text=told
            )
        if one.item.kind in NUMBERS:
            unit = f" ({one.unit_symbol})" if one.unit_symbol else ""
            if one.n_boxes > 1:
                told = f"{one.n_boxes} numbers, separated by spaces. {told}".strip()
            return forms.CharField(
                label=f"{label}{unit}", required=False, help_text=told, max_length=400
            )
        return forms.CharField(
            label=label,
            required=False,
            max_length=4000,
            widget=forms.Textarea(attrs={"rows": 2}),
        )

    def clean_observed_at(self) -> dt.datetime:
        observed: dt.datetime = self.cleaned_data["observed_at"]
        if observed > self.now:
            raise ValidationError("That lies ahead; write when it was measured.")
        return observed

    @property
    def answers(self) -> list[PaperAnswer]:
        """What stands on the sheet, item by item."""
        found = []
        for one in self.asked:
            value = self.cleaned_data.get(self.box(one))
            if not value:
                continue
            common = {
                "item": one.item,
                "seen": one.entry.pk if one.entry else 0,
                "instrument": self.cleaned_data.get(f"{self.box(one)}_instrument"),
                "reason": self.cleaned_data.get(f"{self.box(one)}_reason") or "",
            }
            if one.item.kind == ItemKind.BATCH:
                found.append(PaperAnswer(batch=value, **common))
            elif one.item.kind in NUMBERS:
                texts = value.replace(";", " ").split()
                typed = tuple((text, one.unit_symbol) for text in texts)
                found.append(PaperAnswer(numbers_typed=typed, **common))
            else:
                found.append(PaperAnswer(answer=value, **common))
        return found
