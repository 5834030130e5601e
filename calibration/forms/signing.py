"""A session signed by name, in a role."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from django import forms

from calibration.calc.words import SessionRole


class SessionSignForm(forms.Form):
    """Typing one's name signs."""

    role = forms.ChoiceField(label="You sign as", widget=forms.RadioSelect)
    name_signed = forms.CharField(
        label="Your full name",
        max_length=120,
        help_text="Typing your name signs: you saw the record, and it is true.",
    )
    client_id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def __init__(self, *args: Any, roles: Sequence[SessionRole], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["role"].choices = [  # type: ignore[attr-defined]
            (role.value, role.value) for role in roles
        ]
