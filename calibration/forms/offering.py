"""What the forms of sessions and of their plans offer alike."""

from __future__ import annotations

from typing import Any

from django import forms

from calibration.calc.types import EnvironmentPlan, TestPlan
from sites.selectors import lane_list


def offer_test(form: forms.BaseForm) -> None:
    """Offer the lanes, the standards with their classes, and the test conditions."""
    from calibration.calc.standards import all_standards

    standards = all_standards().values()
    choices: dict[str, Any] = {
        "standard": [(one.key, f"{one.title} {one.edition}") for one in standards],
        "wanted_class": [
            (one.title, [(name, name) for name in one.classes]) for one in standards
        ],
        "plan": [(one.value, f"{one.value}: {one.meaning}") for one in TestPlan],
        "environment": [
            (one.value, f"{one.value}: {one.meaning}") for one in EnvironmentPlan
        ],
    }
    for name, offered in choices.items():
        form.fields[name].choices = offered  # type: ignore[attr-defined]
    form.fields["lane"].queryset = lane_list()  # type: ignore[attr-defined]
