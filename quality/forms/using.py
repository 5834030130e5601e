"""Forms of the pages that use the records: which lanes, which days, which records."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from quality.selectors.using import MOST_DAYS, Asked, last_year_of
from sites.models import Lane
from wimprog.lib.forms import DateInput

ALL_CLASSES = "all"
CLASSES = [
    (ALL_CLASSES, "all classes"),
    *((str(k), f"class {k}") for k in range(1, 16)),
    ("0", "unclassified"),
]
AXLES = [(word, word) for word in ("single", "tandem", "tridem", "quad")]


def place_choices(lanes: list[Lane]) -> list[tuple[str, Any]]:
    """Sites and their lanes as grouped choices: ``OV-001`` and ``OV-001/E1``."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for lane in lanes:
        code = lane.wim_site.code
        group = groups.setdefault(code, [(code, f"{code}, all lanes")])
        group.append((f"{code}/{lane.label}", str(lane)))
    return [("", "choose a lane or a site"), *groups.items()]


class TrafficForm(forms.Form):
    """What to show of which lane or site."""

    place = forms.ChoiceField(label="Lane or site")
    first = forms.DateField(label="From", required=False, widget=DateInput())
    last = forms.DateField(label="To", required=False, widget=DateInput())
    vehicles = forms.ChoiceField(choices=CLASSES, required=False, label="Vehicles")
    axles = forms.ChoiceField(choices=AXLES, required=False, label="Axle groups")
    undecided = forms.BooleanField(
        required=False, label="Count days that nobody has judged"
    )
    corrected = forms.BooleanField(
        required=False, label="Use back-corrected weights where allowed"
    )

    def __init__(self, *args: Any, may_correct: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lanes = list(
            Lane.objects.select_related("wim_site").order_by(
                "wim_site__code", "direction", "number"
            )
        )
        self.fields["place"].choices = place_choices(self.lanes)  # type: ignore[attr-defined]
        if not may_correct:
            del self.fields["corrected"]

    def clean(self) -> dict[str, Any]:
        """Days in order, not too many, the latest year where none are given."""
        data: dict[str, Any] = super().clean() or {}
        if "place" not in data or "first" not in data or "last" not in data:
            return data
        lanes = self._chosen_lanes(data["place"])
        first, last = data["first"], data["last"]
        if first is None or last is None:
            year = last_year_of(lanes)
            if year is None and (first or last) is None:
                raise ValidationError(
                    "Nothing is recorded there yet. Import the lane's records first."
                )
            latest = year or (first or last, first or last)
            first, last = first or latest[0], last or latest[1]
        if last < first:
            raise ValidationError("The last day is before the first.")
        if (last - first).days >= MOST_DAYS:
            raise ValidationError(
                f"At most {MOST_DAYS:,} days (three years) are shown together."
            )
        data["asked"] = Asked(
            lanes=tuple(lanes),
            first_on=first,
            last_on=last,
            with_undecided=data["undecided"],
            corrected=data.get("corrected", False),
        )
        return data

    def _chosen_lanes(self, place: str) -> list[Lane]:
        code, _, label = place.partition("/")
        return [
            lane
            for lane in self.lanes
            if lane.wim_site.code == code and label in ("", lane.label)
        ]

    @property
    def vehicle_class(self) -> int | None:
        """The class that was chosen; None for all."""
        chosen = self.cleaned_data.get("vehicles") or ALL_CLASSES
        return None if chosen == ALL_CLASSES else int(chosen)

    @property
    def axle_kind(self) -> str:
        """The axle groups that were chosen, single axles where none were."""
        return self.cleaned_data.get("axles") or "single"


class TrafficYearForm(forms.Form):
    """Which year of the whole program."""

    year = forms.IntegerField(min_value=1970, max_value=2200, required=False)
    undecided = forms.BooleanField(
        required=False, label="Count days that nobody has judged"
    )
