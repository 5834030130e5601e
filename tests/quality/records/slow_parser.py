"""A weight record read the slow way: one line, one field, one number at a time.

Written from the guide's table alone (TMG 2016, chapter 7, W record; positions as
re-keyed in a public format library), without looking at the reader: no numpy, no
shared layout. It says which lines are sound and what they hold.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

LB = Decimal("0.45359237")
FOOT = Decimal("0.3048")
MILE = Decimal("1.609344")


class Unsound(Exception):
    """The line is not a vehicle."""


def _number(text: str) -> int:
    """Digits with blanks in front; all blank is zero."""
    rest = text.lstrip(" ")
    if rest and not (rest.isascii() and rest.isdigit()):
        raise Unsound(text)
    return int(rest or "0")


def _code(text: str) -> str:
    if text[-1:] in ("", " ") or not text.strip().isalnum():
        raise Unsound(text)
    return text.strip().zfill(len(text))


def parse_line(line: str) -> dict[str, Any]:  # noqa: C901  (one field after another)
    """The vehicle in one line of 2013 or 2016, fixed width.

    Raises
    ------
    Unsound
        When the line does not hang together.
    """
    if len(line.rstrip(" ")) > 147 or not all(" " <= c <= "~" for c in line):
        raise Unsound("length or characters")
    line = line[:147]
    if line[:1] != "W" or len(line) < 34:
        raise Unsound("no record")
    record: dict[str, Any] = {
        "state_code": _code(line[1:3]),
        "station_id": line[3:9].strip().zfill(6),
        "direction_code": _code(line[9:10]),
        "lane_code": _code(line[10:11]),
    }
    _number(line[1:3])
    _number(line[9:11])
    if line[8] == " " or line[20] == " ":
        raise Unsound("station or hour")
    try:
        record["time"] = dt.datetime.combine(
            dt.date(_number(line[11:15]), _number(line[15:17]), _number(line[17:19])),
            dt.time(_number(line[19:21])),
        )
    except ValueError:
        raise Unsound("date") from None
    if not 1970 <= record["time"].year <= 2099:
        raise Unsound("year")
    record["vehicle_class"] = _number(line[21:23]) or None
    if (record["vehicle_class"] or 0) > 15:
        raise Unsound("class")
    gross, n_axles = _number(line[26:32]), _number(line[32:34])
    if not 2 <= n_axles <= 13:
        raise Unsound("axles")
    # 1-based columns: weight k at 35 + 9 (k − 1), spacing k at 40 + 9 (k − 1)
    weights, spacings = [], []
    for k in range(1, 14):
        first = 35 + 9 * (k - 1)
        weight = line[first - 1 : first + 4]
        if k <= n_axles:
            if len(weight) < 5 or weight[-1] == " ":
                raise Unsound("axle missing")
            weights.append(_number(weight))
        elif _number(weight):
            raise Unsound("axle too many")
        first = 40 + 9 * (k - 1)
        spacing = line[first - 1 : first + 3]
        if k < n_axles:
            if len(spacing) < 4 or spacing[-1] == " ":
                raise Unsound("spacing missing")
            spacings.append(_number(spacing))
        elif k < 13 and _number(spacing):
            raise Unsound("spacing too many")
    if abs(sum(weights) - gross) > n_axles:
        raise Unsound("sum")
    record["n_axles"] = n_axles
    record["gvw_kg"] = gross * LB
    record["weights_kg"] = [weight * LB for weight in weights]
    record["spacings_m"] = [spacing * FOOT / 10 for spacing in spacings]
    try:
        mph = _number(line[23:26])
    except Unsound:
        mph = 0
    record["speed_kmh"] = mph * MILE if mph else None
    return record


def parse(text: bytes) -> dict[int, dict[str, Any]]:
    """Sound lines by number, from 1."""
    found = {}
    for number, raw in enumerate(text.split(b"\n"), start=1):
        line = raw.removesuffix(b"\r").decode("latin-1")
        try:
            found[number] = parse_line(line)
        except Unsound:
            continue
    return found
