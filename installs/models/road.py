"""Sensors, their installations, tests and visits."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from installs.calc.types import (
    ElectricalQuantity,
    EndReason,
    FailureMode,
    Technology,
    TestStage,
    VisitPurpose,
)
from wimprog.lib.models import Fact, choices_of, positive


class TechnologyProfile(Fact):
    """What the agency expects of a technology: life before it has its own, and cost.

    A technology without a row uses the published values, which are shown as such.
    """

    technology = models.CharField(
        max_length=24, choices=choices_of(Technology), unique=True
    )
    expected_life_years = positive(
        help_text="Median life expected before the agency's own failures say better."
    )
    replacement_cost = models.DecimalField(
        max_digits=10,
        decimal_places=2,
        validators=[MinValueValidator(0)],
        help_text="One sensor replaced, with lane closure, in today's money.",
    )
    source = models.CharField(max_length=200, help_text="Where these figures are from.")

    class Meta:
        ordering = ["technology"]
        constraints = [
            models.CheckConstraint(
                condition=Q(expected_life_years__gt=0) & Q(replacement_cost__gte=0),
                name="technology_profile_positive",
            )
        ]

    def __str__(self) -> str:
        return self.technology


class SensorModel(Fact):
    """A make and model, with the maker's limits as the agency entered them."""

    maker = models.CharField(max_length=80)
    name = models.CharField("model", max_length=80)
    technology = models.CharField(max_length=24, choices=choices_of(Technology))
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["maker", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="sensor_model_once"),
            models.CheckConstraint(
                condition=Q(technology__in=[t.value for t in Technology]),
                name="sensor_model_technology_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"


class ElectricalLimit(Fact):
    """One limit of an electrical quantity for a sensor model, and where it is from."""

    sensor_model = models.ForeignKey(
        SensorModel, on_delete=models.CASCADE, related_name="limits"
    )
    quantity = models.CharField(max_length=32, choices=choices_of(ElectricalQuantity))
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    data_sheet_tolerance_pct = models.FloatField(
        "within ± % of the sensor's own data sheet",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.01), MaxValueValidator(100.0)],
    )
    baseline_tolerance_pct = models.FloatField(
        "within ± % of the sensor's own first readings",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.01), MaxValueValidator(100.0)],
    )
    temp_coefficient_pct_per_c = models.FloatField(
        "temperature coefficient, % per °C",
        null=True,
        blank=True,
        validators=[MinValueValidator(-20.0), MaxValueValidator(20.0)],
        help_text="Of the value at the reference temperature.",
    )
    reference_temp_c = models.FloatField(
        "reference temperature",
        null=True,
        blank=True,
        validators=[MinValueValidator(-50.0), MaxValueValidator(90.0)],
    )
    coefficient_source = models.CharField(max_length=200, blank=True)
    source = models.CharField(max_length=200)

    class Meta:
        ordering = ["sensor_model", "quantity"]
        constraints = [
            models.UniqueConstraint(
                fields=["sensor_model", "quantity"], name="electrical_limit_once"
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=False)
                | Q(high__isnull=False)
                | Q(data_sheet_tolerance_pct__isnull=False)
                | Q(baseline_tolerance_pct__isnull=False)
                | Q(temp_coefficient_pct_per_c__isnull=False),
                name="electrical_limit_has_a_side",
                violation_error_message="Give a lowest value, a highest value, a "
                "tolerance or a temperature coefficient.",
            ),
            models.CheckConstraint(
                condition=(
                    Q(temp_coefficient_pct_per_c__isnull=True)
                    & Q(reference_temp_c__isnull=True)
                    & Q(coefficient_source="")
                )
                | (
                    Q(temp_coefficient_pct_per_c__isnull=False)
                    & Q(reference_temp_c__isnull=False)
                    & ~Q(coefficient_source="")
                ),
                name="electrical_limit_coefficient_whole",
                violation_error_message="A temperature coefficient needs its reference "
                "temperature and its source.",
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=True)
                | Q(high__isnull=True)
                | Q(high__gte=F("low")),
                name="electrical_limit_in_order",
                violation_error_message="The highest value is below the lowest.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sensor_model}: {self.quantity}"


class Sensor(Fact):
    """One sensor, from its box to its end."""

    model = models.ForeignKey(
        SensorModel, on_delete=models.PROTECT, related_name="sensors"
    )
    serial = models.CharField(max_length=60)
    lot = models.CharField(max_length=60, blank=True)
    length_m = models.FloatField(
        "length",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.1), MaxValueValidator(20.0)],
    )
    lead_length_m = models.FloatField(
        "lead length",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.1), MaxValueValidator(500.0)],
    )
    data_sheet = models.JSONField(
        default=dict,
        blank=True,
        help_text="The maker's values for this sensor by quantity.",
    )
    purchased_on = models.DateField(null=True, blank=True)
    purchase = models.ForeignKey(
        "installs.Purchase",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="sensors",
        help_text="The order it came with, and with it the terms of warranty.",
    )

    class Meta:
        ordering = ["model__maker", "serial"]
        constraints = [
            models.UniqueConstraint(
                fields=["model", "serial"], name="sensor_serial_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.model} no. {self.serial}"

    def get_absolute_url(self) -> str:
        return reverse("installs:sensor-detail", args=[self.pk])


class InstallationQuerySet(models.QuerySet["Installation"]):
    """Questions about installations."""

    def live(self) -> InstallationQuerySet:
        """Those that are in the road now."""
        return self.filter(ended_on__isnull=True)


class Installation(Fact):
    """A sensor in a position of a lane, from a day until a day: one life.

    A life either ended in failure, or is censored: still in service, or ended for
    another reason.
    """

    sensor = models.ForeignKey(
        Sensor, on_delete=models.PROTECT, related_name="installations"
    )
    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="installations"
    )
    position = models.CharField(
        max_length=40,
        help_text="Where in the lane's arrangement, such as “piezo 1” or “loop 2”.",
    )
    installed_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    end_reason = models.CharField(
        max_length=24, choices=choices_of(EndReason), blank=True
    )
    failure_mode = models.CharField(
        max_length=24, choices=choices_of(FailureMode), blank=True
    )
    installer = models.CharField(
        max_length=120, blank=True, help_text="Who put it in: a contractor or a crew."
    )
    note = models.TextField(blank=True)

    objects = InstallationQuerySet.as_manager()

    class Meta:
        ordering = ["lane", "position", "installed_on"]
        indexes = [models.Index(fields=["lane", "ended_on"], name="installation_live")]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("installed_on")),
                name="installation_dates_in_order",
                violation_error_message="A sensor cannot leave the road before it was "
                "installed.",
            ),
            models.CheckConstraint(
                condition=(Q(ended_on__isnull=True) & Q(end_reason=""))
                | (Q(ended_on__isnull=False) & ~Q(end_reason="")),
                name="installation_end_has_reason",
                violation_error_message="Give the day it ended and why, or neither.",
            ),
            models.CheckConstraint(
                condition=(Q(end_reason=EndReason.FAILED.value) & ~Q(failure_mode=""))
                | (~Q(end_reason=EndReason.FAILED.value) & Q(failure_mode="")),
                name="installation_failure_has_mode",
                violation_error_message="A failure needs its mode (unknown is one); "
                "other endings have none.",
            ),
            models.UniqueConstraint(
                fields=["lane", "position"],
                condition=Q(ended_on__isnull=True),
                name="one_live_sensor_in_a_position",
                violation_error_message="That position already holds a live sensor; "
                "end its installation first.",
            ),
            models.UniqueConstraint(
                fields=["sensor"],
                condition=Q(ended_on__isnull=True),
                name="one_live_place_of_a_sensor",
                violation_error_message="That sensor is still installed elsewhere.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.position}"

    def get_absolute_url(self) -> str:
        return self.sensor.get_absolute_url()

    def clean(self) -> None:
        if self.lane_id is None or self.installed_on is None:
            return
        overlapping = Installation.objects.filter(
            lane_id=self.lane_id, position=self.position
        ).exclude(pk=self.pk)
        overlapping = overlapping.filter(
            Q(ended_on__isnull=True) | Q(ended_on__gt=self.installed_on)
        )
        if self.ended_on is not None:
            overlapping = overlapping.filter(installed_on__lt=self.ended_on)
        other = overlapping.first()
        if other is not None:
            raise ValidationError(
                {
                    "installed_on": f"“{self.position}” of this lane held "
                    f"{other.sensor} from {other.installed_on} until "
                    f"{other.ended_on or 'today'}; two sensors cannot be in one place. "
                    "Correct the day, or end the other installation first."
                }
            )


class MaintenanceVisit(Fact):
    """Somebody was at the site: what was found and what was done."""

    wim_site = models.ForeignKey(
        "sites.Site", on_delete=models.PROTECT, related_name="visits"
    )
    lane = models.ForeignKey(
        "sites.Lane",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="visits",
        help_text="Leave empty when the visit was to the whole site.",
    )
    trip = models.ForeignKey(
        "installs.Trip",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="visits",
    )
    arrived_at = models.DateTimeField()
    left_at = models.DateTimeField(null=True, blank=True)
    purpose = models.CharField(max_length=32, choices=choices_of(VisitPurpose))
    people = models.CharField(max_length=200)
    traffic_control_plan = models.CharField(
        max_length=80,
        blank=True,
        help_text="Reference of the traffic control plan that was in force.",
    )
    weather = models.CharField(max_length=80, blank=True)
    findings = models.TextField(blank=True)
    actions = models.TextField(blank=True)
    next_action = models.TextField(blank=True)

    class Meta:
        ordering = ["-arrived_at"]
        indexes = [
            models.Index(fields=["wim_site", "-arrived_at"], name="visit_by_site")
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(left_at__isnull=True) | Q(left_at__gte=F("arrived_at")),
                name="visit_times_in_order",
                violation_error_message="Nobody can leave before arriving.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.wim_site.code} {self.arrived_at:%Y-%m-%d}"

    def get_absolute_url(self) -> str:
        return reverse("installs:visit-detail", args=[self.pk])

    def clean(self) -> None:
        if self.lane_id and self.lane and self.lane.wim_site_id != self.wim_site_id:
            raise ValidationError({"lane": "That lane belongs to another site."})


class ElectricalTest(Fact):
    """Readings taken on one installed sensor at one time."""

    installation = models.ForeignKey(
        Installation, on_delete=models.PROTECT, related_name="electrical_tests"
    )
    visit = models.ForeignKey(
        MaintenanceVisit,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="electrical_tests",
    )
    tested_at = models.DateTimeField()
    stage = models.CharField(max_length=24, choices=choices_of(TestStage))
    pavement_temp_c = models.FloatField(
        "pavement temperature",
        null=True,
        blank=True,
        validators=[MinValueValidator(-50.0), MaxValueValidator(90.0)],
    )
    instrument = models.CharField(
        max_length=80,
        blank=True,
        help_text="Instrument and its serial number.",
    )
    instrument_used = models.ForeignKey(
        "installs.Instrument",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="electrical_tests",
        help_text="The instrument, where the program keeps its calibration.",
    )
    test_voltage_v = models.FloatField(
        "test voltage, V",
        null=True,
        blank=True,
        validators=[MinValueValidator(1.0), MaxValueValidator(5000.0)],
        help_text="Voltage of the insulation test, as set on the instrument.",
    )
    tested_by = models.CharField(max_length=120)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-tested_at"]
        indexes = [
            models.Index(fields=["installation", "tested_at"], name="test_by_sensor")
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["installation", "tested_at", "stage"],
                name="electrical_test_once",
                violation_error_message="This test is already kept.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.installation} {self.tested_at:%Y-%m-%d}"

    def get_absolute_url(self) -> str:
        return self.installation.get_absolute_url()


class Reading(models.Model):
    """One value of an electrical test, in the unit of its quantity."""

    test = models.ForeignKey(
        ElectricalTest, on_delete=models.CASCADE, related_name="readings"
    )
    quantity = models.CharField(max_length=32, choices=choices_of(ElectricalQuantity))
    value = models.FloatField()
    typed = models.CharField(max_length=32, blank=True)
    over_range = models.BooleanField(
        "above the meter's range",
        default=False,
        help_text="The meter showed no more than “above” this value.",
    )

    class Meta:
        ordering = ["test", "quantity"]
        constraints = [
            models.UniqueConstraint(
                fields=["test", "quantity"], name="reading_once_in_a_test"
            ),
            models.CheckConstraint(
                condition=Q(value__gte=0) | Q(quantity="zero output"),
                name="reading_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.value}"
