"""Failures: what is known of when and why, and the times down that follow."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from installs.calc.types import FailureMode
from installs.calc.upkeep.types import DowntimeCause, WarrantyClaim
from installs.models.records import KeptPicture
from wimprog.lib.models import Fact, choices_of


class FailureReport(Fact):
    """What is known of a sensor's failure: mode, by whom found, evidence, and when.

    The day is known, or it lies between the last good and the first bad day.
    """

    installation = models.OneToOneField(
        "installs.Installation", on_delete=models.PROTECT, related_name="failure"
    )
    found_on = models.DateField()
    found_by = models.CharField(max_length=120)
    mode = models.CharField(max_length=24, choices=choices_of(FailureMode))
    day_is_known = models.BooleanField(
        "the very day is known",
        default=False,
        help_text="Seen as it happened: an alarm, a strike, a broken surface.",
    )
    last_good_on = models.DateField(
        null=True,
        blank=True,
        help_text="Last day on which it is known to have worked. Empty: the last good "
        "electrical test, or the day of installation.",
    )
    first_bad_on = models.DateField(
        null=True,
        blank=True,
        help_text="First day on which it is known to have failed. Empty: the day it "
        "was found.",
    )
    evidence = models.TextField(help_text="What shows it: readings, photos, records.")
    visit = models.ForeignKey(
        "installs.MaintenanceVisit",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="failures",
    )
    lead_checked = models.BooleanField(
        "lead and splice ruled out", default=False, help_text="By a test of the lead."
    )
    claim = models.CharField(
        "warranty claim",
        max_length=24,
        choices=choices_of(WarrantyClaim),
        default=WarrantyClaim.NOT_MADE.value,
    )
    claim_ref = models.CharField("claim reference", max_length=80, blank=True)

    class Meta:
        ordering = ["-found_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(last_good_on__isnull=True)
                | Q(first_bad_on__isnull=True)
                | Q(first_bad_on__gte=F("last_good_on")),
                name="failure_days_in_order",
                violation_error_message="It cannot be bad before it was last good.",
            ),
            models.CheckConstraint(
                condition=Q(first_bad_on__isnull=True)
                | Q(first_bad_on__lte=F("found_on")),
                name="failure_found_after_first_bad",
                violation_error_message="It was found before its first bad day.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.installation} failed: {self.mode}"

    def get_absolute_url(self) -> str:
        return reverse("installs:failure-detail", args=[self.pk])

    def clean(self) -> None:
        if self.installation_id is None or self.found_on is None:
            return
        begun = self.installation.installed_on
        for name in ("found_on", "last_good_on", "first_bad_on"):
            day = getattr(self, name)
            if day is not None and day < begun:
                raise ValidationError(
                    {
                        name: f"{day} lies before the sensor was installed ({begun}). "
                        "Correct this day, or the installation's."
                    }
                )


class DownSpell(Fact):
    """A time without usable data from a lane, or from one of its sensors."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="down_spells"
    )
    installation = models.ForeignKey(
        "installs.Installation",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="down_spells",
        help_text="Empty: the whole lane.",
    )
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    cause = models.CharField(max_length=24, choices=choices_of(DowntimeCause))
    begun_at_visit = models.ForeignKey(
        "installs.MaintenanceVisit",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="begun_down_spells",
    )
    ended_at_visit = models.ForeignKey(
        "installs.MaintenanceVisit",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="ended_down_spells",
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-began_at"]
        indexes = [
            models.Index(fields=["lane", "-began_at"], name="down_spell_by_lane")
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("began_at")),
                name="down_spell_times_in_order",
                violation_error_message="It cannot work again before it went down.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.lane} down from {self.began_at:%Y-%m-%d}: {self.cause}"

    def clean(self) -> None:
        there = self.installation
        if there and there.lane_id != self.lane_id:
            raise ValidationError({"installation": "That sensor is in another lane."})


class VisitPhoto(KeptPicture):
    """A picture taken at a visit, of the site, the cabinet or one of its sensors."""

    visit = models.ForeignKey(
        "installs.MaintenanceVisit", on_delete=models.PROTECT, related_name="photos"
    )
    installation = models.ForeignKey(
        "installs.Installation",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="visit_photos",
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "sha256"], name="visit_photo_once_a_visit"
            )
        ]

    def __str__(self) -> str:
        return self.caption or self.original_name or f"photo {self.pk}"
