"""Forms of failures: ending a life, what is known of a failure, the claim."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from installs.calc.failure_modes import modes_of
from installs.calc.types import EndReason
from installs.calc.upkeep.types import WarrantyClaim
from installs.forms.road import SHOWN_VISITS, InstallationEndForm
from installs.models import FailureReport, Installation, MaintenanceVisit
from installs.selectors.failures import Proposed
from installs.services.failures import FailureKnown
from wimprog.lib.forms import DateInput

_KNOWN = (
    "found_on",
    "found_by",
    "day_is_known",
    "last_good_on",
    "first_bad_on",
    "evidence",
    "lead_checked",
    "visit",
)


class FailureKnownFields(forms.Form):
    """What is known of a failure beside its mode."""

    found_on = forms.DateField(
        label="Found on",
        required=False,
        widget=DateInput(),
        help_text="Empty: the day it ended.",
    )
    found_by = forms.CharField(
        label="Found by",
        required=False,
        max_length=120,
        help_text="Person, crew or alarm. Empty: you.",
    )
    day_is_known = forms.BooleanField(
        label="The very day is known",
        required=False,
        help_text="Seen as it happened: an alarm, a strike, a broken surface.",
    )
    last_good_on = forms.DateField(
        label="Last known good on", required=False, widget=DateInput()
    )
    first_bad_on = forms.DateField(
        label="First known bad on", required=False, widget=DateInput()
    )
    evidence = forms.CharField(
        label="What shows it",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=4000,
        help_text="Readings, photos, records.",
    )
    lead_checked = forms.BooleanField(
        label="Lead and splice ruled out",
        required=False,
        help_text="By a test of the lead alone.",
    )
    visit = forms.ModelChoiceField(
        label="At the visit",
        queryset=MaintenanceVisit.objects.none(),
        required=False,
        empty_label="not at a logged visit",
    )

    def set_up(self, installation: Installation, proposed: Proposed) -> None:
        """Offer the modes, visits and days that make sense for this sensor."""
        wim_site = installation.lane.wim_site
        latest = MaintenanceVisit.objects.filter(
            wim_site=wim_site, arrived_at__date__gte=installation.installed_on
        ).values_list("pk", flat=True)
        self.fields["visit"].queryset = (  # type: ignore[attr-defined]
            MaintenanceVisit.objects.filter(pk__in=list(latest[:SHOWN_VISITS]))
            .select_related("wim_site")
            .order_by("-arrived_at")
        )
        good, bad = proposed.last_good_on, proposed.first_bad_on
        self.fields["last_good_on"].help_text = (
            f"Empty: {good}, its last good electrical test."
            if good
            else f"Empty: {installation.installed_on}, the day of installation, as no "
            "good test is kept."
        )
        self.proposed = proposed
        if bad:
            self.fields["first_bad_on"].initial = bad
        self.fields["first_bad_on"].help_text = (
            f"Its first bad electrical test was on {bad}. " if bad else ""
        ) + "Empty: the day it was found."

    def clean(self) -> dict[str, Any]:
        """Leave out a proposed day that the other answers leave no place for."""
        found = super().clean() or self.cleaned_data
        bad = found.get("first_bad_on")
        if bad is not None and bad == self.proposed.first_bad_on:
            on = found.get("found_on") or found.get("ended_on")
            ends = found.get("end_reason", EndReason.FAILED.value)
            gone = on is not None and bad > on
            if found.get("day_is_known") or gone or ends != EndReason.FAILED:
                found["first_bad_on"] = None
        return found

    @property
    def known(self) -> FailureKnown:
        """What was filled in."""
        found = {name: self.cleaned_data.get(name) for name in _KNOWN}
        return FailureKnown(**{name: one for name, one in found.items() if one})


def mode_choices(installation: Installation) -> list[tuple[str, str]]:
    """Failure modes of the sensor's technology."""
    technology = installation.sensor.model.technology
    return [(mode.value, mode.value) for mode in modes_of(technology)]


class LifeEndForm(FailureKnownFields, InstallationEndForm):
    """When and why a life ended; for a failure, what is known of it."""

    field_order = ("ended_on", "end_reason", "failure_mode", *_KNOWN, "why")

    def __init__(
        self,
        *args: Any,
        installation: Installation,
        proposed: Proposed,
        today: dt.date,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, today=today, **kwargs)
        self.set_up(installation, proposed)
        self.fields["failure_mode"].choices = [  # type: ignore[attr-defined]
            ("", "nothing: it worked"),
            *mode_choices(installation),
        ]
        self.fields["found_on"].help_text = "Only for a failure. Empty: the day above."

    def clean(self) -> dict[str, Any]:
        found = super().clean()
        if found.get("end_reason") and found["end_reason"] != EndReason.FAILED:
            for name in _KNOWN:
                if found.get(name):
                    self.add_error(
                        name,
                        f"“{found['end_reason']}” is no failure: leave this empty, or "
                        "choose “failed” above.",
                    )
        return found

    @property
    def failed(self) -> bool:
        """Whether the life ended in failure."""
        return bool(self.cleaned_data.get("end_reason") == EndReason.FAILED)


class FailureForm(FailureKnownFields):
    """What is known of a failure that is logged already, or its correction."""

    field_order = ("ended_on", "failure_mode", *_KNOWN, "why")

    ended_on = forms.DateField(
        label="Failed on",
        widget=DateInput(),
        help_text="The day its life is taken to have ended: the very day where that is "
        "known, else the day it was found.",
    )
    failure_mode = forms.ChoiceField(label="What failed")
    why = forms.CharField(
        label="Why",
        required=False,
        max_length=200,
        help_text="Kept with the change; a correction needs it.",
    )

    def __init__(
        self,
        *args: Any,
        installation: Installation,
        proposed: Proposed,
        report: FailureReport | None = None,
        **kwargs: Any,
    ) -> None:
        initial = {
            "ended_on": installation.ended_on,
            "failure_mode": installation.failure_mode,
        }
        if report is not None:
            initial |= {name: getattr(report, name) for name in _KNOWN}
        kwargs["initial"] = initial | kwargs.get("initial", {})
        super().__init__(*args, **kwargs)
        self.set_up(installation, proposed)
        if report is not None and report.visit_id:
            self.fields["visit"].queryset |= MaintenanceVisit.objects.filter(  # type: ignore[attr-defined]
                pk=report.visit_id
            ).select_related("wim_site")
        choices = mode_choices(installation)
        if installation.failure_mode not in {word for word, _ in choices}:
            choices.append((installation.failure_mode, installation.failure_mode))
        self.fields["failure_mode"].choices = choices  # type: ignore[attr-defined]
        if report is None:
            self.fields["ended_on"].disabled = True

    def into(self, report: FailureReport) -> FailureReport:
        """Put what was corrected into a report."""
        data = self.cleaned_data
        for name in _KNOWN:
            if name not in ("found_on", "found_by", "evidence") or data[name]:
                setattr(report, name, data[name])
        report.mode = data["failure_mode"]
        return report


class ClaimForm(forms.Form):
    """How far the claim under the warranty is."""

    claim = forms.ChoiceField(
        label="The claim is",
        choices=[(one.value, one.value) for one in WarrantyClaim],
    )
    claim_ref = forms.CharField(
        label="Reference",
        required=False,
        max_length=80,
        help_text="Under which the supplier knows the claim.",
    )
    why = forms.CharField(label="In a few words", required=False, max_length=200)
