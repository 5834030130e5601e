"""Station description records (S): read and written, fixed width.

Traffic Monitoring Guide (FHWA), 2013 and 2016 editions: 213 columns, one record for
each station, direction, lane and year. What is blank is not known (None or ""), and is
written as blanks again.

The field order of the pipe-delimited station record, which the 2022 edition demands
for motorized stations, and of the 2001 edition's record are not in our hands: such
files are refused with a sentence, and :data:`FORMS` has their place.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

from quality.records.blocks import ByteSource, line_blocks
from quality.records.report import MAX_COMPLAINTS
from quality.records.schema import LaneKey
from quality.records.w_explain import shown
from wimprog.lib.errors import Complaint, DomainError, UnreadableInput

LENGTH = 213
MAX_RECORDS = 1_000_000
"""So that a file that never ends does not fill the memory."""
WEIGHING_METHODS = {
    "1": "portable static scale",
    "2": "towed static scale",
    "3": "platform or pit static scale",
    "4": "portable weigh-in-motion",
    "5": "permanent weigh-in-motion",
}
CALIBRATIONS = {
    "A": "ASTM E1318",
    "B": "a subset of ASTM E1318",
    "C": "test trucks and trucks of the stream, not ASTM E1318",
    "D": "another sample of the stream",
    "M": "moving average of the steering axle of class 9",
    "R": "LTPP method",
    "S": "static calibration",
    "T": "test trucks only",
    "U": "not calibrated",
    "Z": "other",
}
SENSORS = {
    "A": "vehicle identification", "B": "bending plate", "C": "capacitance strip",
    "D": "capacitance mat", "E": "load cell", "F": "fibre optic",
    "G": "strain gauge on a bridge beam", "H": "human observation", "I": "infrared",
    "J": "strain gauge in a strip", "K": "laser", "L": "inductive loop",
    "M": "magnetometer", "P": "piezoelectric", "Q": "quartz piezoelectric",
    "R": "road tube", "S": "sonic", "T": "tape switch", "U": "ultrasonic",
    "V": "video", "W": "microwave", "X": "radio wave", "Z": "other",
}  # fmt: skip
CLASS_METHODS = frozenset("ABCDEFGHKLMNORSVZ")
DIRECTIONS = frozenset("0123456789")
_ROAD = re.compile(r"[1-7][RU]")


@dataclass(frozen=True)
class StationRecord:
    """One station, direction, lane and year, in the record's own codes.

    Latitude and longitude are in degrees, the longitude counted westwards as the record
    has it; ``lrs_point_mi`` is the linear reference in miles. ``lanes_in_direction``
    is 9 for nine and more.
    """

    state_code: str
    station_id: str
    direction_code: str
    lane_code: str
    year: int
    functional_class: str = ""
    lanes_in_direction: int | None = None
    used_for_federal_system: str = ""
    lanes_volume: int | None = None
    volume_method: str = ""
    lanes_class: int | None = None
    class_mechanism: str = ""
    class_method: str = ""
    class_groups: int | None = None
    lanes_weight: int | None = None
    weighing_method: str = ""
    calibration: str = ""
    retrieval: str = ""
    sensor: str = ""
    second_sensor: str = ""
    purpose: str = ""
    lrs_id: str = ""
    lrs_point_mi: float | None = None
    latitude_deg: float | None = None
    longitude_west_deg: float | None = None
    ltpp_site: str = ""
    previous_station: str = ""
    year_established: int | None = None
    year_discontinued: int | None = None
    county: str = ""
    hpms_sample: str = ""
    hpms_sample_id: str = ""
    national_highway_system: str = ""
    signing: str = ""
    signed_route: str = ""
    location: str = ""

    @property
    def lane(self) -> LaneKey:
        """The lane as vehicle records name it."""
        return LaneKey(
            self.state_code, self.station_id, self.direction_code, self.lane_code
        )


@dataclass(frozen=True)
class _Field:
    """Columns (``first`` to ``last``, from 1) of one field and what may stand in it."""

    name: str
    title: str
    first: int
    last: int
    kind: str = "text"
    allowed: Callable[[Any], bool] = lambda value: True
    expected: str = ""
    decimals: int = 0

    @property
    def width(self) -> int:
        """Columns that the field takes."""
        return self.last - self.first + 1

    @property
    def place(self) -> str:
        """The field for people."""
        if self.width == 1:
            return f"{self.title} (column {self.first})"
        return f"{self.title} (columns {self.first}–{self.last})"


def _one_of(codes: Iterable[str]) -> tuple[Callable[[str], bool], str]:
    known = sorted(codes)
    return (lambda value: not value or value in known), "one of " + ", ".join(known)


_YES_NO = _one_of("YN")


def _years(value: int | None) -> bool:
    return value is None or 1900 <= value <= 2099


FIELDS = (
    _Field("state_code", "state", 2, 3, "code"),
    _Field("station_id", "station", 4, 9, "code"),
    _Field("direction_code", "direction", 10, 10, "code", *_one_of(DIRECTIONS)),
    _Field("lane_code", "lane", 11, 11, "code", *_one_of(DIRECTIONS)),
    _Field("year", "year", 12, 15, "count", _years, "1900 to 2099"),
    _Field(
        "functional_class", "functional class", 16, 17, "text",
        lambda value: not value or bool(_ROAD.fullmatch(value)), "1 to 7 and R or U",
    ),
    _Field("lanes_in_direction", "lanes in the direction", 18, 18, "count"),
    _Field(
        "used_for_federal_system", "used for the federal system", 19, 19, "text",
        *_YES_NO,
    ),
    _Field("lanes_volume", "lanes counted", 20, 20, "count"),
    _Field("volume_method", "counting method", 21, 21),
    _Field("lanes_class", "lanes classified", 22, 22, "count"),
    _Field("class_mechanism", "mechanism of classification", 23, 23),
    _Field(
        "class_method", "method of classification", 24, 24, "text",
        *_one_of(CLASS_METHODS),
    ),
    _Field("class_groups", "classification groups", 25, 26, "count"),
    _Field("lanes_weight", "lanes weighed", 27, 27, "count"),
    _Field(
        "weighing_method", "weighing method", 28, 28, "text",
        *_one_of(WEIGHING_METHODS),
    ),
    _Field("calibration", "calibration", 29, 29, "text", *_one_of(CALIBRATIONS)),
    _Field("retrieval", "method of data retrieval", 30, 30),
    _Field("sensor", "sensor", 31, 31, "text", *_one_of(SENSORS)),
    _Field(
        "second_sensor", "second sensor", 32, 32, "text", *_one_of({*SENSORS, "N"})
    ),
    _Field("purpose", "primary purpose", 33, 33),
    _Field("lrs_id", "linear reference", 34, 93, "padded"),
    _Field("lrs_point_mi", "linear reference point", 94, 101, "decimal", decimals=3),
    _Field(
        "latitude_deg", "latitude", 102, 109, "decimal",
        lambda value: value is None or value <= 90, "up to 90 degrees", 6,
    ),
    _Field(
        "longitude_west_deg", "longitude", 110, 118, "decimal",
        lambda value: value is None or value <= 360, "up to 360 degrees west", 6,
    ),
    _Field("ltpp_site", "LTPP site", 119, 122),
    _Field("previous_station", "previous station", 123, 128),
    _Field("year_established", "year established", 129, 132, "count", _years,
           "1900 to 2099, or blank"),
    _Field("year_discontinued", "year discontinued", 133, 136, "count", _years,
           "1900 to 2099, or blank"),
    _Field("county", "county", 137, 139),
    _Field("hpms_sample", "HPMS sample", 140, 140, "text", *_YES_NO),
    _Field("hpms_sample_id", "HPMS sample id", 141, 152),
    _Field(
        "national_highway_system", "National Highway System", 153, 153, "text",
        *_YES_NO,
    ),
    _Field("signing", "posted route signing", 154, 155),
    _Field("signed_route", "posted signed route", 156, 163),
    _Field("location", "location", 164, 213),
)  # fmt: skip
FORMS = {LENGTH: FIELDS}
"""Fields by record length; a form whose positions come to hand is added here."""


@dataclass(frozen=True)
class StationFile:
    """What a file of station records holds."""

    records: tuple[StationRecord, ...]
    complaints: tuple[Complaint, ...]
    n_lines: int
    n_refused: int

    def of(self, lane: LaneKey, year: int) -> StationRecord | None:
        """The record of a lane and year."""
        found = (r for r in self.records if r.lane == lane and r.year == year)
        return next(found, None)

    def undescribed(self, lanes: Iterable[LaneKey]) -> tuple[LaneKey, ...]:
        """Those lanes that no record describes.

        The guide's receiving system refuses every other record of a lane that has no
        station record.
        """
        described = {record.lane for record in self.records}
        return tuple(lane for lane in lanes if lane not in described)


class _Wrong(Exception):
    """One field that cannot be taken."""

    def __init__(self, field: _Field, message: str, expected: str) -> None:
        super().__init__(message)
        self.field, self.message, self.expected = field, message, expected


def read_station_records(source: ByteSource) -> StationFile:
    """Read station records; a line that cannot be taken is refused by name.

    Parameters
    ----------
    source
        Open binary file at its start.

    Raises
    ------
    UnreadableInput
        When the records are pipe-delimited, or no line is a station record, or there
        are more than a million.
    """
    records: dict[tuple[LaneKey, int], StationRecord] = {}
    complaints: list[Complaint] = []
    n_lines = n_refused = 0
    for row, line, cut in _lines(source):
        n_lines += 1
        if line[:2] == b"S|":
            raise UnreadableInput(
                "These station records are pipe-delimited, whose order of fields is "
                f"not known here. Send them in fixed width, {LENGTH} columns."
            )
        found = _read_line(line, row, cut=cut)
        if isinstance(found, StationRecord):
            key = (found.lane, found.year)
            if key not in records:
                records[key] = found
                if len(records) > MAX_RECORDS:
                    raise UnreadableInput(
                        f"The file holds more than {MAX_RECORDS:,} station records. "
                        "Split it."
                    )
                continue
            found = _twice(found, row)
        n_refused += 1
        if len(complaints) < MAX_COMPLAINTS:
            complaints.append(found)
    if not records:
        first = f" Line {complaints[0].row}: {complaints[0]}" if complaints else ""
        raise UnreadableInput(
            f"No line is a station description record.{first}", tuple(complaints)
        )
    return StationFile(tuple(records.values()), tuple(complaints), n_lines, n_refused)


def _lines(source: ByteSource) -> Iterator[tuple[int, bytes, bool]]:
    """Number, text and whether the file ends in it, of each line that is not empty."""
    for block in line_blocks(source):
        last = len(block.starts) - 1
        for place in range(len(block.starts)):
            line = block.line(place)
            if line.strip():
                yield block.first_line + place, line, block.cut and place == last


def _read_line(line: bytes, row: int, *, cut: bool) -> StationRecord | Complaint:
    def tell(message: str, field: str = "", value: bytes = b"", **more: str) -> Any:
        ending = " The file ends in the middle of this line." if cut else ""
        return Complaint(
            message=message + ending, row=row, field=field, value=shown(value), **more
        )

    if line[:1] != b"S":
        return tell(
            "this is not a station description record.",
            "record type (column 1)",
            line[:1],
            expected="S in the first column",
            remedy="Leave other record types in files of their own.",
        )
    if not all(32 <= byte <= 126 for byte in line):
        return tell(
            "the line holds characters that are not plain ASCII.",
            value=line,
            expected="plain ASCII text",
        )
    text = line.decode("ascii").rstrip()
    if len(text) > LENGTH:
        return tell(
            f"the line has {len(text)} columns.",
            value=line,
            expected=f"at most {LENGTH} columns",
            remedy="Check that two lines were not joined into one.",
        )
    if len(line) < FIELDS[4].last:
        return tell(
            f"the line has {len(line)} columns and ends before its year.",
            value=line,
            expected=f"at least {FIELDS[4].last} columns",
            remedy="The line was cut: write the file out again.",
        )
    text = text.ljust(LENGTH)
    values = {}
    for field in FIELDS:
        given = text[field.first - 1 : field.last]
        try:
            values[field.name] = _taken(field, given)
        except _Wrong as wrong:
            return tell(
                wrong.message, field.place, given.encode(), expected=wrong.expected
            )
    return StationRecord(**values)


def _taken(field: _Field, given: str) -> Any:
    """The field's value, or :class:`_Wrong`."""
    text = given.strip()
    value: Any = text
    if field.kind == "code":
        if not text or given[-1] == " ":
            raise _Wrong(
                field,
                f"the {field.title} is empty or not right-justified.",
                field.expected or f"{field.width} characters",
            )
        value = text.zfill(field.width)
    elif field.kind == "padded":
        value = text.lstrip("0")
    elif field.kind in ("count", "decimal"):
        if text and not (text.isdigit() and given[-1] != " "):
            raise _Wrong(
                field,
                f"the {field.title} is not a whole number.",
                "digits, right-justified, no decimal point"
                + (f" (the last {field.decimals} are decimals)" * bool(field.decimals)),
            )
        value = int(text) if text else None
        if field.decimals and value is not None:
            value /= 10**field.decimals
    if field.name == "year" and value is None:
        raise _Wrong(field, "the year is empty.", field.expected)
    if not field.allowed(value):
        raise _Wrong(field, f"this {field.title} is not known.", field.expected)
    return value


def _twice(record: StationRecord, row: int) -> Complaint:
    return Complaint(
        message=f"there is a record before it of {record.lane} for {record.year}.",
        row=row,
        field="station, direction, lane, year",
        expected="one record for each station, direction, lane and year",
        remedy="Leave one of the two out.",
    )


def write_station_records(
    records: Iterable[StationRecord], sink: BinaryIO, *, line_end: bytes = b"\n"
) -> int:
    """Write records in fixed width, all 213 columns; returns how many.

    Raises
    ------
    DomainError
        When a value does not fit its field, or is not one that may stand there.
    """
    n = 0
    for record in records:
        text = "S" + "".join(_written(field, record) for field in FIELDS)
        sink.write(text.encode("ascii") + line_end)
        n += 1
    return n


def _written(field: _Field, record: StationRecord) -> str:
    value = getattr(record, field.name)
    if value is None or value == "":
        text = "" if field.kind != "code" else "?" * (field.width + 1)
    elif field.kind == "decimal":
        text = str(round(value * 10**field.decimals)).zfill(field.width)
    elif field.kind in ("count", "code", "padded"):
        text = str(value).zfill(field.width)
    else:
        text = str(value)
    fits = len(text) <= field.width and text.isascii() and text.isprintable()
    if fits:
        text = text.ljust(field.width)
        try:
            fits = _taken(field, text) == value
        except _Wrong:
            fits = False
    if not fits:
        raise DomainError(
            f"The {field.title} “{value}” of {record.lane} does not fit the station "
            f"record's {field.width} columns"
            + (f": {field.expected}." if field.expected else ".")
        )
    return text
