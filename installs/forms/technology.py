"""Forms of the choice of technology: what the weights are used for."""

from __future__ import annotations

from typing import Any

from django import forms

from installs.calc.upkeep.types import DataUse
from wimprog.lib.models import choices_of


class LaneUsesForm(forms.Form):
    """The uses of a lane's weights; none ticked takes them all away."""

    uses = forms.MultipleChoiceField(
        label="What the weights are used for",
        choices=choices_of(DataUse),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="The strictest of them sets the class wanted.",
    )
    why = forms.CharField(
        label="Why", max_length=200, help_text="Kept with the change."
    )

    @property
    def chosen(self) -> list[DataUse]:
        """The uses ticked."""
        return [DataUse(word) for word in self.cleaned_data["uses"]]


def uses_of(words: list[Any]) -> list[DataUse]:
    """Uses in an address; words that are none are left out."""
    known = {use.value: use for use in DataUse}
    return [known[word] for word in dict.fromkeys(words) if word in known]
