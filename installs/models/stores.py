"""What was bought and on what terms, and what lies in the store."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from installs.calc.upkeep.types import StockMove, WarrantyStart
from wimprog.lib.models import Fact, choices_of, share


class Purchase(Fact):
    """An order of sensors or parts, with the warranty that came with it."""

    order_ref = models.CharField("order or invoice", max_length=80)
    supplier = models.CharField(max_length=120)
    bought_on = models.DateField()
    what = models.CharField(
        max_length=200, help_text="What was bought, as the invoice says."
    )
    sensor_model = models.ForeignKey(
        "installs.SensorModel",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="purchases",
    )
    spare_part = models.ForeignKey(
        "installs.SparePart",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="purchases",
        help_text="For the store: what of it has not come yet counts as on order.",
    )
    quantity = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(10_000)],
    )
    expected_on = models.DateField("expected", null=True, blank=True)
    unit_price = models.DecimalField(
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    warranty_months = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(360)]
    )
    warranty_start = models.CharField(
        "counted from",
        max_length=16,
        choices=choices_of(WarrantyStart),
        default=WarrantyStart.PURCHASE.value,
    )
    full_months = models.PositiveSmallIntegerField(
        "months of full cover",
        null=True,
        blank=True,
        help_text="After them the cover falls evenly to the end. Empty: full cover.",
    )
    latest_months_from_purchase = models.PositiveSmallIntegerField(
        "ends at the latest, months from purchase", null=True, blank=True
    )
    terms = models.TextField(
        blank=True, help_text="What the terms ask for, and what they leave out."
    )

    class Meta:
        ordering = ["-bought_on", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["supplier", "order_ref", "what"], name="purchase_once"
            ),
            models.CheckConstraint(
                condition=Q(full_months__isnull=True)
                | Q(
                    warranty_months__isnull=False,
                    full_months__lte=models.F("warranty_months"),
                ),
                name="purchase_full_cover_within_warranty",
                violation_error_message="Full cover cannot last longer than the "
                "warranty.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order_ref}, {self.supplier}"

    def get_absolute_url(self) -> str:
        return reverse("installs:purchase-detail", args=[self.pk])


class SparePart(Fact):
    """A kind of thing kept in store: a sensor model, or another part."""

    name = models.CharField(max_length=120, unique=True)
    sensor_model = models.OneToOneField(
        "installs.SensorModel",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="spare_part",
        help_text="For sensors: its forecast then says how many to keep.",
    )
    unit_price = models.DecimalField(
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    lead_time_days = models.PositiveSmallIntegerField(
        "lead time, days", validators=[MaxValueValidator(1500)]
    )
    service_level = share(
        default=0.9,
        help_text="Chance wanted of having enough while an order is on its way.",
    )
    used_per_year = models.FloatField(
        "used a year",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
        help_text="Where no forecast says it.",
    )
    least_wanted = models.PositiveSmallIntegerField(
        "never fewer than",
        null=True,
        blank=True,
        help_text="The agency's own minimum; empty: what the forecast asks for.",
    )
    place = models.CharField(max_length=80, blank=True, help_text="Where it is kept.")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("installs:spare-detail", args=[self.pk])


class StockEntry(Fact):
    """Why and by how much the stock of a part changed; never altered, only corrected.

    ``COUNTED`` sets the stock to ``quantity``; the other moves add or take it.
    """

    spare_part = models.ForeignKey(
        SparePart, on_delete=models.PROTECT, related_name="entries"
    )
    move = models.CharField(max_length=24, choices=choices_of(StockMove))
    quantity = models.PositiveSmallIntegerField(validators=[MaxValueValidator(10_000)])
    moved_on = models.DateField()
    visit = models.ForeignKey(
        "installs.MaintenanceVisit",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="stock_entries",
    )
    purchase = models.ForeignKey(
        Purchase,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="stock_entries",
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["spare_part", "moved_on", "pk"]
        verbose_name_plural = "stock entries"
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0) | Q(move=StockMove.COUNTED.value),
                name="stock_entry_moves_something",
                violation_error_message="Give how many, one or more.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.move} {self.quantity} {self.spare_part}"
