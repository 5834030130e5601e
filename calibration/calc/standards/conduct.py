"""What the documents ask of the test itself: remarks, never verdicts.

All counts and spreads here are from memory or the agency's own.
"""

from __future__ import annotations

from collections import Counter

from calibration.calc.types import LanePosition, RunErrors
from wimprog.lib.units import UnitSystem, format_number

SPEED_STEP_KMH = 8.0
"""Runs whose speeds are this far apart count as driven at two speeds, about 5 mph;
common practice, no source."""


def plural(n: int, what: str) -> str:
    """A count with its noun: 1 run, 2 runs."""
    return f"{n} {what}{'s' * (n != 1)}"


def speeds_of(errors: RunErrors) -> tuple[float, ...]:
    """Speeds [km/h] of the runs that have one: by another instrument, or the lane's."""
    known = (
        run.speed_kmh if run.reference_speed_kmh is None else run.reference_speed_kmh
        for run in errors.runs
    )
    return tuple(speed for speed in known if speed is not None)


def run_count_notes(
    errors: RunErrors, *, n_runs: int, n_vehicles: int, test: str, is_own: bool
) -> tuple[str, ...]:
    """A remark where there are fewer runs or vehicles than the test asks for.

    Parameters
    ----------
    errors
        Errors of the runs.
    n_runs, n_vehicles
        Fewest runs and vehicles of the test.
    test
        The test in words, "the acceptance test".
    is_own
        Whether the counts are the agency's own.
    """
    n, k = len(errors.runs_used), len(errors.vehicles)
    if n >= n_runs and k >= n_vehicles:
        return ()
    standing = "agency's own" if is_own else "from memory"
    return (
        f"{plural(n, 'run')} of {plural(k, 'vehicle')}; {test} asks for "
        f"{plural(n_vehicles, 'vehicle')} and at least {plural(n_runs, 'run')} "
        f"({standing}).",
    )


def lane_position_notes(errors: RunErrors) -> tuple[str, ...]:
    """A remark where recorded places in the lane leave out one of its edges."""
    seen = {run.lane_position for run in errors.runs if run.lane_position}
    missing = [
        side.value
        for side in (LanePosition.LEFT, LanePosition.RIGHT)
        if side not in seen
    ]
    if not seen or not missing:
        return ()
    return (
        f"No run near the {' or the '.join(missing)} edge of the lane; some are asked "
        "for (from memory).",
    )


def temperature_notes(
    errors: RunErrors, *, span_c: float, unit_system: UnitSystem
) -> tuple[str, ...]:
    """A remark where the pavement temperatures span less than is asked for.

    Parameters
    ----------
    errors
        Errors of the runs.
    span_c
        Span asked for [°C].
    unit_system
        Units of the remark.
    """
    known = [
        run.pavement_temp_c for run in errors.runs if run.pavement_temp_c is not None
    ]
    if not known or max(known) - min(known) >= span_c:
        return ()
    size, symbol = (1.8, "°F") if unit_system is UnitSystem.US else (1.0, "°C")
    found, wanted = size * (max(known) - min(known)), size * span_c
    return (
        f"Pavement temperatures span {format_number(found, 0)} {symbol}; "
        f"{format_number(wanted, 0)} {symbol} or more is aimed at (from memory).",
    )


def speed_spread_notes(errors: RunErrors, *, n_speeds: int) -> tuple[str, ...]:
    """A remark where the runs were driven at fewer speeds than are asked for.

    Parameters
    ----------
    errors
        Errors of the runs.
    n_speeds
        Speeds asked for; two speeds differ when they are :data:`SPEED_STEP_KMH` apart.
    """
    known = sorted(speeds_of(errors))
    if not known:
        return ()
    found, last = 1, known[0]
    for speed in known:
        if speed - last >= SPEED_STEP_KMH:
            found, last = found + 1, speed
    if found >= n_speeds:
        return ()
    return (
        f"The runs were driven at {plural(found, 'speed')}; {n_speeds} across the "
        "site's usual speeds are asked for (from memory).",
    )


def runs_of_each_notes(errors: RunErrors, *, n_each: int) -> tuple[str, ...]:
    """A remark that names the vehicles with fewer runs than each should have.

    Parameters
    ----------
    errors
        Errors of the runs.
    n_each
        Runs asked for of each vehicle.
    """
    counts = Counter(run.vehicle for run in errors.runs)
    few = [f"{name} {n}" for name, n in counts.items() if n < n_each]
    if not few:
        return ()
    return (f"{n_each} runs of each vehicle are asked for; {', '.join(few)}.",)


def vehicle_notes(errors: RunErrors) -> tuple[str, ...]:
    """A remark where the vehicles are not a single unit and a five-axle combination.

    FHWA classes 5 to 7 are single units, class 9 is the five-axle single trailer.
    """
    classes = {one.vehicle_class for one in errors.references}
    if not classes or None in classes:
        return ()
    missing = []
    if not classes & {5, 6, 7}:
        missing.append("a single-unit truck")
    if 9 not in classes:
        missing.append("a five-axle tractor and semitrailer")
    if not missing:
        return ()
    return (f"The test asks for {' and '.join(missing)} too (from memory).",)
