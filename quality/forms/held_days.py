"""What becomes of days that are held already, and taking that back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from quality.services import ImportOptions

CHOICES = (
    ("keep", "keep what is held; take only the new days"),
    ("replace", "replace the held days by this file's"),
)


class HeldDaysForm(forms.Form):
    """Keep or replace, lane by lane, and why."""

    held_reason = forms.CharField(
        label="Reason",
        max_length=300,
        required=False,
        help_text="Needed where days are replaced; it is kept with the decision.",
    )

    def __init__(
        self,
        *args: Any,
        preview: Mapping[str, Any],
        options: Mapping[str, Any],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.tried = dict(options)
        self.lanes = {f"lane_{one['lane_id']}": one for one in preview["overlaps"]}
        for name, one in self.lanes.items():
            self.fields[name] = forms.ChoiceField(
                label=f"{one['lane_name']}, {len(one['days'])} days held already",
                choices=CHOICES,
                initial=one["choice"] or "keep",
            )
        self.fields["held_reason"].initial = self.tried.get("held_reason", "")
        self.order_fields([*self.lanes, "held_reason"])

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        replaced = any(data.get(name) == "replace" for name in self.lanes)
        if replaced and not (data.get("held_reason") or "").strip():
            self.add_error("held_reason", "Give the reason why days are replaced.")
        return data

    def options(self) -> ImportOptions:
        """What was chosen, beside what was chosen before."""
        chosen = {
            str(one["lane_id"]): self.cleaned_data[name]
            for name, one in self.lanes.items()
        }
        reason = self.cleaned_data["held_reason"].strip()
        return ImportOptions.from_dict(
            self.tried | {"held_lanes": chosen, "held_reason": reason}
        )


class UndoForm(forms.Form):
    """Why a replacement is taken back."""

    why = forms.CharField(label="Reason", max_length=100)
