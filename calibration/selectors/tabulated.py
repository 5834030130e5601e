"""Runs, results and sessions as the cells of tables and downloads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from calibration.calc.types import Quantity, RunErrors
from calibration.models import CalibrationSession, TruckRun
from wimprog.lib.units import Kind, UnitSystem, shown_unit

if TYPE_CHECKING:
    from calibration.selectors.judging import JudgedStage

SHOWN = (
    Quantity.GROSS_WEIGHT,
    Quantity.STEERING_AXLE,
    Quantity.AXLE_GROUP,
    Quantity.SINGLE_AXLE,
)
"""Errors shown for each run, in this order; a run may have several of one kind."""


@dataclass(frozen=True)
class RunRow:
    """One run with its own errors, for a table's row."""

    run: TruckRun
    errors: dict[str, tuple[tuple[str, float], ...]]

    @property
    def label(self) -> str:
        """The run's label in the errors."""
        return str(self.run.number)

    @property
    def gross_pct(self) -> float | None:
        """Gross weight error; None where the run is set aside."""
        found = self.errors.get(Quantity.GROSS_WEIGHT.value)
        return found[0][1] if found else None

    @property
    def steering_pct(self) -> float | None:
        """Steering axle error."""
        found = self.errors.get(Quantity.STEERING_AXLE.value)
        return found[0][1] if found else None

    @property
    def groups(self) -> tuple[tuple[str, float], ...]:
        """Axles and error of each axle group."""
        return self.errors.get(Quantity.AXLE_GROUP.value, ())

    @property
    def speed_difference_kmh(self) -> float | None:
        """Speed error against the independent instrument."""
        found = self.errors.get(Quantity.SPEED.value)
        return found[0][1] if found else None


def run_rows(runs: Sequence[TruckRun], errors: RunErrors) -> list[RunRow]:
    """Each run beside the errors that were computed from it."""
    own: dict[str, dict[str, list[tuple[str, float]]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for quantity, found in errors.by_quantity.items():
        for label, part, error in zip(
            found.runs, found.parts, found.errors, strict=True
        ):
            own[label][quantity.value].append((part, float(error)))
    return [
        RunRow(
            run,
            {
                name: tuple(values)
                for name, values in own.get(str(run.number), {}).items()
            },
        )
        for run in runs
    ]


@dataclass(frozen=True)
class StatisticRow:
    """Statistics of one quantity in the units that people see."""

    name: str
    unit: str
    n: int
    mean: float | None
    sd: float | None
    mean_interval: tuple[float, float] | None
    pass_interval: tuple[float, float] | None
    tolerance: float | None
    n_within: int | None
    share_pct: float | None
    share_interval_pct: tuple[float, float] | None
    scope: str
    why_none: str
    digits: int = 2


def statistic_rows(
    stage: JudgedStage, *, system: UnitSystem | str
) -> list[StatisticRow]:
    """Statistics of every quantity with the share within the wanted class's limit."""
    from calibration.calc.statistics import share_within

    limits = _tolerances(stage)
    rows = []
    for found in stage.judged.statistics:
        kind = {"km/h": Kind.SPEED, "m": Kind.LENGTH}.get(found.unit)
        unit = shown_unit(kind, UnitSystem(system)) if kind else None
        factor = unit.factor if unit else 1.0
        limit = limits.get(found.quantity.value)
        within = None
        if limit is not None and found.n:
            within = share_within(found.source, limit)

        def scaled(interval: Any, by: float = factor) -> tuple[float, float] | None:
            return (interval.low / by, interval.high / by) if interval else None

        share = within.interval if within else None
        rows.append(
            StatisticRow(
                name=found.quantity.value,
                unit=unit.symbol if unit else found.unit,
                n=found.n,
                mean=None if found.mean is None else found.mean / factor,
                sd=None if found.sd is None else found.sd / factor,
                mean_interval=scaled(found.mean_interval),
                pass_interval=scaled(found.single_pass_interval),
                tolerance=None if limit is None else limit / factor,
                n_within=within.n_within if within else None,
                share_pct=100 * within.share
                if within and within.share
                else (0.0 if within else None),
                share_interval_pct=(100 * share.low, 100 * share.high)
                if share
                else None,
                scope=found.scope,
                why_none=found.source.why_none,
            )
        )
    return rows


def _tolerances(stage: JudgedStage) -> dict[str, float]:
    """Tolerance of each quantity in the session's own standard, in the errors' unit."""
    limits = {}
    for one in stage.judged.verdicts[0].judgements:
        details = dict(one.details)
        limit = details.get("tolerance", details.get("delta"))
        if limit is not None:
            limits[str(one.quantity)] = float(limit)
    return limits


def run_cells(
    stages: Iterable[JudgedStage], *, system: UnitSystem | str, zone: ZoneInfo
) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of every run, its measured values and its errors."""
    system = UnitSystem(system)
    mass, length, speed, temperature = (
        shown_unit(kind, system)
        for kind in (Kind.MASS, Kind.LENGTH, Kind.SPEED, Kind.TEMPERATURE)
    )
    stages = list(stages)
    rows = [
        (stage.stage, row)
        for stage in stages
        for row in run_rows(stage.runs, stage.judged.errors)
    ]
    n_axles = max((len(row.run.axle_weights_kg) for _, row in rows), default=0)
    places = range(n_axles)
    headings = [
        "stage", "run", "vehicle", f"time ({zone.key})", f"speed {speed.symbol}",
        f"reference speed {speed.symbol}",
        f"pavement temperature {temperature.symbol}", "lane position",
        f"gross weight {mass.symbol}", f"static gross weight {mass.symbol}",
        *(f"axle {place + 1} {mass.symbol}" for place in places),
        *(f"static axle {place + 1} {mass.symbol}" for place in places),
        *(f"spacing {place + 1} {length.symbol}" for place in places[:-1]),
        *(f"{quantity.value} error %" for quantity in SHOWN),
        "set aside", "reason",
    ]  # fmt: skip

    def several(values: Sequence[float] | None, unit: Any, wanted: int) -> list[Any]:
        shown = [round(unit.from_si(value), 4) for value in values or ()][:wanted]
        return [*shown, *[None] * (wanted - len(shown))]

    def one(value: float | None, unit: Any) -> float | None:
        return None if value is None else round(unit.from_si(value), 4)

    cells = []
    for stage_name, row in rows:
        run = row.run
        cells.append(
            [
                stage_name,
                run.number,
                run.weighing.vehicle.name,
                f"{run.run_at.astimezone(zone):%Y-%m-%d %H:%M:%S}",
                one(run.speed_kmh, speed),
                one(run.reference_speed_kmh, speed),
                one(run.pavement_temp_c, temperature),
                run.lane_position,
                one(run.gvw_kg, mass),
                one(run.weighing.gvw_kg, mass),
                *several(run.axle_weights_kg, mass, n_axles),
                *several(run.weighing.axle_weights_kg, mass, n_axles),
                *several(run.axle_spacings_m, length, max(n_axles - 1, 0)),
                *(_joined(row.errors.get(quantity.value, ())) for quantity in SHOWN),
                "yes" if run.excluded else "no",
                run.exclusion_reason,
            ]
        )
    return headings, cells


def _joined(values: Sequence[tuple[str, float]]) -> Any:
    if len(values) <= 1:
        return round(values[0][1], 4) if values else None
    return "; ".join(f"{part} {error:.4f}" for part, error in values)


def result_cells(
    stages: Iterable[JudgedStage],
) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of the statistics and of every judgement."""
    headings = [
        "stage", "standard", "class", "quantity", "n", "value", "unit", "low", "high",
        "level", "limit", "verdict", "rule", "standing", "sentence",
    ]  # fmt: skip
    rows: list[list[Any]] = []
    for stage in stages:
        for found in stage.judged.statistics:
            for name, value, interval in (
                ("mean error", found.mean, found.mean_interval),
                ("standard deviation", found.sd, None),
                ("single pass", None, found.single_pass_interval),
            ):
                rows.append(
                    [
                        stage.stage,
                        "statistics",
                        name,
                        found.quantity.value,
                        found.n,
                        value,
                        found.unit,
                        interval.low if interval else None,
                        interval.high if interval else None,
                        interval.level if interval else None,
                        None,
                        None,
                        found.scope,
                        "computed",
                        found.source.why_none,
                    ]
                )
        for verdict in stage.judged.verdicts:
            for one in (*verdict.judgements, verdict.overall):
                rows.append(
                    [
                        stage.stage,
                        verdict.title,
                        verdict.judged_class,
                        str(one.quantity),
                        one.n,
                        one.value,
                        one.unit,
                        one.interval.low if one.interval else None,
                        one.interval.high if one.interval else None,
                        one.interval.level if one.interval else None,
                        one.limit,
                        one.verdict.value,
                        one.rule,
                        one.standing,
                        one.sentence,
                    ]
                )
    return headings, rows


def session_cells(
    sessions: Iterable[CalibrationSession],
) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of sessions from :func:`session_list`."""
    headings = [
        "site", "lane", "held on", "purpose", "state", "runs", "set aside", "stage",
        "n", "mean gross weight error %", "sd %", "mean low %", "mean high %",
        "standard", "class", "verdict", "factor before", "factor after",
    ]  # fmt: skip
    rows = [
        [
            one.lane.wim_site.code,
            one.lane.label,
            one.held_on,
            one.purpose,
            one.state,
            one.n_runs,  # type: ignore[attr-defined]
            one.n_set_aside,  # type: ignore[attr-defined]
            one.result_stage,  # type: ignore[attr-defined]
            one.result_n,  # type: ignore[attr-defined]
            one.mean_pct,  # type: ignore[attr-defined]
            one.sd_pct,  # type: ignore[attr-defined]
            one.low_pct,  # type: ignore[attr-defined]
            one.high_pct,  # type: ignore[attr-defined]
            one.standard,
            one.wanted_class,
            one.verdict_word or "no data",  # type: ignore[attr-defined]
            one.factor_before,
            one.factor_after,
        ]
        for one in sessions
    ]
    return headings, rows
