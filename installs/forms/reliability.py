"""What the reliability page is asked for; all of it in the address."""

from __future__ import annotations

from typing import Any

from django import forms

from installs.calc.types import Technology
from installs.selectors.reliability import GroupBy

WINDOW_YEARS = (1, 2, 5)


class ReliabilityForm(forms.Form):
    """By what, of which technology, over how long."""

    by = forms.ChoiceField(
        label="Grouped by",
        required=False,
        choices=[(one.value, one.value) for one in GroupBy],
    )
    technology = forms.ChoiceField(
        required=False,
        choices=[("", "all"), *[(one.value, one.value) for one in Technology]],
    )
    years = forms.ChoiceField(
        label="Work of lanes over the last",
        required=False,
        choices=[(str(n), f"{n} year{'' if n == 1 else 's'}") for n in WINDOW_YEARS],
    )

    def asked(self) -> dict[str, Any]:
        """What was asked for; whatever is not one of the choices is left out."""
        self.is_valid()
        found = self.cleaned_data
        return {
            "by": GroupBy(found.get("by") or GroupBy.TECHNOLOGY),
            "technology": found.get("technology") or "",
            "years": int(found.get("years") or WINDOW_YEARS[0]),
        }
