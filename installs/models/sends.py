"""What phones sent from the roadside: each sending once, clashes kept side by side."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from installs.calc.upkeep.types import SendState
from wimprog.lib.models import Fact, choices_of


class RoadsideSend(Fact):
    """One form that a phone sent, by the identifier made on the phone.

    The same identifier sent again answers with the first receipt. A sending that meets
    what somebody else has written meanwhile is kept as a clash until a person chose.
    """

    client_id = models.UUIDField(unique=True)
    form = models.CharField(max_length=32, help_text="Which form: visit, test, run.")
    payload = models.JSONField(default=dict)
    seen_version = models.CharField(
        max_length=64,
        blank=True,
        help_text="What the phone had seen of the thing it changes.",
    )
    typed_at = models.DateTimeField(help_text="By the phone's clock.")
    clock_skew_s = models.FloatField(
        null=True,
        blank=True,
        help_text="Phone's clock less the server's when it was sent [s].",
    )
    state = models.CharField(max_length=12, choices=choices_of(SendState))
    target = models.CharField(
        max_length=200, blank=True, help_text="Address of what it made or changed."
    )
    message = models.TextField(blank=True)
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="sends"
    )
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at"]
        indexes = [models.Index(fields=["state", "-created_at"], name="send_by_state")]

    def __str__(self) -> str:
        return f"{self.form} of {self.typed_at:%Y-%m-%d %H:%M}"
