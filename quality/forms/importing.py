"""Forms of the records' side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from quality.models import DayDecision
from quality.services import ImportOptions
from sites.models import Direction, Site

OPEN_FIELD = (
    ("not used", "nothing that is used"),
    ("speed, mph", "speed in mph"),
    ("speed, km/h", "speed in km/h"),
)
MAPPED = (
    ("time", "date and time in one column"),
    ("date", "date"),
    ("clock", "clock time"),
    ("hour", "hour"),
    ("gross", "gross weight"),
    ("n_axles", "number of axles"),
    ("speed", "speed"),
    ("vehicle_class", "vehicle class"),
    ("state", "state code"),
    ("station", "station"),
    ("direction", "direction"),
    ("lane", "lane"),
)
UNITS = {
    "mass_unit": ("unit of weights", ("kg", "lb", "kip", "t")),
    "spacing_unit": ("unit of spacings", ("m", "mm", "cm", "ft", "in")),
    "speed_unit": ("unit of speed", ("km/h", "mph")),
    "date_order": ("order of dates", ("ymd", "mdy", "dmy")),
    "decimal_mark": ("decimal mark", (".", ",")),
}


class UploadForm(forms.Form):
    """A file of vehicle records, and what the file itself does not say."""

    file = forms.FileField(
        label="File of vehicle records",
        help_text="Truck weight records of the Traffic Monitoring Guide (fixed or "
        "pipe-delimited), or a CSV with headed columns; plain, gzip or zip.",
    )
    wim_site = forms.ModelChoiceField(
        Site.objects.order_by("code"),
        label="Site",
        to_field_name="code",
        required=False,
        help_text="Only for a CSV that does not name its station.",
    )
    direction = forms.ChoiceField(
        choices=[("", "as the file says"), *Direction.choices],
        required=False,
        help_text="Only for a CSV that does not name its direction.",
    )
    open_field = forms.ChoiceField(
        label="The open columns of a truck weight record hold",
        choices=OPEN_FIELD,
        required=False,
    )
    new_sites = forms.BooleanField(
        label="Make stations and lanes that the program does not know yet",
        required=False,
        initial=True,
    )

    def options(self) -> ImportOptions:
        """What was chosen."""
        data = self.cleaned_data
        return ImportOptions(
            site_code=data["wim_site"].code if data["wim_site"] else "",
            direction=data["direction"],
            new_sites=data["new_sites"],
            open_field=data["open_field"] or "not used",
        )


class MappingForm(forms.Form):
    """Which column of a CSV holds what, and whose records they are where it is silent.

    ``found`` is what was tried: the headings, the mapping and the options.
    """

    wim_site = forms.ModelChoiceField(
        Site.objects.order_by("code"),
        label="Site, where no column names the station",
        to_field_name="code",
        required=False,
    )
    fixed_direction = forms.ChoiceField(
        label="Direction, where no column names it",
        choices=[("", "as the file says"), *Direction.choices],
        required=False,
    )
    state_code = forms.RegexField(
        r"^[0-9]{2}$",
        label="State code, where no column names it",
        required=False,
        error_messages={"invalid": "Write two digits (the FIPS code)."},
    )
    lane_code = forms.RegexField(
        r"^[0-9]$",
        label="Lane number, where no column names it",
        required=False,
        error_messages={"invalid": "Write one digit, as the records number lanes."},
    )

    def __init__(
        self,
        *args: Any,
        headings: Sequence[str],
        mapping: Mapping[str, Any],
        options: Mapping[str, Any],
        **kwargs: Any,
    ) -> None:
        kwargs["initial"] = {
            "wim_site": options.get("site_code", ""),
            "fixed_direction": mapping.get("direction_code", ""),
            **mapping,
            "weights": " | ".join(mapping.get("weights", [])),
            "spacings": " | ".join(mapping.get("spacings", [])),
        }
        super().__init__(*args, **kwargs)
        self.tried, self.tried_options = dict(mapping), dict(options)
        columns = [("", "not in this file"), *[(h, h) for h in headings if h]]
        for name, label in MAPPED:
            self.fields[name] = forms.ChoiceField(
                label=label.capitalize(), choices=columns, required=False
            )
        for name, label in (("weights", "axle weights"), ("spacings", "spacings")):
            self.fields[name] = forms.CharField(
                label=f"Columns of the {label}, first axle first",
                required=False,
                help_text="Headings, separated by |.",
            )
        for name, (label, words) in UNITS.items():
            self.fields[name] = forms.ChoiceField(
                label=label.capitalize(), choices=[(word, word) for word in words]
            )
        places = [name for name in self.fields if name not in self.base_fields]
        self.order_fields([*places, *self.base_fields])

    def options(self) -> ImportOptions:
        """What was chosen, beside what was chosen before."""
        data = self.cleaned_data
        mapping = dict(self.tried)
        for name in (*dict(MAPPED), *UNITS, "state_code", "lane_code"):
            mapping[name] = data[name]
        for name in ("weights", "spacings"):
            parts = [part.strip() for part in data[name].split("|")]
            mapping[name] = [part for part in parts if part]
        site_code = data["wim_site"].code if data["wim_site"] else ""
        mapping |= {"station_id": "", "direction_code": data["fixed_direction"]}
        return ImportOptions.from_dict(
            self.tried_options
            | {
                "mapping": mapping,
                "site_code": site_code,
                "direction": data["fixed_direction"],
            }
        )


class DecisionForm(forms.Form):
    """Accept or set aside a lane's days."""

    lane = forms.IntegerField(widget=forms.HiddenInput)
    from_on = forms.DateField(
        label="From", widget=forms.DateInput(attrs={"type": "date"})
    )
    to_on = forms.DateField(label="To", widget=forms.DateInput(attrs={"type": "date"}))
    decision = forms.ChoiceField(choices=DayDecision.choices)
    reason = forms.CharField(max_length=300)

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        first, last = data.get("from_on"), data.get("to_on")
        if first and last and last < first:
            raise ValidationError("The last day is before the first.")
        return data
