"""Forms of what people decide: of drift, corrections, limits and days in question."""

from __future__ import annotations

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
