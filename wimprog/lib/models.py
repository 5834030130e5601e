"""Bases of our models: facts that keep what was typed and who changed them, and why."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from simple_history.models import HistoricalRecords

from wimprog.lib.units import Typed


class Fact(models.Model):
    """Something a person entered or decided.

    Every change is kept with who, when and why (``history``). ``as_typed`` holds, for a
    measured field, the text and unit as entered: ``{"gvw_kg": ["79,980", "lb"]}``.
    """

    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True, db_index=True)
    as_typed = models.JSONField(default=dict, blank=True, editable=False)
    history = HistoricalRecords(inherit=True)

    class Meta:
        abstract = True

    def typed(self, name: str) -> Typed | None:
        """What was typed for field ``name``, if it was typed at all."""
        entry = self.as_typed.get(name)
        return Typed(entry[0], entry[1]) if entry else None


def save_with_reason(instance: models.Model, *, by: Any, why: str) -> None:
    """Check, save and keep who and why.

    The service layer's only way of writing a :class:`Fact`.

    Raises
    ------
    django.core.exceptions.ValidationError
        When the instance breaks one of its own rules.
    """
    instance._history_user = by  # type: ignore[attr-defined]
    instance._change_reason = why  # type: ignore[attr-defined]
    instance.full_clean()
    instance.save()


def positive(**options: Any) -> models.FloatField:
    """A measured quantity that cannot be zero or negative."""
    return models.FloatField(validators=[MinValueValidator(1e-9)], **options)


def share(**options: Any) -> models.FloatField:
    """A share between 0 and 1."""
    return models.FloatField(
        validators=[MinValueValidator(0.0), MaxValueValidator(1.0)], **options
    )


def choices_of(words: type[StrEnum]) -> list[tuple[str, str]]:
    """Choices of a model field from an enum born in a ``calc`` package.

    The stored word is the word that people read.
    """
    return [(word.value, word.value) for word in words]
