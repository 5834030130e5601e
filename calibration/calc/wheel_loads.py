"""Wheel loads: whether they can be believed, and how left and right compare.

ASTM E1318 holds wheel loads to a tolerance of their own (table 1); NIST Handbook 44,
section 2.25, has the left and right imbalance shown for information (from memory). The
imbalance of an axle is 100 (left − right)/(left + right) per cent of the axle load:
positive when the left side is heavier. A static axle is seldom even and a cross slope
moves load to the low side, so an imbalance judges nothing; a lane whose imbalance
departs from the static one of the same vehicle has two halves that weigh differently.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.calc.statistics import summarise
from calibration.calc.types import (
    ErrorStatistics,
    FloatArray,
    MeasuredRun,
    Quantity,
    ReferenceVehicle,
    RunErrors,
    WheelPairs,
)
from wimprog.lib.errors import Complaint

SIDES = ("left", "right")

SUM_BAND = 0.10
"""How far the two wheel loads of an axle may be from the axle load, as a share of it;
common practice, no source: beyond rounding and beyond two weighings of one axle."""


@dataclass(frozen=True)
class SideBalance:
    """Left against right at one place of one vehicle.

    Attributes
    ----------
    vehicle
        The vehicle's name.
    part
        "axle 2", or "whole vehicle".
    n
        Number of runs with wheel loads.
    mean_pct, sd_pct
        Mean and standard deviation (divisor n − 1) of the measured imbalance [% of the
        load]; ``sd_pct`` is None for a single run.
    static_pct
        The same of the static weighing [%]; None where no static wheel loads were
        taken.
    """

    vehicle: str
    part: str
    n: int
    mean_pct: float
    sd_pct: float | None
    static_pct: float | None

    @property
    def departure_pct(self) -> float | None:
        """Measured less static imbalance [percentage points]; None without static."""
        return None if self.static_pct is None else self.mean_pct - self.static_pct


def imbalance_pct(left_kg: FloatArray, right_kg: FloatArray) -> FloatArray:
    """Left less right as a share of both [%].

    Parameters
    ----------
    left_kg, right_kg
        Loads of either side [kg], any one shape, positive.

    Returns
    -------
    ndarray
        100 (left − right)/(left + right), between −100 and 100.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> float(imbalance_pct(np.array(2200.0), np.array(1800.0)))
    10.0
    """
    result: FloatArray = 100.0 * (left_kg - right_kg) / (left_kg + right_kg)
    return result


def side_balances(errors: RunErrors) -> tuple[SideBalance, ...]:
    """Imbalance of each vehicle, axle by axle and as a whole; for information.

    Parameters
    ----------
    errors
        Errors with their runs and weighings. Runs without wheel loads are passed over;
        static wheel loads are not needed.

    Returns
    -------
    tuple of SideBalance
        By vehicle in order of appearance, its axles first; empty where the lane weighs
        whole axles.
    """
    static = {
        one.name: one.wheel_weights_kg
        for one in errors.references
        if one.wheel_weights_kg
    }
    seen: dict[str, list[WheelPairs]] = defaultdict(list)
    for run in errors.runs:
        if run.wheel_weights_kg:
            seen[run.vehicle].append(run.wheel_weights_kg)
    return tuple(
        balance
        for vehicle, pairs in seen.items()
        for balance in _of_vehicle(vehicle, pairs, static.get(vehicle))
    )


def _of_vehicle(
    vehicle: str, pairs: Sequence[WheelPairs], static: WheelPairs | None
) -> list[SideBalance]:
    measured = _with_whole(np.array(pairs, dtype=float))
    reference = _with_whole(np.array([static], dtype=float))[0] if static else None
    n, n_parts = measured.shape
    names = [*(f"axle {axle + 1}" for axle in range(n_parts - 1)), "whole vehicle"]
    return [
        SideBalance(
            vehicle=vehicle,
            part=name,
            n=n,
            mean_pct=float(measured[:, place].mean()),
            sd_pct=float(measured[:, place].std(ddof=1)) if n > 1 else None,
            static_pct=None if reference is None else float(reference[place]),
        )
        for place, name in enumerate(names)
    ]


def _with_whole(pairs_kg: FloatArray) -> FloatArray:
    """Imbalances of shape (runs, axles + 1) from loads of shape (runs, axles, 2)."""
    whole = pairs_kg.sum(axis=1, keepdims=True)
    loads = np.concatenate([pairs_kg, whole], axis=1)
    return imbalance_pct(loads[..., 0], loads[..., 1])


def errors_by_side(errors: RunErrors) -> tuple[tuple[str, ErrorStatistics], ...]:
    """Statistics of the wheel errors [%] of the left and of the right side.

    Parameters
    ----------
    errors
        Errors of the runs.

    Returns
    -------
    tuple
        ("left", statistics), ("right", statistics); statistics without data where no
        wheels were compared.
    """
    wheels = errors[Quantity.WHEEL]
    return tuple(
        (
            side,
            summarise(
                wheels.where(
                    np.array([part.endswith(side) for part in wheels.parts], dtype=bool)
                )
            ),
        )
        for side in SIDES
    )


def vehicle_wheel_complaints(vehicle: ReferenceVehicle) -> list[Complaint]:
    """What is wrong with the static wheel loads, in words for their sender.

    Parameters
    ----------
    vehicle
        The static weighing, in kg.
    """
    return _complaints(
        vehicle.wheel_weights_kg,
        vehicle.axle_weights_kg,
        f"vehicle {vehicle.name}",
        "Correct the wheel load or the axle weight, or leave all wheel loads out.",
    )


def run_wheel_complaints(run: MeasuredRun) -> list[Complaint]:
    """What is wrong with a run's wheel loads, in words for their sender.

    Parameters
    ----------
    run
        The run, in kg. One that was set aside is not complained of.
    """
    if run.excluded:
        return []
    return _complaints(
        run.wheel_weights_kg,
        run.axle_weights_kg,
        f"run {run.run}",
        "Correct it, leave all wheel loads out, or set the run aside with the reason.",
    )


def _complaints(
    pairs: WheelPairs | None, axles: Sequence[float], where: str, remedy: str
) -> list[Complaint]:
    if pairs is None:
        return []
    if len(pairs) != len(axles) or any(len(pair) != len(SIDES) for pair in pairs):
        return [
            Complaint(
                f"The wheel loads of {where} do not fit its {len(axles)} axles.",
                field="wheel loads",
                value=str(sum(len(pair) for pair in pairs)),
                expected=f"{2 * len(axles)} loads, left and right of each axle",
                remedy="Give both wheel loads of every axle, or none at all.",
            )
        ]
    return [
        complaint
        for place, (pair, axle_kg) in enumerate(zip(pairs, axles, strict=True), start=1)
        for complaint in _pair_complaints(pair, axle_kg, place, where, remedy)
    ]


def _pair_complaints(
    pair: tuple[float, float], axle_kg: float, place: int, where: str, remedy: str
) -> list[Complaint]:
    wrong = [
        Complaint(
            f"The {side} wheel load of axle {place} of {where} is not a weight.",
            field=f"wheel load {place} {side}",
            value=f"{load_kg:g}",
            expected="a number greater than zero",
            remedy=remedy,
        )
        for side, load_kg in zip(SIDES, pair, strict=True)
        if not (np.isfinite(load_kg) and load_kg > 0)
    ]
    if wrong or not (np.isfinite(axle_kg) and axle_kg > 0):
        return wrong
    total_kg = sum(pair)
    if abs(total_kg - axle_kg) <= SUM_BAND * axle_kg:
        return []
    return [
        Complaint(
            f"The two wheel loads of axle {place} of {where} do not make up its axle "
            "weight.",
            field=f"wheel loads {place}",
            value=f"{total_kg:.0f} kg together",
            expected=f"within {100 * SUM_BAND:g} % of {axle_kg:.0f} kg",
            remedy=remedy,
        )
    ]
