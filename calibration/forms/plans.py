"""Forms of session plans."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from calibration.calc.types import (
    LanePosition,
    SessionPurpose,
)
from calibration.forms.offering import offer_test
from calibration.models import SessionPlan, TestVehicle
from wimprog.lib.forms import DateInput, FactForm, MeasureListField
from wimprog.lib.models import choices_of
from wimprog.lib.units import Kind

EDGES = [one.value for one in LanePosition]
CENTRE = [LanePosition.CENTRE.value]


class SpeedsField(MeasureListField):
    """Speeds in one line."""

    def to_python(self, value: Any) -> Any:
        try:
            typed = super().to_python(value)
        except ValidationError as error:
            told = error.messages[0].replace("the axles", "the speeds")
            raise ValidationError(told) from None
        if len({one.value_si for one in typed}) < len(typed):
            raise ValidationError("A speed appears twice; name each once.")
        return typed


class SessionPlanForm(FactForm):
    """Which vehicles, speeds, places and how many runs, to show what."""

    standard = forms.ChoiceField(label="Tolerance standard")
    wanted_class = forms.ChoiceField(label="Class that the lane has to meet")
    vehicles = forms.ModelMultipleChoiceField(
        queryset=TestVehicle.objects.order_by("name"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose the vehicles that are to be driven."},
    )
    with_lane_edges = forms.BooleanField(
        label="At each speed one run near either edge of the lane",
        required=False,
        help_text="Only where the traffic control plan and the driver allow it.",
    )

    class Meta:
        model = SessionPlan
        fields = [
            "lane",
            "planned_on",
            "standard",
            "wanted_class",
            "plan",
            "environment",
            "vehicles",
            "speeds_kmh",
            "runs_per_vehicle",
            "with_lane_edges",
            "pavement_temps",
            "bias_to_show_pct",
            "expected_sd_pct",
            "traffic_control_plan",
            "note",
        ]
        widgets = {"planned_on": DateInput(), "note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer_test(self)
        self.fields["speeds_kmh"] = SpeedsField(
            kind=Kind.SPEED,
            system=self.system,
            label="Speeds",
            help_text="Separated by spaces, such as the site’s lowest usual speed plus "
            "5 and its highest less 5.",
        )
        self.fields[
            "runs_per_vehicle"
        ].help_text = "At all speeds together; shared out evenly over the speeds."
        self.fields["pavement_temps"].help_text = (
            "Blocks of the day separated by commas, such as “cool morning, hot "
            "afternoon”; runs are shared out over them."
        )
        self.initial["with_lane_edges"] = (
            LanePosition.LEFT.value in self.instance.lane_positions
        )

    def _post_clean(self) -> None:
        super()._post_clean()
        edges = self.cleaned_data.get("with_lane_edges")
        self.instance.lane_positions = EDGES if edges else CENTRE


class PlanBeginForm(forms.Form):
    """Open the session that was planned."""

    held_on = forms.DateField(label="Held on", widget=DateInput())
    purpose = forms.ChoiceField(choices=choices_of(SessionPurpose))
