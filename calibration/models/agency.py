"""What the agency sets: values of standards known from memory, and its own limits."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from wimprog.lib.models import Fact, positive, share


class StandardValue(Fact):
    """A value of a standard as the agency read it in the document itself."""

    standard = models.CharField(max_length=40)
    key = models.CharField(max_length=80)
    value = models.FloatField()
    source = models.CharField(
        max_length=200, help_text="Document, edition and clause where it stands."
    )

    class Meta:
        ordering = ["standard", "key"]
        constraints = [
            models.UniqueConstraint(
                fields=["standard", "key"], name="standard_value_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.standard}: {self.key}"


class CalibrationSettings(Fact):
    """How the agency decides about calibrations. There is exactly one."""

    bias_tolerance_pct = positive(
        default=5.0,
        verbose_name="bias out of tolerance beyond, %",
        help_text="Of gross weight, for the chance that a lane is out of tolerance.",
    )
    chance_level = share(
        default=0.25,
        verbose_name="due when that chance passes",
    )
    reference_share = share(
        default=1.0 / 3.0,
        verbose_name="reference may take, of the tolerance",
        help_text="Warn when the expanded uncertainty of the static weights is a "
        "larger share of the tolerance.",
    )
    session_cost = models.DecimalField(
        "cost of a session",
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    worth_inputs = models.JSONField(default=dict, blank=True)
    match_window_s = models.FloatField(
        "records match a pass within, s",
        default=20.0,
        validators=[MinValueValidator(1.0), MaxValueValidator(3600.0)],
    )

    class Meta:
        verbose_name_plural = "calibration settings"
        constraints = [
            models.CheckConstraint(
                condition=Q(pk=1), name="calibration_settings_only_one"
            )
        ]

    def __str__(self) -> str:
        return "Calibration settings"

    def save(self, *args: object, **kwargs: object) -> None:
        self.pk = 1
        super().save(*args, **kwargs)  # type: ignore[arg-type]
