"""Runs, results and sessions as the cells of tables and downloads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from calibration.calc.types import Quantity, RunErrors
from calibration.models import CalibrationSession, TruckRun
from wimprog.lib.errors import DomainError
from wimprog.lib.units import Kind, Unit, UnitSystem, shown_unit

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

    limits = tolerances(stage)
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


def tolerances(stage: JudgedStage) -> dict[str, float]:
    """Tolerance of each quantity in the session's own standard, in the errors' unit."""
    limits = {}
    for one in stage.judged.verdicts[0].judgements:
        details = dict(one.details)
        limit = details.get("tolerance", details.get("delta"))
        if limit is not None:
            limits[str(one.quantity)] = float(limit)
    return limits


WHEELS = ("left_wheel_weights_kg", "right_wheel_weights_kg")


def run_cells(
    stages: Iterable[JudgedStage], *, system: UnitSystem | str, zone: ZoneInfo
) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of every run, its reference, measured values and errors.

    The static weights are what the run is held against: its weighing less the fuel
    burnt since.
    """
    stages = list(stages)
    rows = [
        (stage.stage, row)
        for stage in stages
        for row in run_rows(stage.runs, stage.judged.errors)
    ]
    sheet = _RunSheet(UnitSystem(system), zone, [row for _, row in rows])
    expanded = expanded_kg_of(row.run for _, row in rows)
    cells = [
        [stage, *sheet.row(row, expanded.get(row.run.weighing_id))]
        for stage, row in rows
    ]
    return ["stage", *sheet.headings], cells


def expanded_kg_of(runs: Iterable[TruckRun]) -> dict[int, float]:
    """95 % half-width [kg] of each weighing's gross weight, where any is known."""
    from calibration.selectors.references import reference_of

    found = {}
    for weighing in {run.weighing_id: run.weighing for run in runs}.values():
        try:
            gross = reference_of(weighing).gross
        except DomainError:
            continue
        if gross.components:
            found[weighing.pk] = gross.expanded_kg()
    return found


class _RunSheet:
    """Columns of a sheet of runs: as many as its longest vehicle and wheels need."""

    def __init__(
        self, system: UnitSystem, zone: ZoneInfo, rows: Sequence[RunRow]
    ) -> None:
        self.zone = zone
        self.mass, self.length, self.speed, self.temperature = (
            shown_unit(kind, system)
            for kind in (Kind.MASS, Kind.LENGTH, Kind.SPEED, Kind.TEMPERATURE)
        )
        self.n_axles = max((len(row.run.axle_weights_kg) for row in rows), default=0)
        self.wheels = [
            name for name in WHEELS if any(getattr(row.run, name) for row in rows)
        ]
        axles, mass = range(1, self.n_axles + 1), self.mass.symbol
        length, speed = self.length.symbol, self.speed.symbol
        self.headings = [
            "run", "vehicle", "weighing", f"time ({zone.key})", f"speed {speed}",
            f"reference speed {speed}",
            f"pavement temperature {self.temperature.symbol}", "lane position",
            f"gross weight {mass}", f"static gross weight {mass}",
            f"static gross weight 95 % ± {mass}", f"fuel burnt {mass}",
            *(f"axle {n} {mass}" for n in axles),
            *(f"static axle {n} {mass}" for n in axles),
            *(f"spacing {n} {length}" for n in axles[:-1]),
            *(f"static spacing {n} {length}" for n in axles[:-1]),
            *(f"{name.partition('_')[0]} wheel {n} {mass}"
              for name in self.wheels for n in axles),
            *(f"{quantity.value} error %" for quantity in SHOWN),
            "set aside", "reason", "controller record",
        ]  # fmt: skip

    def row(self, row: RunRow, expanded_kg: float | None) -> list[Any]:
        """The cells of one run, without its stage."""
        from calibration.selectors.judging import fuel_burnt_kg, reference_of_run

        run, mass, length = row.run, self.mass, self.length
        reference = reference_of_run(run)
        vehicle = run.weighing.vehicle
        return [
            run.number,
            vehicle.name,
            str(run.weighing),
            f"{run.run_at.astimezone(self.zone):%Y-%m-%d %H:%M:%S}",
            _one(run.speed_kmh, self.speed),
            _one(run.reference_speed_kmh, self.speed),
            _one(run.pavement_temp_c, self.temperature),
            run.lane_position,
            _one(run.gvw_kg, mass),
            _one(reference.gvw_kg, mass),
            _one(expanded_kg, mass),
            _one(fuel_burnt_kg(run), mass),
            *_several(run.axle_weights_kg, mass, self.n_axles),
            *_several(reference.axle_weights_kg, mass, self.n_axles),
            *_several(run.axle_spacings_m, length, self.n_axles - 1),
            *_several(vehicle.axle_spacings_m, length, self.n_axles - 1),
            *(
                cell
                for name in self.wheels
                for cell in _several(getattr(run, name), mass, self.n_axles)
            ),
            *(_joined(row.errors.get(quantity.value, ())) for quantity in SHOWN),
            "yes" if run.excluded else "no",
            run.exclusion_reason,
            run.controller_record,
        ]


CELL_DECIMALS = 6
"""Digits after the point of a measured value in another unit than it is kept in: what
was typed in pounds comes back as typed."""


def _one(value: float | None, unit: Unit) -> float | None:
    return None if value is None else round(unit.from_si(value), CELL_DECIMALS)


def _several(values: Sequence[float] | None, unit: Unit, wanted: int) -> list[Any]:
    wanted = max(wanted, 0)
    shown = [_one(value, unit) for value in values or ()][:wanted]
    return [*shown, *[None] * (wanted - len(shown))]


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
