"""What was driven, as somebody wrote it down: one pass a line, or all of a truck.

``08:40:12 Truck A 55`` is one pass at 55 (mph or km/h, as the program has it);
``all Truck A 10:00-12:00`` takes every fitting record of that time.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from wimprog.lib.errors import Complaint, UnreadableInput
from wimprog.lib.units import Unit, parse_number

MAX_LINES = 1000
EXPECTED = "a line such as “08:40:12 Truck A” or “all Truck A 10:00-12:00”"

_CLOCK = r"\d{1,2}:\d{2}(?::\d{2})?"
_DAY = r"(?:(?P<day>\d{4}-\d{2}-\d{2})[ T])?"
_SINGLE = re.compile(rf"^{_DAY}(?P<clock>{_CLOCK})[\s,;]+(?P<rest>.+)$")
_ALL = re.compile(
    r"^all\s+(?:passes\s+)?(?:of\s+)?(?P<vehicle>.+?)[\s,;]+(?:between\s+|from\s+)?"
    rf"{_DAY}(?P<start>{_CLOCK})\s*(?:-|–|to|and|until)\s*(?P<end>{_CLOCK})\s*$",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class NotedPass:
    """One pass as noted, by the roadside clock."""

    key: str
    vehicle: str
    time: dt.datetime
    speed_kmh: float | None


@dataclass(frozen=True)
class NotedStretch:
    """All passes of one vehicle between two times, by the controller's clock."""

    line: int
    vehicle: str
    start: dt.datetime
    end: dt.datetime


@dataclass(frozen=True)
class Noted:
    """Everything that was written down."""

    passes: tuple[NotedPass, ...]
    stretches: tuple[NotedStretch, ...]

    @property
    def vehicles(self) -> list[str]:
        """Names of the vehicles, each once."""
        every = [one.vehicle for one in self.passes]
        every += [one.vehicle for one in self.stretches]
        return list(dict.fromkeys(every))


def read_passes(
    text: str,
    *,
    day: dt.date,
    zone: ZoneInfo,
    vehicles: Collection[str],
    speed_unit: Unit,
) -> Noted:
    """Read a list of passes.

    Parameters
    ----------
    text
        One pass, or one stretch of time, a line; empty lines and lines from ``#`` on
        are passed over.
    day, zone
        The session's day and the site's time zone, for times without a day.
    vehicles
        Names of the test vehicles that were weighed.
    speed_unit
        Unit of a speed at the end of a line.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With a complaint for every line that cannot be read.
    """
    names = {name.casefold(): name for name in vehicles}
    passes: list[NotedPass] = []
    stretches: list[NotedStretch] = []
    complaints: list[Complaint] = []
    for line, raw in enumerate(text.splitlines()[:MAX_LINES], start=1):
        row = raw.strip()
        if not row or row.startswith("#"):
            continue
        reader = _Line(line, row, day, zone, names, speed_unit, complaints)
        stretch = _ALL.match(row)
        if stretch:
            found = reader.stretch(stretch)
            stretches += [found] if found else []
            continue
        single = _SINGLE.match(row)
        if single is None:
            reader.complain("This is not a pass.", EXPECTED)
            continue
        one = reader.single(single)
        passes += [one] if one else []
    complaints += _copies(passes)
    if not passes and not stretches and not complaints:
        complaints.append(Complaint("There is no pass.", expected=EXPECTED))
    if complaints:
        raise UnreadableInput(
            "The list of passes cannot be taken. Nothing was stored.",
            tuple(complaints),
        )
    return Noted(tuple(passes), tuple(stretches))


@dataclass(frozen=True)
class _Line:
    line: int
    row: str
    day: dt.date
    zone: ZoneInfo
    names: dict[str, str]
    speed_unit: Unit
    complaints: list[Complaint]

    def complain(self, message: str, expected: str, value: str = "") -> None:
        self.complaints.append(
            Complaint(
                message,
                row=self.line,
                value=value or self.row,
                expected=expected,
                remedy="Correct the line, or leave it out.",
            )
        )

    def moment(self, day: str | None, clock: str) -> dt.datetime | None:
        try:
            on = dt.date.fromisoformat(day) if day else self.day
            at = dt.time.fromisoformat(clock.rjust(len("08:40"), "0").zfill(5))
        except ValueError:
            self.complain("This is not a time of day.", "a time such as 08:40:12")
            return None
        return dt.datetime.combine(on, at, tzinfo=self.zone)

    def vehicle(self, name: str) -> str | None:
        known = self.names.get(name.strip().casefold())
        if known is None:
            told = ", ".join(sorted(self.names.values())) or "none weighed yet"
            self.complain("The vehicle is not known.", f"one of {told}", name.strip())
        return known

    def single(self, match: re.Match[str]) -> NotedPass | None:
        time = self.moment(match["day"], match["clock"])
        name, speed_kmh = match["rest"].strip(), None
        if name.casefold() not in self.names:
            name, _, last = name.rpartition(" ")
            name = name.strip(" ,;")
            try:
                speed_kmh = self.speed_unit.to_si(parse_number(last))
            except ValueError:
                name = match["rest"].strip()
        vehicle = self.vehicle(name)
        if speed_kmh is not None and vehicle and not 1.0 <= speed_kmh <= 200.0:
            unit = self.speed_unit.symbol
            self.complain("The speed cannot be right.", f"a speed in {unit}")
            return None
        if time is None or vehicle is None:
            return None
        return NotedPass(str(self.line), vehicle, time, speed_kmh)

    def stretch(self, match: re.Match[str]) -> NotedStretch | None:
        start = self.moment(match["day"], match["start"])
        end = self.moment(match["day"], match["end"])
        vehicle = self.vehicle(match["vehicle"])
        if start is None or end is None or vehicle is None:
            return None
        if end <= start:
            self.complain("The time ends before it starts.", "start, then end")
            return None
        return NotedStretch(self.line, vehicle, start, end)


def _copies(passes: list[NotedPass]) -> list[Complaint]:
    seen: dict[tuple[str, dt.datetime], str] = {}
    complaints = []
    for one in passes:
        key = (one.vehicle, one.time)
        if key in seen:
            complaints.append(
                Complaint(
                    f"The same pass is on line {seen[key]} already.",
                    row=int(one.key),
                    value=f"{one.vehicle}, {one.time:%H:%M:%S}",
                    remedy="Leave one of them out.",
                )
            )
        seen.setdefault(key, one.key)
    return complaints
