"""Charts of a session, from plain values."""

from __future__ import annotations

from calibration.calc.judging import JudgedRuns
from calibration.calc.standards.base import StandardVerdict
from calibration.calc.types import Quantity
from wimprog.lib.chart import Chart, Limit, Point, Series


def gross_weight_chart(stage: str, judged: JudgedRuns) -> Chart | None:
    """Gross weight error of each run, by vehicle, with the wanted class's limits."""
    errors = judged.errors[Quantity.GROSS_WEIGHT]
    if not errors.n:
        return None
    verdict = judged.verdicts[0]
    tolerance = tolerance_of(verdict, Quantity.GROSS_WEIGHT)
    series = tuple(
        Series(
            name,
            tuple(
                Point(float(run), float(error), title=f"run {run}: {error:+.2f} %")
                for run, vehicle, error in zip(
                    errors.runs, errors.vehicles, errors.errors, strict=True
                )
                if vehicle == name
            ),
            kind="points",
        )
        for name in judged.errors.vehicles
    )
    limits: tuple[Limit, ...] = ()
    if tolerance is not None:
        limits = (
            Limit(tolerance, f"{verdict.judged_class}: +{tolerance:g} %"),
            Limit(-tolerance, f"{verdict.judged_class}: −{tolerance:g} %"),
        )
    mean = float(errors.errors.mean())
    return Chart(
        title=f"Gross weight error by run, {stage}: mean {mean:+.2f} %".replace(
            "-", "−"
        ),
        x_label="Run",
        y_label="Gross weight error, %",
        series=series,
        limits=limits,
        caption=f"n {errors.n} runs, {judged.statistics[0].scope}; runs set aside "
        "are left out. Limits of the class that the session asks for.",
    )


def tolerance_of(verdict: StandardVerdict, quantity: Quantity) -> float | None:
    """The tolerance that a verdict held one quantity to, in the errors' unit."""
    for one in verdict.judgements:
        if str(one.quantity) == quantity.value:
            details = dict(one.details)
            found = details.get("tolerance", details.get("delta"))
            return float(found) if found is not None else None
    return None
