"""Filters of the session list."""

from __future__ import annotations

from typing import Any

import django_filters as filters

from calibration.models import CalibrationSession
from sites.models import Lane, Site
from wimprog.lib.judgement import Verdict


class SessionFilter(filters.FilterSet):
    """By site, lane, verdict and year."""

    site = filters.ModelChoiceFilter(
        field_name="lane__wim_site",
        queryset=Site.objects.order_by("code"),
        label="Site",
        empty_label="any",
    )
    lane = filters.ModelChoiceFilter(
        queryset=Lane.objects.select_related("wim_site"),
        label="Lane",
        empty_label="any",
    )
    verdict = filters.ChoiceFilter(
        field_name="verdict_word",
        choices=[(one.value, one.value) for one in Verdict],
        label="Verdict",
        empty_label="any",
        null_label="no data",
        null_value="none",
        method="with_verdict",
    )
    year = filters.NumberFilter(field_name="held_on", lookup_expr="year", label="Year")

    class Meta:
        model = CalibrationSession
        fields: list[str] = []

    def with_verdict(self, queryset: Any, name: str, value: str) -> Any:
        if value == "none":
            return queryset.filter(verdict_word__isnull=True)
        return queryset.filter(verdict_word=value)
