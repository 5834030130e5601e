"""Forms of what people decide: of drift, corrections, limits and days in question."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from quality.calc.types import CorrectionState, EpisodeState
from sites.models import Lane


class ReasonForm(forms.Form):
    """A reason."""

    reason = forms.CharField(max_length=300)


class EpisodeForm(ReasonForm):
    """What became of a drift, and why."""

    state = forms.ChoiceField(
        choices=[(word.value, word.value) for word in EpisodeState]
    )


class CorrectionForm(ReasonForm):
    """Whether a back-correction may be used, and why."""

    state = forms.ChoiceField(
        choices=[(word.value, word.value) for word in CorrectionState]
    )


class LimitForm(forms.Form):
    """The agency's own limit of a check."""

    lane = forms.ModelChoiceField(
        queryset=Lane.objects.select_related("wim_site").order_by(
            "wim_site__code", "number"
        ),
        required=False,
        empty_label="all lanes",
    )
    value = forms.FloatField(required=False, label="Limit")
    is_off = forms.BooleanField(required=False, label="Do not use this check there")
    source = forms.CharField(
        max_length=200, label="Why this limit", help_text="Its source, or the reason."
    )

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        if data.get("value") is None and not data.get("is_off"):
            raise ValidationError("Give the limit, or say that the check is not used.")
        return data


class AcceptPlainForm(forms.Form):
    """Which days without a finding to accept, and how many were shown."""

    expected_days = forms.IntegerField(min_value=1)
    site = forms.CharField(max_length=20, required=False)
    lane = forms.IntegerField(required=False)
    month = forms.DateField(required=False)

    def chosen(self) -> dict[str, Any]:
        """The service's arguments."""
        data = self.cleaned_data
        return {
            "expected_days": data["expected_days"],
            "site_code": data["site"],
            "lane_id": data["lane"],
            "month": data["month"],
        }


class SpanForm(forms.Form):
    """Days of a lane: the first and the last."""

    lane = forms.IntegerField(widget=forms.HiddenInput)
    first = forms.DateField(required=False)
    last = forms.DateField(required=False)

    def span(self, otherwise: dt.date) -> tuple[dt.date, dt.date]:
        """The days asked for; the week up to ``otherwise`` where they do not read."""
        self.is_valid()
        last = self.cleaned_data.get("last") or otherwise
        first = self.cleaned_data.get("first") or last - dt.timedelta(days=6)
        return min(first, last), last
