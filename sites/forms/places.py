"""Forms of the program, its sites and lanes."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from sites.models import Lane, Program, Site, SiteState
from wimprog.lib.errors import DomainError
from wimprog.lib.forms import DateInput, FactForm
from wimprog.lib.offered import offered_standards
from wimprog.lib.outline import read_outline


class ProgramForm(FactForm):
    """The agency's settings."""

    class Meta:
        model = Program
        fields = [
            "name",
            "unit_system",
            "time_zone",
            "currency",
            "fiscal_year_start_month",
            "default_standard",
            "default_class",
            "calibration_interval_months",
            "inspection_interval_months",
            "watch_drift_pct",
            "act_drift_pct",
            "silent_days",
            "legal_single_axle_kg",
            "legal_tandem_kg",
            "legal_gross_kg",
            "price_growth_pct",
            "outline",
        ]
        widgets = {"outline": forms.Textarea(attrs={"rows": 4, "spellcheck": "false"})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["unit_system"].help_text = (
            "How quantities are shown and typed, from the next page on. The weights "
            "below are in the units written beside them."
        )
        self._offer_standards()

    def _offer_standards(self) -> None:
        """Choices of the standards that there are; text boxes where none is offered."""
        self.offered = {one.key: one for one in offered_standards()}
        if not self.offered:
            return
        choices: dict[str, Any] = {
            "default_standard": [(one.key, one.title) for one in self.offered.values()],
            "default_class": [
                (one.title, [(name, name) for name in one.classes])
                for one in self.offered.values()
            ],
        }
        for name, offered in choices.items():
            before = self.fields[name]
            self.fields[name] = forms.ChoiceField(
                label=before.label, help_text=before.help_text, choices=offered
            )

    def clean(self) -> dict[str, Any]:
        """A class belongs to its standard."""
        cleaned = super().clean() or {}
        standard = self.offered.get(cleaned.get("default_standard", ""))
        wanted = cleaned.get("default_class")
        if standard and wanted and wanted not in standard.classes:
            self.add_error(
                "default_class",
                f"{standard.title} has no class “{wanted}”. It has "
                f"{', '.join(standard.classes)}.",
            )
        return cleaned

    def clean_outline(self) -> Any:
        outline = self.cleaned_data["outline"]
        if not outline:
            return None
        try:
            read_outline(outline)
        except (DomainError, ValueError) as error:
            raise forms.ValidationError(str(error)) from None
        return outline


PLACE = [
    "code",
    "name",
    "state_code",
    "station_id",
    "route",
    "location_ref",
    "directions",
    "latitude",
    "longitude",
    "time_zone",
    "climate",
    "pavement_type",
    "pavement_year",
    "controller",
    "power",
    "communications",
    "note",
]


class PlaceForm(FactForm):
    """What site forms have in common: coordinates come in pairs."""

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        pair = ("latitude", "longitude")
        if not any(name in self.errors for name in pair):
            missing = [name for name in pair if found.get(name) is None]
            if len(missing) == 1:
                self.add_error(
                    missing[0], "Give both latitude and longitude, or neither."
                )
        return found


class SiteForm(PlaceForm):
    """What a site is; its state is changed by :class:`SiteStateForm`."""

    class Meta:
        model = Site
        fields = PLACE
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}


class SiteAddForm(PlaceForm):
    """A new site, planned or in service since a day."""

    class Meta:
        model = Site
        fields = [*PLACE[:4], "state", "in_service_on", *PLACE[4:]]
        widgets = {
            "in_service_on": DateInput(),
            "note": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["state"].choices = [  # type: ignore[attr-defined]
            (state.value, state.label)
            for state in (SiteState.PLANNED, SiteState.IN_SERVICE)
        ]
        self.fields["in_service_on"].help_text = "Its first day; only if in service."


class SiteStateForm(forms.Form):
    """Move a site to another state from a day on."""

    state = forms.ChoiceField(label="New state", widget=forms.RadioSelect)
    on = forms.DateField(label="From", widget=DateInput())
    why = forms.CharField(label="Why", max_length=200)

    def __init__(self, *args: Any, wim_site: Site, today: dt.date, **kw: Any) -> None:
        kw.setdefault("initial", {})["on"] = today
        super().__init__(*args, **kw)
        self.today = today
        self.fields["state"].choices = [  # type: ignore[attr-defined]
            (state.value, state.label) for state in SiteState if state != wim_site.state
        ]

    def clean_on(self) -> dt.date:
        on: dt.date = self.cleaned_data["on"]
        if on > self.today:
            raise forms.ValidationError(
                f"{on} lies ahead of today ({self.today}); a state is changed on the "
                "day it changes."
            )
        return on


class LaneForm(FactForm):
    """A lane as its traffic records number it."""

    class Meta:
        model = Lane
        fields = [
            "direction",
            "number",
            "width_m",
            "arrangement",
            "opened_on",
            "closed_on",
        ]
        widgets = {"opened_on": DateInput(), "closed_on": DateInput()}

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if "number" not in found or "direction" not in found:
            return found
        clash = Lane.objects.filter(
            wim_site_id=self.instance.wim_site_id,
            direction=found["direction"],
            number=found["number"],
        ).exclude(pk=self.instance.pk)
        if clash.exists():
            self.add_error(
                "number",
                f"This site has a lane {clash[0].label} already; change that one, or "
                "give this one its own number.",
            )
        return found
