"""Which column of a headed file holds what, and in which units."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

from quality.records.schema import MAX_AXLES
from wimprog.lib.errors import Complaint, UnreadableInput
from wimprog.lib.units import UNITS

MASS_UNITS = ("kg", "lb", "t", "kip")
SPACING_UNITS = ("mm", "cm", "m", "in", "ft")
SPEED_UNITS = ("km/h", "mph")
TEMPERATURE_UNITS = ("°C", "°F")
COLUMN_LISTS = ("weights", "spacings", "left_wheels", "right_wheels")
DATE_ORDERS = ("ymd", "mdy", "dmy")
LONGEST_HEADING = 100
"""A longer heading is not looked at: it names nothing, and costs patterns dear."""
MASS_STEP = {"kg": 1.0, "lb": 1.0, "t": 0.001, "kip": 0.001}
"""Rounding step of a weight as written, in its unit, for the axle-sum check."""


@dataclass(frozen=True)
class ColumnMapping:
    """The saved answer to "what is in which column".

    Column entries name a heading; "" says that the file has none. A lane's identity
    may come from columns or, where the file has none, from the ``*_code`` constants.
    Either ``time`` (date and clock time together), or ``date`` with ``clock`` or
    ``hour``. Where both wheels (or wheel groups) of each axle are named, an axle weighs
    what they weigh together, unless the axles are named too.
    """

    weights: tuple[str, ...] = ()
    spacings: tuple[str, ...] = ()
    left_wheels: tuple[str, ...] = ()
    right_wheels: tuple[str, ...] = ()
    temperature: str = ""
    time: str = ""
    date: str = ""
    clock: str = ""
    hour: str = ""
    gross: str = ""
    n_axles: str = ""
    speed: str = ""
    vehicle_class: str = ""
    state: str = ""
    station: str = ""
    direction: str = ""
    lane: str = ""
    state_code: str = ""
    station_id: str = ""
    direction_code: str = ""
    lane_code: str = ""
    mass_unit: str = "kg"
    spacing_unit: str = "m"
    speed_unit: str = "km/h"
    temperature_unit: str = "°C"
    date_order: str = "ymd"
    decimal_mark: str = "."
    delimiter: str = ","

    def columns(self) -> tuple[str, ...]:
        """The headings that are read, each once."""
        single = (
            self.time, self.date, self.clock, self.hour, self.gross, self.n_axles,
            self.speed, self.vehicle_class, self.state, self.station, self.direction,
            self.lane, self.temperature,
        )  # fmt: skip
        axles = (*self.weights, *self.spacings, *self.left_wheels, *self.right_wheels)
        return tuple(dict.fromkeys(name for name in (*single, *axles) if name))

    def numeric(self) -> tuple[str, ...]:
        """The headings whose cells are numbers, each once."""
        named = (
            *self.weights, *self.spacings, *self.left_wheels, *self.right_wheels,
            self.gross, self.n_axles, self.speed, self.hour, self.vehicle_class,
            self.temperature,
        )  # fmt: skip
        return tuple(dict.fromkeys(name for name in named if name))

    def identity(self) -> tuple[str, ...]:
        """The headings that tell the lane."""
        named = (self.state, self.station, self.direction, self.lane)
        return tuple(dict.fromkeys(name for name in named if name))

    def axles_by_wheel(self) -> bool:
        """Whether an axle's weight is that of its two wheels together."""
        return bool(self.left_wheels) and not self.weights

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        data = asdict(self)
        return data | {name: list(data[name]) for name in COLUMN_LISTS}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> ColumnMapping:
        """Read a saved mapping; unknown entries are an error, not ignored."""
        known = {field.name for field in fields(cls)}
        unknown = sorted(set(data) - known)
        if unknown:
            raise UnreadableInput(
                f"The column mapping has an entry “{unknown[0]}” that is not known; "
                f"known are {', '.join(sorted(known))}."
            )
        values = dict(data)
        for name in COLUMN_LISTS:
            given = values.get(name, ())
            if isinstance(given, str):
                raise UnreadableInput(
                    f"The column mapping's “{name}” is one text; it is a list of "
                    "headings."
                )
            values[name] = tuple(given)
        return cls(**values)

    def problems(self, header: Sequence[str]) -> tuple[Complaint, ...]:
        """What stands in the way of reading a file with this header; () if nothing."""
        found: list[Complaint] = []

        def tell(message: str, field: str = "", remedy: str = "") -> None:
            found.append(Complaint(message=message, field=field, remedy=remedy))

        for name in self.columns():
            if name not in header:
                tell(
                    f"the file has no column “{name}”.",
                    remedy=f"Its columns are: {', '.join(header)}.",
                )
            elif list(header).count(name) > 1:
                tell(f"the file has the column “{name}” twice.", remedy="Rename one.")
        if not self.time and not (self.date and (self.clock or self.hour)):
            tell(
                "no column is named for the time.",
                "time",
                "Name one with date and time, or one for the date and one for the "
                "clock time or the hour.",
            )
        found += self._axle_problems()
        if not self.lane and not self.lane_code:
            tell("nothing says which lane.", "lane", "Name a column or give the lane.")
        for name, value, allowed in (
            ("mass unit", self.mass_unit, MASS_UNITS),
            ("spacing unit", self.spacing_unit, SPACING_UNITS),
            ("speed unit", self.speed_unit, SPEED_UNITS),
            ("temperature unit", self.temperature_unit, TEMPERATURE_UNITS),
            ("date order", self.date_order, DATE_ORDERS),
            ("decimal mark", self.decimal_mark, (".", ",")),
            ("delimiter", self.delimiter, (",", ";", "\t")),
        ):
            if value not in allowed:
                tell(f"“{value}” is not a {name}.", name, f"One of {allowed}.")
        return tuple(found)

    def _axle_problems(self) -> list[Complaint]:
        """What is wrong with the columns named for wheels, axles and spacings."""
        found: list[Complaint] = []
        n_axles = len(self.weights or self.left_wheels)
        for side, wheels in (("left", self.left_wheels), ("right", self.right_wheels)):
            if len(wheels) != n_axles and (self.left_wheels or self.right_wheels):
                found.append(
                    Complaint(
                        message=f"{len(wheels)} columns are named for {side} wheels "
                        f"and {n_axles} for axles.",
                        field=f"{side} wheels",
                        remedy="Name both wheels of every axle, or none.",
                    )
                )
        if not 2 <= n_axles <= MAX_AXLES:
            found.append(
                Complaint(
                    message=f"{n_axles} columns are named for axle weights.",
                    field="axle weights",
                    remedy=f"Name 2 to {MAX_AXLES}, in the order of the axles.",
                )
            )
        elif len(self.spacings) != n_axles - 1:
            found.append(
                Complaint(
                    message=f"{len(self.spacings)} columns are named for axle "
                    f"spacings beside {n_axles} for axle weights.",
                    field="axle spacings",
                    remedy="Name one spacing fewer than weights.",
                )
            )
        return found


def length_factor(unit: str) -> float:
    """Metres in one ``unit`` of spacing."""
    factor = UNITS[unit].factor
    return factor / 1000 if unit in ("mm", "cm", "in") else factor


_UNIT_AT_END = re.compile(
    r"[\s_(\[/,]*(?:\b|(?=°))(kg|lbs?|t|kips?|mm|cm|m|ft|in|km/h|kmh|kph|mph|°?[cf])"
    r"[)\]]?$"
)
_SAME_UNIT = {
    "lbs": "lb", "kips": "kip", "kmh": "km/h", "kph": "km/h",
    "c": "°C", "f": "°F", "°c": "°C", "°f": "°F",
}  # fmt: skip
_WEIGHT = re.compile(
    r"^(?:axle|axle weight|axle load|axle mass|weight|load|w|aw)(\d+)$"
)
_WHEEL = re.compile(
    r"^(?:(left|right|l|r)(?: wheel| weight| load| axle)*(\d+)"
    r"|(?:axle|axle weight|axle load|weight|w)(\d+) (left|right|l|r))$"
)
_SPACING = re.compile(
    r"^(?:gap|spacing|axle spacing|distance|axle distance|s|as)(\d+)$"
)
_ROLES: tuple[tuple[str, str], ...] = (
    ("gross", r"gross.*|gvw|total (weight|mass)"),
    ("n_axles", r"axles|n axles|(number|no|count) (of )?axles|axle count"),
    ("speed", r"speed.*|velocity"),
    ("vehicle_class", r"class|vehicle class|category"),
    ("date", r"date|day"),
    ("hour", r"hour( beginning)?"),
    ("clock", r"time|clock( time)?|time of day"),
    ("time", r"date ?time|timestamp|date and time|time ?stamp"),
    ("state", r"state( code)?|province"),
    ("station", r"station( id)?|site( id)?"),
    ("direction", r"direction( code)?|dir"),
    ("lane", r"lane( code| number| no)?"),
    ("temperature", r"((pavement|road|surface) )?temp(erature)?"),
)


def suggest_mapping(header: Sequence[str], *, delimiter: str = ",") -> ColumnMapping:
    """Guess a mapping from the headings; a person looks it over before it is used.

    Units are taken from the headings ("Axle 1 kg", "gap_2_mm"). What is not
    recognised is left out, so that :meth:`ColumnMapping.problems` names it.
    """
    roles: dict[str, str] = {}
    weights: dict[int, str] = {}
    spacings: dict[int, str] = {}
    wheels: dict[str, dict[int, str]] = {"l": {}, "r": {}}
    units: dict[str, str] = {}
    for name in header:
        if len(name) > LONGEST_HEADING:
            continue
        plain, unit = _plain(name)
        joined = re.sub(r"[\s#]+(\d+)", r"\1", plain)
        joined = re.sub(r"^(.*?\d+)\s*[–-]\s*\d+$", r"\1", joined)
        if match := _WEIGHT.match(joined):
            weights.setdefault(int(match[1]), name)
            units.setdefault("mass_unit", unit)
        elif match := _WHEEL.match(joined):
            side, number = match[1] or match[4], match[2] or match[3]
            wheels[side[0]].setdefault(int(number), name)
            units.setdefault("mass_unit", unit)
        elif match := _SPACING.match(joined):
            spacings.setdefault(int(match[1]), name)
            units.setdefault("spacing_unit", unit)
        else:
            for role, pattern in _ROLES:
                if re.fullmatch(pattern, plain) and role not in roles:
                    roles[role] = name
                    if role == "gross":
                        units.setdefault("mass_unit", unit)
                    if role in ("speed", "temperature"):
                        units.setdefault(f"{role}_unit", unit)
                    break
    _one_time(roles)
    return ColumnMapping(
        weights=_in_order(weights),
        spacings=_in_order(spacings),
        left_wheels=_in_order(wheels["l"]),
        right_wheels=_in_order(wheels["r"]),
        delimiter=delimiter,
        **roles,
        **{role: unit for role, unit in units.items() if unit},
    )


def _one_time(roles: dict[str, str]) -> None:
    """Leave one way of telling the time: together, or date with clock or hour."""
    if "clock" in roles and "date" not in roles and "time" not in roles:
        roles["time"] = roles.pop("clock")
    if "time" in roles:
        for role in ("date", "clock", "hour"):
            roles.pop(role, None)
    if "clock" in roles:
        roles.pop("hour", None)


def _plain(name: str) -> tuple[str, str]:
    """A heading in small letters without its unit, and the unit."""
    text = name.strip().lower().replace("_", " ")
    match = _UNIT_AT_END.search(text)
    if not match or match.start() == 0:
        return text, ""
    unit = match[1]
    return text[: match.start()].strip(), _SAME_UNIT.get(unit, unit)


def _in_order(numbered: dict[int, str]) -> tuple[str, ...]:
    """Headings 1, 2, 3 … as far as they go without a hole."""
    names = []
    for number in range(1, MAX_AXLES + 1):
        if number not in numbered:
            break
        names.append(numbered[number])
    return tuple(names)
