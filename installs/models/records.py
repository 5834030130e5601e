"""The installation record: answers that are only ever added to, and who signed them."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.urls import reverse

from installs.calc.types import Technology
from installs.calc.types.records import (
    DispositionKind,
    EntrySource,
    LimitSource,
    RecordState,
    SignRole,
)
from wimprog.lib.models import Fact, choices_of


class Instrument(Fact):
    """A meter, gauge or tape whose readings have to be believed."""

    kind = models.CharField(
        max_length=80, help_text="What it is, such as insulation tester or depth gauge."
    )
    serial = models.CharField(max_length=60)
    calibrated_on = models.DateField(null=True, blank=True)
    calibration_due_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["kind", "serial"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "serial"], name="instrument_serial_once"
            ),
            models.CheckConstraint(
                condition=Q(calibrated_on__isnull=True)
                | Q(calibration_due_on__isnull=True)
                | Q(calibration_due_on__gte=models.F("calibrated_on")),
                name="instrument_dates_in_order",
                violation_error_message="Its calibration cannot end before it began.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} no. {self.serial}"


class ProductBatch(Fact):
    """A batch of resin, sealant or other product, by its lot."""

    product = models.CharField(max_length=80)
    lot = models.CharField(max_length=60)
    expires_on = models.DateField(null=True, blank=True)
    curing_table = models.ForeignKey(
        "installs.CuringTable",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="batches",
    )

    class Meta:
        ordering = ["product", "lot"]
        verbose_name_plural = "product batches"
        constraints = [
            models.UniqueConstraint(
                fields=["product", "lot"], name="product_batch_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.product} lot {self.lot}"


class InstallationRecord(Fact):
    """How one sensor came into one position of a lane, stage by stage."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="installation_records"
    )
    position = models.CharField(
        max_length=40,
        help_text="Where in the lane's arrangement, such as “piezo 1” or “loop 2”.",
    )
    technology = models.CharField(max_length=24, choices=choices_of(Technology))
    template = models.ForeignKey(
        "installs.StageTemplate", on_delete=models.PROTECT, related_name="records"
    )
    plan = models.ForeignKey(
        "installs.ArrayPlan",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="records",
    )
    sensor = models.ForeignKey(
        "installs.Sensor",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="installation_records",
    )
    installation = models.OneToOneField(
        "installs.Installation",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="record",
        editable=False,
    )
    state = models.CharField(
        max_length=12,
        choices=choices_of(RecordState),
        default=RecordState.OPEN.value,
        editable=False,
    )
    closed_at = models.DateTimeField(null=True, blank=True, editable=False)
    work_on = models.DateField("day of the work")
    contract_ref = models.CharField("contract", max_length=80, blank=True)
    installer = models.CharField(max_length=120, blank=True)
    traffic_control_plan = models.CharField(
        max_length=80,
        help_text="Reference of the traffic control plan that governs the work.",
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-work_on", "lane", "position"]
        permissions = [
            ("accept_installationrecord", "Can sign as engineer and accept a record")
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["lane", "position"],
                condition=Q(state=RecordState.OPEN.value),
                name="one_open_record_a_position",
                violation_error_message="That position has an open record already; go "
                "on with it, or close it first.",
            ),
            models.CheckConstraint(
                condition=(Q(state=RecordState.OPEN.value) & Q(closed_at__isnull=True))
                | (~Q(state=RecordState.OPEN.value) & Q(closed_at__isnull=False)),
                name="closed_record_has_time",
            ),
            models.CheckConstraint(
                condition=~Q(state=RecordState.ACCEPTED.value)
                | Q(installation__isnull=False),
                name="accepted_record_has_installation",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.position}, {self.work_on}"

    def get_absolute_url(self) -> str:
        return reverse("installs:record-detail", args=[self.pk])


class RecordLimit(Fact):
    """A limit that one record is held to instead of its template's (a contract's)."""

    record = models.ForeignKey(
        InstallationRecord, on_delete=models.CASCADE, related_name="limits"
    )
    item = models.ForeignKey(
        "installs.TemplateItem", on_delete=models.PROTECT, related_name="+"
    )
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    largest_range = models.FloatField(null=True, blank=True)
    limit_source = models.CharField(max_length=32, choices=choices_of(LimitSource))
    limit_reference = models.CharField(max_length=200)

    class Meta:
        ordering = ["record", "item"]
        constraints = [
            models.UniqueConstraint(
                fields=["record", "item"], name="record_limit_once_an_item"
            )
        ]

    def __str__(self) -> str:
        return f"{self.record}: {self.item}"


class ItemEntry(models.Model):
    """One answer to one item. Never changed, never deleted: a correction is another.

    ``seen`` is the newest entry of the item that its writer had before them (0 for
    none), so that two people who answered at once are both shown.
    """

    client_id = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        help_text="Made where it was typed, so that sending twice keeps one.",
    )
    record = models.ForeignKey(
        InstallationRecord, on_delete=models.PROTECT, related_name="entries"
    )
    item = models.ForeignKey(
        "installs.TemplateItem", on_delete=models.PROTECT, related_name="entries"
    )
    seen = models.PositiveBigIntegerField(default=0)
    numbers = models.JSONField(
        default=list, blank=True, help_text="SI, or the quantity's unit."
    )
    typed = models.JSONField(
        default=list, blank=True, help_text="Text and unit of each number as typed."
    )
    over_range = models.BooleanField(default=False)
    answer = models.TextField(blank=True, help_text="Yes, no, a choice, or words.")
    reason = models.TextField(blank=True)
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    batch = models.ForeignKey(
        ProductBatch, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    source = models.CharField(
        max_length=40,
        choices=choices_of(EntrySource),
        default=EntrySource.SCREEN.value,
    )
    written_by = models.CharField(
        max_length=120, blank=True, help_text="Who wrote the paper sheet."
    )
    observed_at = models.DateTimeField(help_text="When it was seen, by its writer.")
    entered_at = models.DateTimeField(auto_now_add=True)
    entered_by = models.ForeignKey(
        "auth.User", on_delete=models.PROTECT, related_name="+"
    )
    after_signing = models.BooleanField(
        default=False, help_text="A correction of a signed stage; it has a reason."
    )

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "item entries"
        indexes = [models.Index(fields=["record", "item"], name="entry_by_item")]
        constraints = [
            models.CheckConstraint(
                condition=Q(after_signing=False) | ~Q(reason=""),
                name="entry_after_signing_has_reason",
                violation_error_message="A correction after signing needs its reason.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.record}: {self.item}"


class KeptPicture(models.Model):
    """A picture, re-encoded before it was kept. Struck out, never deleted."""

    client_id = models.UUIDField(default=uuid.uuid4, unique=True)
    picture = models.CharField(max_length=200, help_text="File under the uploads.")
    thumbnail = models.CharField(max_length=200)
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    size_bytes = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    original_name = models.CharField(max_length=200, blank=True)
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    added_at = models.DateTimeField(auto_now_add=True)
    added_by = models.ForeignKey(
        "auth.User", on_delete=models.PROTECT, related_name="+"
    )
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(
        "auth.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    struck_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True


class Photo(KeptPicture):
    """A picture that proves an item of an installation record."""

    record = models.ForeignKey(
        InstallationRecord, on_delete=models.PROTECT, related_name="photos"
    )
    item = models.ForeignKey(
        "installs.TemplateItem", on_delete=models.PROTECT, related_name="photos"
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["record", "item", "sha256"], name="photo_once_an_item"
            ),
            models.CheckConstraint(
                condition=(
                    Q(struck_at__isnull=True)
                    & Q(struck_by__isnull=True)
                    & Q(struck_reason="")
                )
                | (
                    Q(struck_at__isnull=False)
                    & Q(struck_by__isnull=False)
                    & ~Q(struck_reason="")
                ),
                name="struck_photo_has_reason",
                violation_error_message="Striking a photo out needs a reason.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.record}: photo {self.pk}"


class Disposition(models.Model):
    """What was decided about an answer out of its limits, by whom and why."""

    entry = models.OneToOneField(
        ItemEntry, on_delete=models.PROTECT, related_name="disposition"
    )
    kind = models.CharField(max_length=24, choices=choices_of(DispositionKind))
    decided_by = models.CharField(max_length=120, help_text="Who decided, by name.")
    reason = models.TextField()
    entered_at = models.DateTimeField(auto_now_add=True)
    entered_by = models.ForeignKey(
        "auth.User", on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(reason="") & ~Q(decided_by=""),
                name="disposition_has_reason",
                violation_error_message="Say who decided, and why.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.entry}: {self.kind}"


class SignOff(models.Model):
    """A stage signed by somebody in a role, with what was true then."""

    client_id = models.UUIDField(default=uuid.uuid4, unique=True)
    record = models.ForeignKey(
        InstallationRecord, on_delete=models.PROTECT, related_name="signoffs"
    )
    stage = models.ForeignKey(
        "installs.TemplateStage", on_delete=models.PROTECT, related_name="+"
    )
    role = models.CharField(max_length=16, choices=choices_of(SignRole))
    name_signed = models.CharField(max_length=120)
    signed_by = models.ForeignKey(
        "auth.User", on_delete=models.PROTECT, related_name="+"
    )
    signed_at = models.DateTimeField()
    last_entry = models.PositiveBigIntegerField(
        default=0, help_text="The newest entry of the stage that was signed for."
    )
    what_was_true = models.JSONField(
        help_text="Each item's answer and judgement as they stood."
    )
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["record", "stage"], name="signoff_by_stage")]

    def __str__(self) -> str:
        return f"{self.record}, {self.stage}: {self.name_signed}"
