"""Forms of calibration sessions: opened, changed, closed."""

from __future__ import annotations

from typing import Any

from django import forms

from calibration.forms.offering import offer_test
from calibration.models import CalibrationSession
from wimprog.lib.forms import DateInput, FactForm


class SessionForm(FactForm):
    """Truck runs over one lane, planned or under way."""

    standard = forms.ChoiceField(label="Tolerance standard")
    wanted_class = forms.ChoiceField(label="Class that the lane has to meet")

    class Meta:
        model = CalibrationSession
        fields = [
            "lane",
            "held_on",
            "purpose",
            "plan",
            "environment",
            "standard",
            "wanted_class",
            "factor_before",
            "conditions",
            "people",
            "traffic_control_plan",
            "note",
        ]
        widgets = {"held_on": DateInput(), "note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer_test(self)
        self.fields["factor_before"].help_text = "The factor in use when you arrive."


class CloseForm(forms.Form):
    """End a session with the factor it leaves behind."""

    factor_after = forms.FloatField(
        label="Factor left in use",
        required=False,
        min_value=1e-9,
        help_text="The same as before, if it was left alone. Empty if not known.",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    why = forms.CharField(
        label="Why",
        max_length=200,
        required=False,
        help_text="What was decided, such as “left alone: change within its noise”.",
    )
