"""What it recorded: record files, the manifest of the store, summaries and reviews.

Per-vehicle records live in columnar files; a :class:`RecordPart` row is what makes such
a file exist. Summaries are derived, carry the version of the function that made them,
and are replaced as a whole.
"""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from wimprog.lib.models import Fact


class RecordFile(Fact):
    """A file of vehicle records that was taken into the program."""

    source_name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64, unique=True)
    layout = models.CharField(max_length=80)
    size_bytes = models.BigIntegerField(validators=[MinValueValidator(0)])
    first_on = models.DateField(null=True, blank=True)
    last_on = models.DateField(null=True, blank=True)
    n_read = models.PositiveIntegerField()
    n_kept = models.PositiveIntegerField()
    n_refused = models.PositiveIntegerField()
    imported_at = models.DateTimeField(auto_now_add=True)
    imported_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="record_files",
    )

    class Meta:
        ordering = ["-imported_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(n_read=F("n_kept") + F("n_refused")),
                name="record_file_counts_add_up",
            ),
            models.CheckConstraint(
                condition=Q(last_on__isnull=True) | Q(last_on__gte=F("first_on")),
                name="record_file_dates_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.source_name

    def get_absolute_url(self) -> str:
        return reverse("quality:record-file-detail", args=[self.pk])


class RefusedLine(models.Model):
    """A line of a record file that was not taken, and why."""

    record_file = models.ForeignKey(
        RecordFile, on_delete=models.CASCADE, related_name="refused_lines"
    )
    line = models.PositiveIntegerField()
    field = models.CharField(max_length=60, blank=True)
    value = models.CharField(max_length=200, blank=True)
    message = models.TextField()
    expected = models.CharField(max_length=200, blank=True)
    remedy = models.TextField(blank=True)

    class Meta:
        ordering = ["record_file", "line"]

    def __str__(self) -> str:
        return f"line {self.line}: {self.message}"


class RecordPart(models.Model):
    """The manifest: one committed file of the columnar store."""

    record_file = models.ForeignKey(
        RecordFile, on_delete=models.PROTECT, related_name="parts"
    )
    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="record_parts"
    )
    month = models.DateField(help_text="First day of the month.")
    path = models.CharField(max_length=255, unique=True)
    n_records = models.PositiveIntegerField()
    size_bytes = models.BigIntegerField()
    first_at = models.DateTimeField(help_text="Site-local standard time, kept as UTC.")
    last_at = models.DateTimeField()

    class Meta:
        ordering = ["lane", "month", "path"]
        indexes = [models.Index(fields=["lane", "month"], name="part_by_lane_month")]

    def __str__(self) -> str:
        return self.path


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
        RecordFile, on_delete=models.PROTECT, related_name="lane_days"
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


class ImportState(models.TextChoices):
    """How far a record import has come."""

    READ = "read", "read, waiting for your word"
    QUEUED = "queued", "waiting for a worker"
    RUNNING = "running", "being taken in"
    DONE = "done", "taken in"
    REFUSED = "refused", "refused"


class RecordImport(Fact):
    """A file on its way in: what was found in it, and how far the work has come.

    ``lease_until`` is renewed while a worker is at it; when it has passed, the work was
    interrupted and may be taken up again (an import is safe to repeat).
    """

    source_name = models.CharField(max_length=255)
    path = models.CharField(max_length=500)
    options = models.JSONField(default=dict, blank=True)
    preview = models.JSONField(default=dict, blank=True)
    state = models.CharField(
        max_length=8, choices=ImportState.choices, default=ImportState.READ
    )
    bytes_done = models.BigIntegerField(default=0)
    bytes_total = models.BigIntegerField(default=0)
    attempt = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    message = models.TextField(blank=True)
    record_file = models.ForeignKey(
        RecordFile,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="imports",
    )
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-created_at"]

    def __str__(self) -> str:
        return self.source_name

    def get_absolute_url(self) -> str:
        return reverse("quality:import-detail", args=[self.pk])
