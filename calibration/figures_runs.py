"""A session's errors of gross weight drawn by run, speed, temperature and vehicle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.calc.judging import JudgedRuns
from calibration.calc.types import MeasuredRun, Quantity
from calibration.figures import tolerance_of
from wimprog.lib.chart import Chart, Limit, Point, Series
from wimprog.lib.units import Kind, UnitSystem, format_number, shown_unit

Y_LABEL = "Gross weight error, %"


@dataclass(frozen=True)
class Plot:
    """A chart with the table behind it."""

    key: str
    word: str
    chart: Chart
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def session_plots(
    stage: str, judged: JudgedRuns, *, system: UnitSystem | str
) -> list[Plot]:
    """By run first; then by speed, by temperature and by vehicle, where there are any.

    Parameters
    ----------
    stage
        "as found" or "as left".
    judged
        Judged runs.
    system
        Units of speeds and temperatures.
    """
    gross = judged.errors[Quantity.GROSS_WEIGHT]
    if not gross.n:
        return []
    runs = {run.run: run for run in judged.errors.runs}
    pairs = [
        (runs[label], float(error))
        for label, error in zip(gross.runs, gross.errors, strict=True)
    ]
    system = UnitSystem(system)
    plots = [_by_run(stage, judged, pairs)]
    for key, kind, words in (
        ("speed", Kind.SPEED, "speed"),
        ("temperature", Kind.TEMPERATURE, "pavement temperature"),
    ):
        plot = _by_value(stage, judged, pairs, key, kind, words, system)
        plots += [plot] if plot else []
    plots.append(_by_vehicle(stage, judged))
    return plots


def _by_run(
    stage: str, judged: JudgedRuns, pairs: Sequence[tuple[MeasuredRun, float]]
) -> Plot:
    found = judged.statistics[0]
    ends = [float(run.run) for run, _ in pairs]
    series = _series(judged, [(float(run.run), run, error) for run, error in pairs])
    told = ""
    interval = found.mean_interval
    if interval is not None and found.mean is not None and len(ends) > 1:
        band = tuple(
            Point(x, found.mean, interval.low, interval.high)
            for x in (min(ends), max(ends))
        )
        series = (*series, Series("mean", band))
        told = (
            f" Shaded: {interval.level * 100:g} % t interval of the mean, "
            f"{_signed(interval.low)} to {_signed(interval.high)} %."
        )
    return Plot(
        key=f"run-{_key(stage)}",
        word="run",
        chart=Chart(
            title=f"Gross weight error by run, {stage}: mean {_signed(found.mean)} %",
            x_label="Run",
            y_label=Y_LABEL,
            series=series,
            limits=_limits(judged),
            caption=f"n {found.n} runs, {found.scope}; runs set aside are left out."
            f"{told} Limits of the class that the session asks for.",
        ),
        headings=("Run", "Vehicle", "Error, %"),
        rows=tuple((run.run, run.vehicle, _signed(error)) for run, error in pairs),
    )


def _by_value(
    stage: str,
    judged: JudgedRuns,
    pairs: Sequence[tuple[MeasuredRun, float]],
    key: str,
    kind: Kind,
    words: str,
    system: UnitSystem,
) -> Plot | None:
    unit = shown_unit(kind, system)
    known = []
    for run, error in pairs:
        value = run.pavement_temp_c
        if kind is Kind.SPEED:
            value = run.reference_speed_kmh or run.speed_kmh
        if value is not None:
            known.append((unit.from_si(value), run, error))
    if len({round(x, 3) for x, _, _ in known}) < 2:
        return None
    return Plot(
        key=f"{key}-{_key(stage)}",
        word=words,
        chart=Chart(
            title=f"Gross weight error by {words}, {stage}",
            x_label=f"{words.capitalize()}, {unit.symbol}",
            y_label=Y_LABEL,
            series=_series(judged, known),
            limits=_limits(judged),
            caption=f"n {len(known)} runs with a {words} recorded, "
            f"{judged.statistics[0].scope}.",
        ),
        headings=("Run", "Vehicle", f"{words.capitalize()}, {unit.symbol}", "Error, %"),
        rows=tuple(
            (run.run, run.vehicle, format_number(x, 1), _signed(error))
            for x, run, error in sorted(known, key=lambda one: one[0])
        ),
    )


def _by_vehicle(stage: str, judged: JudgedRuns) -> Plot:
    whole = judged.statistics[0]
    found = [*judged.gross_weight_by_vehicle, ("together", whole)]
    points, rows = [], []
    for place, (name, one) in enumerate(found):
        span = one.mean_interval
        points.append(
            Point(
                float(place),
                one.mean,
                span.low if span else None,
                span.high if span else None,
                title=f"{name}: {_signed(one.mean)} %, n {one.n}",
            )
        )
        told = f"{_signed(span.low)} to {_signed(span.high)}" if span else "no interval"
        rows.append((name, str(one.n), _signed(one.mean), told))
    return Plot(
        key=f"vehicle-{_key(stage)}",
        word="vehicle",
        chart=Chart(
            title=f"Mean error of gross weight by vehicle, {stage}",
            x_label="Vehicle",
            y_label=Y_LABEL,
            series=(Series("", tuple(points), kind="points"),),
            names=tuple(name for name, _ in found),
            limits=_limits(judged),
            caption=f"n {whole.n} runs; 95 % t intervals of the means. A truck has an "
            "error of its own, which more runs of it do not average away.",
        ),
        headings=("Vehicle", "n", "Mean error, %", "95 % interval"),
        rows=tuple(rows),
    )


def _series(
    judged: JudgedRuns, known: Sequence[tuple[float, MeasuredRun, float]]
) -> tuple[Series, ...]:
    """One series a vehicle, each with a shape of its own."""
    return tuple(
        Series(
            name,
            tuple(
                Point(x, error, title=f"run {run.run}: {_signed(error)} %")
                for x, run, error in known
                if run.vehicle == name
            ),
            kind="points",
        )
        for name in judged.errors.vehicles
    )


def _limits(judged: JudgedRuns) -> tuple[Limit, ...]:
    verdict = judged.verdicts[0]
    tolerance = tolerance_of(verdict, Quantity.GROSS_WEIGHT)
    if tolerance is None:
        return ()
    return (
        Limit(tolerance, f"{verdict.judged_class}: +{tolerance:g} %"),
        Limit(-tolerance, f"{verdict.judged_class}: −{tolerance:g} %"),
    )


def _key(stage: str) -> str:
    return stage.replace(" ", "-")


def _signed(value: float | None) -> str:
    if value is None:
        return "no data"
    text = format_number(value, 2)
    return text if value < 0 or text == "0.00" else f"+{text}"
