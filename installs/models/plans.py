"""How an array is to lie in a lane, and what the agency works by."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from installs.calc.layout.types import BetweenRows, ElementKind, GoesBy
from installs.calc.types import Technology
from installs.calc.types.records import PlanState
from wimprog.lib.models import Fact, choices_of, positive, share


class WorkSettings(Fact):
    """What the agency works by when it plans and installs. There is exactly one.

    The figures are common practice without a source until the agency writes its own.
    """

    square_tolerance_mm = positive(
        default=12.7,
        verbose_name="reference line out of square, at most",
        help_text="At the far edge of the lane.",
    )
    spacing_tolerance_mm = positive(
        default=6.35,
        verbose_name="as-built spacing off the plan, at most",
    )
    tape_sd_mm = positive(
        default=1.0,
        verbose_name="tape reading error",
        help_text="Standard deviation of one reading of the tape.",
    )
    lead_slack_m = models.FloatField(
        "lead slack", default=3.0, validators=[MinValueValidator(0.0)]
    )
    saw_waste_share = share(default=0.05)
    resin_waste_share = share(default=0.15)
    small_parts_waste_share = share(default=0.10)
    resin_kit_l = positive(default=5.0, verbose_name="resin kit, litres")
    sealant_kit_l = positive(default=4.0, verbose_name="sealant kit, litres")
    kits_by_pour = models.BooleanField(
        "every slot begins with a fresh kit",
        default=True,
        help_text="What is left over from a slot has set before the next is ready; "
        "otherwise a kit serves several slots.",
    )
    support_spacing_mm = positive(default=152.4, verbose_name="supports every")
    wire_diameter_mm = positive(
        default=4.0,
        verbose_name="loop wire’s diameter",
        help_text="Over its insulation.",
    )
    lead_diameter_mm = positive(default=6.0, verbose_name="lead-in cable’s diameter")
    blade_diameter_mm = positive(default=355.6, verbose_name="saw blade’s diameter")
    blade_width_mm = positive(
        default=10.0,
        verbose_name="saw blade’s cut",
        help_text="A wider slot is cut along both edges and broken out.",
    )
    saw_rate_m_per_hour = positive(default=12.0, verbose_name="sawing, m an hour")
    crew_size = models.PositiveSmallIntegerField(
        default=4, validators=[MinValueValidator(1), MaxValueValidator(30)]
    )
    longest_closure_h = models.FloatField(
        "longest closure allowed",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.1), MaxValueValidator(1000.0)],
        help_text="Where a job’s traffic control plan does not say another.",
    )
    step_hours = models.JSONField(
        default=dict,
        blank=True,
        help_text="Crew hours by step, where they differ from the usual ones.",
    )
    keep_photo_location = models.BooleanField(
        "keep the place that a photo was taken",
        default=False,
        help_text="Otherwise it is taken out of the picture before it is kept.",
    )
    photo_limit_mb = models.PositiveSmallIntegerField(
        "largest photo, MB",
        default=25,
        validators=[MinValueValidator(1), MaxValueValidator(50)],
    )

    class Meta:
        verbose_name_plural = "work settings"
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="work_settings_only_one")
        ]

    def __str__(self) -> str:
        return "Work settings"

    def save(self, *args: object, **kwargs: object) -> None:
        self.pk = 1
        super().save(*args, **kwargs)  # type: ignore[arg-type]


class CuringTable(Fact):
    """A maker's table for a resin: hardener, pot life and cure by temperature."""

    product = models.CharField(max_length=80)
    document = models.CharField(
        max_length=120, help_text="The maker's document and edition it was copied from."
    )
    hardener_unit = models.CharField(
        max_length=24, help_text="What the amounts are in, such as g a kit."
    )
    pavement_low_c = models.FloatField("lowest pavement temperature", default=5.0)
    pavement_high_c = models.FloatField("highest pavement temperature", default=45.0)
    resin_low_c = models.FloatField("lowest resin temperature", default=10.0)
    resin_high_c = models.FloatField("highest resin temperature", default=35.0)
    goes_by = models.CharField(
        "its rows go by the temperature of the",
        max_length=12,
        choices=choices_of(GoesBy),
        default=GoesBy.PAVEMENT.value,
        help_text="As the maker's sheet says.",
    )
    between_rows = models.CharField(
        max_length=16,
        choices=[(one.value, one.told) for one in BetweenRows],
        default=BetweenRows.STEPS.value,
        help_text="A straight line only if the maker says that it may be drawn.",
    )

    class Meta:
        ordering = ["product"]
        constraints = [
            models.UniqueConstraint(
                fields=["product", "document"], name="curing_table_once"
            ),
            models.CheckConstraint(
                condition=Q(pavement_high_c__gt=F("pavement_low_c"))
                & Q(resin_high_c__gt=F("resin_low_c")),
                name="curing_table_windows_in_order",
                violation_error_message="The highest temperature is not above the "
                "lowest.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} ({self.document})"


class CuringRow(Fact):
    """One line of a maker's table."""

    table = models.ForeignKey(
        CuringTable, on_delete=models.CASCADE, related_name="rows"
    )
    temp_c = models.FloatField(
        "temperature",
        validators=[MinValueValidator(-50.0), MaxValueValidator(90.0)],
    )
    hardener_amount = positive()
    pot_life_min = positive(verbose_name="pot life, min")
    cure_min = positive(verbose_name="cure, min")

    class Meta:
        ordering = ["table", "temp_c"]
        constraints = [
            models.UniqueConstraint(
                fields=["table", "temp_c"], name="curing_row_once_a_temperature"
            )
        ]

    def __str__(self) -> str:
        return f"{self.table} at {self.temp_c:g} °C"


class ArrayPlan(Fact):
    """How an array is to lie in a lane: a version, frozen once approved."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.PROTECT, related_name="array_plans"
    )
    technology = models.CharField(max_length=24, choices=choices_of(Technology))
    version = models.PositiveSmallIntegerField(default=1, editable=False)
    state = models.CharField(
        max_length=12,
        choices=choices_of(PlanState),
        default=PlanState.DRAFT.value,
        editable=False,
    )
    drawing_ref = models.CharField(
        "contract drawing",
        max_length=80,
        blank=True,
        help_text="The contract drawing that the positions come from.",
    )
    reference_line = models.CharField(
        max_length=200,
        help_text="The one line that every position is measured from, and how to find "
        "it again.",
    )
    lane_width_m = positive(verbose_name="lane width")
    shoulder_width_m = positive(default=2.4384, verbose_name="paved shoulder width")
    speed_kmh = positive(default=104.60736, verbose_name="traffic speed")
    controller_spacing_m = models.FloatField(
        "spacing set in the controller",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.1), MaxValueValidator(50.0)],
        help_text="Between the first and the last axle sensor.",
    )
    cabinet_along_m = models.FloatField("cabinet, along from the line", default=0.0)
    cabinet_from_edge_m = positive(
        default=6.096,
        verbose_name="cabinet from the edge",
        help_text="The cabinet stands on the right, seen with the traffic; measured "
        "from the lane's right edge.",
    )
    longest_lead_m = models.FloatField(
        "the maker's longest lead",
        null=True,
        blank=True,
        validators=[MinValueValidator(1.0), MaxValueValidator(1000.0)],
    )
    note = models.TextField(blank=True)
    approved_by = models.ForeignKey(
        "auth.User",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        editable=False,
    )
    approved_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["lane", "technology", "-version"]
        permissions = [("approve_arrayplan", "Can approve an array plan")]
        constraints = [
            models.UniqueConstraint(
                fields=["lane", "technology", "version"], name="array_plan_version_once"
            ),
            models.UniqueConstraint(
                fields=["lane", "technology"],
                condition=Q(state=PlanState.APPROVED.value),
                name="one_approved_plan_a_lane",
            ),
            models.CheckConstraint(
                condition=Q(state=PlanState.DRAFT.value) | Q(approved_at__isnull=False),
                name="approved_plan_has_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.technology} plan {self.version}"

    def get_absolute_url(self) -> str:
        return reverse("installs:plan-detail", args=[self.pk])


class PlanElement(Fact):
    """One thing of an array, by its place along and across the lane."""

    plan = models.ForeignKey(
        ArrayPlan, on_delete=models.CASCADE, related_name="elements"
    )
    order = models.PositiveSmallIntegerField(default=0)
    kind = models.CharField(max_length=24, choices=choices_of(ElementKind))
    name = models.CharField(
        max_length=40, help_text="Such as “piezo 1”; the position of the sensor in it."
    )
    start_m = models.FloatField(
        "from the reference line",
        help_text="Along the travel to its upstream edge; negative is before the line.",
    )
    length_m = models.FloatField(
        "along the travel",
        validators=[MinValueValidator(1e-9, "It must be above 0.")],
    )
    across_from_m = models.FloatField(
        "from the lane's right edge",
        help_text="Across the lane to its near end; negative is on the shoulder.",
    )
    across_to_m = models.FloatField("to")
    slot_width_mm = models.FloatField(
        "slot width", null=True, blank=True, validators=[MinValueValidator(1.0)]
    )
    slot_depth_mm = models.FloatField(
        "slot depth", null=True, blank=True, validators=[MinValueValidator(1.0)]
    )
    sensor_area_mm2 = models.FloatField(
        "sensor's cross-section, mm²",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
    )
    turns = models.PositiveSmallIntegerField(
        "turns of wire", null=True, blank=True, help_text="Loops only."
    )

    class Meta:
        ordering = ["plan", "order", "start_m"]
        constraints = [
            models.UniqueConstraint(
                fields=["plan", "name"],
                name="plan_element_named_once",
                violation_error_message="Two things of one plan cannot share a name.",
            ),
            models.CheckConstraint(
                condition=Q(across_to_m__gt=F("across_from_m")),
                name="plan_element_across_in_order",
                violation_error_message="“To” must lie beyond “from”.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan}: {self.name}"
