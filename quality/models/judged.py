"""What the records came to over weeks: drift, and what is proposed of it.

Beside it, the limits that the agency judges by.
"""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from quality.calc.types import (
    CorrectionState,
    DriftScope,
    DriftShape,
    EpisodeState,
)
from wimprog.lib.models import Fact, choices_of, positive, share


class CheckLimit(Fact):
    """The agency's own limit of a check, for all lanes or for one."""

    check_key = models.CharField(max_length=60)
    lane = models.ForeignKey(
        "sites.Lane",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="check_limits",
        help_text="Empty: all lanes.",
    )
    value = models.FloatField()
    is_off = models.BooleanField(
        "not used", default=False, help_text="The check is not used there."
    )
    source = models.CharField(max_length=200, help_text="Why this limit.")

    class Meta:
        ordering = ["check_key", "lane"]
        constraints = [
            models.UniqueConstraint(
                fields=["check_key", "lane"],
                name="check_limit_once_a_lane",
                violation_error_message="That check has a limit there already.",
            ),
            models.UniqueConstraint(
                fields=["check_key"],
                condition=Q(lane__isnull=True),
                name="check_limit_once_for_all",
                violation_error_message="That check has a limit for all lanes already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.check_key}: {self.value:g}"


class RecordSettings(Fact):
    """How vehicle records are judged and used. There is exactly one."""

    use_corrections = models.BooleanField(
        "use back-corrected weights in reports",
        default=False,
        help_text="Only corrections that somebody allowed, and always marked.",
    )
    refused_share_limit = share(
        default=0.05,
        verbose_name="take a file with at most this share refused",
    )
    flexible_sn = positive(
        default=5.0,
        verbose_name="structural number",
        help_text="Of the flexible pavement that loads are reckoned for (AASHTO 1993).",
    )
    rigid_slab_in = positive(
        default=9.0,
        verbose_name="slab thickness, in",
        help_text="Of the rigid pavement that loads are reckoned for (AASHTO 1993).",
    )
    terminal_serviceability = models.FloatField(
        default=2.5, validators=[MinValueValidator(1.5), MaxValueValidator(4.0)]
    )
    holidays = models.JSONField(
        default=list, blank=True, help_text="Days (YYYY-MM-DD) with unusual traffic."
    )

    class Meta:
        verbose_name_plural = "record settings"
        constraints = [
            models.CheckConstraint(
                condition=Q(pk=1), name="record_settings_are_only_one"
            )
        ]

    def __str__(self) -> str:
        return "record settings"

    def save(self, *args: object, **kwargs: object) -> None:
        self.pk = 1
        super().save(*args, **kwargs)  # type: ignore[arg-type]


class DriftEpisode(Fact):
    """A time in which a lane weighed differently, as found in its weeks.

    Found again on every look: matched by lane, measure and onset, brought up to date
    while it is open, kept as it was once somebody has explained or closed it.
    """

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.CASCADE, related_name="drift_episodes"
    )
    measure = models.CharField(max_length=40, default="steering axle")
    onset_on = models.DateField()
    onset_low_on = models.DateField()
    onset_high_on = models.DateField()
    found_on = models.DateField(help_text="Week in which it was first seen.")
    last_on = models.DateField(help_text="Last week looked at.")
    size_pct = models.FloatField()
    size_low_pct = models.FloatField()
    size_high_pct = models.FloatField()
    n_weeks = models.PositiveIntegerField()
    n_trucks = models.PositiveIntegerField()
    shape = models.CharField(max_length=12, choices=choices_of(DriftShape))
    scope = models.CharField(max_length=16, choices=choices_of(DriftScope))
    causes = models.JSONField(
        default=list,
        blank=True,
        help_text="Suggested causes with what speaks for each.",
    )
    facts = models.JSONField(
        default=dict, help_text="The whole finding, with its rule and false alarms."
    )
    method_version = models.CharField(max_length=20)
    state = models.CharField(
        max_length=12, choices=choices_of(EpisodeState), default=EpisodeState.OPEN.value
    )
    explanation = models.CharField(max_length=300, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-onset_on", "lane"]
        constraints = [
            models.UniqueConstraint(
                fields=["lane", "measure", "onset_on"], name="drift_episode_once"
            ),
            models.CheckConstraint(
                condition=Q(onset_low_on__lte=F("onset_on"))
                & Q(onset_high_on__gte=F("onset_on")),
                name="drift_onset_inside_interval",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.measure} from {self.onset_on}"

    def get_absolute_url(self) -> str:
        return reverse("quality:drift-detail", args=[self.pk])


class ReviewQuestion(Fact):
    """A decision on days that later facts have put in question again."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.CASCADE, related_name="review_questions"
    )
    from_on = models.DateField()
    to_on = models.DateField()
    because = models.CharField(max_length=300)
    evidence_key = models.CharField(
        max_length=120, help_text="The later fact: a session, a visit, a replacement."
    )
    asked_at = models.DateTimeField(auto_now_add=True)
    settled_by = models.ForeignKey(
        "quality.DayReview",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="questions",
    )
    kept_as_is_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Who looked again and left the decision as it was.",
    )
    kept_as_is_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["lane", "from_on", "to_on", "evidence_key"],
                name="review_question_once",
            ),
            models.CheckConstraint(
                condition=Q(to_on__gte=F("from_on")),
                name="review_question_dates_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.from_on}–{self.to_on}: {self.because}"


class BackCorrection(Fact):
    """A scaling of a lane's weights for a time, kept beside the raw records."""

    lane = models.ForeignKey(
        "sites.Lane", on_delete=models.CASCADE, related_name="back_corrections"
    )
    episode = models.ForeignKey(
        DriftEpisode,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="corrections",
    )
    from_on = models.DateField()
    to_on = models.DateField()
    factor = positive()
    factor_low = positive()
    factor_high = positive()
    n_weeks = models.PositiveIntegerField()
    n_trucks = models.PositiveIntegerField()
    basis = models.CharField(max_length=400, help_text="What it rests on.")
    state = models.CharField(
        max_length=12,
        choices=choices_of(CorrectionState),
        default=CorrectionState.PROPOSED.value,
    )
    reason = models.CharField(max_length=300, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["lane", "from_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(factor_low__lte=F("factor"))
                & Q(factor_high__gte=F("factor")),
                name="back_correction_factor_inside",
            ),
            models.CheckConstraint(
                condition=Q(to_on__gte=F("from_on")),
                name="back_correction_dates_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lane} {self.from_on}–{self.to_on} × {self.factor:.4f}"


class ReportIssue(Fact):
    """A year's report that was given out, with the facts that it stated."""

    year = models.PositiveSmallIntegerField()
    scope = models.CharField(max_length=40, default="program")
    issued_on = models.DateField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    facts_sha256 = models.CharField(max_length=64)
    facts = models.JSONField()
    version = models.CharField(max_length=40)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-year", "-issued_on", "-pk"]

    def __str__(self) -> str:
        return f"{self.year} {self.scope}, issued {self.issued_on}"


class ReportJob(Fact):
    """A report in the making: how far it is, and the file when it is done."""

    year = models.PositiveSmallIntegerField()
    site_code = models.CharField(max_length=20, blank=True)
    fmt = models.CharField(max_length=8)
    state = models.CharField(max_length=12, default="queued")
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    message = models.TextField(blank=True)
    path = models.CharField(max_length=255, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-created_at"]

    def __str__(self) -> str:
        return f"{self.year} {self.fmt}: {self.state}"
