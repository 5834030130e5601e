"""Record files, the manifest of the store, and files on their way in.

Per-vehicle records live in columnar files; a :class:`RecordPart` row is what makes such
a file exist.
"""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from wimprog.lib.models import Fact


class FileOrigin(models.TextChoices):
    """How a file came into the program."""

    COMMAND = "command", "command line"
    UPLOAD = "upload", "browser"
    API = "api", "programming interface"


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
    origin = models.CharField(
        max_length=16,
        choices=FileOrigin.choices,
        default=FileOrigin.COMMAND,
    )
    clock_shift_min = models.IntegerField(
        default=0,
        help_text="Minutes that were added to the controller's times on taking it in.",
    )
    notes = models.JSONField(
        default=list, blank=True, help_text="What was noticed when it was read."
    )
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


class RecordPartQuerySet(models.QuerySet["RecordPart"]):
    """Questions about the store."""

    def current(self) -> RecordPartQuerySet:
        """Parts in use: what every reading but that of old versions goes by."""
        return self.filter(replaced_by__isnull=True)


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
    sha256 = models.CharField(max_length=64, blank=True)
    replaced_by = models.ForeignKey(
        "quality.RecordReplacement",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="withdrawn_parts",
        help_text="The decision that took it out of use; its file stays.",
    )
    made_by = models.ForeignKey(
        "quality.RecordReplacement",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="remaining_parts",
        help_text="The decision that left this rest of an older part.",
    )

    objects = RecordPartQuerySet.as_manager()

    class Meta:
        ordering = ["lane", "month", "path"]
        indexes = [models.Index(fields=["lane", "month"], name="part_by_lane_month")]

    def __str__(self) -> str:
        return self.path


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


class RecordReplacement(Fact):
    """A later delivery took the place of an earlier one, in a lane, for some days.

    The earlier records stay in the store and come back when this is undone.
    """

    new_file = models.ForeignKey(
        RecordFile, on_delete=models.PROTECT, related_name="replacements"
    )
    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="record_replacements"
    )
    from_on = models.DateField()
    to_on = models.DateField()
    difference = models.JSONField(
        default=dict, help_text="What differed, day by day, when it was decided."
    )
    reason = models.CharField(max_length=300)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
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
        constraints = [
            models.CheckConstraint(
                condition=Q(to_on__gte=F("from_on")),
                name="replacement_dates_in_order",
            ),
            models.CheckConstraint(
                condition=~Q(reason=""), name="replacement_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.from_on}–{self.to_on} from {self.new_file}"


class SavedMapping(Fact):
    """How a kind of headed file is read: its columns and their units, under a name."""

    name = models.CharField(max_length=80, unique=True)
    mapping = models.JSONField()
    headings = models.JSONField(
        default=list, help_text="Headings of the file that it was made from."
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class StationDescription(Fact):
    """A station description record as it was delivered, beside the program's own."""

    wim_site = models.ForeignKey(
        "sites.Site", on_delete=models.CASCADE, related_name="station_descriptions"
    )
    lane = models.ForeignKey(
        "sites.Lane",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="station_descriptions",
    )
    year = models.PositiveSmallIntegerField()
    layout = models.CharField(max_length=80)
    values = models.JSONField()
    sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["wim_site", "lane", "-year"]
        constraints = [
            models.UniqueConstraint(
                fields=["wim_site", "lane", "year"], name="lane_description_once"
            ),
            models.UniqueConstraint(
                fields=["wim_site", "year"],
                condition=Q(lane__isnull=True),
                name="site_description_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wim_site.code} {self.year}"


class ApiKey(Fact):
    """A key with which another program may hand record files in. Its hash is kept."""

    name = models.CharField(max_length=80, unique=True)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="api_keys"
    )
    prefix = models.CharField(max_length=12, unique=True, editable=False)
    key_hash = models.CharField(max_length=128, editable=False)
    expires_on = models.DateField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True, editable=False)
    last_used_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
