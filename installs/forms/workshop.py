"""Forms of what the agency works by: its settings and its makers' curing tables."""

from __future__ import annotations

from typing import Any

from django import forms
from django.forms import BoundField

from installs.calc.layout.types import WorkStep
from installs.forms.fine import (
    FineFactForm,
    NumberField,
    PercentField,
    fine_text,
    plain,
)
from installs.models import CuringRow, CuringTable, WorkSettings
from wimprog.lib.forms import MeasureField
from wimprog.lib.units import Kind, UnitSystem, shown_unit

BLANK_ROWS = 3


class WorkSettingsForm(FineFactForm):
    """What the agency plans and installs by, with crew hours by step."""

    class Meta:
        model = WorkSettings
        fields = [
            "square_tolerance_mm",
            "spacing_tolerance_mm",
            "tape_sd_mm",
            "lead_slack_m",
            "support_spacing_mm",
            "wire_diameter_mm",
            "lead_diameter_mm",
            "kits_by_pour",
            "blade_diameter_mm",
            "blade_width_mm",
            "saw_waste_share",
            "resin_waste_share",
            "small_parts_waste_share",
            "resin_kit_l",
            "sealant_kit_l",
            "saw_rate_m_per_hour",
            "crew_size",
            "longest_closure_h",
            "photo_limit_mb",
            "keep_photo_location",
        ]

    _SHARES = {
        "saw_waste_share": "saw cuts",
        "resin_waste_share": "resin and sealant",
        "small_parts_waste_share": "rod, tape, chairs and other small parts",
    }
    _GROUPS = (
        (
            "What is still in tolerance",
            ("square_tolerance_mm", "spacing_tolerance_mm", "tape_sd_mm"),
        ),
        (
            "Waste, kits and supports",
            (
                *_SHARES,
                "resin_kit_l",
                "sealant_kit_l",
                "kits_by_pour",
                "support_spacing_mm",
                "lead_slack_m",
            ),
        ),
        (
            "Saw, wire and cable",
            (
                "blade_diameter_mm",
                "blade_width_mm",
                "wire_diameter_mm",
                "lead_diameter_mm",
            ),
        ),
        ("Photos", ("photo_limit_mb", "keep_photo_location")),
    )

    def __init__(
        self, *args: Any, usual_hours: dict[str, str] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        for name, what in self._SHARES.items():
            self.fields[name] = PercentField(label=f"Added for waste, {what}")
        for name in ("resin_kit_l", "sealant_kit_l"):
            self.fields[name] = NumberField(
                label=str(self.fields[name].label).split(",")[0].capitalize(),
                symbol="L",
            )
        closure = self.fields["longest_closure_h"]
        self.fields["longest_closure_h"] = NumberField(
            label="Longest closure allowed",
            symbol="h",
            required=False,
            help_text=closure.help_text,
        )
        self._measure_the_sawing()
        usual_hours = usual_hours or {}
        kept = self.instance.step_hours or {}
        self.steps = {self.box(step): step for step in WorkStep}
        for name, step in self.steps.items():
            self.fields[name] = NumberField(
                label=str(step).capitalize(),
                symbol="crew h",
                required=False,
                help_text=usual_hours.get(step.value, ""),
            )
            if step.value in kept:
                self.initial[name] = float(kept[step.value])
        self.order_fields([*(n for n in self.fields if n != "why"), "why"])

    def _measure_the_sawing(self) -> None:
        """The rate of sawing is a length an hour, in the program's units."""
        name = "saw_rate_m_per_hour"
        self.measures[name] = Kind.LENGTH
        self.fields[name] = MeasureField(
            kind=Kind.LENGTH, system=self.system, label="Sawn in an hour"
        )
        self.initial[name] = self._shown(name, Kind.LENGTH, many=False)

    @staticmethod
    def box(step: WorkStep) -> str:
        """The name of a step's box."""
        return "hours_" + step.name.lower()

    @property
    def groups(self) -> list[tuple[str, list[BoundField]]]:
        """The boxes under their headings, as the page shows them."""
        grouped = [(title, [self[n] for n in names]) for title, names in self._GROUPS]
        crew = ["crew_size", "saw_rate_m_per_hour", "longest_closure_h", *self.steps]
        grouped.insert(3, ("Crew and time", [self[name] for name in crew]))
        return grouped

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        for name in self.steps:
            hours = found.get(name)
            if hours is not None and not 0 <= hours <= 100:
                self.add_error(name, f"{plain(hours)} hours are not between 0 and 100.")
        return found

    def _post_clean(self) -> None:
        """Keep the hours that were typed; an empty box is the usual time."""
        self.instance.step_hours = {
            step.value: self.cleaned_data[name]
            for name, step in self.steps.items()
            if self.cleaned_data.get(name) is not None
        }
        super()._post_clean()


class CuringTableForm(FineFactForm):
    """A maker's table: its product, document and temperature windows."""

    class Meta:
        model = CuringTable
        fields = [
            "product",
            "document",
            "hardener_unit",
            "pavement_low_c",
            "pavement_high_c",
            "resin_low_c",
            "resin_high_c",
            "goes_by",
            "between_rows",
        ]


class CuringRowForm(forms.Form):
    """One line of a maker's table."""

    def __init__(
        self, *args: Any, system: UnitSystem | str = UnitSystem.US, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["temperature"] = MeasureField(
            kind=Kind.TEMPERATURE, system=UnitSystem(system), label="Temperature"
        )
        self.fields["hardener_amount"] = NumberField(label="Hardener")
        self.fields["pot_life_min"] = NumberField(label="Pot life", symbol="min")
        self.fields["cure_min"] = NumberField(label="Minimum cure", symbol="min")

    @property
    def row(self) -> CuringRow:
        """The line as a row that is not kept yet."""
        found = self.cleaned_data
        return CuringRow(
            temp_c=found["temperature"].value_si,
            hardener_amount=found["hardener_amount"],
            pot_life_min=found["pot_life_min"],
            cure_min=found["cure_min"],
        )


class BaseCuringRows(forms.BaseFormSet):
    """The lines of a table; lines left empty or struck out do not count."""

    @property
    def rows(self) -> list[CuringRow]:
        """The lines that were filled in."""
        struck = self.deleted_forms
        return [
            form.row for form in self.forms if form not in struck and form.cleaned_data
        ]


def curing_rows_formset(
    data: Any, *, table: CuringTable, system: UnitSystem | str
) -> Any:
    """The formset of a table's lines, with a few blank ones below."""
    unit = shown_unit(Kind.TEMPERATURE, UnitSystem(system))
    initial = (
        [
            {
                "temperature": fine_text(row.temp_c, unit),
                "hardener_amount": row.hardener_amount,
                "pot_life_min": row.pot_life_min,
                "cure_min": row.cure_min,
            }
            for row in table.rows.all()
        ]
        if table.pk
        else []
    )
    factory = forms.formset_factory(
        CuringRowForm,
        formset=BaseCuringRows,
        extra=BLANK_ROWS if initial else BLANK_ROWS + 2,
        can_delete=True,
        max_num=100,
    )
    return factory(data, initial=initial, prefix="rows", form_kwargs={"system": system})
