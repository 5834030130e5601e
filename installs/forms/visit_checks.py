"""The cabinet's part of the visit form: one line a part, with what meters showed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from installs.calc.upkeep.types import CabinetFinding, CabinetPart
from installs.forms.visit_sections import Section
from installs.models import CabinetCheck
from installs.services.visit_inputs import PartCheck
from wimprog.lib.units import parse_number

LISTED = f"{CabinetFinding.NEEDS_WORK.value}, listed"
FINDINGS = (
    (CabinetFinding.NOT_CHECKED.value, "not checked"),
    (CabinetFinding.SOUND.value, "sound"),
    (CabinetFinding.WATCH.value, "watch"),
    (CabinetFinding.MENDED.value, "mended on the spot"),
    (CabinetFinding.NEEDS_WORK.value, "needs work: put it on the work list"),
    (LISTED, "needs work: on the list already"),
    (CabinetFinding.NOT_FITTED.value, "not fitted here"),
)
#: What a meter shows at a part: model field, label, unit, largest that is believed.
METERS: dict[CabinetPart, tuple[tuple[str, str, str, float], ...]] = {
    CabinetPart.BATTERY: (
        ("rest_voltage_v", "Battery at rest", "V", 100.0),
        ("load_voltage_v", "Battery under load", "V", 100.0),
        ("load_current_a", "Load", "A", 500.0),
    ),
    CabinetPart.POWER: (("rest_voltage_v", "Supply voltage", "V", 600.0),),
    CabinetPart.SOLAR_PANEL: (("rest_voltage_v", "Panel voltage", "V", 200.0),),
    CabinetPart.GROUNDING: (
        ("earth_resistance_ohm", "Resistance to earth", "Ω", 100_000.0),
    ),
}


@dataclass(frozen=True)
class MeterValue:
    """A number as a meter showed it, with the text that was typed."""

    value: float
    typed: str


class MeterField(forms.CharField):
    """What a meter showed: zero or greater, up to what can be."""

    def __init__(self, *, unit: str, most: float, **options: Any) -> None:
        self.unit, self.most = unit, most
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(required=False, max_length=20, widget=widget, **options)
        self.widget.attrs["data-unit"] = unit

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            number = parse_number(text)
        except ValueError as error:
            raise ValidationError(f"{error}, in {self.unit}.") from None
        if not 0.0 <= number <= self.most:
            raise ValidationError(
                f"“{text}” cannot be: a meter shows 0 to {self.most:,g} {self.unit} "
                "here. Look at the meter's range and its unit."
            )
        return MeterValue(number, text)


class CheckSection(Section):
    """What was found at each part of the cabinet."""

    name = "checks"

    def make(self) -> dict[str, forms.Field]:
        kept: dict[str, CabinetCheck] = {}
        if self.visit.pk:
            kept = {one.part: one for one in self.visit.cabinet_checks.all()}
        boxes: dict[str, forms.Field] = {}
        for part in CabinetPart:
            name = box(part)
            boxes[name] = forms.ChoiceField(
                label=str(part).capitalize(), choices=FINDINGS, required=False
            )
            boxes[f"{name}_note"] = forms.CharField(
                label=f"Note on {part}", required=False, max_length=300
            )
            for meter, label, unit, most in METERS.get(part, ()):
                boxes[f"{name}_{meter}"] = MeterField(label=label, unit=unit, most=most)
            if part in kept:
                self._begin(name, kept[part])
        return boxes

    def _begin(self, name: str, check: CabinetCheck) -> None:
        finding = check.finding
        needs = finding == CabinetFinding.NEEDS_WORK
        self.start[name] = LISTED if needs else finding
        self.start[f"{name}_note"] = check.note
        for meter, *_ in METERS.get(CabinetPart(check.part), ()):
            value = getattr(check, meter)
            typed = check.as_typed.get(meter)
            if value is not None:
                self.start[f"{name}_{meter}"] = typed[0] if typed else f"{value:g}"

    @property
    def is_open(self) -> bool:
        """Open when a part says more than “not checked”."""
        nothing = (None, "", CabinetFinding.NOT_CHECKED.value)
        return any(
            name in self.form.errors or self.form[name].value() not in nothing
            for name in self.boxes
        )

    def rows(self) -> list[dict[str, Any]]:
        """One row a part: finding, note, meters."""
        return [
            {
                "finding": self.form[box(part)],
                "note": self.form[f"{box(part)}_note"],
                "meters": [
                    self.form[f"{box(part)}_{meter}"]
                    for meter, *_ in METERS.get(part, ())
                ],
            }
            for part in CabinetPart
        ]

    def check(self, found: dict[str, Any]) -> None:
        """A value or a note needs its finding, and work its reason."""
        for part in CabinetPart:
            name = box(part)
            if name not in found:
                continue
            finding = found[name] or CabinetFinding.NOT_CHECKED.value
            measured = [m for m, *_ in METERS.get(part, ()) if found.get(f"{name}_{m}")]
            if measured and finding == CabinetFinding.NOT_CHECKED:
                self._wrong(name, "Say what these values mean: sound, watch or worse.")
            wants = finding == CabinetFinding.NEEDS_WORK
            if wants and not found.get(f"{name}_note"):
                self._wrong(
                    f"{name}_note", "Say what is to be done; it goes on the work list."
                )

    def inputs(self, found: dict[str, Any]) -> list[PartCheck]:
        """One input a part."""
        return [self._input(part, found) for part in CabinetPart]

    def _input(self, part: CabinetPart, found: dict[str, Any]) -> PartCheck:
        name = box(part)
        word = found.get(name) or CabinetFinding.NOT_CHECKED.value
        measured = {
            meter: found[f"{name}_{meter}"]
            for meter, *_ in METERS.get(part, ())
            if found.get(f"{name}_{meter}")
        }
        units = {meter: unit for meter, _, unit, _ in METERS.get(part, ())}
        listed = word == LISTED
        return PartCheck(
            part=part,
            finding=CabinetFinding.NEEDS_WORK if listed else CabinetFinding(word),
            note=found.get(f"{name}_note") or "",
            raises_work=word == CabinetFinding.NEEDS_WORK,
            as_typed={k: [one.typed, units[k]] for k, one in measured.items()},
            **{k: one.value for k, one in measured.items()},
        )


def box(part: CabinetPart) -> str:
    """The name of a part's box."""
    return f"check_{part.name.lower()}"
