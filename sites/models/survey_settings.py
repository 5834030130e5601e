"""What the agency decides about judging surveys: thresholds, and its own limits."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from sites.calc.suitability.base import DEFAULT_SETTINGS
from sites.calc.survey_bounds import BOUNDS
from sites.calc.types import SiteClass
from wimprog.lib.models import Fact


def governing_default() -> list[str]:
    """Keys of the standards whose misses count while the agency has not said which."""
    return list(DEFAULT_SETTINGS.governing)


def _threshold(
    name: str, label: str, *, of: str = "", most: float | None = None, how: str = ""
) -> models.FloatField:
    """A threshold of advice [SI], within what the survey's own number can be."""
    usual: float | None = getattr(DEFAULT_SETTINGS, name)
    return models.FloatField(
        label,
        default=usual,
        null=usual is None,
        blank=usual is None,
        help_text=how,
        validators=[
            MinValueValidator(1e-9),
            MaxValueValidator(BOUNDS[of].most if most is None else most),
        ],
    )


class SurveySettings(Fact):
    """How the agency judges surveys of locations. There is exactly one.

    Every field bears the name that it has in
    :class:`sites.calc.suitability.base.SuitabilitySettings`.
    """

    governing = models.JSONField(
        "standards that count against a location",
        default=governing_default,
        help_text="A miss of one that does not count is shown as advice.",
    )
    site_class_wanted = models.CharField(
        "site class wanted (COST 323)",
        max_length=3,
        blank=True,
        choices=[(one.value, one.value) for one in SiteClass],
        help_text="Left empty, the class follows from the wanted type’s tolerance of "
        "gross weight.",
    )
    trucks_per_day_min = _threshold(
        "trucks_per_day_min",
        "trucks a day, at least",
        of="trucks_per_day",
        how="In the lane, so that its weights can be watched week by week.",
    )
    power_distance_max_m = _threshold(
        "power_distance_max_m",
        "distance to power, at most",
        of="power_distance_m",
        how="Beyond it, sun and battery are advised.",
    )
    pavement_thickness_min_mm = _threshold(
        "pavement_thickness_min_mm",
        "thickness of the bound layers, at least",
        of="pavement_thickness_mm",
        how="So that the slots end well inside them.",
    )
    pavement_age_max_years = _threshold(
        "pavement_age_max_years",
        "age of the pavement, at most, years",
        of="pavement_age_years",
        how="Left empty, age is not judged.",
    )
    speed_spread_max_pct = _threshold(
        "speed_spread_max_pct",
        "spread of speed, at most, % of the mean",
        most=100.0,
        how="Standard deviation of speed as a share of its mean.",
    )

    class Meta:
        verbose_name_plural = "survey settings"
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="survey_settings_only_one")
        ]

    def __str__(self) -> str:
        return "Survey settings"

    def save(self, *args: object, **kwargs: object) -> None:
        self.pk = 1
        super().save(*args, **kwargs)  # type: ignore[arg-type]


class SurveyLimit(Fact):
    """A limit of a site standard as the agency set it, in place of a recalled one.

    ``value`` is in the SI unit of its limit; ``as_typed`` keeps text and unit.
    """

    standard = models.CharField(max_length=40)
    key = models.CharField(max_length=80)
    value = models.FloatField()
    source = models.CharField(
        max_length=200,
        help_text="Document, edition and clause where it stands, or who decided it.",
    )

    class Meta:
        ordering = ["standard", "key"]
        constraints = [
            models.UniqueConstraint(
                fields=["standard", "key"], name="survey_limit_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.standard}: {self.key}"
