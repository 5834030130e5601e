"""What a session was planned to show, the factors it left, and who signed it."""

from __future__ import annotations

import uuid

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.urls import reverse

from calibration.calc.types import EnvironmentPlan, TestPlan
from calibration.calc.words import FactorOrigin, SessionRole
from calibration.models.sessions import RunStage, check_positive_list
from wimprog.lib.models import Fact, choices_of, positive


class SessionPlan(Fact):
    """Which vehicles, speeds, places and how many runs, to show what."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="session_plans"
    )
    session = models.OneToOneField(
        "calibration.CalibrationSession",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="session_plan",
        editable=False,
    )
    planned_on = models.DateField("planned for")
    standard = models.CharField(max_length=40, default="astm-e1318")
    wanted_class = models.CharField(max_length=20, default="Type I")
    plan = models.CharField(
        "test conditions", max_length=4, choices=choices_of(TestPlan), default="R1"
    )
    environment = models.CharField(
        max_length=4, choices=choices_of(EnvironmentPlan), default="I"
    )
    vehicles = models.ManyToManyField(
        "calibration.TestVehicle", related_name="session_plans"
    )
    runs_per_vehicle = models.PositiveSmallIntegerField(
        default=10, validators=[MinValueValidator(1), MaxValueValidator(500)]
    )
    speeds_kmh = models.JSONField("speeds", validators=[check_positive_list])
    lane_positions = models.JSONField(default=list, blank=True)
    pavement_temps = models.CharField(
        "pavement temperatures wanted", max_length=120, blank=True
    )
    bias_to_show_pct = positive(
        default=2.0,
        verbose_name="bias to be shown, %",
        help_text="A true bias of this size should be found.",
    )
    expected_sd_pct = positive(
        default=3.0,
        verbose_name="spread expected, %",
        help_text="Standard deviation of single errors of gross weight, as in this "
        "lane's earlier sessions.",
    )
    traffic_control_plan = models.CharField(max_length=80, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-planned_on", "lane"]

    def __str__(self) -> str:
        return f"plan for {self.lane}, {self.planned_on}"

    def get_absolute_url(self) -> str:
        return reverse("calibration:plan-detail", args=[self.pk])


class FactorSet(Fact):
    """The factors that a lane worked by before a session, or was left with."""

    session = models.ForeignKey(
        "calibration.CalibrationSession",
        on_delete=models.CASCADE,
        related_name="factor_sets",
    )
    stage = models.CharField(max_length=8, choices=RunStage.choices)
    overall = positive(null=True, blank=True)
    by_speed = models.JSONField(
        default=list, blank=True, help_text="Pairs of speed [km/h] and factor."
    )
    by_sensor = models.JSONField(
        default=dict, blank=True, help_text="Factor by the sensor's name."
    )
    method = models.CharField(
        max_length=32,
        choices=choices_of(FactorOrigin),
        default=FactorOrigin.TYPED.value,
    )
    predicted = models.JSONField(
        default=dict, blank=True, help_text="Error statistics predicted with it."
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["session", "stage"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "stage"], name="factor_set_once_a_stage"
            )
        ]

    def __str__(self) -> str:
        return f"{self.session} factors {self.stage}"


class SessionSignature(models.Model):
    """A session signed by somebody in a role, with what was true then."""

    client_id = models.UUIDField(default=uuid.uuid4, unique=True)
    session = models.ForeignKey(
        "calibration.CalibrationSession",
        on_delete=models.PROTECT,
        related_name="signatures",
    )
    role = models.CharField(max_length=16, choices=choices_of(SessionRole))
    name_signed = models.CharField(max_length=120)
    signed_by = models.ForeignKey(
        "auth.User", on_delete=models.PROTECT, related_name="+"
    )
    signed_at = models.DateTimeField()
    what_was_true = models.JSONField()
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.session}: {self.name_signed}"
