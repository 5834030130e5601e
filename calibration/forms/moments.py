"""Times of day to the second, as the clock on the site's wall shows them."""

from __future__ import annotations

from typing import Any

from django import forms

from wimprog.lib.forms import LocalTimeField


class MomentField(LocalTimeField):
    """A date with a time of day, to the second: trucks pass within a minute."""

    def __init__(self, **options: Any) -> None:
        options.setdefault(
            "widget",
            forms.DateTimeInput(
                format="%Y-%m-%dT%H:%M:%S",
                attrs={"type": "datetime-local", "step": "1"},
            ),
        )
        super().__init__(**options)
