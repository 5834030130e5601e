"""Forms of what surveys are judged by: thresholds, and the agency's own limits."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from sites.models import SurveySettings
from sites.selectors import LimitRow
from wimprog.lib.forms import FactForm
from wimprog.lib.units import parse_number


class SurveySettingsForm(FactForm):
    """Which standards count, the class wanted, and thresholds of advice."""

    governing = forms.MultipleChoiceField(
        label="Standards that count against a location",
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="A miss of one that does not count is shown as advice.",
    )

    class Meta:
        model = SurveySettings
        fields = [
            "governing",
            "site_class_wanted",
            "trucks_per_day_min",
            "power_distance_max_m",
            "pavement_thickness_min_mm",
            "pavement_age_max_years",
            "speed_spread_max_pct",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        from sites.calc.suitability.registry import all_standards

        self.fields["governing"].choices = [  # type: ignore[attr-defined]
            (key, one.title) for key, one in all_standards().items()
        ]


class SurveyLimitForm(forms.Form):
    """The agency's own limit in the place of a recalled one, in the shown unit."""

    value = forms.CharField(
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    )
    source = forms.CharField(
        label="Where it stands",
        max_length=200,
        help_text="Document, edition and clause, or who decided it.",
    )
    why = forms.CharField(label="Why it is set now", max_length=100, required=False)

    def __init__(self, *args: Any, row: LimitRow, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.row = row
        symbol = row.symbol
        self.fields["value"].label = row.value.name.capitalize()
        self.fields["value"].widget.attrs["data-unit"] = symbol
        if symbol:
            self.fields["value"].help_text = f"In {symbol}."

    def clean_value(self) -> str:
        text: str = self.cleaned_data["value"].strip()
        try:
            parse_number(text)
        except ValueError as error:
            raise ValidationError(f"{error}, in {self.row.symbol}.") from None
        return text

    @property
    def asked(self) -> dict[str, Any]:
        """What :func:`survey_limit_set` takes of what was typed."""
        text, row = self.cleaned_data["value"], self.row
        return {
            "value": row.value.scale.to_si(parse_number(text), row.system),
            "typed": (text, row.symbol),
            "source": self.cleaned_data["source"],
            "why": self.cleaned_data["why"],
        }


class SurveyLimitReturnForm(forms.Form):
    """Why the agency's own limit is given up."""

    why = forms.CharField(label="Why", max_length=100)
