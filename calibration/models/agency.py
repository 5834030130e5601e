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


def _weeks(words: str) -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(
        words, default=6, validators=[MinValueValidator(1), MaxValueValidator(52)]
    )


class CalibrationSettings(Fact):
    """How the agency decides about calibrations. There is exactly one.

    What a session costs and what biased loads cost has no usual value: while one of the
    figures without a default is empty, the pages say that costs cannot be weighed.
    """

    bias_tolerance_pct = positive(
        default=5.0,
        verbose_name="bias out of tolerance beyond, %",
        help_text="Of gross weight, for the chance that a lane is out of tolerance.",
    )
    chance_level = models.FloatField(
        "due when that chance reaches",
        default=0.25,
        validators=[MinValueValidator(0.01), MaxValueValidator(0.99)],
        help_text="A share: 0.25 is one chance in four.",
    )
    settling_hours = models.PositiveSmallIntegerField(
        "a lane settles after works for, hours",
        default=72,
        validators=[MinValueValidator(72), MaxValueValidator(2000)],
        help_text="Before the first runs; public guidance asks for 72 or more.",
    )
    weeks_after_installation = _weeks("calibrate after an installation within, weeks")
    weeks_after_works = _weeks("calibrate after works within, weeks")
    soon_days = models.PositiveSmallIntegerField(
        "due soon from, days ahead",
        default=60,
        validators=[MaxValueValidator(365)],
    )
    reference_share = share(
        default=1.0 / 3.0,
        verbose_name="reference may take, of the tolerance",
        help_text="Warn when the expanded uncertainty of the static weights is a "
        "larger share of the tolerance.",
    )
    match_window_s = models.FloatField(
        "records match a pass within, s",
        default=20.0,
        validators=[MinValueValidator(1.0), MaxValueValidator(3600.0)],
    )
    session_cost = models.DecimalField(
        "cost of a session",
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    price_per_lane_km_cm = models.FloatField(
        "price of pavement",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
    )
    designed_per_year_km = models.FloatField(
        "lane length designed in a year with one lane’s loads",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
    )
    design_esals = positive(
        null=True,
        blank=True,
        verbose_name="design ESALs",
        help_text="18-kip equivalent single axle loads of a typical pavement in its "
        "design lane and period.",
    )
    resilient_modulus_mpa = positive(
        null=True, blank=True, verbose_name="resilient modulus of the roadbed"
    )
    design_reliability = models.FloatField(
        "reliability of the design",
        default=0.90,
        validators=[MinValueValidator(0.5), MaxValueValidator(0.9999)],
    )
    serviceability_loss = models.FloatField(
        default=2.0,
        validators=[MinValueValidator(0.1), MaxValueValidator(4.9)],
        help_text="Initial less terminal serviceability.",
    )
    layer_coefficient_per_in = positive(
        default=0.44,
        verbose_name="layer coefficient, per inch",
        help_text="Of the layer whose thickness is varied; 0.44 is usual for new "
        "asphalt surface (from memory).",
    )
    too_thin_factor = positive(
        default=1.0,
        verbose_name="a missing thickness costs, times a needless one",
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
