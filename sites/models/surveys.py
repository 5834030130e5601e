"""What a survey of a location found, and the road profiles measured there."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from sites.calc.suitability.base import E1318_TYPES
from sites.calc.survey_bounds import BOUNDS
from sites.calc.types import (
    Communications,
    Distress,
    Drainage,
    FlowKind,
    LineNearby,
    PavementKind,
    PullOff,
    SurveyKind,
)
from wimprog.lib.models import Fact, choices_of


def _measured(name: str, label: str, how: str = "") -> Any:
    """A measured number [SI], within what it can be."""
    bounds = BOUNDS[name]
    return models.FloatField(
        label,
        null=True,
        blank=True,
        help_text=how,
        validators=[MinValueValidator(bounds.least), MaxValueValidator(bounds.most)],
    )


def _word(label: str, words: Any, how: str = "") -> Any:
    """One of a few words; empty is not seen."""
    return models.CharField(
        label, max_length=40, choices=choices_of(words), blank=True, help_text=how
    )


SURVEY_GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "Geometry",
        (
            "curve_is_straight",
            "curve_radius_m",
            "grade_pct",
            "cross_slope_pct",
            "lane_width_m",
            "geometry_before_m",
            "geometry_after_m",
        ),
    ),
    (
        "Pavement",
        (
            "pavement_kind",
            "pavement_thickness_mm",
            "pavement_age_years",
            "distress_level",
            "distress",
            "rutting_mm",
            "deflection_hundredths_mm",
            "deflection_difference_hundredths_mm",
        ),
    ),
    (
        "Smoothness",
        (
            "plate_passes",
            "straightedge_length_m",
            "smooth_before_m",
            "smooth_after_m",
            "iri_m_per_km",
            "lri_m_per_km",
            "peak_lri_m_per_km",
            "sri_m_per_km",
            "peak_sri_m_per_km",
        ),
    ),
    (
        "Traffic",
        (
            "speed_p15_kmh",
            "speed_p85_kmh",
            "speed_mean_kmh",
            "speed_sd_kmh",
            "flow",
            "trucks_per_day",
        ),
    ),
    (
        "Surroundings",
        (
            "drainage",
            "sight_distance_m",
            "pull_off",
            "power_distance_m",
            "communications",
            "lines_overhead",
            "lines_underground",
        ),
    ),
)
"""The facts of a survey in the order in which a crew walks through them."""


class SiteSurvey(Fact):
    """What was measured and seen at one lane of a site, or of a place for one.

    Every measured field bears the name that it has in
    :class:`sites.calc.types.SurveyFacts`; None (or an empty word) is not measured.
    """

    wim_site = models.ForeignKey(
        "sites.Site",
        verbose_name="existing site",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="surveys",
    )
    lane = models.ForeignKey(
        "sites.Lane",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="surveys",
    )
    place = models.CharField(
        "candidate place",
        max_length=120,
        blank=True,
        help_text="A name for a place where there is no site yet, such as “north of "
        "the quarry gate”.",
    )
    route = models.CharField(max_length=60, blank=True)
    location_ref = models.CharField("location reference", max_length=120, blank=True)
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
    study = models.CharField(
        max_length=80,
        blank=True,
        db_index=True,
        help_text="Places that compete for one installation share a study, such as "
        "“Route 14 renewal”, and are compared side by side.",
    )
    surveyed_on = models.DateField("surveyed on")
    surveyed_by = models.CharField("surveyed by", max_length=120)
    wanted_type = models.CharField(
        "wanted type (ASTM E1318)",
        max_length=8,
        choices=[(name, name) for name in E1318_TYPES],
        default=E1318_TYPES[0],
        help_text="What the station has to be able to do.",
    )

    curve_is_straight = models.BooleanField(
        "the lane is straight",
        null=True,
        blank=True,
        help_text="So that there is no radius to measure.",
    )
    curve_radius_m = _measured(
        "curve_radius_m",
        "curve radius",
        "Along the lane’s centre line, from the plans or from a chord C and its middle "
        "ordinate M: C²/8M + M/2. Leave empty for a straight.",
    )
    grade_pct = _measured(
        "grade_pct",
        "longitudinal grade, %",
        "Steepest part of the approach; positive uphill.",
    )
    cross_slope_pct = _measured(
        "cross_slope_pct",
        "cross slope, %",
        "Level across the lane, at several places; the most.",
    )
    lane_width_m = _measured(
        "lane_width_m", "lane width", "Between the inner edges of the lane’s markings."
    )
    geometry_before_m = _measured(
        "geometry_before_m",
        "even geometry before the sensors",
        "Distance up the road over which curve, grade, slope and width are as above.",
    )
    geometry_after_m = _measured(
        "geometry_after_m",
        "even geometry after the sensors",
        "The same, down the road.",
    )

    pavement_kind = _word(
        "pavement structure", PavementKind, "From the plans or a core."
    )
    pavement_thickness_mm = _measured(
        "pavement_thickness_mm",
        "thickness of the bound layers",
        "From a core or the plans.",
    )
    pavement_age_years = _measured(
        "pavement_age_years",
        "age of the surface, years",
        "Since it was last laid or ground.",
    )
    distress_level = _word("distress", Distress, "Where the sensors would lie.")
    distress = models.TextField(
        "distress seen",
        blank=True,
        help_text="Cracks, joints, patches, shoving: what and where.",
    )
    rutting_mm = _measured(
        "rutting_mm",
        "deepest rut",
        "Under a 3 m (10 ft) beam laid across a wheel path.",
    )
    deflection_hundredths_mm = _measured(
        "deflection_hundredths_mm",
        "deflection",
        "Under a 13 t axle, quasi-static; the most.",
    )
    deflection_difference_hundredths_mm = _measured(
        "deflection_difference_hundredths_mm",
        "difference of deflection, left to right",
        "Left wheel path less right, under the same axle.",
    )

    plate_passes = models.BooleanField(
        "the plate passes under the straightedge",
        null=True,
        blank=True,
        help_text="Yes where the plate (6 in across, 1/8 in thick) fits under the "
        "straightedge anywhere: the road is then not smooth enough.",
    )
    straightedge_length_m = _measured(
        "straightedge_length_m",
        "length of the straightedge",
        "Laid along and across the lane.",
    )
    smooth_before_m = _measured(
        "smooth_before_m",
        "plate tried before the sensors",
        "Distance up the road over which it did as said above.",
    )
    smooth_after_m = _measured(
        "smooth_after_m",
        "plate tried after the sensors",
        "The same, down the road.",
    )
    iri_m_per_km = _measured(
        "iri_m_per_km",
        "roughness (IRI)",
        "Over the approach, worse wheel path. Send the profile in on the survey’s "
        "page and have it computed.",
    )
    lri_m_per_km = _measured(
        "lri_m_per_km",
        "long-range index (LRI)",
        "Of AASHTO M 331, at the sensors, worse wheel path; from the profiler’s own "
        "report. It is not the IRI, and is not computed here.",
    )
    peak_lri_m_per_km = _measured(
        "peak_lri_m_per_km", "peak long-range index", "The most near the sensors."
    )
    sri_m_per_km = _measured(
        "sri_m_per_km",
        "short-range index (SRI)",
        "Of AASHTO M 331, at the sensors, worse wheel path; from the profiler’s own "
        "report. It is not the IRI, and is not computed here.",
    )
    peak_sri_m_per_km = _measured(
        "peak_sri_m_per_km", "peak short-range index", "The most near the sensors."
    )

    speed_p15_kmh = _measured(
        "speed_p15_kmh", "speed, 15th percentile", "Of at least 100 free vehicles."
    )
    speed_p85_kmh = _measured(
        "speed_p85_kmh", "speed, 85th percentile", "Of the same vehicles."
    )
    speed_mean_kmh = _measured("speed_mean_kmh", "mean speed", "Of the same vehicles.")
    speed_sd_kmh = _measured(
        "speed_sd_kmh", "standard deviation of speed", "Of the same vehicles."
    )
    flow = _word("flow", FlowKind, "At the worst hour.")
    trucks_per_day = _measured(
        "trucks_per_day",
        "trucks a day in this lane",
        "Class 4 and above, from a count.",
    )

    drainage = _word("drainage", Drainage, "Look in or just after rain.")
    sight_distance_m = _measured(
        "sight_distance_m",
        "sight distance",
        "From which a driver who comes up sees a crew at work.",
    )
    pull_off = _word("pull-off", PullOff, "Where the crew’s vehicle can stand.")
    power_distance_m = _measured(
        "power_distance_m",
        "distance to power",
        "To the nearest supply that may be used, along the trench. Leave empty for "
        "sun and battery, and say so in the notes.",
    )
    communications = _word(
        "communications", Communications, "Try a call at the cabinet’s place."
    )
    lines_overhead = _word(
        "lines overhead", LineNearby, "Within reach of a crane or a mast."
    )
    lines_underground = _word(
        "lines underground", LineNearby, "Call for the marks before anybody digs."
    )
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["-surveyed_on", "-pk"]
        verbose_name = "survey"
        constraints = [
            models.CheckConstraint(
                condition=(Q(wim_site__isnull=False) & Q(place=""))
                | (Q(wim_site__isnull=True) & ~Q(place="")),
                name="survey_of_site_or_place",
                violation_error_message="A survey is of an existing site or of a "
                "candidate place: give one of the two.",
            ),
            models.CheckConstraint(
                condition=Q(lane__isnull=True) | Q(wim_site__isnull=False),
                name="survey_lane_has_site",
                violation_error_message="A lane is chosen, but no site.",
            ),
            models.CheckConstraint(
                condition=Q(latitude__isnull=True, longitude__isnull=True)
                | Q(latitude__isnull=False, longitude__isnull=False),
                name="survey_coordinates_paired",
                violation_error_message="Give both latitude and longitude, or neither.",
            ),
            models.CheckConstraint(
                condition=~Q(curve_is_straight=True) | Q(curve_radius_m__isnull=True),
                name="survey_straight_has_no_radius",
                violation_error_message="The lane is said to be straight, yet a curve "
                "radius is given. Leave out one of the two.",
            ),
            models.CheckConstraint(
                condition=Q(speed_p15_kmh__isnull=True)
                | Q(speed_p85_kmh__isnull=True)
                | Q(speed_p15_kmh__lte=F("speed_p85_kmh")),
                name="survey_speeds_in_order",
                violation_error_message="The 15th percentile of speed is above the "
                "85th. Were they exchanged?",
            ),
        ]

    def __str__(self) -> str:
        if self.lane is not None:
            return str(self.lane)
        return self.wim_site.code if self.wim_site is not None else self.place

    @property
    def kind(self) -> SurveyKind:
        """Whether it is of a candidate place or of an existing site."""
        return SurveyKind.EXISTING if self.wim_site_id else SurveyKind.CANDIDATE

    def get_absolute_url(self) -> str:
        return reverse("sites:survey-detail", args=[self.pk])

    def clean(self) -> None:
        lane = self.lane
        if lane is not None and lane.wim_site_id != self.wim_site_id:
            raise ValidationError(
                {"lane": f"{lane} is not a lane of the chosen site; choose one of it."}
            )


class RoadProfile(Fact):
    """A longitudinal profile measured at a survey's location.

    The row makes its file exist (see :mod:`sites.profile_store`); ``derived`` is what
    the method of ``method_version`` made of it.
    """

    survey = models.ForeignKey(
        "sites.SiteSurvey", on_delete=models.PROTECT, related_name="profiles"
    )
    file_name = models.CharField("file", max_length=255)
    sha256 = models.CharField(max_length=64, help_text="Of the file as it was sent in.")
    store_key = models.CharField(
        max_length=64, help_text="Digest of what was read from it; names its file."
    )
    interval_mm = models.FloatField("interval")
    n = models.PositiveIntegerField("samples of a wheel path")
    start_m = models.FloatField("begins at")
    length_m = models.FloatField("length")
    direction = models.SmallIntegerField(
        default=1,
        choices=[(1, "distances rise"), (-1, "distances fall")],
        help_text="How the file counts distance in the direction of travel.",
    )
    paths = models.JSONField("wheel paths", default=list)
    read_as = models.JSONField(default=dict, blank=True)
    method_version = models.CharField(max_length=20)
    derived = models.JSONField(default=dict)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["survey", "store_key"],
                name="road_profile_once_in_survey",
                violation_error_message="This profile is in this survey already.",
            ),
            models.CheckConstraint(
                condition=Q(interval_mm__gt=0) & Q(n__gte=2) & Q(length_m__gt=0),
                name="road_profile_has_length",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.file_name} at {self.survey}"

    def get_absolute_url(self) -> str:
        return reverse("sites:profile-detail", args=[self.pk])
