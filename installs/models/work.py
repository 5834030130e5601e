"""Work that waits, trips that take it along, and work that comes round by itself."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from installs.calc.types import Technology
from installs.calc.upkeep.types import (
    CabinetPart,
    ScheduleTrigger,
    WorkSource,
    WorkState,
)
from wimprog.lib.models import Fact, choices_of

OPEN_WORK = tuple(state.value for state in WorkState if state.is_open)


class Trip(Fact):
    """A day (or more) on the road that takes the work of near sites along."""

    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    leader = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="trips",
        help_text="Who leads it.",
    )
    people = models.CharField(max_length=200, blank=True)
    traffic_control_plan = models.CharField(
        max_length=80,
        blank=True,
        help_text="Reference of the traffic control plan that will be in force.",
    )
    note = models.TextField(blank=True)
    called_off_on = models.DateField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["starts_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__isnull=True)
                | Q(ends_on__gte=models.F("starts_on")),
                name="trip_days_in_order",
                violation_error_message="A trip cannot end before it starts.",
            )
        ]

    def __str__(self) -> str:
        return f"trip of {self.starts_on}"

    def get_absolute_url(self) -> str:
        return reverse("installs:trip-detail", args=[self.pk])


class WorkItemQuerySet(models.QuerySet["WorkItem"]):
    """Questions about work."""

    def open(self) -> WorkItemQuerySet:
        """What somebody still has to do."""
        return self.filter(state__in=OPEN_WORK)


class WorkItem(Fact):
    """One thing that somebody should see to, from whatever source.

    ``source_key`` names the finding that raised it ("drift:12", "schedule:3:site 4"):
    one open item a key, so that looking again makes no second one. An item that
    somebody closed is not raised again by the same ``raised_by`` evidence.
    """

    source = models.CharField(max_length=32, choices=choices_of(WorkSource))
    source_key = models.CharField(max_length=120, blank=True, editable=False)
    evidence_key = models.CharField(
        max_length=200,
        blank=True,
        editable=False,
        help_text="What the finding rested on when it was raised.",
    )
    wim_site = models.ForeignKey(
        "sites.Site", on_delete=models.PROTECT, related_name="work_items"
    )
    lane = models.ForeignKey(
        "sites.Lane",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="work_items",
    )
    installation = models.ForeignKey(
        "installs.Installation",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="work_items",
    )
    part = models.CharField(
        "part of the cabinet",
        max_length=32,
        choices=choices_of(CabinetPart),
        blank=True,
    )
    cause = models.CharField(
        max_length=80, blank=True, help_text="What is wrong or due, in a word or two."
    )
    reason = models.CharField(
        max_length=400, help_text="What is to be done and why, in a sentence."
    )
    evidence = models.JSONField(default=list, blank=True, editable=False)
    since_on = models.DateField(help_text="Day it was found or fell due.")
    due_on = models.DateField(null=True, blank=True)
    lane_is_down = models.BooleanField(
        default=False, help_text="The lane gives no usable data because of it."
    )
    is_hazard = models.BooleanField(
        default=False,
        help_text="It can hurt somebody: a loose plate, an open pull box.",
    )
    spoils_data = models.BooleanField(
        default=False, help_text="The lane's data is in doubt while it waits."
    )
    hours = models.FloatField(
        "hours on site",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0), MaxValueValidator(200.0)],
    )
    state = models.CharField(
        max_length=12,
        choices=choices_of(WorkState),
        default=WorkState.FOUND.value,
        editable=False,
    )
    assigned_to = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="work_items",
    )
    trip = models.ForeignKey(
        Trip,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="work_items",
    )
    found_at_visit = models.ForeignKey(
        "installs.MaintenanceVisit",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="opened_work",
    )
    done_at_visit = models.ForeignKey(
        "installs.MaintenanceVisit",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="closed_work",
    )
    done_on = models.DateField(null=True, blank=True, editable=False)
    verified_on = models.DateField(null=True, blank=True, editable=False)
    closing_note = models.CharField(max_length=300, blank=True, editable=False)
    reported_by = models.CharField(
        max_length=120, blank=True, help_text="Who told of it, where a person did."
    )

    objects = WorkItemQuerySet.as_manager()

    class Meta:
        ordering = ["since_on", "pk"]
        indexes = [
            models.Index(fields=["state", "wim_site"], name="work_by_state_and_site"),
            models.Index(fields=["source_key"], name="work_by_source_key"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["source_key"],
                condition=Q(state__in=OPEN_WORK) & ~Q(source_key=""),
                name="open_work_once_a_finding",
                violation_error_message="This finding is already on the work list.",
            ),
            models.CheckConstraint(
                condition=~Q(reason=""), name="work_item_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wim_site.code}: {self.reason}"

    def get_absolute_url(self) -> str:
        return reverse("installs:work-detail", args=[self.pk])

    def clean(self) -> None:
        if self.lane_id and self.lane and self.lane.wim_site_id != self.wim_site_id:
            raise ValidationError({"lane": "That lane belongs to another site."})
        there = self.installation
        if there and self.lane_id and there.lane_id != self.lane_id:
            raise ValidationError({"installation": "That sensor is in another lane."})


class PreventiveRule(Fact):
    """Work that comes round: by calendar in the local season, or by condition."""

    name = models.CharField(
        max_length=120, help_text="What is done, such as load test of the battery."
    )
    trigger = models.CharField(
        max_length=12,
        choices=choices_of(ScheduleTrigger),
        default=ScheduleTrigger.CALENDAR.value,
    )
    technology = models.CharField(
        "sensors of", max_length=24, choices=choices_of(Technology), blank=True
    )
    part = models.CharField(
        "or part of the cabinet",
        max_length=32,
        choices=choices_of(CabinetPart),
        blank=True,
    )
    interval_months = models.PositiveSmallIntegerField(
        "every, months",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(240)],
    )
    season_months = models.JSONField(
        default=list,
        blank=True,
        help_text="Months (1 to 12) in which it can be done here; none: any month.",
    )
    condition = models.CharField(max_length=200, blank=True)
    hours = models.FloatField(
        "hours on site",
        default=1.0,
        validators=[MinValueValidator(0.0), MaxValueValidator(200.0)],
    )
    source = models.CharField(
        max_length=200, help_text="Whose rule it is: the maker's, the agency's."
    )
    is_in_use = models.BooleanField("in use", default=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["name", "technology", "part"], name="preventive_rule_once"
            ),
            models.CheckConstraint(
                condition=(~Q(technology="") & Q(part=""))
                | (Q(technology="") & ~Q(part="")),
                name="preventive_rule_of_one_thing",
                violation_error_message="Name a sensor technology or a part of the "
                "cabinet, not both.",
            ),
            models.CheckConstraint(
                condition=(Q(trigger="calendar") & Q(interval_months__isnull=False))
                | (Q(trigger="condition") & ~Q(condition="")),
                name="preventive_rule_says_when",
                violation_error_message="A rule by calendar needs its months; one by "
                "condition needs the condition in words.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        months = self.season_months
        if not isinstance(months, list) or not all(
            isinstance(one, int) and 1 <= one <= 12 for one in months
        ):
            raise ValidationError(
                {"season_months": "Give months as numbers from 1 to 12."}
            )


class PreventiveDone(Fact):
    """A rule's work was done at a site, or on a sensor."""

    rule = models.ForeignKey(
        PreventiveRule, on_delete=models.PROTECT, related_name="done"
    )
    wim_site = models.ForeignKey(
        "sites.Site", on_delete=models.PROTECT, related_name="preventive_done"
    )
    installation = models.ForeignKey(
        "installs.Installation",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="preventive_done",
    )
    visit = models.ForeignKey(
        "installs.MaintenanceVisit",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="preventive_done",
    )
    done_on = models.DateField()
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-done_on", "-pk"]
        indexes = [
            models.Index(fields=["rule", "wim_site", "-done_on"], name="done_by_rule")
        ]
        verbose_name_plural = "preventive work done"

    def __str__(self) -> str:
        return f"{self.rule} at {self.wim_site.code} on {self.done_on}"
