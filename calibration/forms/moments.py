"""Days and times of day, as the clock on the site's wall shows them."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.utils import timezone


class DateInput(forms.DateInput):
    """A day, picked or typed."""

    input_type = "date"

    def __init__(self, **options: Any) -> None:
        super().__init__(format="%Y-%m-%d", **options)


class MomentField(forms.DateTimeField):
    """A date with a time of day in one time zone."""

    def __init__(self, *, zone: ZoneInfo, **options: Any) -> None:
        self.zone = zone
        options.setdefault(
            "widget",
            forms.DateTimeInput(
                format="%Y-%m-%dT%H:%M:%S",
                attrs={"type": "datetime-local", "step": "1"},
            ),
        )
        super().__init__(**options)

    def prepare_value(self, value: Any) -> Any:
        with timezone.override(self.zone):
            return super().prepare_value(value)

    def to_python(self, value: Any) -> Any:
        with timezone.override(self.zone):
            return super().to_python(value)
