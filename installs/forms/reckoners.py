"""Forms of the reckoners: asked by address (GET), so that an answer can be linked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.forms import BoundField

from installs.calc.layout.types import BetweenRows, GoesBy, MeasuredTriangle
from installs.forms.fine import NumberField, fine_text, plain
from installs.models import CuringTable
from wimprog.lib.forms import MeasureField
from wimprog.lib.units import (
    UNITS,
    Kind,
    Typed,
    UnitSystem,
    parse_number,
    shown_unit,
)

TRIANGLES = 4
READINGS = 3
#: A value that a box begins with: SI, and as it was typed if it was.
First = tuple[float | None, Typed | None]


class Reckoner(forms.Form):
    """Boxes with first values; a link may give some boxes and leave out the rest.

    A link carries the unit system that its numbers were typed in (``units``), so that
    it tells the same after the program changed its own.
    """

    units = forms.CharField(required=False, widget=forms.HiddenInput)
    plan = forms.CharField(required=False, widget=forms.HiddenInput)
    lane = forms.CharField(required=False, widget=forms.HiddenInput)
    #: A question is asked once one of these boxes is filled in.
    asked_by: tuple[str, ...] = ()
    kinds: dict[str, Kind] = {}
    #: Texts that boxes begin with, beside the measured first values.
    defaults: dict[str, str] = {}

    def __init__(
        self,
        query: Mapping[str, Any],
        *,
        system: UnitSystem,
        first: dict[str, First] | None = None,
        **defaults: str,
    ) -> None:
        sent = str(query.get("units", ""))
        self.system = UnitSystem(sent) if sent in list(UnitSystem) else system
        initial = {**self.defaults, **defaults, "units": self.system.value}
        for name, value in (first or {}).items():
            initial[name] = self._text(name, *value)
        sent_texts = {name: str(query.get(name, "")) for name in query}
        initial |= {n: t for n, t in sent_texts.items() if n in ("plan", "lane")}
        asked = any(sent_texts.get(name, "").strip() for name in self.asked_by)
        super().__init__({**initial, **sent_texts} if asked else None, initial=initial)
        self.add_boxes()

    def add_boxes(self) -> None:
        """Add the boxes; each reckoner says which."""

    def add_measure(
        self,
        name: str,
        kind: Kind,
        label: str,
        *,
        required: bool = True,
        help: str = "",
    ) -> None:
        """Add the box of one measured quantity."""
        self.fields[name] = MeasureField(
            kind=kind,
            system=self.system,
            label=label,
            required=required,
            help_text=help,
        )

    def _text(self, name: str, value: float | None, typed: Typed | None) -> str:
        if value is None:
            return ""
        if name not in self.kinds:
            return plain(value)
        unit = shown_unit(self.kinds[name], self.system)
        if typed is not None and typed.unit == unit.symbol:
            return typed.text
        return fine_text(value, unit)

    def si(self, name: str) -> float | None:
        """What was typed in a box, in SI; None when it was left empty."""
        value = self.cleaned_data.get(name)
        return value.value_si if isinstance(value, Typed) else value


class SquareReckoner(Reckoner):
    """Triangles measured on a reference line, and what it is held against."""

    asked_by = tuple(f"{side}_{i}" for i in range(1, TRIANGLES + 1)
                     for side in ("into", "along", "diagonal"))  # fmt: skip
    kinds = {
        "width": Kind.LENGTH,
        "speed": Kind.SPEED,
        "tape": Kind.SHORT_LENGTH,
        "tolerance": Kind.SHORT_LENGTH,
        "track": Kind.LENGTH,
    }
    _SIDES = (
        ("into", "Leg into the lane"),
        ("along", "Leg along the edge"),
        ("diagonal", "Diagonal"),
    )

    def add_boxes(self) -> None:
        for i in range(1, TRIANGLES + 1):
            for side, label in self._SIDES:
                self.add_measure(f"{side}_{i}", Kind.LENGTH, label, required=False)
        self.add_measure("width", self.kinds["width"], "Lane width")
        self.add_measure("speed", self.kinds["speed"], "Traffic speed")
        self.add_measure(
            "tape", self.kinds["tape"], "Tape reading error",
            help="Standard deviation of one reading.",
        )  # fmt: skip
        self.add_measure(
            "tolerance", self.kinds["tolerance"], "Out of square at most",
            help="At the far edge of the lane.",
        )  # fmt: skip
        self.add_measure(
            "track", self.kinds["track"], "Between left and right wheels",
            help="Middle of the left tyres to middle of the right ones.",
        )  # fmt: skip
        self.fields["against"] = forms.BooleanField(
            label="The leg along the edge was laid against the traffic", required=False
        )

    @property
    def triangle_rows(self) -> list[list[BoundField]]:
        """The boxes of each triangle."""
        return [
            [self[f"{side}_{i}"] for side, _ in self._SIDES]
            for i in range(1, TRIANGLES + 1)
        ]

    @property
    def settings(self) -> list[BoundField]:
        """The other boxes."""
        return [self[name] for name in (*self.kinds, "against")]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        for i in range(1, TRIANGLES + 1):
            sides = [f"{side}_{i}" for side, _ in self._SIDES]
            empty = [one for one in sides if not found.get(one)]
            if 0 < len(empty) < len(sides):
                for one in empty:
                    if one not in self.errors:
                        self.add_error(one, f"Triangle {i} needs all three sides.")
        return found

    @property
    def given(self) -> dict[str, Any]:
        """What the triangles are judged with."""
        return {
            "width_m": self.si("width"),
            "speed_kmh": self.si("speed"),
            "tape_sd_mm": self.si("tape"),
            "tolerance_mm": self.si("tolerance"),
            "track_m": self.si("track"),
            "against_traffic": self.cleaned_data["against"],
            "unit": shown_unit(Kind.LENGTH, self.system).symbol,
        }

    @property
    def triangles(self) -> list[MeasuredTriangle]:
        """The triangles that were filled in."""
        found = []
        for i in range(1, TRIANGLES + 1):
            into, along, diagonal = (self.si(f"{side}_{i}") for side, _ in self._SIDES)
            if into is not None and along is not None and diagonal is not None:
                found.append(MeasuredTriangle(into, along, diagonal, f"triangle {i}"))
        return found


class SpacingReckoner(Reckoner):
    """A distance as built, and the one that the controller works with."""

    asked_by = tuple(f"built_{i}" for i in range(1, READINGS + 1))
    kinds = {
        "setting": Kind.LENGTH,
        "planned": Kind.LENGTH,
        "speed": Kind.SPEED,
        "tape": Kind.SHORT_LENGTH,
        "tolerance": Kind.SHORT_LENGTH,
        "step": Kind.LENGTH,
    }

    def add_boxes(self) -> None:
        for i in range(1, READINGS + 1):
            self.add_measure(
                f"built_{i}", Kind.LENGTH, f"As built, reading {i}", required=i == 1,
                help="Like edge to like edge, or centre to centre." if i == 1 else "",
            )  # fmt: skip
        labels = {
            "setting": "Set in the controller",
            "planned": "Planned",
            "speed": "Traffic speed",
            "tape": "Tape reading error",
            "tolerance": "As built off the plan at most",
            "step": "Step of the controller’s setting",
        }
        for name, label in labels.items():
            self.add_measure(
                name, self.kinds[name], label, required=name not in ("planned",)
            )

    @property
    def given(self) -> dict[str, Any]:
        """What the readings are judged with."""
        return {
            "setting_m": self.si("setting"),
            "planned_m": self.si("planned"),
            "speed_kmh": self.si("speed"),
            "tape_sd_mm": self.si("tape"),
            "tolerance_mm": self.si("tolerance"),
            "step_m": self.si("step"),
            "system": self.system,
        }

    @property
    def readings_m(self) -> list[float]:
        """The readings of the tape, in metres."""
        found = [self.si(f"built_{i}") for i in range(1, READINGS + 1)]
        return [one for one in found if one is not None]


class WeatherReckoner(Reckoner):
    """The day's temperatures, and the maker's table that they are held against.

    The table is read as was kept with it, unless an answer is asked for otherwise.
    """

    asked_by = ("pavement", "resin", "air")
    kinds = {
        "air": Kind.TEMPERATURE,
        "pavement": Kind.TEMPERATURE,
        "resin": Kind.TEMPERATURE,
    }

    def add_boxes(self) -> None:
        self.fields["table"] = forms.ModelChoiceField(
            CuringTable.objects.all(),
            label="Curing table",
            empty_label="choose a table",
        )
        self.add_measure("air", Kind.TEMPERATURE, "Air")
        self.add_measure("pavement", Kind.TEMPERATURE, "Pavement")
        self.add_measure(
            "resin", Kind.TEMPERATURE, "Resin", help="In its tin, before mixing."
        )
        self.fields["goes_by"] = forms.ChoiceField(
            label="The maker’s table goes by the temperature of the",
            required=False,
            choices=[("", "as kept with the table"), *((w, w.value) for w in GoesBy)],
        )
        self.fields["between"] = forms.ChoiceField(
            label="Between two rows of the table",
            required=False,
            choices=[
                ("", "as kept with the table"),
                *((one.value, one.told) for one in BetweenRows),
            ],
            help_text="A straight line only if the maker says that it may be drawn.",
        )

    @property
    def given(self) -> dict[str, Any]:
        """The temperatures, and how the table is read."""
        given, table = self.cleaned_data, self.cleaned_data["table"]
        return {
            **{f"{name}_c": self.si(name) for name in self.kinds},
            "goes_by": GoesBy(given["goes_by"] or table.goes_by),
            "between": BetweenRows(given["between"] or table.between_rows),
            "system": self.system,
        }

    def questions(self) -> list[str]:
        """Temperatures that would lie in their window in the other unit."""
        table = self.cleaned_data["table"]
        other = UNITS["°C" if self.system is UnitSystem.US else "°F"]
        asked = []
        for name in ("pavement", "resin"):
            low = getattr(table, f"{name}_low_c")
            high = getattr(table, f"{name}_high_c")
            typed = self.cleaned_data[name]
            meant = other.to_si(parse_number(typed.text))
            if not low <= typed.value_si <= high and low <= meant <= high:
                asked.append(
                    f"Was the {name} temperature of {typed.text} read in "
                    f"{other.symbol}? It was taken as {typed.text} {typed.unit}."
                )
        return asked


class ClosureReckoner(Reckoner):
    """What a closure is planned with."""

    asked_by = ("cure", "allowed")

    def add_boxes(self) -> None:
        self.fields["cure"] = NumberField(
            label="Cure to plan with",
            symbol="min",
            required=False,
            help_text="From “Weather and cure”; 30 min when left empty (common "
            "practice, no source).",
        )
        self.fields["allowed"] = NumberField(
            label="Longest closure allowed",
            symbol="h",
            required=False,
            help_text="By the traffic control plan; that of the work settings when "
            "left empty.",
        )

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        for name, least in (("cure", 0.0), ("allowed", 1e-9)):
            number = found.get(name)
            if number is not None and number < least:
                self.add_error(name, f"{plain(number)} is not a length of time.")
        return found

    @property
    def answers(self) -> dict[str, float | None]:
        """The minutes and hours typed; nothing where nothing can be read."""
        given = self.cleaned_data if self.is_bound and self.is_valid() else {}
        return {"cure_min": given.get("cure"), "allowed_h": given.get("allowed")}
