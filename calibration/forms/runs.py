"""Forms of truck runs: typed beside the road, from sheets, set aside."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from calibration.forms.moments import MomentField
from calibration.models import RunStage, TruckRun
from calibration.selectors import weighings_near
from wimprog.lib.forms import FactForm, MeasureField
from wimprog.lib.units import Kind, UnitSystem, format_number, format_si, shown_unit

SHEET_LIMIT_BYTES = 400_000
MOST_BUTTONS = 6
"""Up to so many weighings are offered as buttons, one touch each."""


class WeighingChoice(forms.ModelChoiceField):
    """A static weighing, told by vehicle, time and gross weight."""

    def __init__(self, *, zone: ZoneInfo, system: Any, **options: Any) -> None:
        super().__init__(**options)
        self.zone, self.system = zone, system

    def label_from_instance(self, weighing: Any) -> str:
        moment = weighing.weighed_at.astimezone(self.zone)
        gross = format_si(weighing.gvw_kg, Kind.MASS, self.system)
        return f"{weighing.vehicle.name}: {gross}, weighed {moment:%Y-%m-%d %H:%M}"


class RunForm(FactForm):
    """One pass, typed beside the road or corrected afterwards."""

    units_are_right = forms.BooleanField(
        label="The figures are right",
        required=False,
        help_text="Only if the run was questioned and you looked again.",
    )

    class Meta:
        model = TruckRun
        fields = [
            "weighing",
            "axle_weights_kg",
            "speed_kmh",
            "reference_speed_kmh",
            "pavement_temp_c",
            "run_at",
            "stage",
            "lane_position",
            "number",
            "axle_spacings_m",
            "left_wheel_weights_kg",
            "right_wheel_weights_kg",
        ]
        widgets = {
            "stage": forms.RadioSelect,
            "lane_position": forms.RadioSelect,
        }

    folded = (
        "number",
        "axle_spacings_m",
        "left_wheel_weights_kg",
        "right_wheel_weights_kg",
    )

    def __init__(
        self, *args: Any, zone: ZoneInfo, last: TruckRun | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["run_at"] = MomentField(
            zone=zone, label="Time", help_text=f"Time in {zone.key}."
        )
        weighings = weighings_near(self.instance.session.held_on)
        many = len(weighings) > MOST_BUTTONS
        self.fields["weighing"] = WeighingChoice(
            zone=zone,
            system=self.system,
            label="Test vehicle and its static weighing",
            queryset=weighings,
            widget=forms.Select if many else forms.RadioSelect,
            empty_label="---------" if many else None,
        )
        for name in ("stage", "lane_position"):
            field = self.fields[name]
            field.choices = [  # type: ignore[attr-defined]
                pair
                for pair in field.choices  # type: ignore[attr-defined]
                if pair[0]
            ]
        self.fields[
            "axle_weights_kg"
        ].help_text = "As the lane recorded them, front to rear, parted by spaces."
        for side in ("left", "right"):
            self.fields[
                f"{side}_wheel_weights_kg"
            ].help_text = (
                "One for each axle, where the lane weighs wheels; both sides or none."
            )
        self.fields["number"].required = False
        self.fields["number"].help_text = "Empty for the next free number."
        if self.instance.pk:
            self.fields["why"].required = True
            self.fields["why"].help_text = "What was wrong. Kept with the change."
        else:
            self.fields.pop("why")
            self._as_before(last)
        if not self.is_bound:
            self.fields.pop("units_are_right")

    def _as_before(self, last: TruckRun | None) -> None:
        """What the run before had, where nothing else is asked for."""
        if last is None:
            return
        for name in ("stage", "weighing", "lane_position"):
            self.initial[name] = self.initial.get(name) or getattr(
                last, "weighing_id" if name == "weighing" else name
            )
        temp = last.pavement_temp_c
        if temp is not None:
            unit = shown_unit(Kind.TEMPERATURE, self.system)
            typed = last.typed("pavement_temp_c")
            self.initial["pavement_temp_c"] = (
                typed.text
                if typed is not None and typed.unit == unit.symbol
                else format_number(unit.from_si(temp), unit.digits)
            )
            self.fields["pavement_temp_c"].help_text = "Kept from the run before."

    @property
    def first_fields(self) -> list[Any]:
        """Fields of every pass."""
        return [f for f in self.visible_fields() if f.name not in self.folded]

    @property
    def more_fields(self) -> list[Any]:
        """Fields that most lanes and passes leave empty."""
        return [f for f in self.visible_fields() if f.name in self.folded]

    @property
    def is_more_open(self) -> bool:
        """Does one of the folded fields say something?"""
        return any(
            field.errors or (field.name != "number" and field.value())
            for field in self.more_fields
        )

    def _get_validation_exclusions(self) -> set[str]:
        # the number may be left to the service, which also sees to copies
        return super()._get_validation_exclusions() | {"number"}  # type: ignore[misc]


class ExcludeForm(forms.Form):
    """Set a run aside."""

    reason = forms.CharField(
        label="Why is this run set aside?",
        max_length=200,
        help_text="What went wrong with the pass, such as “changed lane on the "
        "sensor”. A large error alone is not a reason.",
    )


class SheetsForm(forms.Form):
    """The two sheets of a calibration."""

    static_file = forms.FileField(
        label="Static weighings (CSV)",
        help_text="One row a weighing: vehicle, class, scale_certificate, weighed_at, "
        "axle_1_lb …, spacing_1_ft …",
    )
    runs_file = forms.FileField(
        label="Runs (CSV)",
        help_text="One row a pass: run, vehicle, time, speed_mph, pavement_temp_f, "
        "lane_position, axle_1_lb …",
    )
    stage = forms.ChoiceField(label="The runs were made", choices=RunStage.choices)
    units_are_right = forms.BooleanField(
        label="The figures are right",
        required=False,
        help_text="Only if runs were questioned and you looked again.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for name in ("static_file", "runs_file"):
            sheet = cleaned.get(name)
            if sheet is not None and sheet.size > SHEET_LIMIT_BYTES:
                self.add_error(
                    name,
                    f"{sheet.name} has {sheet.size:,} bytes; a sheet of runs has at "
                    f"most {SHEET_LIMIT_BYTES:,}. Is it the right file?",
                )
        return cleaned


RECORDS_LIMIT_BYTES = 8_000_000
PASTED_LIMIT = 400_000


class MatchForm(forms.Form):
    """The controller's records and the passes that were driven."""

    records_file = forms.FileField(
        label="The controller’s vehicle records (CSV)",
        required=False,
        help_text="One row a vehicle: time, speed_mph, axle_1_lb (or w1_lb) …, "
        "spacing_1_ft (or s1_ft) …; record, class, left_1_lb, right_1_lb … if there.",
    )
    records_text = forms.CharField(
        label="Or paste them",
        required=False,
        max_length=PASTED_LIMIT,
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
    )
    passes = forms.CharField(
        label="The passes",
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
    )
    stage = forms.ChoiceField(
        label="The runs were made", choices=RunStage.choices, widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, system: Any, zone: ZoneInfo, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        speed = shown_unit(Kind.SPEED, UnitSystem(system)).symbol
        self.fields["passes"].help_text = (
            f"One pass a line, by the clock at the roadside ({zone.key}): "
            f"“08:40:12 Truck A”, with its speed in {speed} behind it if noted. Or all "
            "of a truck: “all Truck A 10:00-12:00”, by the controller’s clock."
        )
        self.fields["pavement_temp"] = MeasureField(
            kind=Kind.TEMPERATURE,
            system=UnitSystem(system),
            label="Pavement temperature of these passes",
            required=False,
        )
        self.initial.setdefault("stage", RunStage.AS_FOUND.value)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        sheet, text = cleaned.get("records_file"), cleaned.get("records_text")
        if sheet is not None and sheet.size > RECORDS_LIMIT_BYTES:
            self.add_error(
                "records_file",
                f"{sheet.name} has {sheet.size:,} bytes; at most "
                f"{RECORDS_LIMIT_BYTES:,} are taken. Export only the hours of the "
                "runs.",
            )
        elif sheet is not None and text:
            self.add_error(
                "records_text", "Give the file or the pasted text, not both."
            )
        elif (
            sheet is None
            and not text
            and not {"records_file", "records_text"} & set(self.errors)
        ):
            self.add_error(
                "records_file", "Give the controller’s records: a file, or pasted."
            )
        return cleaned

    @property
    def content(self) -> tuple[bytes, str]:
        """The sheet's bytes, and what it is called."""
        sheet = self.cleaned_data["records_file"]
        if sheet is None:
            return self.cleaned_data["records_text"].encode(), "pasted records"
        return sheet.read(), sheet.name
