"""Forms of the roadside: sensors, installations, visits, electrical tests."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef

from installs.calc.reading_text import MOST_TYPED, read_reading
from installs.calc.types import (
    USUAL_QUANTITIES,
    ElectricalQuantity,
    EndReason,
    FailureMode,
    Technology,
    TestStage,
)
from installs.models import (
    ElectricalTest,
    Installation,
    MaintenanceVisit,
    Sensor,
    TechnologyProfile,
)
from installs.services import ReadingInput
from wimprog.lib.forms import DateInput, FactForm, LocalTimeField
from wimprog.lib.units import Kind, shown_unit

SHOWN_VISITS = 10


class ReadingField(forms.CharField):
    """What a meter showed: a number, or ">" and a number when it was over its range.

    In ``unit``, unless another of the quantity's units is written behind the number.
    """

    def __init__(
        self, *, quantity: ElectricalQuantity, unit: str | None = None, **options: Any
    ) -> None:
        options.setdefault("required", False)
        options.setdefault("label", str(quantity).capitalize())
        options.setdefault("help_text", quantity.help_text)
        options.setdefault("max_length", MOST_TYPED)
        options.setdefault(
            "widget",
            forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
        )
        super().__init__(**options)
        self.quantity = quantity
        self.unit = quantity.unit if unit is None else unit
        self.widget.attrs["data-unit"] = self.unit

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            read = read_reading(text, self.quantity, unit=self.unit)
        except ValueError as error:
            unit = f" In {self.unit};" if self.unit else ""
            raise ValidationError(
                f"{str(error)[:1].upper()}{str(error)[1:]}.{unit} “>” before it if the "
                "meter was over its range."
            ) from None
        return ReadingInput(read.value, read.typed, read.over_range)


class SensorForm(FactForm):
    """A sensor as it came out of its box."""

    class Meta:
        model = Sensor
        fields = [
            "model",
            "serial",
            "lot",
            "length_m",
            "lead_length_m",
            "purchased_on",
        ]
        widgets = {"purchased_on": DateInput()}


class InstallationForm(forms.Form):
    """Which sensor went into which position, and when."""

    sensor = forms.ModelChoiceField(queryset=Sensor.objects.select_related("model"))
    position = forms.CharField(
        max_length=40,
        help_text="Where in the lane's arrangement, such as “piezo 1” or “loop 2”.",
    )
    installed_on = forms.DateField(label="Installed on", widget=DateInput())
    note = forms.CharField(
        required=False, widget=forms.Textarea(attrs={"rows": 3}), max_length=2000
    )

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {}).setdefault("installed_on", today)
        super().__init__(*args, **kwargs)
        live = Installation.objects.filter(sensor=OuterRef("pk"), ended_on=None)
        free = Sensor.objects.filter(~Exists(live)).select_related("model")
        # Any sensor may be sent; one that is elsewhere is refused in plain words.
        self.fields["sensor"].choices = [  # type: ignore[attr-defined]
            ("", "choose a sensor that is not in the road"),
            *[(one.pk, f"{one} ({one.model.technology})") for one in free],
        ]


class InstallationEndForm(forms.Form):
    """When an installation ended, and why."""

    ended_on = forms.DateField(label="Ended on", widget=DateInput())
    end_reason = forms.ChoiceField(
        label="Why it ended",
        choices=[(r.value, r.value) for r in EndReason],
        widget=forms.RadioSelect,
        help_text="A sensor pulled because it read badly has failed. Only a failure "
        "ends a life; the other reasons say that it worked until then.",
    )
    failure_mode = forms.ChoiceField(
        label="What failed",
        required=False,
        choices=[
            ("", "nothing: it worked"),
            *[(m.value, m.value) for m in FailureMode],
        ],
        help_text="Only for a failure; “unknown” is an answer.",
    )
    why = forms.CharField(label="In a few words", required=False, max_length=200)

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {}).setdefault("ended_on", today)
        super().__init__(*args, **kwargs)

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        failed = found.get("end_reason") == EndReason.FAILED
        if failed and not found.get("failure_mode"):
            self.add_error(
                "failure_mode", "A failure needs its mode; “unknown” is an answer."
            )
        if found.get("end_reason") and not failed and found.get("failure_mode"):
            self.add_error(
                "failure_mode",
                f"“{found['end_reason']}” has no failure mode; choose “nothing” here "
                "or “failed” above.",
            )
        return found


class ElectricalTestForm(FactForm):
    """An electrical test: one box a quantity that the technology is measured by."""

    class Meta:
        model = ElectricalTest
        fields = [
            "tested_at",
            "stage",
            "pavement_temp_c",
            "instrument_used",
            "instrument",
            "test_voltage_v",
            "tested_by",
            "visit",
            "note",
        ]
        labels = {"instrument_used": "Instrument", "instrument": "Other instrument"}
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args: Any, now: dt.datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        installation = self.instance.installation
        wim_site = installation.lane.wim_site
        self.fields["tested_at"] = LocalTimeField(
            zone=wim_site.time_zone, label="Tested at"
        )
        if self.instance.pk is None:
            self.initial["tested_at"] = now.replace(second=0, microsecond=0)
            self.initial["stage"] = self.initial.get("stage") or TestStage.VISIT.value
        latest = MaintenanceVisit.objects.filter(wim_site=wim_site).values("pk")
        self.fields["visit"].queryset = (  # type: ignore[attr-defined]
            MaintenanceVisit.objects.filter(
                pk__in=[row["pk"] for row in latest[:SHOWN_VISITS]]
            )
            .select_related("wim_site")
            .order_by("-arrived_at")
        )
        self.fields["visit"].empty_label = "not part of a logged visit"  # type: ignore[attr-defined]
        self.fields["instrument_used"].empty_label = "none of the kept ones"  # type: ignore[attr-defined]
        technology = Technology(installation.sensor.model.technology)
        self.quantities = USUAL_QUANTITIES[technology]
        readings = {
            self.box(quantity): ReadingField(
                quantity=quantity, unit=self._unit(quantity)
            )
            for quantity in self.quantities
        }
        self.fields = {**readings, **self.fields}

    def _unit(self, quantity: ElectricalQuantity) -> str:
        """Lengths in the program's units, all else in the quantity's own."""
        if quantity.unit != "m":
            return quantity.unit
        return shown_unit(Kind.LENGTH, self.system).symbol

    @staticmethod
    def box(quantity: ElectricalQuantity) -> str:
        """The name of a quantity's box."""
        return "reading_" + str(quantity).replace(" ", "_")

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        boxes = [self.box(quantity) for quantity in self.quantities]
        if not any(found.get(box) or box in self.errors for box in boxes):
            self.add_error(boxes[0], "Write at least one value that the meter showed.")
        return found

    @property
    def readings(self) -> dict[str, ReadingInput]:
        """What was read, by quantity."""
        return {
            str(quantity): self.cleaned_data[self.box(quantity)]
            for quantity in self.quantities
            if self.cleaned_data.get(self.box(quantity))
        }


class TechnologyProfileForm(FactForm):
    """What the agency expects of a technology."""

    class Meta:
        model = TechnologyProfile
        fields = ["expected_life_years", "replacement_cost", "source"]


class RoadsideSearch(forms.Form):
    """Find a site by its code, name, route or station."""

    q = forms.CharField(
        label="Find a site",
        required=False,
        widget=forms.TextInput(
            attrs={"type": "search", "placeholder": "code, name or route"}
        ),
    )
