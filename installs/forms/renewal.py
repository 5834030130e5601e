"""Forms of renewal: what if, the settings, the agency's own figures, works."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from installs.calc.condition import ASSUMED_EFFECTS
from installs.calc.upkeep.types import PolicyKind
from installs.forms.fine import NumberField, PercentField, plain
from installs.models import (
    HazardEffect,
    PavementWork,
    RenewalSettings,
    TechnologyMoney,
    TechnologyProfile,
)
from installs.selectors.policies import WhatIf
from sites.models import Lane, Site
from wimprog.lib.forms import DateInput, FactForm
from wimprog.lib.models import choices_of

YEAR_CHOICES = (3, 5, 10, 20)
DEFAULT_YEARS, MOST_YEARS = 5, 20
MOST_MONEY = 1e9


class WhatIfForm(forms.Form):
    """What is asked of the forecast; an empty box leaves the settings' own."""

    years = forms.CharField(required=False)
    policy = forms.ChoiceField(
        label="Replace",
        required=False,
        choices=[("", "as the settings say"), *choices_of(PolicyKind)],
    )
    age = NumberField(label="At an age of", symbol="years", required=False)
    chance = PercentField(label="At a chance within a year of", required=False)
    wait = NumberField(label="Wait for works up to", symbol="months", required=False)
    growth = NumberField(label="Prices grow a year", symbol="%", required=False)
    worth = NumberField(label="Worth of a lane-month of data", required=False)
    budget = NumberField(label="Budget", required=False)
    exactly = NumberField(label="or exactly", required=False)

    _RANGES = {
        "age": (0.1, 60.0, "years"),
        "wait": (0.0, 120.0, "months"),
        "growth": (-20.0, 50.0, "% a year"),
        "worth": (0.0, MOST_MONEY, ""),
        "budget": (0.0, MOST_MONEY, ""),
        "exactly": (0.0, MOST_MONEY, ""),
    }

    def __init__(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.is_valid()

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        for name, (low, high, unit) in self._RANGES.items():
            value = found.get(name)
            if value is not None and not low <= value <= high:
                self.add_error(
                    name,
                    f"{plain(value)} is not between {plain(low)} and "
                    f"{high:,.0f} {unit}".rstrip()
                    + "; the settings’ own is shown.",
                )
        chance = found.get("chance")
        if chance is not None and not 0.0 < chance < 1.0:
            self.add_error("chance", "Give a chance above 0 and below 100 %.")
        return found

    @property
    def asked(self) -> WhatIf:
        """What was asked; what could not be read is left to the settings."""
        kept = self.cleaned_data
        years = kept.get("years", "")
        many = int(years) if years.isdecimal() and len(years) < 4 else DEFAULT_YEARS
        wait = kept.get("wait")
        exactly = kept.get("exactly")
        policy = kept.get("policy")
        return WhatIf(
            years=min(max(many, 1), MOST_YEARS),
            growth_pct=kept.get("growth"),
            policy=PolicyKind(policy) if policy else None,
            age_years=kept.get("age"),
            chance=kept.get("chance"),
            wait_years=None if wait is None else wait / 12.0,
            budget=kept.get("budget") if exactly is None else exactly,
            lane_month_worth=kept.get("worth") or 0.0,
        )


class RenewalSettingsForm(FactForm):
    """What replacements share, how long they take, and the policy."""

    policy_chance = PercentField(
        label="At a chance within a year of", help_text="For replacing at a condition."
    )

    class Meta:
        model = RenewalSettings
        fields = [
            "mobilisation",
            "closure_rate_per_hour",
            "closure_setup_hours",
            "closure_hours_each",
            "urgent_extra",
            "trip_window_months",
            "yearly_budget",
            "months_to_replace",
            "months_planned",
            "policy",
            "policy_age_years",
            "policy_chance",
            "wait_for_works_years",
            "source",
        ]

    def clean(self) -> dict[str, Any] | None:
        found = super().clean()
        kept = self.cleaned_data
        if kept.get("policy") == PolicyKind.AT_AGE and not kept.get("policy_age_years"):
            self.add_error(
                "policy_age_years", "Give the age at which a sensor is replaced."
            )
        if kept.get("policy") == PolicyKind.AT_CONDITION and not (
            0.0 < (kept.get("policy_chance") or 0.0) < 1.0
        ):
            self.add_error("policy_chance", "Give a chance above 0 and below 100 %.")
        return found


class ExpectationForm(FactForm):
    """What the agency expects of a technology before its own failures."""

    class Meta:
        model = TechnologyProfile
        fields = ["expected_life_years", "replacement_cost", "source"]


class TechnologyMoneyForm(FactForm):
    """The agency's own costs of a technology; an empty box is not entered."""

    accepted_share = PercentField(
        label="Share of months accepted",
        required=False,
        help_text="Of the months in service.",
    )

    class Meta:
        model = TechnologyMoney
        fields = [
            "parts_each",
            "work_each",
            "renewal_cost",
            "upkeep_per_year",
            "equipment_cost",
            "equipment_life_years",
            "accepted_share",
            "price_year",
            "source",
        ]


class HazardEffectForm(FactForm):
    """The agency's own word on an effect of condition."""

    class Meta:
        model = HazardEffect
        fields = ["ratio", "log_sd", "source"]

    def clean_ratio(self) -> float:
        ratio = float(self.cleaned_data["ratio"])
        if not 0.05 <= ratio <= 20.0:
            raise forms.ValidationError(
                f"A hazard ratio of {plain(ratio)} is beyond belief; give 0.05 to 20 "
                "(1 is no effect, 2 doubles the chance)."
            )
        return ratio


class PavementWorkForm(FactForm):
    """Works on the pavement that take the sensors of a site out."""

    class Meta:
        model = PavementWork
        fields = ["wim_site", "lane", "planned_on", "what", "reference"]
        widgets = {"planned_on": DateInput()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["wim_site"] = forms.ModelChoiceField(
            label="Site", queryset=Site.objects.order_by("code")
        )
        self.fields["lane"] = forms.ModelChoiceField(
            label="Lane",
            required=False,
            help_text="Empty: all lanes of the site.",
            queryset=Lane.objects.select_related("wim_site").order_by(
                "wim_site__code", "direction", "number"
            ),
        )

    def clean(self) -> dict[str, Any] | None:
        found = super().clean()
        wim_site, lane = (
            self.cleaned_data.get("wim_site"),
            self.cleaned_data.get("lane"),
        )
        if wim_site and lane and lane.wim_site_id != wim_site.pk:
            self.add_error("lane", f"{lane} is not a lane of {wim_site.code}.")
        return found


class WhyForm(forms.Form):
    """Why a figure of the agency's own is taken back."""

    why = forms.CharField(
        label="Why", max_length=200, help_text="Kept with the change."
    )


EFFECTS = {effect.name: effect for effect in ASSUMED_EFFECTS}
