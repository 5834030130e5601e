"""Forms of work: what people tell, what becomes of it, trips, preventive rules."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError

from installs.calc.upkeep.seen_conditions import Seen
from installs.calc.upkeep.types import (
    ScheduleTrigger,
    Urgency,
    WorkSource,
    WorkState,
)
from installs.models import (
    Installation,
    MaintenanceVisit,
    PreventiveRule,
    Trip,
    WorkItem,
)
from installs.selectors.work import WorkWanted, people_for_work, trips_planned
from sites.models import Lane, Site
from wimprog.lib.forms import DateInput, FactForm, MeasureField
from wimprog.lib.units import Kind, UnitSystem

SHOWN_VISITS = 20
MONTHS = [(str(n), calendar.month_name[n]) for n in range(1, 13)]


def _words(words: Any, first: str) -> list[tuple[str, str]]:
    return [("", first), *((str(word), str(word)) for word in words)]


def _person(user: Any) -> str:
    return str(user.get_full_name() or user.get_username())


class PersonField(forms.ModelChoiceField):
    """One of the people who may work on the list, by name."""

    def label_from_instance(self, obj: Any) -> str:
        return _person(obj)


class WorkFilter(forms.Form):
    """Which work to show."""

    site = forms.CharField(required=False, max_length=20)
    urgency = forms.ChoiceField(required=False, choices=_words(Urgency, "all"))
    source = forms.ChoiceField(required=False, choices=_words(WorkSource, "all"))
    state = forms.ChoiceField(required=False, choices=_words(WorkState, "all open"))
    mine = forms.BooleanField(required=False, label="Mine only")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        codes = Site.objects.values_list("code", flat=True)
        self.fields["site"] = forms.ChoiceField(
            required=False, choices=_words(codes, "all")
        )
        self.order_fields(["site", "urgency", "source", "state", "mine"])

    def wanted(self, user: Any) -> WorkWanted:
        """What was asked for; a word that is not one of the choices asks for all."""
        self.is_valid()
        found = self.cleaned_data
        return WorkWanted(
            site=found.get("site", ""),
            urgency=found.get("urgency", ""),
            source=found.get("source", ""),
            state=found.get("state", ""),
            mine=user if found.get("mine") else None,
        )


class SiteChoice(forms.Form):
    """Which site a report is about."""

    site = forms.ModelChoiceField(
        queryset=Site.objects.working(), to_field_name="code", empty_label="choose"
    )


class WorkReportForm(FactForm):
    """What somebody told of a site."""

    class Meta:
        model = WorkItem
        fields = [
            "reason",
            "lane",
            "installation",
            "part",
            "cause",
            "since_on",
            "is_hazard",
            "lane_is_down",
            "spoils_data",
            "due_on",
            "hours",
            "reported_by",
        ]
        widgets = {
            "reason": forms.Textarea(attrs={"rows": 3}),
            "since_on": DateInput(),
            "due_on": DateInput(),
        }
        labels = {
            "reason": "What is wrong or to be done",
            "installation": "Sensor",
            "since_on": "Since, or found on",
            "due_on": "To be done by",
            "lane_is_down": "The lane gives no usable data",
            "is_hazard": "It can hurt somebody",
            "spoils_data": "The data is in doubt",
            "reported_by": "Told by",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        site = self.instance.wim_site
        lane = self.fields["lane"]
        lane.queryset = Lane.objects.filter(wim_site=site).select_related("wim_site")  # type: ignore[attr-defined]
        lane.empty_label = "the whole site"  # type: ignore[attr-defined]
        sensor = self.fields["installation"]
        sensor.queryset = (  # type: ignore[attr-defined]
            Installation.objects.live()
            .filter(lane__wim_site=site)
            .select_related("lane__wim_site", "sensor__model")
        )
        sensor.empty_label = "none in particular"  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        there = found.get("installation")
        if there is not None and not found.get("lane"):
            found["lane"] = there.lane
        return found


class NoteForm(forms.Form):
    """A change that needs no more than a note."""

    why = forms.CharField(required=False, max_length=200, label="Note")


class ReasonForm(forms.Form):
    """A change that needs its reason."""

    reason = forms.CharField(
        max_length=300, label="Why", widget=forms.Textarea(attrs={"rows": 2})
    )


class AssignForm(NoteForm):
    """Who is to do it."""

    to = PersonField(queryset=None, label="Give it to", empty_label="choose")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["to"].queryset = people_for_work()  # type: ignore[attr-defined]
        self.order_fields(["to", "why"])


class PlanForm(NoteForm):
    """Which trip takes it along."""

    trip: forms.ModelChoiceField[Trip] = forms.ModelChoiceField(
        queryset=None, empty_label="choose"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["trip"].queryset = trips_planned()  # type: ignore[attr-defined]
        self.order_fields(["trip", "why"])


class VisitChoiceField(forms.ModelChoiceField):
    """One of the latest visits to a site."""

    def label_from_instance(self, obj: Any) -> str:
        on = obj.arrived_at.astimezone(ZoneInfo(obj.wim_site.time_zone)).date()
        return f"{on}, {obj.purpose}, {obj.people}"


class DoneForm(forms.Form):
    """When it was done, at which visit, and how."""

    done_on = forms.DateField(label="Done on", widget=DateInput())
    visit = VisitChoiceField(
        queryset=None, required=False, label="At the visit", empty_label="none logged"
    )
    note = forms.CharField(
        required=False,
        max_length=300,
        label="What was done",
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(
        self, *args: Any, item: WorkItem, today: dt.date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        there = MaintenanceVisit.objects.filter(wim_site=item.wim_site)
        latest = there.order_by("-arrived_at").values_list("pk", flat=True)
        self.fields["visit"].queryset = there.filter(  # type: ignore[attr-defined]
            pk__in=list(latest[:SHOWN_VISITS])
        ).select_related("wim_site")
        self.fields["done_on"].initial = today


class TripReachForm(forms.Form):
    """How far and how long a proposed trip may be."""

    hours_per_trip = forms.FloatField(
        required=False, min_value=0.5, max_value=100, label="Hours a trip"
    )

    def __init__(self, *args: Any, system: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        within = MeasureField(
            kind=Kind.DISTANCE, system=UnitSystem(system), required=False
        )
        within.label = f"Sites within, {within.unit.symbol}"
        self.fields["within_km"] = within
        self.order_fields(["within_km", "hours_per_trip"])

    def clean_within_km(self) -> float | None:
        """In kilometres."""
        typed = self.cleaned_data["within_km"]
        if typed is None:
            return None
        if not 0 <= typed.value_si <= 2000:
            raise ValidationError(
                f"{typed.text} is no distance to drive between sites."
            )
        return float(typed.value_si)


class TripForm(FactForm):
    """When, who, and under which traffic control plan."""

    items: forms.ModelMultipleChoiceField[WorkItem] = forms.ModelMultipleChoiceField(
        queryset=None, required=False, widget=forms.MultipleHiddenInput()
    )

    class Meta:
        model = Trip
        fields = [
            "starts_on",
            "ends_on",
            "leader",
            "people",
            "traffic_control_plan",
            "note",
        ]
        field_classes = {"leader": PersonField}
        widgets = {
            "starts_on": DateInput(),
            "ends_on": DateInput(),
            "note": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["leader"].queryset = people_for_work()  # type: ignore[attr-defined]
        self.fields["items"].queryset = WorkItem.objects.open()  # type: ignore[attr-defined]


class PreventiveRuleForm(FactForm):
    """A rule of work that comes round."""

    season_months = forms.TypedMultipleChoiceField(
        label="Months in which it can be done here",
        choices=MONTHS,
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None ticked: any month.",
    )

    class Meta:
        model = PreventiveRule
        fields = [
            "name",
            "technology",
            "part",
            "trigger",
            "interval_months",
            "season_months",
            "condition",
            "hours",
            "source",
            "is_in_use",
        ]
        labels = {"name": "What is done", "trigger": "Due by"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        seen = ", ".join(f"“{word}”" for word in Seen)
        self.fields["condition"].help_text = (
            f"In words. The program sees by itself {seen}, as in “voltage under load "
            "below 11.8 V”; any other condition is a reminder for people."
        )
        if "season_months" in self.initial:
            self.initial["season_months"] = [
                str(month) for month in self.initial["season_months"] or []
            ]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if bool(found.get("technology")) == bool(found.get("part")):
            raise ValidationError(
                "Name a sensor technology or a part of the cabinet, not both and not "
                "neither."
            )
        trigger = found.get("trigger")
        months = found.get("interval_months")
        if trigger == ScheduleTrigger.CALENDAR and months is None:
            self.add_error("interval_months", "By calendar it needs its months.")
        if trigger == ScheduleTrigger.CONDITION and not found.get("condition"):
            self.add_error("condition", "By condition it needs the condition in words.")
        return found


class PreventiveDoneForm(forms.Form):
    """A rule's work was done at a site."""

    done_on = forms.DateField(label="Done on", widget=DateInput())
    note = forms.CharField(required=False, max_length=300)
