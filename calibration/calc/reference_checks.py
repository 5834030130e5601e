"""Whether scale readings make up a vehicle, and from which of them it is summed."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from calibration.calc.reference_types import ScaleReading
from wimprog.lib.errors import Complaint

Part = tuple[int, ...]


def way_of_closing(
    weighed: Collection[Part], groups: Sequence[Part], n_axles: int
) -> tuple[Part, ...]:
    """Parts that make up the whole vehicle, each axle once.

    A group stands as one where it was weighed as one or all its axles alone; other
    axles stand alone; what is left is taken from larger parts that were weighed.

    Parameters
    ----------
    weighed
        Parts that have readings.
    groups
        The vehicle's axle groups.
    n_axles
        Number of its axles.

    Returns
    -------
    tuple
        The parts front to rear; the whole vehicle alone where nothing else was
        weighed; empty where the readings leave an axle out.
    """
    everything = tuple(range(n_axles))
    left = set(everything)
    found: list[Part] = []
    for group in groups:
        if group in weighed and group != everything:
            found.append(group)
            left -= set(group)
    alone = [(axle,) for axle in sorted(left) if (axle,) in weighed]
    found += alone
    left -= {axle for (axle,) in alone}
    for part in sorted(weighed, key=len):
        if left and set(part) <= left and part != everything:
            found.append(part)
            left -= set(part)
    if not left:
        return tuple(sorted(found))
    return (everything,) if everything in weighed else ()


def group_or_axles(part: Part, known: Collection[Part]) -> list[Part]:
    """The part itself where it is known, else the known parts inside it."""
    if part in known:
        return [part]
    left = set(part)
    found = []
    for one in sorted(known, key=lambda other: (-len(other), other)):
        if set(one) <= left:
            found.append(one)
            left -= set(one)
    return found


def reading_complaints(
    name: str, readings: Sequence[ScaleReading], groups: Sequence[Part], n_axles: int
) -> list[Complaint]:
    """What is wrong with the readings of one vehicle, in words for their sender.

    Parameters
    ----------
    name
        The vehicle's name.
    readings
        What the scale showed, in kg.
    groups
        The vehicle's axle groups.
    n_axles
        Number of the vehicle's axles.
    """
    if not readings:
        return [
            Complaint(
                f"There are no scale readings of {name}.",
                field="scale readings",
                remedy="Give the weight of each axle, or of the whole vehicle.",
            )
        ]
    complaints = []
    for place, one in enumerate(readings, start=1):
        if not (math.isfinite(one.load_kg) and one.load_kg > 0):
            complaints.append(
                Complaint(
                    f"Scale reading {place} of {name} is not a weight.",
                    field=f"scale reading {place}",
                    value=f"{one.load_kg:g}",
                    expected="a number greater than zero",
                    remedy="Correct it, or leave the reading out.",
                )
            )
        axles = sorted(one.axles)
        whole = list(range(axles[0], axles[-1] + 1)) if axles else []
        if not axles or axles != whole or axles[0] < 0 or axles[-1] >= n_axles:
            complaints.append(
                Complaint(
                    f"Scale reading {place} of {name} names axles that cannot have "
                    "stood on the scale together.",
                    field=f"axles of reading {place}",
                    value=", ".join(str(axle + 1) for axle in one.axles),
                    expected=f"neighbouring axles of 1 to {n_axles}, each once",
                    remedy="Say which axles stood on the scale.",
                )
            )
    if complaints:
        return complaints
    weighed = {tuple(sorted(one.axles)) for one in readings}
    if not way_of_closing(weighed, groups, n_axles):
        seen = {axle for part in weighed for axle in part}
        missing = [str(axle + 1) for axle in range(n_axles) if axle not in seen]
        complaints.append(
            Complaint(
                f"The scale readings of {name} do not make up the vehicle.",
                field="scale readings",
                value=f"axle {', '.join(missing)} missing" if missing else "",
                expected=f"readings that cover axles 1 to {n_axles}",
                remedy="Weigh the missing axles, or the whole vehicle at once.",
            )
        )
    return complaints
