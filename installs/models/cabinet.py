"""The roadside cabinet: what is fitted in it, and what was found in it."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from installs.calc.types import EndReason
from installs.calc.upkeep.types import CabinetFinding, CabinetPart
from wimprog.lib.models import Fact, choices_of


class CabinetUnit(Fact):
    """A controller, battery, modem or other unit at a site, from a day until a day."""

    wim_site = models.ForeignKey(
        "sites.Site", on_delete=models.PROTECT, related_name="cabinet_units"
    )
    part = models.CharField(max_length=32, choices=choices_of(CabinetPart))
    name = models.CharField("make and model", max_length=120)
    serial = models.CharField(max_length=60, blank=True)
    fitted_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    end_reason = models.CharField(
        max_length=24, choices=choices_of(EndReason), blank=True
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["wim_site", "part", "fitted_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("fitted_on")),
                name="cabinet_unit_dates_in_order",
                violation_error_message="It cannot leave before it was fitted.",
            ),
            models.CheckConstraint(
                condition=(Q(ended_on__isnull=True) & Q(end_reason=""))
                | (Q(ended_on__isnull=False) & ~Q(end_reason="")),
                name="cabinet_unit_end_has_reason",
                violation_error_message="Give the day it ended and why, or neither.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wim_site.code} {self.part}: {self.name}"


class CabinetCheck(Fact):
    """What was found at one part of the cabinet at a visit."""

    visit = models.ForeignKey(
        "installs.MaintenanceVisit",
        on_delete=models.CASCADE,
        related_name="cabinet_checks",
    )
    part = models.CharField(max_length=32, choices=choices_of(CabinetPart))
    finding = models.CharField(max_length=24, choices=choices_of(CabinetFinding))
    rest_voltage_v = models.FloatField(
        "voltage at rest, V",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
        help_text="Of a battery or a supply, with no load.",
    )
    load_voltage_v = models.FloatField(
        "voltage under load, V",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
        help_text="At the end of the load test.",
    )
    load_current_a = models.FloatField(
        "load, A", null=True, blank=True, validators=[MinValueValidator(0.0)]
    )
    earth_resistance_ohm = models.FloatField(
        "resistance to earth, Ω",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["visit", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "part"], name="cabinet_part_once_a_visit"
            )
        ]

    def __str__(self) -> str:
        return f"{self.part}: {self.finding}"
