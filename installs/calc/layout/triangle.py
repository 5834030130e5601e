"""The angle between the legs of one measured triangle, or why there is none.

The leg into the lane a, the leg along the lane edge b and the diagonal c give the angle
t between the legs by the law of cosines,

    cos t = (a² + b² − c²) / (2 a b),

and its standard uncertainty from that of a tape reading, s, by first-order propagation
(JCGM 100:2008, 5.1.2, uncorrelated readings). With p and q the angles that the
diagonal makes with a and with b, so that c cos p = (a² + c² − b²) / (2 a) and
c cos q = (b² + c² − a²) / (2 b), the partial derivatives are

    dt/dc = c / (a b sin t),
    dt/da = −c cos p / (a b sin t),
    dt/db = −c cos q / (a b sin t).
"""

from __future__ import annotations

import math

from installs.calc.layout.limits import check_positive, length_words
from installs.calc.layout.types import MeasuredTriangle, TriangleAngle
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.units import M_PER_FT

#: An angle this far from square makes a slip of units worth asking about ...
_ODD_DEG = 10.0
#: ... if one side in another unit would bring the angle this near to square.
_NEAR_DEG = 4.0
#: Cosines this near to 1 leave no angle to speak of.
_FLAT = 1e-9
#: What a number means in the unit it may have been read in, against the others.
_SLIPS = (
    (12.0, "inches among feet"),
    (1.0 / 12.0, "feet among inches"),
    (1.0 / M_PER_FT, "feet among metres"),
    (M_PER_FT, "metres among feet"),
    (2.54, "centimetres among inches"),
    (1.0 / 2.54, "inches among centimetres"),
    (100.0, "centimetres among metres"),
    (0.01, "metres among centimetres"),
    (1000.0, "millimetres among metres"),
)


def triangle_angle(
    triangle: MeasuredTriangle, *, tape_sd_m: float, unit: str = "m"
) -> TriangleAngle:
    """Angle between the legs of one triangle, with its standard uncertainty.

    Parameters
    ----------
    triangle
        The three readings [m].
    tape_sd_m
        Standard deviation of each reading [m].
    unit
        Unit in which messages tell the readings ("ft").

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a side is not above zero, or when the three cannot close.
    """
    check_positive("standard deviation of the tape", tape_sd_m)
    a = triangle.leg_into_lane_m
    b = triangle.leg_along_edge_m
    c = triangle.diagonal_m
    slip = _slip_of_units(triangle, unit)
    _check_closes(triangle, unit, slip)
    cos_t = _cos_corner(a, b, c)
    sin_t = math.sqrt(1.0 - cos_t * cos_t)
    per_c = c / (a * b * sin_t)
    per_a = -((a * a + c * c - b * b) / (2.0 * a)) / (a * b * sin_t)
    per_b = -((b * b + c * c - a * a) / (2.0 * b)) / (a * b * sin_t)
    u_rad = tape_sd_m * math.sqrt(per_a**2 + per_b**2 + per_c**2)
    return TriangleAngle(
        triangle,
        math.degrees(math.acos(cos_t)),
        math.degrees(u_rad),
        (slip,) if slip else (),
    )


def _check_closes(
    triangle: MeasuredTriangle, unit: str, slip: Complaint | None
) -> None:
    """Refuse sides that are not above zero or do not make a triangle."""
    sides = {
        "leg into the lane": triangle.leg_into_lane_m,
        "leg along the edge": triangle.leg_along_edge_m,
        "diagonal": triangle.diagonal_m,
    }
    label = f"{triangle.name}: " if triangle.name else ""
    for what, value in sides.items():
        if not (math.isfinite(value) and value > 0):
            raise _refused(
                f"{label}the {what} is {value:g}; a length must be above zero.",
                what,
                f"{value:g}",
                "a length above zero",
            )
    a, b, c = sides.values()
    told_c, told_a, told_b = (length_words(x, unit) for x in (c, a, b))
    if c > a + b:
        bound, side = length_words(a + b, unit), "at most"
    elif c < abs(a - b):
        bound, side = length_words(abs(a - b), unit), "at least"
    elif abs(_cos_corner(a, b, c)) >= 1.0 - _FLAT:
        raise _refused(
            f"{label}a diagonal of {told_c} makes legs of {told_a} and {told_b} lie "
            "flat on one line; there is no angle between them.",
            "diagonal",
            told_c,
            f"more than {length_words(abs(a - b), unit)} and less than "
            f"{length_words(a + b, unit)}",
        )
    else:
        return
    words = (
        f"{label}a diagonal of {told_c} cannot close on legs of {told_a} and {told_b}: "
        f"{side} {bound}."
    )
    if slip:
        words += f" {slip.message}"
    raise _refused(words, "diagonal", told_c, f"{side} {bound}")


def _refused(message: str, field: str, value: str, expected: str) -> DomainError:
    complaint = Complaint(
        message,
        field=field,
        value=value,
        expected=expected,
        remedy="Measure the three sides again, all in one unit.",
    )
    return DomainError(message[:1].upper() + message[1:], (complaint,))


def _cos_corner(a: float, b: float, c: float) -> float:
    """Cosine of the angle between a and b, by the law of cosines."""
    return (a * a + b * b - c * c) / (2.0 * a * b)


def _deviation_deg(a: float, b: float, c: float) -> float:
    """Degrees from square, either way; 90 where the sides do not close."""
    cos_t = min(1.0, max(-1.0, _cos_corner(a, b, c)))
    return abs(90.0 - math.degrees(math.acos(cos_t)))


def _slip_of_units(triangle: MeasuredTriangle, unit: str) -> Complaint | None:
    """The side that another unit would make square, when the triangle is odd."""
    sides = (triangle.leg_into_lane_m, triangle.leg_along_edge_m, triangle.diagonal_m)
    if not all(math.isfinite(x) and x > 0 for x in sides):
        return None
    if _deviation_deg(*sides) <= _ODD_DEG:
        return None
    names = ("leg into the lane", "leg along the edge", "diagonal")
    found: list[tuple[float, str, float, str]] = []
    for index, what in enumerate(names):
        for factor, words in _SLIPS:
            mended = list(sides)
            mended[index] /= factor
            off = _deviation_deg(*mended)
            if off <= _NEAR_DEG:
                found.append((off, what, sides[index], words))
    if not found:
        return None
    _, what, value, words = min(found)
    return Complaint(
        f"Is the {what} of {length_words(value, unit)} given in another unit "
        f"({words})? In that unit the triangle would be nearly square.",
        field=what,
        value=length_words(value, unit),
        expected="all three sides in one unit",
        remedy="Check the unit of each side.",
    )
