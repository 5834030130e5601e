"""The words by which people head the columns of a profile, and its units."""

from __future__ import annotations

import re
from enum import StrEnum

from wimprog.lib.units import KM_PER_MILE, M_PER_FT, MM_PER_IN


class WheelPath(StrEnum):
    """The path along the lane that a profile was measured in."""

    LEFT = "left wheel path"
    RIGHT = "right wheel path"
    SINGLE = "single path"


class DistanceUnit(StrEnum):
    """Units of distance along the road; a station is 100 ft (12+34.5 or 12.345)."""

    M = "m"
    FT = "ft"
    KM = "km"
    MI = "mi"
    STATION = "station"

    @property
    def metres(self) -> float:
        """One unit in metres."""
        return {
            "m": 1.0,
            "ft": M_PER_FT,
            "km": 1000.0,
            "mi": KM_PER_MILE * 1000.0,
            "station": 100.0 * M_PER_FT,
        }[self.value]


class ElevationUnit(StrEnum):
    """Units of elevation."""

    MM = "mm"
    M = "m"
    IN = "in"
    FT = "ft"

    @property
    def millimetres(self) -> float:
        """One unit in millimetres."""
        return {"mm": 1.0, "m": 1000.0, "in": MM_PER_IN, "ft": M_PER_FT * 1000.0}[
            self.value
        ]


_DISTANCE_WORDS = {
    "distance", "dist", "chainage", "station", "stationing", "sta", "milepost",
    "milepoint", "mp", "kilometrepost", "kilometerpost",
}  # fmt: skip
_ELEVATION_WORDS = {"elevation", "elev", "height", "profile", "prof", "z"}
_LEFT_WORDS = {"left", "lwp", "lelev", "lprof", "l"}
_RIGHT_WORDS = {"right", "rwp", "relev", "rprof", "r"}
# other things that a profiler writes beside the elevations
_OTHER_WORDS = {
    "iri", "mri", "hri", "mpd", "texture", "macrotexture", "rut", "rutting", "speed",
    "latitude", "longitude", "lat", "lon", "temperature", "temp", "grade", "slope",
    "quality", "flag", "event", "centre", "center", "average", "mean",
}  # fmt: skip
DISTANCE_UNITS = {
    "m": DistanceUnit.M, "metre": DistanceUnit.M, "metres": DistanceUnit.M,
    "meter": DistanceUnit.M, "meters": DistanceUnit.M,
    "ft": DistanceUnit.FT, "feet": DistanceUnit.FT, "foot": DistanceUnit.FT,
    "km": DistanceUnit.KM, "mi": DistanceUnit.MI, "mile": DistanceUnit.MI,
    "miles": DistanceUnit.MI, "sta": DistanceUnit.STATION,
    "station": DistanceUnit.STATION, "stations": DistanceUnit.STATION,
}  # fmt: skip
ELEVATION_UNITS = {
    "mm": ElevationUnit.MM, "m": ElevationUnit.M, "metre": ElevationUnit.M,
    "metres": ElevationUnit.M, "meter": ElevationUnit.M, "meters": ElevationUnit.M,
    "in": ElevationUnit.IN, "inch": ElevationUnit.IN, "inches": ElevationUnit.IN,
    "ft": ElevationUnit.FT, "feet": ElevationUnit.FT, "foot": ElevationUnit.FT,
}  # fmt: skip


def words_of(heading: str) -> list[str]:
    """The words of a heading: "LeftElev_mm" gives left, elev, mm."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", heading)
    return re.findall(r"[a-z]+", spaced.lower())


def is_distance(cell: str) -> bool:
    """Whether a heading names the distance along the road."""
    words = set(words_of(cell))
    return bool(words & _DISTANCE_WORDS) and not words & (
        _OTHER_WORDS | _LEFT_WORDS | _RIGHT_WORDS
    )


def path_of(cell: str) -> WheelPath | None:
    """The wheel path whose elevations a heading names, if it names any."""
    words = set(words_of(cell))
    if words & (_OTHER_WORDS | _DISTANCE_WORDS):
        return None
    if words & _LEFT_WORDS:
        return None if words & _RIGHT_WORDS else WheelPath.LEFT
    if words & _RIGHT_WORDS:
        return WheelPath.RIGHT
    return WheelPath.SINGLE if words & _ELEVATION_WORDS else None


def unit_text(cell: str) -> str:
    """A cell as a unit would be looked up."""
    return cell.strip("()[]{} .").lower()


def unit_said(cell: str, below: str) -> str:
    """What may be a heading's unit: in brackets, below it, or its last word."""
    bracketed = re.search(r"[(\[{]\s*([^)\]}]+?)\s*[)\]}]", cell)
    if bracketed:
        return unit_text(bracketed.group(1))
    if below:
        return unit_text(below)
    words = words_of(cell)
    return words[-1] if len(words) > 1 else ""
