"""Forms of the installation record. Answers are read as they were typed."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django import forms

from installs.calc.types import ElectricalQuantity
from installs.calc.types.records import (
    DispositionKind,
    EntrySource,
    ItemKind,
    LimitSource,
    SignRole,
)
from installs.models import (
    ArrayPlan,
    InstallationRecord,
    Instrument,
    ProductBatch,
    RecordLimit,
    Sensor,
    TemplateItem,
)
from wimprog.lib import clock
from wimprog.lib.forms import DateInput, FactForm, MeasureField
from wimprog.lib.units import Kind, Typed, UnitSystem, parse_number, shown_unit

SENT_BY_SCRIPT = (EntrySource.SCREEN, EntrySource.QUEUED)
LIMITS = ("low", "high", "largest_range")


def unit_of(item: TemplateItem) -> str:
    """The unit of an item's numbers where it is not one of the program's."""
    if item.quantity:
        return ElectricalQuantity(item.quantity).unit
    return item.unit


class RecordForm(FactForm):
    """The head of a record: what is installed, where, when, under which plan."""

    class Meta:
        model = InstallationRecord
        fields = [
            "position",
            "technology",
            "work_on",
            "traffic_control_plan",
            "plan",
            "sensor",
            "installer",
            "contract_ref",
            "note",
        ]
        widgets = {
            "work_on": DateInput(),
            "note": forms.Textarea(attrs={"rows": 2}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lane = self.instance.lane
        plans = ArrayPlan.objects.filter(lane=lane).select_related("lane__wim_site")
        self.fields["plan"].queryset = plans  # type: ignore[attr-defined]
        self.fields["plan"].empty_label = "no array plan"  # type: ignore[attr-defined]
        sensors = Sensor.objects.select_related("model")
        if self.instance.pk:
            del self.fields["position"], self.fields["technology"]
            sensors = sensors.filter(model__technology=self.instance.technology)
        self.fields["sensor"].queryset = sensors  # type: ignore[attr-defined]
        self.fields["sensor"].empty_label = "not chosen yet"  # type: ignore[attr-defined]


class AnswerInput(forms.Form):
    """One answer as it comes from a page, a queue or a paper sheet."""

    client_id = forms.UUIDField(required=False)
    seen = forms.IntegerField(min_value=0, required=False)
    unit = forms.CharField(max_length=16, required=False)
    answer = forms.CharField(max_length=4000, required=False)
    reason = forms.CharField(max_length=1000, required=False)
    instrument = forms.ModelChoiceField(Instrument.objects.all(), required=False)
    batch = forms.ModelChoiceField(ProductBatch.objects.all(), required=False)
    observed_at = forms.CharField(max_length=40, required=False)
    source = forms.ChoiceField(
        choices=[(word.value, word.value) for word in SENT_BY_SCRIPT], required=False
    )

    def clean_observed_at(self) -> dt.datetime:
        text = self.cleaned_data["observed_at"]
        now = clock.now()
        if not text:
            return now
        try:
            seen_at = dt.datetime.fromisoformat(text)
        except ValueError:
            return now
        if seen_at.tzinfo is None:
            return now
        # a phone's clock may be ahead; the server's word is the later bound
        return min(seen_at, now)

    @property
    def numbers_typed(self) -> list[tuple[str, str]]:
        """Text and unit of each number box, empty boxes at the end left out."""
        texts = [text.strip() for text in self.data.getlist("number")]  # type: ignore[attr-defined]
        while texts and not texts[-1]:
            texts.pop()
        unit = self.cleaned_data.get("unit") or ""
        return [(text, unit) for text in texts]

    @property
    def values(self) -> dict[str, Any]:
        """What the service takes."""
        kept = self.cleaned_data
        return {
            "client_id": kept.get("client_id") or uuid.uuid4(),
            "seen": kept.get("seen") or 0,
            "numbers_typed": self.numbers_typed,
            "answer": kept.get("answer") or "",
            "reason": kept.get("reason") or "",
            "instrument": kept.get("instrument"),
            "batch": kept.get("batch"),
            "observed_at": kept["observed_at"],
            "source": EntrySource(kept.get("source") or EntrySource.SCREEN),
        }


class SignForm(forms.Form):
    """A stage signed by name, in a role."""

    role = forms.ChoiceField(label="You sign as", widget=forms.RadioSelect)
    name_signed = forms.CharField(
        label="Your full name",
        max_length=120,
        help_text="Typing your name signs: you saw what is written above, and it is "
        "true.",
    )
    client_id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def __init__(self, *args: Any, roles: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["role"].choices = [  # type: ignore[attr-defined]
            (role.value, role.value) for role in SignRole if role.value in roles
        ]


class DispositionForm(forms.Form):
    """What was decided about an answer out of its limits."""

    kind = forms.ChoiceField(
        label="Decision",
        choices=[(word.value, word.value) for word in DispositionKind],
        widget=forms.RadioSelect,
        help_text="“Reworked” needs a new measurement as well.",
    )
    decided_by = forms.CharField(label="Decided by (name)", max_length=120)
    reason = forms.CharField(
        label="Why", widget=forms.Textarea(attrs={"rows": 3}), max_length=2000
    )


class PhotoForm(forms.Form):
    """A picture for an item."""

    photo = forms.FileField(
        label="Photo",
        widget=forms.ClearableFileInput(
            attrs={
                "accept": "image/jpeg,image/png,image/webp",
                "capture": "environment",
            }
        ),
    )
    caption = forms.CharField(max_length=200, required=False)
    client_id = forms.UUIDField(required=False, widget=forms.HiddenInput)


class StrikeForm(forms.Form):
    """A photo struck out."""

    reason = forms.CharField(label="Why it is struck out", max_length=200)


class CloseForm(forms.Form):
    """A record closed without acceptance."""

    state = forms.ChoiceField(
        label="Close it as",
        choices=[
            ("rejected", "rejected: the work does not stand"),
            ("abandoned", "abandoned: the work was given up before its end"),
        ],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label="Why", widget=forms.Textarea(attrs={"rows": 3}), max_length=2000
    )


class AcceptForm(forms.Form):
    """A record accepted: the sensor's life begins."""

    reason = forms.CharField(
        label="Remark", required=False, max_length=200, help_text="Kept with it."
    )


class RecordLimitForm(forms.Form):
    """A limit that this record is held to instead of its template's."""

    low = forms.CharField(label="At least", required=False)
    high = forms.CharField(label="At most", required=False)
    largest_range = forms.CharField(
        label="Largest difference along the sensor", required=False
    )
    limit_source = forms.ChoiceField(
        label="Whose limit it is",
        choices=[(word.value, word.value) for word in LimitSource],
        initial=LimitSource.CONTRACT.value,
    )
    limit_reference = forms.CharField(label="Clause, sheet or drawing", max_length=200)
    why = forms.CharField(label="Why", max_length=200)

    def __init__(
        self,
        *args: Any,
        asked: TemplateItem,
        instance: RecordLimit | None,
        system: str,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        kind = Kind(asked.measure) if asked.measure else None
        if asked.kind == ItemKind.TRIANGLE:  # held to its offset at the far edge
            kind = Kind.SHORT_LENGTH
        self.unit = shown_unit(kind, UnitSystem(system)) if kind else None
        held = instance or asked
        for name in LIMITS:
            value = getattr(held, name)
            if self.unit and kind:
                self.fields[name] = MeasureField(
                    kind=kind,
                    system=UnitSystem(system),
                    label=self.fields[name].label,
                    required=False,
                )
                value = None if value is None else self.unit.from_si(value)
            else:
                self.fields[name].help_text = unit_of(asked)
            self.initial.setdefault(name, "" if value is None else f"{value:.6g}")
        if asked.kind != ItemKind.SERIES:
            del self.fields["largest_range"]
        if asked.kind == ItemKind.TRIANGLE:
            del self.fields["low"]
        if instance is not None:
            self.initial["limit_source"] = instance.limit_source
            self.initial["limit_reference"] = instance.limit_reference

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        for name in LIMITS:
            value = found.get(name)
            if isinstance(value, Typed):
                found[name] = value.value_si
            elif value:
                try:
                    found[name] = parse_number(value)
                except ValueError as error:
                    self.add_error(name, str(error))
            else:
                found[name] = None
        if all(found.get(name) is None for name in LIMITS) and not self.errors:
            self.add_error("high", "Give at least one limit.")
        return found

    @property
    def values(self) -> dict[str, Any]:
        """What the service takes, in SI."""
        kept = self.cleaned_data
        return {
            **{name: kept.get(name) for name in LIMITS},
            "limit_source": LimitSource(kept["limit_source"]),
            "limit_reference": kept["limit_reference"],
            "why": kept["why"],
        }
