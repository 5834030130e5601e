"""What a lane's days, weeks and months came to, and what was decided of them.

Summaries are derived, carry the version of the function that made them, and are
replaced as a whole.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from wimprog.lib.models import Fact


class DayDecision(models.TextChoices):
    """What the analyst decided of a lane's days."""

    ACCEPTED = "accepted", "accepted"
    SET_ASIDE = "set aside", "set aside"


class DayReview(Fact):
    """A decision on a lane's days, with its reason. The latest one holds."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="day_reviews"
    )
    from_on = models.DateField()
    to_on = models.DateField()
    decision = models.CharField(max_length=12, choices=DayDecision.choices)
    reason = models.CharField(max_length=300)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="day_reviews"
    )
    decided_at = models.DateTimeField()
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-decided_at", "-pk"]
        indexes = [models.Index(fields=["lane", "from_on"], name="review_by_lane")]
        constraints = [
            models.CheckConstraint(
                condition=Q(to_on__gte=F("from_on")),
                name="day_review_dates_in_order",
                violation_error_message="The last day is before the first.",
            ),
            models.CheckConstraint(
                condition=~Q(reason=""), name="day_review_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.from_on}–{self.to_on} {self.decision}"


class LaneDay(models.Model):
    """One day of one lane: what was recorded, what looks wrong, what was decided."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.CASCADE, related_name="days"
    )
    date = models.DateField()
    record_file = models.ForeignKey(
        "quality.RecordFile", on_delete=models.PROTECT, related_name="lane_days"
    )
    hours_seen = models.PositiveIntegerField(
        help_text="Bit h is set when hour h holds a vehicle, or the file says that it "
        "had none."
    )
    n_vehicles = models.PositiveIntegerField()
    n_unclassified = models.PositiveIntegerField(default=0)
    n_implausible = models.PositiveIntegerField(default=0)
    hourly = models.BinaryField(
        default=bytes,
        help_text="Vehicles of hours 0 to 23 as 24 little-endian 16-bit counts.",
    )
    findings = models.JSONField(
        default=list, blank=True, help_text="Sentences of the checks that fired."
    )
    figures = models.JSONField(
        default=dict,
        blank=True,
        help_text="What the checks of a day look at: class mix, speeds, repeats.",
    )
    review = models.ForeignKey(
        DayReview, on_delete=models.SET_NULL, null=True, blank=True, related_name="days"
    )
    method_version = models.CharField(max_length=20)

    class Meta:
        ordering = ["lane", "date"]
        constraints = [
            models.UniqueConstraint(fields=["lane", "date"], name="lane_day_once")
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.date}"


class DailySummary(models.Model):
    """One day of one lane and one vehicle class, summed from its records."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.CASCADE, related_name="daily_summaries"
    )
    date = models.DateField()
    vehicle_class = models.PositiveSmallIntegerField(
        help_text="0 when the record carries no class and none could be worked out."
    )
    n_vehicles = models.PositiveIntegerField()
    gvw_sum_kg = models.FloatField()
    steering_sum_kg = models.FloatField()
    steering_sum_sq_kg2 = models.FloatField()
    n_over_gross = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["lane", "date", "vehicle_class"]
        constraints = [
            models.UniqueConstraint(
                fields=["lane", "vehicle_class", "date"], name="daily_summary_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.date} class {self.vehicle_class}"


class LaneWeek(models.Model):
    """Class 9 steering axle of one lane in one week (Monday to Sunday).

    From the days that are not set aside.
    """

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.CASCADE, related_name="weeks"
    )
    week_on = models.DateField(help_text="The week's Monday.")
    n_vehicles = models.PositiveIntegerField()
    steering_mean_kg = models.FloatField()
    steering_sd_kg = models.FloatField(null=True)
    gvw_mean_kg = models.FloatField()
    n_days = models.PositiveSmallIntegerField()
    figures = models.JSONField(
        default=dict,
        blank=True,
        help_text="Peaks, bands, tandems, overweight and loads of the week.",
    )

    class Meta:
        ordering = ["lane", "week_on"]
        constraints = [
            models.UniqueConstraint(fields=["lane", "week_on"], name="lane_week_once")
        ]

    def __str__(self) -> str:
        return f"{self.lane} week of {self.week_on}"


class LaneMonth(models.Model):
    """One month of one lane: days recorded and how they were decided."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.CASCADE, related_name="months"
    )
    month = models.DateField(help_text="First day of the month.")
    n_days = models.PositiveSmallIntegerField()
    n_accepted = models.PositiveSmallIntegerField()
    n_set_aside = models.PositiveSmallIntegerField()
    n_vehicles = models.PositiveIntegerField()

    class Meta:
        ordering = ["lane", "month"]
        constraints = [
            models.UniqueConstraint(fields=["lane", "month"], name="lane_month_once"),
            models.CheckConstraint(
                condition=Q(n_days__gte=F("n_accepted") + F("n_set_aside")),
                name="lane_month_days_add_up",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.month:%Y-%m}"
