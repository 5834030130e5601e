"""Stage templates: what has to be proved at each stage, as data of the agency's."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from installs.calc.types import ElectricalQuantity, Technology, TestStage
from installs.calc.types.records import (
    ItemKind,
    LimitRule,
    LimitSource,
    SignRole,
    TemplateState,
)
from wimprog.lib.models import Fact, choices_of
from wimprog.lib.units import Kind


class StageTemplate(Fact):
    """The stages of installing one technology: a version, frozen once in use."""

    technology = models.CharField(max_length=24, choices=choices_of(Technology))
    version = models.PositiveSmallIntegerField(default=1, editable=False)
    state = models.CharField(
        max_length=12,
        choices=choices_of(TemplateState),
        default=TemplateState.DRAFT.value,
        editable=False,
    )
    note = models.TextField(blank=True, help_text="What this version changes, and why.")
    in_use_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["technology", "-version"]
        constraints = [
            models.UniqueConstraint(
                fields=["technology", "version"], name="stage_template_version_once"
            ),
            models.UniqueConstraint(
                fields=["technology"],
                condition=Q(state=TemplateState.IN_USE.value),
                name="one_template_in_use_a_technology",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.technology} stages, version {self.version}"

    def get_absolute_url(self) -> str:
        return reverse("installs:template-detail", args=[self.pk])


class TemplateStage(models.Model):
    """One stage of a template."""

    template = models.ForeignKey(
        StageTemplate, on_delete=models.CASCADE, related_name="stages"
    )
    number = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    key = models.SlugField(max_length=40)
    title = models.CharField(max_length=80)
    purpose = models.TextField(help_text="What this stage has to prove, in a sentence.")
    cautions = models.JSONField(
        default=list,
        blank=True,
        help_text="Names of the cautions shown before it, such as traffic and saw.",
    )
    sign_roles = models.JSONField(default=list, help_text="Who signs, by role.")

    class Meta:
        ordering = ["template", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["template", "number"], name="template_stage_number_once"
            ),
            models.UniqueConstraint(
                fields=["template", "key"], name="template_stage_key_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}. {self.title}"

    def clean(self) -> None:
        unknown = set(self.sign_roles) - {role.value for role in SignRole}
        if unknown or not self.sign_roles:
            raise ValidationError(
                {
                    "sign_roles": "Name at least one of "
                    f"{', '.join(SignRole)}, and nothing else."
                }
            )


class TemplateItem(models.Model):
    """One thing that a stage asks for, with its limits and whose they are.

    Numbers are in SI when ``measure`` names a kind of quantity, in the electrical
    quantity's unit when ``quantity`` does, otherwise in ``unit``.
    """

    stage = models.ForeignKey(
        TemplateStage, on_delete=models.CASCADE, related_name="items"
    )
    number = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    key = models.SlugField(
        max_length=60, help_text="Its name in later versions and in the record."
    )
    kind = models.CharField(max_length=40, choices=choices_of(ItemKind))
    prompt = models.CharField(max_length=200)
    help = models.TextField(blank=True)
    required = models.BooleanField(default=True)
    measure = models.CharField(max_length=16, choices=choices_of(Kind), blank=True)
    unit = models.CharField(max_length=16, blank=True)
    quantity = models.CharField(
        max_length=32, choices=choices_of(ElectricalQuantity), blank=True
    )
    test_stage = models.CharField(
        max_length=24,
        choices=choices_of(TestStage),
        blank=True,
        help_text="The electrical test that a reading belongs to.",
    )
    points = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How many numbers a series should hold."
    )
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    largest_range = models.FloatField(
        null=True,
        blank=True,
        help_text="Largest difference between two numbers of a series.",
    )
    limit_rule = models.CharField(
        max_length=40,
        choices=choices_of(LimitRule),
        default=LimitRule.FIXED.value,
    )
    expected = models.CharField(
        max_length=80, blank=True, help_text="The answer that passes, such as yes."
    )
    options = models.JSONField(default=list, blank=True)
    least_photos = models.PositiveSmallIntegerField(default=0)
    limit_source = models.CharField(
        max_length=32,
        choices=choices_of(LimitSource),
        default=LimitSource.COMMON_PRACTICE.value,
    )
    limit_reference = models.CharField(
        max_length=200, blank=True, help_text="The clause, sheet or drawing."
    )
    only_if_key = models.SlugField(
        max_length=60,
        blank=True,
        help_text="Asked only when that item of the template …",
    )
    only_if_answer = models.CharField(
        max_length=80, blank=True, help_text="… was answered so."
    )

    class Meta:
        ordering = ["stage", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["stage", "number"], name="template_item_number_once"
            ),
            models.UniqueConstraint(
                fields=["stage", "key"], name="template_item_key_once"
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=True)
                | Q(high__isnull=True)
                | Q(high__gte=F("low")),
                name="template_item_limits_in_order",
                violation_error_message="The highest value is below the lowest.",
            ),
        ]

    def __str__(self) -> str:
        return self.prompt
