"""Which class all sessions are to be held against."""

from __future__ import annotations

from typing import Any

from django import forms

from calibration.selectors.rejudged import LAST_WORD, STAGES
from sites.models import Lane
from sites.selectors import lane_list
from wimprog.lib.errors import DomainError

SEPARATOR = " / "


class RejudgeForm(forms.Form):
    """A standard with its class, which runs speak, and for which lane."""

    wanted = forms.ChoiceField(label="Class")
    stage = forms.ChoiceField(
        label="Runs", choices=[(one, one) for one in STAGES], required=False
    )
    lane = forms.ModelChoiceField(
        queryset=Lane.objects.none(), required=False, empty_label="all lanes"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        from calibration.calc.standards import all_standards

        self.fields["wanted"].choices = [  # type: ignore[attr-defined]
            (
                f"{one.title} {one.edition}",
                [(f"{key}{SEPARATOR}{name}", name) for name in one.classes],
            )
            for key, one in all_standards().items()
        ]
        self.fields["lane"].queryset = lane_list()  # type: ignore[attr-defined]

    @property
    def asked(self) -> dict[str, Any]:
        """What :func:`sessions_rejudged` takes.

        Raises
        ------
        DomainError
            When nothing usable was asked.
        """
        if not self.is_valid():
            raise DomainError("Choose a class.")
        standard, _, class_name = self.cleaned_data["wanted"].partition(SEPARATOR)
        lane = self.cleaned_data["lane"]
        return {
            "standard": standard,
            "class_name": class_name,
            "stage": self.cleaned_data["stage"] or LAST_WORD,
            "lane_id": lane.pk if lane else None,
        }
