"""What renewal is reckoned with: money, times, policies, the agency's own priors."""

from __future__ import annotations

from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from installs.calc.types import Technology
from installs.calc.upkeep.types import DataUse, PolicyKind
from wimprog.lib.models import Fact, choices_of, positive, share


def _money(**options: Any) -> models.DecimalField:
    return models.DecimalField(
        max_digits=12, decimal_places=2, validators=[MinValueValidator(0)], **options
    )


def _hours(**options: Any) -> models.FloatField:
    return models.FloatField(
        validators=[MinValueValidator(0.0), MaxValueValidator(1000.0)], **options
    )


class RenewalSettings(Fact):
    """What replacements share, and how the agency replaces. There is exactly one."""

    mobilisation = _money(default=2500, help_text="Of one trip of a crew to a site.")
    closure_rate_per_hour = _money(
        verbose_name="lane closure, an hour",
        default=450,
        help_text="Of a closed lane with traffic control.",
    )
    closure_setup_hours = _hours(
        verbose_name="setting up and clearing a closure, hours", default=1.5
    )
    closure_hours_each = _hours(
        verbose_name="closure for each sensor, hours", default=4.0
    )
    urgent_extra = _money(
        default=1000, help_text="More for a trip that cannot wait for others."
    )
    trip_window_months = models.PositiveSmallIntegerField(
        "work at a site joined within, months",
        default=3,
        validators=[MinValueValidator(1), MaxValueValidator(24)],
    )
    yearly_budget = models.DecimalField(
        max_digits=12,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text="For replacements in the coming budget year.",
    )
    discount_rate_pct = models.FloatField(
        "discount rate a year, %",
        default=0.0,
        validators=[MinValueValidator(-5.0), MaxValueValidator(30.0)],
    )
    months_to_replace = models.FloatField(
        "months down after a failure",
        default=4.0,
        validators=[MinValueValidator(0.0), MaxValueValidator(60.0)],
        help_text="From a failure until the new sensor gives accepted data.",
    )
    months_planned = models.FloatField(
        "months down for a planned replacement",
        default=0.1,
        validators=[MinValueValidator(0.0), MaxValueValidator(60.0)],
    )
    policy = models.CharField(
        max_length=32,
        choices=choices_of(PolicyKind),
        default=PolicyKind.ON_FAILURE.value,
    )
    policy_age_years = models.FloatField(
        "at an age of, years",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.1), MaxValueValidator(60.0)],
    )
    policy_chance = share(
        verbose_name="at a chance within a year of",
        default=0.5,
        help_text="For replacing at a condition.",
    )
    wait_for_works_years = models.FloatField(
        "wait for pavement works within, years",
        default=1.0,
        validators=[MinValueValidator(0.0), MaxValueValidator(10.0)],
    )
    source = models.CharField(
        max_length=200,
        default="assumed until the agency enters its own",
        help_text="Where these figures are from.",
    )

    class Meta:
        verbose_name_plural = "renewal settings"
        constraints = [
            models.CheckConstraint(
                condition=Q(pk=1), name="renewal_settings_are_only_one"
            )
        ]

    def __str__(self) -> str:
        return "renewal settings"

    def save(self, *args: object, **kwargs: object) -> None:
        self.pk = 1
        super().save(*args, **kwargs)  # type: ignore[arg-type]


class TechnologyMoney(Fact):
    """The agency's own costs of a lane of a technology; published ones without it."""

    technology = models.CharField(
        max_length=24, choices=choices_of(Technology), unique=True
    )
    renewal_cost = _money(
        null=True,
        blank=True,
        help_text="Of all its sensors in a lane, with work, closure and mobilisation.",
    )
    upkeep_per_year = _money(
        null=True,
        blank=True,
        help_text="Calibration, visits, power and communications of a lane.",
    )
    equipment_cost = _money(
        null=True, blank=True, help_text="Roadside electronics for the lane."
    )
    equipment_life_years = models.FloatField(
        default=10.0, validators=[MinValueValidator(0.5), MaxValueValidator(60.0)]
    )
    parts_each = _money(
        null=True, blank=True, help_text="Sensor, lead and grout, one sensor."
    )
    work_each = _money(null=True, blank=True, help_text="Crew and tools, one sensor.")
    accepted_share = models.FloatField(
        "share of months accepted",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0), MaxValueValidator(1.0)],
        help_text="Of the months in service; empty: what the records say.",
    )
    price_year = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1980), MaxValueValidator(2200)]
    )
    source = models.CharField(max_length=200)

    class Meta:
        ordering = ["technology"]
        verbose_name_plural = "technology money"

    def __str__(self) -> str:
        return self.technology


class HazardEffect(Fact):
    """The agency's own word on how a condition bears on a sensor's chance of failing.

    ``name`` is the covariate's name in :mod:`installs.calc.condition`; one without a
    row uses the assumption that ships, which is shown as such.
    """

    name = models.CharField(max_length=80, unique=True)
    ratio = positive(
        help_text="Hazard ratio for one more step: 2 doubles the chance of failing."
    )
    log_sd = models.FloatField(
        "how unsure (spread of its log)",
        default=0.4,
        validators=[MinValueValidator(0.01), MaxValueValidator(3.0)],
    )
    source = models.CharField(max_length=200)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class PavementWork(Fact):
    """Work on the pavement that will take the sensors of a site out."""

    wim_site = models.ForeignKey(
        "sites.Site", on_delete=models.CASCADE, related_name="pavement_works"
    )
    lane = models.ForeignKey(
        "sites.Lane",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="pavement_works",
        help_text="Empty: all lanes.",
    )
    planned_on = models.DateField()
    what = models.CharField(max_length=120, help_text="Such as mill and overlay.")
    reference = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["planned_on"]

    def __str__(self) -> str:
        return f"{self.wim_site.code} {self.planned_on}: {self.what}"


class LaneUse(Fact):
    """What a lane's weights are used for: it sets the class that is wanted there."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.CASCADE, related_name="uses"
    )
    use = models.CharField(max_length=32, choices=choices_of(DataUse))
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["lane", "use"]
        constraints = [
            models.UniqueConstraint(fields=["lane", "use"], name="lane_use_once")
        ]

    def __str__(self) -> str:
        return f"{self.lane}: {self.use}"
