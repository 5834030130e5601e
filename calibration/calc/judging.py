"""Runs judged by the standards asked for: everything a screen or a command shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from calibration.calc.factor import propose_factor
from calibration.calc.run_errors import METHOD_VERSION, run_errors
from calibration.calc.standards import all_standards, find_standard
from calibration.calc.standards.base import (
    DEFAULT_CONDITIONS,
    Conditions,
    StandardVerdict,
    ToleranceStandard,
    check_class,
)
from calibration.calc.statistics import (
    summarise,
    summarise_by_vehicle,
    vehicle_difference,
)
from calibration.calc.types import (
    ErrorStatistics,
    FactorProposal,
    MeasuredRun,
    Quantity,
    ReferenceVehicle,
    RunErrors,
    VehicleDifference,
)
from calibration.calc.wheel_loads import SideBalance, side_balances
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval, Verdict


@dataclass(frozen=True, eq=False)
class JudgedRuns:
    """What a set of runs showed, and what each standard says about it.

    Attributes
    ----------
    errors
        The single errors with the runs they come from.
    statistics
        Pooled statistics of every quantity, those without data too.
    gross_weight_by_vehicle
        Name and gross weight statistics of each vehicle.
    difference
        The two vehicles' difference in gross weight error; None unless there are two.
    factor
        The change of factor that gross weight asks for; None without runs.
    verdicts
        One for each standard asked for.
    balances
        Left against right of each vehicle, for information; empty without wheel loads.
    """

    errors: RunErrors
    statistics: tuple[ErrorStatistics, ...]
    gross_weight_by_vehicle: tuple[tuple[str, ErrorStatistics], ...]
    difference: VehicleDifference | None
    factor: FactorProposal | None
    verdicts: tuple[StandardVerdict, ...]
    balances: tuple[SideBalance, ...] = ()

    @property
    def is_wanted_met(self) -> bool:
        """Does every standard that was asked for a class find it met?"""
        return all(
            one.verdict is Verdict.MEETS
            for one in self.verdicts
            if one.wanted_class is not None
        )

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values; ``None`` is no data."""
        return {
            "method": METHOD_VERSION,
            "runs_used": list(self.errors.runs_used),
            "runs_set_aside": [list(pair) for pair in self.errors.runs_excluded],
            "vehicles": list(self.errors.vehicles),
            "statistics": [statistics_as_dict(one) for one in self.statistics],
            "gross_weight_by_vehicle": [
                {"vehicle": name} | statistics_as_dict(one)
                for name, one in self.gross_weight_by_vehicle
            ],
            "vehicle_difference": self.difference and asdict(self.difference),
            "factor": self.factor and asdict(self.factor),
            "standards": [one.as_dict() for one in self.verdicts],
            "left_right_imbalance": [asdict(one) for one in self.balances],
        }


def statistics_as_dict(statistics: ErrorStatistics) -> dict[str, Any]:
    """Statistics of one quantity as JSON-ready values.

    Parameters
    ----------
    statistics
        Of one quantity, in its own unit (%, km/h or m).
    """

    def interval(found: Interval | None) -> dict[str, float] | None:
        return asdict(found) if found else None

    return {
        "quantity": statistics.quantity.value,
        "unit": statistics.unit,
        "n": statistics.n,
        "n_runs": statistics.source.n_runs,
        "mean": statistics.mean,
        "sd": statistics.sd,
        "mean_interval": interval(statistics.mean_interval),
        "single_pass_interval": interval(statistics.single_pass_interval),
        "scope": statistics.scope,
        "why_none": statistics.source.why_none,
    }


def judge_runs(
    vehicles: Sequence[ReferenceVehicle],
    runs: Sequence[MeasuredRun],
    *,
    standards: Sequence[str] = (),
    wanted_class: str | None = None,
    conditions: Conditions = DEFAULT_CONDITIONS,
) -> JudgedRuns:
    """Compute the errors of runs and judge them.

    Parameters
    ----------
    vehicles, runs
        Static weighings and runs, in SI.
    standards
        Keys of the standards; empty for all.
    wanted_class
        Class to judge against, by the standards that have it; None for the best class
        attained.
    conditions
        Test conditions and unit system.

    Returns
    -------
    JudgedRuns

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a standard or class is not known, or the runs cannot be compared.
    """
    chosen: list[ToleranceStandard] = (
        [find_standard(key) for key in dict.fromkeys(standards)]
        if standards
        else list(all_standards().values())
    )
    wanted = {one.key: _class_in(one, wanted_class) for one in chosen}
    if wanted_class is not None and not any(wanted.values()):
        known = "; ".join(f"{one.title}: {', '.join(one.classes)}" for one in chosen)
        raise DomainError(
            f"None of the standards has a class “{wanted_class}”. There are {known}."
        )
    errors = run_errors(vehicles, runs)
    gross = errors[Quantity.GROSS_WEIGHT]
    return JudgedRuns(
        errors=errors,
        statistics=tuple(summarise(errors[quantity]) for quantity in Quantity),
        gross_weight_by_vehicle=summarise_by_vehicle(gross),
        difference=vehicle_difference(gross),
        factor=propose_factor(gross) if gross.n else None,
        verdicts=tuple(
            one.judge(errors, wanted_class=wanted[one.key], conditions=conditions)
            for one in chosen
        ),
        balances=side_balances(errors),
    )


def _class_in(standard: ToleranceStandard, wanted: str | None) -> str | None:
    try:
        return check_class(standard, wanted)
    except DomainError:
        return None
