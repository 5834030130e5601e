"""Read a longitudinal profile from delimited text.

One line a sample: the distance along the road and the elevation of the left, the right
or a single wheel path, under a heading. A file is taken as a whole or not at all: a
gap, a turn, a jump or a mistaken unit would be a bump to the quarter car.

The binary exchange format of ASTM E2560 is not read: its layout could not be checked
against the document. It is refused in words that say what to export instead.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from sites.calc.profile import Floats, Profile
from sites.calc.profile_checks import (
    LARGEST_INTERVAL_MM,
    LEAST_LENGTH_M,
    M331_INTERVAL_MM,
    Spacing,
    jumps,
    length_text,
    mean_interval_mm,
    question_unit,
    resampled,
    spacing_of,
)
from sites.calc.profile_columns import MOST_COMPLAINTS, ProfileText, many
from sites.calc.profile_layout import ProfileColumns, find_layout
from sites.calc.profile_text import plain_text
from sites.calc.profile_words import WheelPath
from wimprog.lib.errors import Complaint, UnreadableInput
from wimprog.lib.units import format_number

_HEAD_BYTES = 65536
#: Jumps in no more than this share of the samples are faults of single samples; more
#: are looked at as a mistaken unit first.
_FEW = 0.01


def read_profile(
    source: bytes | BinaryIO,
    *,
    columns: ProfileColumns | None = None,
    resample_mm: float | None = None,
    question_elevation: bool = True,
) -> Profile:
    """Read a profile, or refuse it whole.

    Parameters
    ----------
    source
        The file's bytes, or a binary stream of them.
    columns
        What the caller says about columns and units; by default the headings say it.
    resample_mm
        Interval to bring an unevenly spaced profile to, mm; by default it is refused.
    question_elevation
        Whether elevations that no paved road has are refused. A caller turns this off
        only for a person who has looked and takes them as measured.

    Returns
    -------
    Profile

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With complaints that name line, column, value, what was expected and the remedy.
    """
    data = plain_text(source if isinstance(source, bytes) else source.read())
    head = data[:_HEAD_BYTES].decode("utf-8", errors="replace")
    layout = find_layout(head, columns or ProfileColumns())
    text = ProfileText(data, layout)
    distance_m, elevation_mm = text.numbers()
    _check_length(distance_m)
    spacing = spacing_of(distance_m)
    _check_order(text, distance_m, spacing)
    notes = list(layout.notes)
    if resample_mm is None:
        _check_spacing(text, distance_m, spacing)
        interval_mm = mean_interval_mm(distance_m)
        _check_interval(text, interval_mm)
        even = elevation_mm
    else:
        interval_mm = _check_resampling(text, distance_m, spacing, resample_mm)
        even = resampled(distance_m * spacing.direction, elevation_mm, interval_mm)
        n_after = next(iter(even.values())).size
        notes.append(_resampling_note(spacing, distance_m.size, n_after, interval_mm))
    if question_elevation:
        steps_mm = np.abs(np.diff(distance_m)) * 1000.0
        _check_elevation(text, elevation_mm, steps_mm, even, interval_mm)
    if interval_mm > M331_INTERVAL_MM + 0.1:
        notes.append(
            f"Samples are {length_text(interval_mm)} apart; AASHTO M 331 asks for 25 "
            f"mm. Waves shorter than {length_text(2 * interval_mm)} are not seen."
        )
    for heights in even.values():
        heights.setflags(write=False)
    return Profile(
        start_m=float(distance_m[0]),
        interval_mm=interval_mm,
        elevation_mm=even,
        direction=spacing.direction,
        notes=tuple(notes),
    )


def _resampling_note(
    spacing: Spacing, n_before: int, n_after: int, interval_mm: float
) -> str:
    return (
        f"Resampled from {n_before:,} samples, usually "
        f"{length_text(spacing.interval_mm)} apart "
        f"({many(spacing.uneven.size, 'step')} differed), to {n_after:,} at "
        f"{length_text(interval_mm)} by straight lines."
    )


def _check_length(distance_m: Floats) -> None:
    """Refuse what is too short for any window."""
    length_m = abs(float(distance_m[-1] - distance_m[0]))
    if distance_m.size < 3 or length_m < LEAST_LENGTH_M:
        raise UnreadableInput(
            f"The profile is {length_m:.4g} m long, {many(distance_m.size, 'sample')}. "
            f"At least {LEAST_LENGTH_M:g} m are needed, of which 11 m start the "
            "quarter car. Export a longer part, or check the distance's unit."
        )


def _check_order(text: ProfileText, distance_m: Floats, spacing: Spacing) -> None:
    rows = spacing.turned
    if not rows.size:
        return
    way = "rises" if spacing.direction > 0 else "falls"
    raise text.refusal(
        f"its distance turns back at {many(rows.size, 'place')}",
        text.complaints(
            rows,
            message=f"the distance goes back, where elsewhere it {way}.",
            field=text.distance_heading,
            values=[
                f"{distance_m[row]:,.3f} m after {distance_m[row - 1]:,.3f} m"
                for row in rows[:MOST_COMPLAINTS]
            ],
            expected="one run in the direction of travel",
            remedy="Export one run at a time, in the order it was driven.",
        ),
    )


def _step_values(distance_m: Floats, rows: NDArray[np.intp]) -> list[str]:
    return [
        f"{length_text(abs(distance_m[row] - distance_m[row - 1]) * 1000.0)} after "
        f"{distance_m[row - 1]:,.3f} m"
        for row in rows[:MOST_COMPLAINTS]
    ]


def _check_spacing(text: ProfileText, distance_m: Floats, spacing: Spacing) -> None:
    """Refuse what is uneven, and say how uneven and where."""
    if not spacing.uneven.size:
        return
    steps_mm = np.abs(np.diff(distance_m)) * 1000.0
    usual = length_text(spacing.interval_mm)
    raise text.refusal(
        f"its samples are not evenly spaced: usually {usual}, but "
        f"{length_text(steps_mm.min())} to {length_text(steps_mm.max())}; "
        f"{many(spacing.uneven.size, 'step')} of {steps_mm.size:,}",
        text.complaints(
            spacing.uneven,
            message="the distance is not one interval from the line before."
            if not spacing.drifts
            else "over the 40 steps before, the interval is not the usual one.",
            field=text.distance_heading,
            values=_step_values(distance_m, spacing.uneven),
            expected=usual,
            remedy="Export the distance with more digits, or ask for the profile to be "
            "resampled.",
        ),
    )


def _check_interval(text: ProfileText, interval_mm: float) -> None:
    if interval_mm <= LARGEST_INTERVAL_MM * 1.002:
        return
    raise text.refusal(
        "its samples are too far apart for a roughness index",
        [
            Complaint(
                message="the samples are too far apart.",
                row=text.layout.first_line + 1,
                field=text.distance_heading,
                value=length_text(interval_mm),
                expected=f"at most {LARGEST_INTERVAL_MM:g} mm: ASTM E1926 averages "
                f"over {LARGEST_INTERVAL_MM:g} mm, and here waves shorter than "
                f"{length_text(2 * interval_mm)} would not be seen",
                remedy="Export the profile at the profiler's own interval (AASHTO M "
                "331 asks for 25 mm), or check the distance's unit.",
            )
        ],
    )


def _check_resampling(
    text: ProfileText, distance_m: Floats, spacing: Spacing, resample_mm: float
) -> float:
    """The interval to resample to; refused where road would be invented."""
    if not 0.0 < resample_mm <= LARGEST_INTERVAL_MM:
        raise UnreadableInput(
            f"A profile cannot be resampled to {resample_mm:g} mm; ask for an interval "
            f"above 0 and up to {LARGEST_INTERVAL_MM:g} mm."
        )
    steps_mm = np.diff(distance_m) * spacing.direction * 1000.0
    for wrong, message, remedy in (
        (
            steps_mm == 0.0,
            "the distance is the same as in the line before.",
            "Export the distance with more digits.",
        ),
        (
            steps_mm > LARGEST_INTERVAL_MM * 1.002,
            f"more than {LARGEST_INTERVAL_MM:g} mm of road have no sample.",
            "Export the part before or after the gap; a gap is not filled, because the "
            "filling would be read as road.",
        ),
    ):
        rows = np.flatnonzero(wrong) + 1
        if rows.size:
            raise text.refusal(
                f"it cannot be resampled across {many(rows.size, 'step')}",
                text.complaints(
                    rows,
                    message=message,
                    field=text.distance_heading,
                    values=_step_values(distance_m, rows),
                    expected=f"{length_text(spacing.interval_mm)}, as usual in this "
                    "file",
                    remedy=remedy,
                ),
            )
    return float(resample_mm)


def _check_elevation(
    text: ProfileText,
    elevation_mm: Mapping[WheelPath, Floats],
    steps_mm: Floats,
    even_mm: Mapping[WheelPath, Floats],
    interval_mm: float,
) -> None:
    """Refuse single jumps, elevations in a mistaken unit, and a road full of jumps."""
    jumping = {path: jumps(h, steps_mm) for path, h in elevation_mm.items()}
    for path, rows in jumping.items():
        if 0 < rows.size <= max(1.0, _FEW * steps_mm.size):
            raise _jump_refusal(text, path, elevation_mm[path], rows)
    for path, heights in even_mm.items():
        _check_unit(text, path, heights, interval_mm)
    for path, rows in jumping.items():
        if rows.size:
            raise _jump_refusal(text, path, elevation_mm[path], rows)


def _check_unit(
    text: ProfileText, path: WheelPath, heights: Floats, interval_mm: float
) -> None:
    unit = text.layout.elevation_units[path]
    question = question_unit(path, heights, interval_mm, unit)
    if question is None:
        return
    raise text.refusal(
        f"the elevations of the {path} are not those of a road in {unit}",
        [
            Complaint(
                message=question.message,
                row=text.layout.first_line,
                field=text.heading(path),
                value=f"{heights[0] / unit.millimetres:.6g} {unit}",
                expected=question.expected,
                remedy=question.remedy,
            )
        ],
    )


def _jump_refusal(
    text: ProfileText, path: WheelPath, heights: Floats, rows: NDArray[np.intp]
) -> UnreadableInput:
    return text.refusal(
        f"the elevations of the {path} jump at {many(rows.size, 'place')}",
        text.complaints(
            rows,
            message="the elevation jumps from the line before.",
            field=text.heading(path),
            values=[
                f"{format_number(heights[row] - heights[row - 1], 1)} mm"
                for row in rows[:MOST_COMPLAINTS]
            ],
            expected="a step that a pavement can have",
            remedy="Look for a lost signal or a code such as −9999 in the file; if the "
            "road is so, take the elevations as measured.",
        ),
    )
