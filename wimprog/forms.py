"""The filter of the health page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from wimprog.lib.judgement import Condition


class HealthFilter(forms.Form):
    """Which lanes to show. Unknown values are ignored, never an error page."""

    q = forms.CharField(label="Search", required=False)
    condition = forms.ChoiceField(required=False)
    technology = forms.ChoiceField(required=False)
    wim_site = forms.ChoiceField(label="Site", required=False)

    def __init__(self, *args: Any, health: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        technologies = sorted({t for row in health.lanes for t in row.technologies})
        codes = sorted({row.site_code for row in health.lanes})
        for name, words in (
            ("condition", [c.value for c in Condition]),
            ("technology", technologies),
            ("wim_site", codes),
        ):
            field = self.fields[name]
            field.choices = [("", "all"), *[(w, w) for w in words]]  # type: ignore[attr-defined]
        self.fields["q"].widget.attrs["placeholder"] = "lane, route or reason"

    def apply(self, rows: Iterable[Any]) -> list[Any]:
        """The rows that match."""
        self.is_valid()
        wanted = getattr(self, "cleaned_data", {})
        text = wanted.get("q", "").casefold()
        kept = []
        for row in rows:
            if wanted.get("condition") and row.condition != wanted["condition"]:
                continue
            if wanted.get("technology") and wanted["technology"] not in (
                row.technologies
            ):
                continue
            if wanted.get("wim_site") and row.site_code != wanted["wim_site"]:
                continue
            hay = " ".join((row.name, row.route, *row.reasons)).casefold()
            if text and text not in hay:
                continue
            kept.append(row)
        return kept
