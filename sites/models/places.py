"""The program's settings, its sites and their lanes."""

from __future__ import annotations

import datetime as dt
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.core.validators import (
    MaxValueValidator,
    MinValueValidator,
    RegexValidator,
)
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from wimprog.lib.models import Fact, positive
from wimprog.lib.units import KG_PER_LB, UnitSystem

MONTHS = [(i, dt.date(2000, i, 1).strftime("%B")) for i in range(1, 13)]

RESERVED_CODES = frozenset({"add", "lanes", "profiles", "surveys"})
"""Words that stand where a site's code would in addresses below ``sites/``."""


def check_time_zone(name: str) -> None:
    """Refuse what is not a time zone's name."""
    if name not in available_timezones():
        raise ValidationError(
            {
                "time_zone": f"“{name}” is not a time zone's name; write one such as "
                "America/Denver."
            }
        )


class Direction(models.IntegerChoices):
    """Direction codes of the Traffic Monitoring Guide (2016), facts of the trade."""

    EAST_WEST = 0, "east–west combined"
    NORTH = 1, "north"
    NORTH_EAST = 2, "north-east"
    EAST = 3, "east"
    SOUTH_EAST = 4, "south-east"
    SOUTH = 5, "south"
    SOUTH_WEST = 6, "south-west"
    WEST = 7, "west"
    NORTH_WEST = 8, "north-west"
    NORTH_SOUTH = 9, "north–south combined"


class PavementType(models.TextChoices):
    """What the sensors sit in."""

    ASPHALT = "asphalt", "asphalt"
    CONCRETE = "concrete", "jointed concrete"
    CONTINUOUS = "continuous concrete", "continuously reinforced concrete"
    COMPOSITE = "composite", "asphalt over concrete"


class Climate(models.TextChoices):
    """Climate regions of the long-term pavement performance program."""

    WET_FREEZE = "wet freeze", "wet, freezing"
    WET_NO_FREEZE = "wet no freeze", "wet, not freezing"
    DRY_FREEZE = "dry freeze", "dry, freezing"
    DRY_NO_FREEZE = "dry no freeze", "dry, not freezing"


class SiteState(models.TextChoices):
    """The states of a site."""

    PLANNED = "planned", "planned"
    IN_SERVICE = "in service", "in service"
    SUSPENDED = "suspended", "suspended"
    RETIRED = "retired", "retired"


class Program(Fact):
    """The agency's settings. There is exactly one."""

    name = models.CharField("agency", max_length=120)
    unit_system = models.CharField(
        max_length=4,
        choices=[(UnitSystem.US, "US customary"), (UnitSystem.SI, "metric (SI)")],
        default=UnitSystem.US,
    )
    time_zone = models.CharField(max_length=64, default="America/Denver")
    default_standard = models.CharField(
        max_length=40,
        default="astm-e1318",
        help_text="Tolerance standard that a lane is judged by unless a session says "
        "otherwise.",
    )
    default_class = models.CharField(max_length=20, default="Type I")
    calibration_interval_months = models.PositiveSmallIntegerField(
        default=12, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )
    inspection_interval_months = models.PositiveSmallIntegerField(
        "a site or sensor looked at every, months",
        default=12,
        validators=[MinValueValidator(1), MaxValueValidator(120)],
        help_text="Longest time without an electrical test of a sensor or a visit to "
        "its site.",
    )
    records_begin_on = models.DateField(
        "failures are written down since",
        null=True,
        blank=True,
        help_text="Failures before this day were not all written down; a sensor that "
        "was in the road then counts from its age on that day. Empty: all were.",
    )
    fiscal_year_start_month = models.PositiveSmallIntegerField(
        choices=MONTHS, default=7
    )
    legal_single_axle_kg = positive(
        default=20_000 * KG_PER_LB, verbose_name="legal single axle"
    )
    legal_tandem_kg = positive(default=34_000 * KG_PER_LB, verbose_name="legal tandem")
    legal_gross_kg = positive(default=80_000 * KG_PER_LB, verbose_name="legal gross")
    watch_drift_pct = positive(
        default=2.0,
        verbose_name="watch at drift of, %",
        help_text="Drift of the class 9 steering axle since the last calibration from "
        "which a lane is watched.",
    )
    act_drift_pct = positive(
        default=4.0,
        verbose_name="act at drift of, %",
        help_text="Drift from which someone has to act.",
    )
    silent_days = models.PositiveSmallIntegerField(
        "no data after, days",
        default=5,
        validators=[MinValueValidator(1)],
        help_text="Days without a record after which a lane has no data.",
    )
    price_growth_pct = models.FloatField(
        "price growth a year, %",
        default=3.0,
        validators=[MinValueValidator(-20.0), MaxValueValidator(50.0)],
    )
    currency = models.CharField(max_length=8, default="$")
    outline = models.JSONField(
        null=True,
        blank=True,
        help_text="GeoJSON outline of the agency's area, drawn under the map of sites.",
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="program_is_only_one"),
            models.CheckConstraint(
                condition=Q(watch_drift_pct__gt=0)
                & Q(act_drift_pct__gte=F("watch_drift_pct")),
                name="program_act_not_below_watch",
                violation_error_message="“Act at” must not be below “watch at”.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        check_time_zone(self.time_zone)

    def save(self, *args: object, **kwargs: object) -> None:
        self.pk = 1
        super().save(*args, **kwargs)  # type: ignore[arg-type]


class SiteQuerySet(models.QuerySet["Site"]):
    """Questions about sites."""

    def working(self) -> SiteQuerySet:
        """Sites in service or suspended: those somebody looks after."""
        return self.filter(state__in=[SiteState.IN_SERVICE, SiteState.SUSPENDED])


class Site(Fact):
    """A place on a road where vehicles are weighed in motion."""

    code = models.CharField(
        max_length=20,
        unique=True,
        validators=[RegexValidator(r"^[A-Za-z0-9][A-Za-z0-9-]*$")],
        help_text="The agency's own short name, such as OV-014.",
    )
    name = models.CharField(max_length=120, blank=True)
    state_code = models.CharField(
        "state or province code",
        max_length=2,
        validators=[RegexValidator(r"^[0-9]{2}$", "Write two digits (the FIPS code).")],
        help_text="Two digits, as the record files carry it.",
    )
    station_id = models.CharField(
        "station identifier",
        max_length=6,
        validators=[
            RegexValidator(
                r"^[A-Za-z0-9]{6}$",
                "Write six letters or digits, zero-filled on the left.",
            )
        ],
        help_text="Six characters, as the record files carry it (000014).",
    )
    route = models.CharField(max_length=60)
    location_ref = models.CharField("location reference", max_length=120, blank=True)
    directions = models.CharField(max_length=40, blank=True)
    latitude = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(-90.0), MaxValueValidator(90.0)],
    )
    longitude = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(-180.0), MaxValueValidator(180.0)],
        help_text="Degrees, negative west of Greenwich.",
    )
    time_zone = models.CharField(max_length=64, default="America/Denver")
    climate = models.CharField(max_length=16, choices=Climate.choices, blank=True)
    pavement_type = models.CharField(
        max_length=24, choices=PavementType.choices, blank=True
    )
    pavement_year = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1900), MaxValueValidator(2200)],
    )
    controller = models.CharField(max_length=80, blank=True)
    power = models.CharField(max_length=80, blank=True)
    communications = models.CharField(max_length=80, blank=True)
    state = models.CharField(
        max_length=12, choices=SiteState.choices, default=SiteState.PLANNED
    )
    in_service_on = models.DateField("in service since", null=True, blank=True)
    suspended_on = models.DateField("suspended since", null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(
                fields=["state_code", "station_id"], name="site_station_once"
            ),
            models.CheckConstraint(
                condition=Q(state__in=SiteState.values), name="site_state_known"
            ),
            models.CheckConstraint(
                condition=(Q(latitude__isnull=True) & Q(longitude__isnull=True))
                | (
                    Q(latitude__isnull=False)
                    & Q(longitude__isnull=False)
                    & Q(latitude__gte=-90)
                    & Q(latitude__lte=90)
                    & Q(longitude__gte=-180)
                    & Q(longitude__lte=180)
                ),
                name="site_coordinates_in_range",
                violation_error_message="Give both latitude and longitude, or neither.",
            ),
            models.CheckConstraint(
                condition=~Q(state=SiteState.IN_SERVICE)
                | Q(in_service_on__isnull=False),
                name="site_in_service_has_date",
                violation_error_message="A site in service needs its first date.",
            ),
            models.CheckConstraint(
                condition=~Q(state=SiteState.RETIRED) | Q(retired_on__isnull=False),
                name="site_retired_has_date",
                violation_error_message="A retired site needs the date it was retired.",
            ),
            models.CheckConstraint(
                condition=~Q(state=SiteState.SUSPENDED) | Q(suspended_on__isnull=False),
                name="site_suspended_has_date",
                violation_error_message="A suspended site needs the date it stopped.",
            ),
            models.CheckConstraint(
                condition=Q(retired_on__isnull=True)
                | Q(in_service_on__isnull=True)
                | Q(retired_on__gte=F("in_service_on")),
                name="site_dates_in_order",
                violation_error_message="A site cannot be retired before it was in "
                "service.",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def get_absolute_url(self) -> str:
        return reverse("site-detail", args=[self.code])

    def clean(self) -> None:
        check_time_zone(self.time_zone)
        if self.code.casefold() in RESERVED_CODES:
            raise ValidationError(
                {
                    "code": f"“{self.code}” is a word of this program’s own addresses, "
                    "so no site can have it; write another code, such as OV-014."
                }
            )


class Lane(Fact):
    """One lane of a site, numbered as its traffic records number it."""

    wim_site = models.ForeignKey(
        "sites.Site", on_delete=models.PROTECT, related_name="lanes"
    )
    number = models.PositiveSmallIntegerField(
        validators=[MaxValueValidator(9)],
        help_text="The lane code of the record files: 1 is the outside (right) lane.",
    )
    direction = models.PositiveSmallIntegerField(choices=Direction.choices)
    width_m = models.FloatField(
        "width",
        null=True,
        blank=True,
        validators=[MinValueValidator(2.0), MaxValueValidator(8.0)],
    )
    arrangement = models.CharField(
        "sensor arrangement",
        max_length=80,
        blank=True,
        help_text="In the order that traffic meets them, such as loop, piezo, loop, "
        "piezo.",
    )
    opened_on = models.DateField("recording since", null=True, blank=True)
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["wim_site__code", "direction", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["wim_site", "direction", "number"], name="lane_once_at_site"
            ),
            models.CheckConstraint(
                condition=Q(number__lte=9), name="lane_number_one_digit"
            ),
            models.CheckConstraint(
                condition=Q(direction__lte=9), name="lane_direction_one_digit"
            ),
            models.CheckConstraint(
                condition=Q(width_m__isnull=True)
                | (Q(width_m__gte=2.0) & Q(width_m__lte=8.0)),
                name="lane_width_plausible",
            ),
            models.CheckConstraint(
                condition=Q(closed_on__isnull=True)
                | Q(opened_on__isnull=True)
                | Q(closed_on__gte=F("opened_on")),
                name="lane_dates_in_order",
                violation_error_message="A lane cannot close before it opened.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wim_site.code} lane {self.label}"

    @property
    def label(self) -> str:
        """Direction letter and number: "E1"."""
        letters = ["EW", "N", "NE", "E", "SE", "S", "SW", "W", "NW", "NS"]
        return f"{letters[self.direction]}{self.number}"

    def get_absolute_url(self) -> str:
        return reverse("lane-detail", args=[self.wim_site.code, self.label])
