"""Test vehicles, static weighings, sessions and truck runs."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from calibration.calc.types import (
    EnvironmentPlan,
    LanePosition,
    SessionPurpose,
    TestPlan,
)
from calibration.calc.words import VehicleOrigin
from wimprog.lib.models import Fact, choices_of


def check_positive_list(values: object) -> None:
    """A list of positive numbers (axle weights or spacings)."""
    if not isinstance(values, list) or not values:
        raise ValidationError("Give one number for each axle.")
    for place, value in enumerate(values, start=1):
        if not isinstance(value, int | float) or isinstance(value, bool) or value <= 0:
            raise ValidationError(
                f"Number {place} is “{value}”; each must be greater than zero."
            )


class TestVehicle(Fact):
    """A truck of known layout that is driven over the sensors."""

    __test__ = False  # not a test case, whatever its name suggests to a test runner

    name = models.CharField(max_length=60, unique=True)
    vehicle_class = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(13)],
        help_text="FHWA 13-category class.",
    )
    axle_spacings_m = models.JSONField(
        "axle spacings", validators=[check_positive_list]
    )
    origin = models.CharField(
        max_length=24,
        choices=choices_of(VehicleOrigin),
        default=VehicleOrigin.TEST_VEHICLE.value,
    )
    body = models.CharField(
        max_length=80, blank=True, help_text="Such as tanker, flatbed, dump body."
    )
    suspension = models.CharField(max_length=120, blank=True)
    tyres = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(vehicle_class__gte=1) & Q(vehicle_class__lte=13),
                name="test_vehicle_class_known",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def n_axles(self) -> int:
        """Number of axles."""
        return len(self.axle_spacings_m) + 1


class StaticWeighing(Fact):
    """A test vehicle weighed standing still, axle by axle, on a certified scale."""

    vehicle = models.ForeignKey(
        TestVehicle, on_delete=models.PROTECT, related_name="weighings"
    )
    weighed_at = models.DateTimeField()
    scale = models.CharField(max_length=80, help_text="The scale's identity.")
    certificate = models.CharField(max_length=80)
    certified_on = models.DateField(null=True, blank=True)
    axle_weights_kg = models.JSONField("axle weights", validators=[check_positive_list])
    readings = models.JSONField(
        default=list,
        blank=True,
        help_text="Single readings of the scale: the axles that stood on it (0 is the "
        "front one) and what it showed, kg.",
    )
    certificate_until = models.DateField(
        "certificate good until", null=True, blank=True
    )
    scale_step_kg = models.FloatField(
        "step of the display",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.001)],
    )
    scale_expanded_kg = models.FloatField(
        "certificate’s uncertainty",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
        help_text="Its constant part, expanded as the certificate states it.",
    )
    scale_expanded_pct = models.FloatField(
        "and of the load, %",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0), MaxValueValidator(50.0)],
    )
    scale_coverage_k = models.FloatField(
        "expanded by a factor k of",
        default=2.0,
        validators=[MinValueValidator(1.0), MaxValueValidator(4.0)],
        help_text="For a tolerance without a factor write 1.732 (a limit).",
    )
    fuel_kg_per_hour = models.FloatField(
        "fuel burnt, kg an hour",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0), MaxValueValidator(200.0)],
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-weighed_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle", "weighed_at"], name="static_weighing_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.vehicle} weighed {self.weighed_at:%Y-%m-%d %H:%M}"

    @property
    def gvw_kg(self) -> float:
        """Gross vehicle weight: the sum of the axles."""
        return float(sum(self.axle_weights_kg))

    def clean(self) -> None:
        if self.vehicle_id and isinstance(self.axle_weights_kg, list):
            wanted = self.vehicle.n_axles
            if len(self.axle_weights_kg) != wanted:
                raise ValidationError(
                    {
                        "axle_weights_kg": f"{len(self.axle_weights_kg)} axle weights "
                        f"for a vehicle of {wanted} axles; give one for each axle."
                    }
                )
        if (
            self.certified_on
            and self.weighed_at
            and self.certified_on > self.weighed_at.date()
        ):
            raise ValidationError(
                {"certified_on": "The certificate is dated after the weighing."}
            )


class SessionState(models.TextChoices):
    """Open for runs, or closed with its outcome."""

    OPEN = "open", "open"
    CLOSED = "closed", "closed"


class CalibrationSession(Fact):
    """Truck runs of known weight over one lane, and what came of them."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="calibration_sessions"
    )
    held_on = models.DateField()
    purpose = models.CharField(max_length=32, choices=choices_of(SessionPurpose))
    plan = models.CharField(
        "test conditions",
        max_length=4,
        choices=choices_of(TestPlan),
        default="R1",
        help_text="Repeatability or reproducibility of the runs (COST 323 codes).",
    )
    environment = models.CharField(
        max_length=4,
        choices=choices_of(EnvironmentPlan),
        default="I",
        help_text="I: within a day. II: days in one season. III: a full year.",
    )
    conditions = models.CharField("weather and conditions", max_length=200, blank=True)
    standard = models.CharField(max_length=40, default="astm-e1318")
    wanted_class = models.CharField(max_length=20, default="Type I")
    factor_before = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(1e-9)]
    )
    factor_after = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(1e-9)]
    )
    people = models.CharField(max_length=200, blank=True)
    traffic_control_plan = models.CharField(max_length=80, blank=True)
    state = models.CharField(
        max_length=8, choices=SessionState.choices, default=SessionState.OPEN
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-held_on", "-pk"]
        indexes = [models.Index(fields=["lane", "-held_on"], name="session_by_lane")]
        constraints = [
            models.CheckConstraint(
                condition=(Q(factor_before__isnull=True) | Q(factor_before__gt=0))
                & (Q(factor_after__isnull=True) | Q(factor_after__gt=0)),
                name="session_factors_positive",
                violation_error_message="A calibration factor is greater than zero.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.held_on}"

    def get_absolute_url(self) -> str:
        return reverse("calibration:session-detail", args=[self.pk])


class RunStage(models.TextChoices):
    """Before or after the factor was changed."""

    AS_FOUND = "as found", "as found"
    AS_LEFT = "as left", "as left"


class TruckRun(Fact):
    """One pass of a weighed test vehicle, as the lane recorded it."""

    session = models.ForeignKey(
        CalibrationSession, on_delete=models.CASCADE, related_name="runs"
    )
    weighing = models.ForeignKey(
        StaticWeighing, on_delete=models.PROTECT, related_name="runs"
    )
    number = models.PositiveSmallIntegerField()
    stage = models.CharField(
        max_length=8, choices=RunStage.choices, default=RunStage.AS_FOUND
    )
    run_at = models.DateTimeField()
    speed_kmh = models.FloatField(
        "speed",
        null=True,
        blank=True,
        validators=[MinValueValidator(1.0), MaxValueValidator(200.0)],
        help_text="As the lane recorded it.",
    )
    reference_speed_kmh = models.FloatField(
        "reference speed",
        null=True,
        blank=True,
        validators=[MinValueValidator(1.0), MaxValueValidator(200.0)],
        help_text="By radar or another independent instrument, if taken.",
    )
    pavement_temp_c = models.FloatField(
        "pavement temperature",
        null=True,
        blank=True,
        validators=[MinValueValidator(-50.0), MaxValueValidator(90.0)],
    )
    lane_position = models.CharField(
        max_length=8, choices=choices_of(LanePosition), default="centre"
    )
    axle_weights_kg = models.JSONField(
        "measured axle weights", validators=[check_positive_list]
    )
    axle_spacings_m = models.JSONField(
        "measured spacings", validators=[check_positive_list], null=True, blank=True
    )
    left_wheel_weights_kg = models.JSONField(
        "measured left wheels", validators=[check_positive_list], null=True, blank=True
    )
    right_wheel_weights_kg = models.JSONField(
        "measured right wheels", validators=[check_positive_list], null=True, blank=True
    )
    controller_record = models.CharField(
        max_length=200,
        blank=True,
        help_text="The controller's record that it came from, and how it was matched.",
    )
    excluded = models.BooleanField(default=False)
    exclusion_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["session", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "number"],
                name="run_number_once",
                violation_error_message="That run number is already taken.",
            ),
            models.CheckConstraint(
                condition=(Q(excluded=True) & ~Q(exclusion_reason=""))
                | (Q(excluded=False) & Q(exclusion_reason="")),
                name="run_excluded_with_reason",
                violation_error_message="A run is set aside with a reason, or not at "
                "all.",
            ),
        ]

    def __str__(self) -> str:
        return f"run {self.number}"

    @property
    def gvw_kg(self) -> float:
        """Gross weight as the lane recorded it: the sum of its axles."""
        return float(sum(self.axle_weights_kg))

    def clean(self) -> None:
        if not self.weighing_id or not isinstance(self.axle_weights_kg, list):
            return
        wanted = self.weighing.vehicle.n_axles
        self._check_wheels(wanted)
        if len(self.axle_weights_kg) != wanted:
            raise ValidationError(
                {
                    "axle_weights_kg": f"{len(self.axle_weights_kg)} axle weights for "
                    f"{self.weighing.vehicle}, which has {wanted} axles; give one for "
                    "each axle, or set the run aside with the reason."
                }
            )
        if self.run_at and self.run_at < self.weighing.weighed_at:
            raise ValidationError(
                {
                    "run_at": f"The run is earlier than the static weighing it is held "
                    f"against ({self.weighing.weighed_at:%Y-%m-%d %H:%M} UTC); correct "
                    "the time or choose the weighing that came before it."
                }
            )

    def _check_wheels(self, wanted: int) -> None:
        sides = {
            "left_wheel_weights_kg": self.left_wheel_weights_kg,
            "right_wheel_weights_kg": self.right_wheel_weights_kg,
        }
        if all(side is None for side in sides.values()):
            return
        for name, side in sides.items():
            if not isinstance(side, list) or len(side) != wanted:
                raise ValidationError(
                    {
                        name: f"Give one wheel weight for each of the {wanted} axles "
                        "on both sides, or none at all."
                    }
                )


class SessionResult(models.Model):
    """What a session's runs showed; derived, replaced as a whole when they change.

    ``verdict`` holds the judgements as JSON; ``inputs_sha256`` and ``method_version``
    say what it was computed from and by which version of the method.
    """

    session = models.ForeignKey(
        CalibrationSession, on_delete=models.CASCADE, related_name="results"
    )
    stage = models.CharField(max_length=8, choices=RunStage.choices)
    n_runs = models.PositiveIntegerField()
    gvw_mean_pct = models.FloatField(null=True)
    gvw_sd_pct = models.FloatField(null=True)
    gvw_low_pct = models.FloatField(null=True)
    gvw_high_pct = models.FloatField(null=True)
    verdict_word = models.CharField(max_length=12)
    verdict = models.JSONField(default=dict)
    method_version = models.CharField(max_length=20)
    inputs_sha256 = models.CharField(max_length=64)
    computed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["session", "stage"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "stage"], name="session_result_once"
            ),
            models.CheckConstraint(
                condition=Q(gvw_low_pct__isnull=True)
                | Q(gvw_high_pct__gte=F("gvw_low_pct")),
                name="session_result_interval_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.session} {self.stage}"
