"""The visit form, and the small forms of the cabinet and of times down."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q

from installs.calc.types import EndReason
from installs.forms.visit_checks import CheckSection
from installs.forms.visit_sections import (
    DownSection,
    FoundSection,
    Places,
    WorkSection,
)
from installs.forms.visit_stores import PreventiveSection, SpareSection
from installs.models import CabinetUnit, DownSpell, MaintenanceVisit, Trip
from installs.selectors.sends import VISIT_FIELDS
from installs.services.visit_rules import refuse_times
from sites.models import Lane
from wimprog.lib.forms import DateInput, FactForm, LocalTimeField

TRIP_DAYS = dt.timedelta(days=7)


class PhotosInput(forms.ClearableFileInput):
    """Several pictures at once, from the camera or from what is kept."""

    allow_multiple_selected = True

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        held = files.getlist(name) if hasattr(files, "getlist") else files.get(name)
        return held or []


class PhotosField(forms.FileField):
    """Any number of pictures."""

    widget = PhotosInput(attrs={"accept": "image/jpeg,image/png,image/webp"})

    def clean(self, data: Any, initial: Any = None) -> Any:
        files = data if isinstance(data, list | tuple) else [data]
        return [super(PhotosField, self).clean(one, initial) for one in files if one]


class VisitForm(FactForm):
    """A visit to a site, whole: when, who, work, cabinet, parts, times down."""

    photos = PhotosField(label="Photos", required=False)

    class Meta:
        model = MaintenanceVisit
        fields = list(VISIT_FIELDS)
        labels = {"findings": "Found", "actions": "Done", "next_action": "To do next"}
        widgets = {
            name: forms.Textarea(attrs={"rows": 2})
            for name in ("findings", "actions", "next_action")
        }

    def __init__(self, *args: Any, now: dt.datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        wim_site = self.instance.wim_site
        lanes = Lane.objects.filter(wim_site=wim_site).select_related("wim_site")
        self.fields["lane"].queryset = lanes  # type: ignore[attr-defined]
        self.fields["lane"].empty_label = "the whole site"  # type: ignore[attr-defined]
        self.fields["trip"].queryset = self._trips(now)  # type: ignore[attr-defined]
        self.fields["trip"].empty_label = "no planned trip"  # type: ignore[attr-defined]
        for name, label in (("arrived_at", "Arrived"), ("left_at", "Left")):
            self.fields[name] = LocalTimeField(
                zone=wim_site.time_zone, label=label, required=name == "arrived_at"
            )
        if self.instance.pk is None:
            self.initial["arrived_at"] = now.replace(second=0, microsecond=0)
        else:
            self.fields["why"].required = True
            self.fields["why"].label = "Why it is corrected"
        self.places = Places(wim_site)
        self.work = WorkSection(self)
        self.found = FoundSection(self)
        self.checks = CheckSection(self)
        self.down = DownSection(self)
        self.spares = SpareSection(self)
        self.preventive = PreventiveSection(self)

    def _trips(self, now: dt.datetime) -> Any:
        """Trips about now that may have led here, and the visit's own."""
        near = Q(
            called_off_on=None,
            starts_on__lte=(now + dt.timedelta(days=1)).date(),
            starts_on__gte=(now - TRIP_DAYS).date(),
        )
        return Trip.objects.filter(near | Q(pk=self.instance.trip_id))

    @property
    def more_is_open(self) -> bool:
        """Whether the fold of the rarer boxes stands open."""
        return any(
            name in self.errors or self[name].value()
            for name in ("traffic_control_plan", "weather", "next_action", "left_at")
        )

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if "arrived_at" in found:
            told = {n: found.get(n) for n in ("arrived_at", "left_at", "purpose")}
            told["purpose"] = told["purpose"] or ""
            try:
                refuse_times(MaintenanceVisit(wim_site=self.instance.wim_site, **told))
            except ValidationError as error:
                self.add_error(None, error)
        for section in (self.found, self.checks, self.down, self.spares):
            section.check(found)
        return found

    def parts(self) -> dict[str, Any]:
        """What the visit brings with it, as :func:`visit_log` takes it."""
        found = self.cleaned_data
        return {
            "work_done": self.work.done(found),
            "work_undone": self.work.undone(found),
            "work_found": self.found.inputs(found),
            "checks": self.checks.inputs(found),
            "parts": self.spares.inputs(found),
            "down": self.down.down(found),
            "back": self.down.back(found),
            "preventive": self.preventive.inputs(found),
        }


class DownSpellForm(FactForm):
    """A time down corrected."""

    class Meta:
        model = DownSpell
        fields = ["began_at", "ended_at", "cause", "note"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zone = self.instance.lane.wim_site.time_zone
        self.fields["began_at"] = LocalTimeField(zone=zone, label="Down since")
        self.fields["ended_at"] = LocalTimeField(
            zone=zone,
            label="Works again since",
            required=False,
            help_text="Empty: it is still down.",
        )
        self.fields["why"].required = True


class CabinetUnitForm(FactForm):
    """A unit fitted in the cabinet."""

    class Meta:
        model = CabinetUnit
        fields = ["part", "name", "serial", "fitted_on", "note"]
        labels = {"part": "What it is", "serial": "Serial number"}
        widgets = {"fitted_on": DateInput(), "note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("fitted_on", today)


class CabinetUnitEndForm(forms.Form):
    """When a unit left the cabinet, and why."""

    ended_on = forms.DateField(label="Left on", widget=DateInput())
    end_reason = forms.ChoiceField(
        label="Why it left",
        choices=[(r.value, r.value) for r in EndReason],
        widget=forms.RadioSelect,
    )
    why = forms.CharField(label="In a few words", required=False, max_length=200)

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {}).setdefault("ended_on", today)
        super().__init__(*args, **kwargs)


class VisitPhotoForm(forms.Form):
    """A picture of a visit, and what it shows."""

    photo = forms.FileField(
        label="Photo",
        widget=forms.ClearableFileInput(
            attrs={"accept": "image/jpeg,image/png,image/webp"}
        ),
    )
    caption = forms.CharField(label="What it shows", max_length=200, required=False)
    installation: forms.ModelChoiceField[Any] = forms.ModelChoiceField(
        None, label="Of the sensor", required=False, empty_label="the site or cabinet"
    )
    client_id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, sensors: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["installation"].queryset = sensors  # type: ignore[attr-defined]
