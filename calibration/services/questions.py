"""What is asked about a run before it is kept: it may be right, but is seldom meant.

Nothing here refuses a run for good; who typed it says that the figures are right.
Limits are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

import numpy as np

from calibration.calc.run_checks import is_unit_slip
from calibration.models import TruckRun
from wimprog.lib.errors import Complaint

BACK_SOON = dt.timedelta(minutes=2)
"""No truck turns round, comes back and passes again within this."""

FAR_OFF = 3.0
"""Gross weight so many times the static one, or so small a part of it, is no error
of a lane."""

REAR_TO_FRONT = 0.5
"""Axles fit from rear to front when they are off by less than this part of what they
are off from front to rear."""

PLAINLY_OFF = 0.05
"""Shares of the gross weight off by less than this say nothing about the order."""


def questions(
    runs: Sequence[TruckRun], there: Iterable[TruckRun] = ()
) -> list[Complaint]:
    """Everything to ask about new or changed runs.

    Parameters
    ----------
    runs
        Runs with ``weighing.vehicle`` set and without faults.
    there
        The session's other runs, with their weighings.
    """
    used = [run for run in runs if not run.excluded]
    return [
        *(one for run in used for one in _of_weights(run)),
        *(one for run in used for one in _of_spacings(run)),
        *_back_too_soon(used, list(there)),
    ]


def _of_weights(run: TruckRun) -> list[Complaint]:
    ratio = run.gvw_kg / run.weighing.gvw_kg
    if is_unit_slip(ratio):
        return [
            Complaint(
                f"Run {run.number} weighs {ratio:.2f} times the static weight: "
                "that is the ratio of pounds to kilograms.",
                field="axle weights",
                value=f"ratio {ratio:.2f}",
                expected="a ratio near 1",
                remedy="Correct the unit of the run or of the static weighing; if "
                "both are right, say that the figures are right.",
            )
        ]
    if not 1.0 / FAR_OFF < ratio < FAR_OFF:
        return [
            Complaint(
                f"Run {run.number} weighs {ratio:.3g} times the static weight.",
                field="axle weights",
                value=f"ratio {ratio:.3g}",
                expected="a ratio near 1",
                remedy="Are these the axle weights, and not the spacings or another "
                "column? If they are right, say that the figures are right.",
            )
        ]
    if _fits_backwards(run.axle_weights_kg, run.weighing.axle_weights_kg):
        return [
            Complaint(
                f"The axle weights of run {run.number} fit {run.weighing.vehicle} "
                "much better from rear to front.",
                field="axle weights",
                expected="the front axle first",
                remedy="Turn the order round, or say that the figures are right.",
            )
        ]
    return []


def _of_spacings(run: TruckRun) -> list[Complaint]:
    seen, known = run.axle_spacings_m, run.weighing.vehicle.axle_spacings_m
    if not seen or len(seen) != len(known):
        return []
    if _fits_backwards(seen, known):
        return [
            Complaint(
                f"The axle spacings of run {run.number} fit {run.weighing.vehicle} "
                "much better from rear to front.",
                field="axle spacings",
                expected="the front axle first",
                remedy="Turn the order round, or say that the figures are right.",
            )
        ]
    ratio = sum(seen) / sum(known)
    if not 1.0 / FAR_OFF < ratio < FAR_OFF:
        return [
            Complaint(
                f"The axle spacings of run {run.number} sum to {ratio:.3g} times the "
                "wheelbase of the vehicle.",
                field="axle spacings",
                value=f"ratio {ratio:.3g}",
                expected="a ratio near 1",
                remedy="Are they in another unit, or another column? If they are "
                "right, say that the figures are right.",
            )
        ]
    return []


def _fits_backwards(seen: Sequence[float], known: Sequence[float]) -> bool:
    """Does the pattern fit plainly better from rear to front?"""
    if len(seen) != len(known) or len(seen) < 2:
        return False
    own = np.array(seen) / np.sum(seen)
    other = np.array(known) / np.sum(known)
    ahead = float(np.abs(own - other).max())
    back = float(np.abs(own[::-1] - other).max())
    return ahead > PLAINLY_OFF and back < REAR_TO_FRONT * ahead


def _back_too_soon(
    runs: Sequence[TruckRun], there: Sequence[TruckRun]
) -> list[Complaint]:
    complaints = []
    earlier = [run for run in there if not run.excluded]
    for run in runs:
        for other in earlier:
            gap = abs(run.run_at - other.run_at)
            is_same = other.weighing.vehicle_id == run.weighing.vehicle_id
            if is_same and gap < BACK_SOON:
                complaints.append(
                    Complaint(
                        f"Run {run.number} and run {other.number} are passes of the "
                        f"same vehicle {gap.total_seconds():.0f} s apart; it cannot be "
                        "back so soon.",
                        field="time",
                        expected=f"at least {BACK_SOON.total_seconds() / 60:.0f} min "
                        "between passes of one vehicle",
                        remedy="Leave out the copy, correct the time or the vehicle; "
                        "or say that the figures are right.",
                    )
                )
                break
        earlier.append(run)
    return complaints
