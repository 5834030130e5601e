"""The sheets of a session's workbook: errors, weighings, results, judgements, factors.

Errors and results are in the units that they are computed in (%, km/h, m), unrounded,
so that they can be computed again from the runs to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from calibration.calc.types import ErrorStatistics
from calibration.selectors.judging import JudgedStage
from calibration.selectors.record import RecordStage, RecordWeighing, SessionRecord
from calibration.selectors.tabulated import tolerances
from wimprog.lib.judgement import Interval
from wimprog.lib.units import Kind, UnitSystem, shown_unit

Cells = tuple[list[str], list[list[Any]]]


def _ends(interval: Interval | None) -> list[float | None]:
    return [interval.low, interval.high] if interval else [None, None]


def error_cells(stages: Iterable[JudgedStage]) -> Cells:
    """Every single error with the two values behind it."""
    headings = [
        "stage", "run", "vehicle", "quantity", "part", "lane", "reference",
        "values in", "error", "error unit",
    ]  # fmt: skip
    rows: list[list[Any]] = []
    for stage in stages:
        for quantity, found in stage.judged.errors.by_quantity.items():
            unit = quantity.unit
            for place in range(found.n):
                rows.append(
                    [
                        stage.stage,
                        int(found.runs[place]),
                        found.vehicles[place],
                        quantity.value,
                        found.parts[place],
                        float(found.measured[place]),
                        float(found.reference[place]),
                        "kg" if unit == "%" else unit,
                        float(found.errors[place]),
                        unit,
                    ]
                )
    return headings, rows


def weighing_cells(
    weighings: Sequence[RecordWeighing], *, system: UnitSystem, zone: ZoneInfo
) -> Cells:
    """Each part of each weighed vehicle: reference, readings, uncertainty, scale."""
    mass = shown_unit(Kind.MASS, system)
    headings = [
        "vehicle", "class", f"weighed at ({zone.key})", "part",
        f"reference {mass.symbol}", f"as weighed {mass.symbol}", "readings",
        f"sd {mass.symbol}", f"standard uncertainty {mass.symbol}",
        f"95 % ± {mass.symbol}", "scale", "certificate", "certified on", "good until",
    ]  # fmt: skip
    rows: list[list[Any]] = []
    for one in weighings:
        weighing = one.weighing
        head = [
            weighing.vehicle.name,
            weighing.vehicle.vehicle_class,
            f"{weighing.weighed_at.astimezone(zone):%Y-%m-%d %H:%M}",
        ]
        tail = [
            weighing.scale,
            weighing.certificate,
            weighing.certified_on,
            weighing.certificate_until,
        ]
        parts = one.reference.parts if one.reference else ()
        for part in parts:
            known = bool(part.components)
            values = [part.load_kg, part.as_weighed_kg]
            rows.append(
                [
                    *head,
                    part.part,
                    *(round(value / mass.factor, 6) for value in values),
                    part.n,
                    None if part.sd_kg is None else part.sd_kg / mass.factor,
                    part.u_kg / mass.factor if known else None,
                    part.expanded_kg() / mass.factor if known else None,
                    *tail,
                ]
            )
        if not parts:
            rows.append([*head, one.why_none, *[None] * 6, *tail])
    return headings, rows


def statistic_cells(stages: Iterable[JudgedStage]) -> Cells:
    """Statistics of every quantity, pooled; of gross weight, by vehicle too."""
    headings = [
        "stage", "quantity", "of", "n", "unit", "mean", "sd", "mean low", "mean high",
        "single pass low", "single pass high", "tolerance", "n within", "share %",
        "share low %", "share high %", "why none",
    ]  # fmt: skip
    rows = []
    for stage in stages:
        limits = tolerances(stage)
        judged = stage.judged
        for found in judged.statistics:
            limit = limits.get(found.quantity.value)
            rows.append([stage.stage, *_statistic(found, found.scope, limit)])
        for name, found in judged.gross_weight_by_vehicle:
            limit = limits.get(found.quantity.value)
            rows.append([stage.stage, *_statistic(found, name, limit)])
    return headings, rows


def _statistic(found: ErrorStatistics, of: str, limit: float | None) -> list[Any]:
    from calibration.calc.statistics import share_within

    within: list[Any] = [None, None, None, None]
    if limit is not None and found.n:
        share = share_within(found.source, limit)
        ends = _ends(share.interval)
        within = [
            share.n_within,
            *(None if x is None else 100.0 * x for x in (share.share, *ends)),
        ]
    return [
        found.quantity.value,
        of,
        found.n,
        found.unit,
        found.mean,
        found.sd,
        *_ends(found.mean_interval),
        *_ends(found.single_pass_interval),
        limit if found.n else None,
        *within,
        found.source.why_none,
    ]


def judgement_cells(stages: Iterable[JudgedStage]) -> Cells:
    """Every criterion of every standard, then the whole."""
    headings = [
        "stage", "standard", "edition", "class", "asked for", "criterion", "n",
        "statistic", "value", "unit", "low", "high", "level", "limit", "margin",
        "margin unit", "verdict", "rule", "standing", "sentence", "does not cover",
    ]  # fmt: skip
    rows: list[list[Any]] = []
    for stage in stages:
        for verdict in stage.judged.verdicts:
            for one in (*verdict.judgements, verdict.overall):
                details = dict(one.details)
                rows.append(
                    [
                        stage.stage,
                        verdict.title,
                        verdict.edition,
                        verdict.judged_class,
                        verdict.wanted_class or "",
                        str(one.quantity),
                        one.n,
                        str(
                            details.get("statistic", "")
                            or details.get("shown criterion", "")
                        ),
                        one.value,
                        one.unit,
                        *_ends(one.interval),
                        one.interval.level if one.interval else None,
                        one.limit,
                        details.get("margin"),
                        str(details.get("margin unit", "")),
                        one.verdict.value,
                        one.rule,
                        one.standing,
                        one.sentence,
                        verdict.does_not_cover,
                    ]
                )
    return headings, rows


def factor_cells(record: SessionRecord) -> Cells:
    """Factors set, factors asked for by the runs, errors predicted with them."""
    headings = [
        "stage", "what", "which", "n", "factor or ratio", "low", "high",
        "se of the runs", "u of the static weights", "mean %", "sd %", "rms %", "how",
    ]  # fmt: skip
    session = record.session
    rows: list[list[Any]] = [
        ["", "factor", word, None, value, *[None] * 7, ""]
        for word, value in (
            ("before", session.factor_before),
            ("left in use", session.factor_after),
        )
    ]
    for one in record.factor_sets:
        pairs = [("overall", one.overall)] if one.overall else []
        pairs += [(f"{speed:g} km/h", factor) for speed, factor in one.by_speed]
        pairs += list(one.by_sensor.items())
        rows += [
            [one.stage, "factor set", name, None, value, *[None] * 7, one.method]
            for name, value in pairs
        ]
    for stage in record.stages:
        rows += _asked(stage)
    return headings, rows


def _asked(stage: RecordStage) -> list[list[Any]]:
    advice = stage.advice
    if advice is None:
        return []
    estimates = [advice.overall, *(point.estimate for point in advice.by_speed.points)]
    rows: list[list[Any]] = [
        [
            stage.name,
            "ratio asked for",
            one.label,
            one.n,
            one.ratio,
            *_ends(one.interval),
            one.se_runs,
            one.u_reference,
            None,
            None,
            None,
            str(one.method),
        ]
        for one in estimates
    ]
    rows += [
        [
            stage.name,
            "errors predicted",
            one.label,
            one.errors.size,
            *[None] * 5,
            one.mean,
            one.sd,
            one.rms,
            "each run under the factor of all the others",
        ]
        for one in advice.predictions
    ]
    return rows
