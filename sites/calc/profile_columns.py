"""The numbers of a profile's columns, and complaints in the file's own lines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv
from numpy.typing import NDArray

from sites.calc.profile_layout import HEAD_LINES, ProfileLayout, split_line
from sites.calc.profile_text import lines_of_rows, ragged_lines
from sites.calc.profile_words import DistanceUnit, WheelPath
from wimprog.lib.errors import Complaint, UnreadableInput

Floats = NDArray[np.float64]

#: Complaints told one by one; the rest is counted.
MOST_COMPLAINTS = 20
_BEYOND_USE = 1e9  # no distance or elevation in any of the units
_NUMBER = r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$"
_STATION = r"^(?P<whole>\d+)\+(?P<feet>\d{1,2}(?:\.\d*)?)$"


def many(n: int, thing: str) -> str:
    """A count in words: 1 place; 1,204 places."""
    return f"{n:,} {thing}{'' if n == 1 else 's'}"


class ProfileText:
    """One file being read: its text, its layout, and complaints in its own lines."""

    def __init__(self, data: bytes, layout: ProfileLayout) -> None:
        self.data = data
        self.layout = layout
        self.offset = 0
        for _ in range(layout.first_line - 1):
            self.offset = data.find(b"\n", self.offset) + 1 or len(data)

    @property
    def distance_heading(self) -> str:
        """Heading of the distance."""
        return self.layout.header[self.layout.distance]

    def heading(self, path: WheelPath) -> str:
        """Heading of a path's elevations."""
        return self.layout.header[self.layout.paths[path]]

    # --- numbers -------------------------------------------------------------------

    def numbers(self) -> tuple[Floats, dict[WheelPath, Floats]]:
        """Distance in m and elevations in mm."""
        layout = self.layout
        stationed = layout.distance_unit is DistanceUnit.STATION
        texts = {layout.distance} if stationed else set()
        try:
            table = self._table(texts)
        except pa.ArrowInvalid:
            self._complain_of_texts(stationed)
            raise UnreadableInput(
                "The profile was not read: its lines are not those of a table. Export "
                "it again as CSV, one sample a line."
            ) from None
        if table.num_rows == 0:
            raise UnreadableInput(
                "The profile has a heading and no numbers below it; export it again."
            )
        distance = table.column(_name(layout.distance))
        if stationed:
            distance = self._stations(distance)
        arrays = {layout.distance: self._finite(layout.distance, distance)}
        for place in layout.paths.values():
            arrays[place] = self._finite(place, table.column(_name(place)))
        return arrays[layout.distance] * layout.distance_unit.metres, {
            path: arrays[place] * layout.elevation_units[path].millimetres
            for path, place in layout.paths.items()
        }

    def _table(self, texts: set[int]) -> pa.Table:
        """The wanted columns: numbers, and texts of the places asked for."""
        layout = self.layout
        wanted = [layout.distance, *layout.paths.values()]
        width = self._width()
        odd: list[int] = []

        def skip(row: pacsv.InvalidRow) -> str:
            odd.append(row.actual_columns)
            return "skip"

        body = pa.py_buffer(self.data).slice(self.offset)
        if body.size == 0:
            return pa.table(
                {_name(place): pa.array([], pa.float64()) for place in wanted}
            )
        table = pacsv.read_csv(
            pa.BufferReader(body),
            read_options=pacsv.ReadOptions(
                column_names=[_name(place) for place in range(width)]
            ),
            parse_options=pacsv.ParseOptions(
                delimiter=layout.delimiter, invalid_row_handler=skip
            ),
            convert_options=pacsv.ConvertOptions(
                include_columns=[_name(place) for place in wanted],
                column_types={
                    _name(place): pa.string() if place in texts else pa.float64()
                    for place in wanted
                },
                decimal_point=self._decimal_mark(),
                strings_can_be_null=True,
            ),
        )
        if odd:
            raise self._ragged(width, len(odd))
        return table

    def _first_rows(self) -> list[str]:
        text = self.data[self.offset : self.offset + 65536].decode(errors="replace")
        return [line for line in text.splitlines()[:HEAD_LINES] if line]

    def _width(self) -> int:
        """Cells in a row: as many as headings, or more when the rest is empty."""
        width = len(self.layout.header)
        for line in self._first_rows()[:1]:
            cells = split_line(line, self.layout.delimiter)
            if len(cells) > width and not any(cells[width:]):
                return len(cells)
        return width

    def _decimal_mark(self) -> str:
        """A comma when commas do not part the cells and no number has a point."""
        rows = "".join(self._first_rows())
        if self.layout.delimiter != "," and "," in rows and "." not in rows:
            return ","
        return "."

    def _stations(self, texts: pa.ChunkedArray) -> pa.ChunkedArray:
        """Stations of 100 ft as numbers: 12+34.5 and 12.345 are the same place."""
        trimmed = pc.utf8_trim_whitespace(texts)
        parts = pc.extract_regex(trimmed, _STATION)
        plain = pc.match_substring_regex(trimmed, _NUMBER)
        fitting = pc.or_(pc.is_valid(parts), pc.fill_null(plain, True))
        if not pc.all(fitting).as_py():
            self._complain_of_column(self.layout.distance, trimmed, fitting)
        whole = pc.cast(pc.struct_field(parts, "whole"), pa.float64())
        feet = pc.cast(pc.struct_field(parts, "feet"), pa.float64())
        joined = pc.add(whole, pc.divide(feet, 100.0))
        numbers = pc.cast(
            pc.if_else(plain, trimmed, pa.scalar(None, pa.string())), pa.float64()
        )
        return pc.coalesce(numbers, joined)

    def _finite(self, place: int, column: pa.ChunkedArray) -> Floats:
        """A column as an array; refused when a value is missing or beyond use."""
        values = np.array(column.to_numpy(), dtype=np.float64)
        missing = np.flatnonzero(~(np.abs(values) < _BEYOND_USE))
        if missing.size:
            raise self.refusal(
                f"{many(missing.size, 'value')} missing in "
                f"“{self.layout.header[place]}”",
                self.complaints(
                    missing,
                    message="there is no usable number here.",
                    field=self.layout.header[place],
                    expected="a number in every line",
                    remedy="Export the part before or after the gap; a gap is not "
                    "filled, because the filling would be read as road.",
                ),
            )
        return values

    # --- complaints ----------------------------------------------------------------

    def _complain_of_texts(self, stationed: bool) -> None:
        """Name the cells that are no numbers."""
        layout = self.layout
        places = [layout.distance, *layout.paths.values()]
        table = self._table(set(places))
        for place in places[1:] if stationed else places:
            texts = pc.utf8_trim_whitespace(table.column(_name(place)))
            if self._decimal_mark() == ",":
                texts = pc.replace_substring(texts, ",", ".")
            fitting = pc.fill_null(pc.match_substring_regex(texts, _NUMBER), True)
            if not pc.all(fitting).as_py():
                self._complain_of_column(place, texts, fitting)

    def _complain_of_column(
        self, place: int, texts: pa.ChunkedArray, fitting: pa.ChunkedArray
    ) -> None:
        rows = np.flatnonzero(~fitting.to_numpy())
        heading = self.layout.header[place]
        is_station = self.layout.distance_unit is DistanceUnit.STATION
        raise self.refusal(
            f"{many(rows.size, 'value')} of “{heading}” cannot be read as numbers",
            self.complaints(
                rows,
                message="this is not a number.",
                field=heading,
                values=[texts[int(row)].as_py()[:40] for row in rows[:MOST_COMPLAINTS]],
                expected="a station such as 12+34.5"
                if is_station and place == self.layout.distance
                else "digits with a point for decimals, such as 12.345",
                remedy="Mend the value, or export the profile again.",
            ),
        )

    def _ragged(self, width: int, n_odd: int) -> UnreadableInput:
        found = ragged_lines(
            self.data[self.offset :], self.layout.delimiter, width, MOST_COMPLAINTS
        )
        return self.refusal(
            f"{many(n_odd, 'line')} with more or fewer cells than the heading",
            [
                Complaint(
                    message="the line has another number of cells than the heading.",
                    row=self.layout.first_line + place,
                    value=text[:60],
                    expected=f"{width} cells",
                    remedy="Mend the line, or export the profile again; a file that "
                    "ends within a line was cut short.",
                )
                for place, text in found
            ],
        )

    def complaints(
        self,
        rows: NDArray[np.intp],
        *,
        message: str,
        field: str,
        expected: str,
        remedy: str,
        values: Sequence[str] = (),
    ) -> list[Complaint]:
        """One complaint for each of the first rows, in the file's own lines."""
        few = rows[:MOST_COMPLAINTS]
        numbers = self.layout.first_line + lines_of_rows(self.data[self.offset :], few)
        return [
            Complaint(
                message=message,
                row=int(number),
                field=field,
                value=value,
                expected=expected,
                remedy=remedy,
            )
            for number, value in zip(numbers, values or [""] * few.size, strict=True)
        ]

    def refusal(self, summary: str, complaints: Sequence[Complaint]) -> UnreadableInput:
        first = f" (first in line {complaints[0].row})" if complaints else ""
        return UnreadableInput(
            f"The profile was not read: {summary}{first}.", tuple(complaints)
        )


def _name(place: int) -> str:
    return f"column {place}"
