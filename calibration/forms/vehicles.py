"""Forms of test vehicles and of their static weighings."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError

from calibration.calc.words import VehicleOrigin
from calibration.forms.moments import MomentField
from calibration.forms.readings import read_readings, write_readings
from calibration.models import StaticWeighing, TestVehicle
from wimprog.lib.errors import UnreadableInput
from wimprog.lib.forms import DateInput, FactForm, MeasureField
from wimprog.lib.units import Kind, format_number, shown_unit


class TestVehicleForm(FactForm):
    """A truck of known layout."""

    __test__ = False

    class Meta:
        model = TestVehicle
        fields = [
            "name",
            "vehicle_class",
            "axle_spacings_m",
            "origin",
            "body",
            "suspension",
            "tyres",
            "note",
        ]
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields[
            "axle_spacings_m"
        ].help_text = (
            "Front to rear, parted by spaces; one fewer than axles, such as 16.8 4.4."
        )
        self.fields["origin"].label = "Where it comes from"
        self.fields["origin"].required = False
        self.fields["origin"].help_text = (
            "A vehicle drawn from traffic is weighed once and let go; a test vehicle "
            "comes back."
        )
        self.fields["suspension"].help_text = "Such as air on the drive axles, leaf."
        self.fields["tyres"].help_text = "Such as size, twin or wide single, pressure."
        if self.instance.pk:
            self.fields["why"].required = self.instance.weighings.exists()

    def clean_origin(self) -> str:
        return self.cleaned_data["origin"] or VehicleOrigin.TEST_VEHICLE.value


class StaticWeighingForm(FactForm):
    """A vehicle weighed standing still: single readings, or an axle weight each."""

    readings_text = forms.CharField(
        label="Readings of the scale",
        required=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
    )
    split_groups = forms.BooleanField(
        label="Share a group’s weight evenly among its axles",
        required=False,
        help_text="Only where axles of a group were not weighed alone. Errors of those "
        "single axles then say nothing.",
    )

    class Meta:
        model = StaticWeighing
        fields = [
            "weighed_at",
            "scale",
            "certificate",
            "certified_on",
            "certificate_until",
            "scale_step_kg",
            "scale_expanded_kg",
            "scale_expanded_pct",
            "scale_coverage_k",
            "axle_weights_kg",
            "fuel_kg_per_hour",
            "note",
        ]
        widgets = {
            "certified_on": DateInput(),
            "certificate_until": DateInput(),
            "note": forms.Textarea(attrs={"rows": 3}),
        }

    field_order = (
        "weighed_at",
        "readings_text",
        "axle_weights_kg",
        "split_groups",
        "scale",
        "certificate",
        "certified_on",
        "certificate_until",
        "scale_step_kg",
        "scale_expanded_kg",
        "scale_expanded_pct",
        "scale_coverage_k",
        "fuel_kg_per_hour",
        "note",
        "why",
    )

    def __init__(self, *args: Any, zone: ZoneInfo, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["weighed_at"] = MomentField(
            zone=zone, label="Weighed at", help_text=f"Time in {zone.key}."
        )
        self.mass = shown_unit(Kind.MASS, self.system)
        self._fuel_in_program_units()
        weighing, vehicle = self.instance, self.instance.vehicle
        rear = f"axles 2-{vehicle.n_axles}" if vehicle.n_axles > 2 else "axle 2"
        text = self.fields["readings_text"]
        text.help_text = (
            f"In {self.mass.symbol}, one part of the truck a line, repeats parted by "
            f"spaces: “axle 1: 11,480 11,460”, “{rear}: 34,020”, “whole: 79,980”. "
            "Weigh more than once: the spread says how good the reference is."
        )
        axles = self.fields["axle_weights_kg"]
        axles.required = False
        axles.label = "Or only the weight of each axle"
        axles.help_text = (
            f"{vehicle.n_axles} weights, front to rear, parted by spaces. Leave it "
            "empty where there are readings."
        )
        self.fields["scale_coverage_k"].required = False
        if weighing.readings:
            kept = weighing.as_typed.get("readings")
            is_same = kept and kept[1] == self.mass.symbol
            self.initial["readings_text"] = (
                kept[0]
                if is_same
                else write_readings(weighing.readings, self.mass, vehicle.n_axles)
            )
            self.initial["axle_weights_kg"] = ""
        if weighing.pk and weighing.runs.exists():
            self.fields["why"].required = True
            self.fields["why"].help_text = (
                "Runs are held against this weighing: their results are computed anew "
                "and the reason is kept."
            )
        self.order_fields(self.field_order)

    def _fuel_in_program_units(self) -> None:
        """The rate of burn in the program's unit of weight an hour."""
        name = "fuel_kg_per_hour"
        old = self.fields[name]
        self.fields[name] = MeasureField(
            kind=Kind.MASS,
            system=self.system,
            label="Fuel burnt in an hour",
            required=False,
            help_text="Weight that the truck loses while it drives; the reference of "
            "each run gets lighter by it. Empty where it is not known.",
        )
        self.measures[name] = Kind.MASS
        value = self.instance.fuel_kg_per_hour
        typed = self.instance.typed(name)
        if value is None:
            self.initial[name] = ""
        elif typed is not None and typed.unit == self.mass.symbol:
            self.initial[name] = typed.text
        else:
            self.initial[name] = format_number(self.mass.from_si(value), 1)
        self.fields[name].required = old.required

    def clean_scale_coverage_k(self) -> float:
        return float(self.cleaned_data.get("scale_coverage_k") or 2.0)

    def clean_readings_text(self) -> str:
        text = str(self.cleaned_data["readings_text"]).strip()
        try:
            self.instance.readings = read_readings(
                text, self.mass, self.instance.vehicle.n_axles
            )
        except UnreadableInput as error:
            raise ValidationError([str(one) for one in error.complaints]) from None
        return text

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        text = cleaned.get("readings_text")
        if text is None or "axle_weights_kg" in self.errors:
            return cleaned
        if text and cleaned.get("axle_weights_kg"):
            self.add_error(
                "axle_weights_kg",
                "Give the readings or the axle weights, not both; the axle weights are "
                "computed from the readings.",
            )
        elif not text and not cleaned.get("axle_weights_kg"):
            self.add_error(
                "readings_text",
                "Give the readings of the scale, or the weight of each axle.",
            )
        return cleaned

    def _post_clean(self) -> None:
        former = self.instance.axle_weights_kg
        super()._post_clean()
        text = self.cleaned_data.get("readings_text")
        if text:
            self.instance.as_typed["readings"] = [text, self.mass.symbol]
            self.instance.axle_weights_kg = former or []  # computed by the service
        else:
            self.instance.as_typed.pop("readings", None)
