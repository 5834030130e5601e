"""Readings with digits enough for their size."""

from __future__ import annotations

from django import template

from installs.figures import reading_number

register = template.Library()


@register.filter
def reading(value: float) -> str:
    """A reading for people: 1,200, 64.0, 8.04, 0.0180."""
    return reading_number(value)
