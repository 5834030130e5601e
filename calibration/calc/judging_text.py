"""Judged runs as plain text, for a terminal or a log."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.calc.judging import JudgedRuns
from calibration.calc.standards.base import StandardVerdict
from calibration.calc.types import ErrorStatistics
from calibration.calc.wheel_loads import SideBalance
from wimprog.lib.judgement import Interval, Judgement
from wimprog.lib.units import UNITS, Kind, UnitSystem, format_number, shown_unit

_KINDS = {"km/h": Kind.SPEED, "m": Kind.LENGTH}
NO_DATA = "no data"


def judged_text(judged: JudgedRuns, *, system: UnitSystem = UnitSystem.US) -> str:
    """All of it: a table of statistics, then a table for each standard.

    Parameters
    ----------
    judged
        Judged runs, SI inside.
    system
        Units in which errors of speed and spacing are shown.
    """
    errors = judged.errors
    parts = [
        f"{len(errors.runs_used)} runs of {_listed(errors.vehicles)}; "
        f"{len(errors.runs_excluded)} set aside."
    ]
    parts += [f"  set aside: run {run}: {why}" for run, why in errors.runs_excluded]
    parts.append("")
    parts.append("Errors against the static weighing, 95 % intervals")
    heading = ["quantity", "n", "mean", "sd", "interval of mean", "single passes"]
    parts += _table(
        [
            [*heading, "speaks"],
            *(_statistics_row(one.quantity, one, system) for one in judged.statistics),
            *(
                _statistics_row(f"gross weight, {name}", one, system)
                for name, one in judged.gross_weight_by_vehicle
            ),
        ]
    )
    silent = [one for one in judged.statistics if one.n == 0]
    parts += [f"  {one.quantity}: {one.source.why_none}" for one in silent]
    if judged.difference:
        found = judged.difference
        parts.append(
            f"  Gross weight, {found.first} less {found.second}: "
            f"{format_number(found.difference, 2)} % "
            f"({_span(found.interval, 2)}, Welch p {found.p:.3f})."
        )
    if judged.factor:
        parts.append(f"  Factor: {judged.factor.sentence}")
    if judged.balances:
        parts += ["", "Left less right, in per cent of the load; for information"]
        heading = ["vehicle", "part", "n", "mean", "sd", "static"]
        parts += _table([heading, *(_balance_row(one) for one in judged.balances)])
    for verdict in judged.verdicts:
        parts += ["", *_standard_lines(verdict, system)]
    return "\n".join(parts)


def _standard_lines(verdict: StandardVerdict, system: UnitSystem) -> list[str]:
    asked = "asked for" if verdict.wanted_class else "best class attained"
    if verdict.wanted_class is None and verdict.attained_class is None:
        asked = "no class attained; shown against this one"
    overall = verdict.overall
    lines = [
        f"{verdict.title} {verdict.edition}: {verdict.judged_class} ({asked})",
        f"  {overall.verdict.upper()}. {overall.sentence}",
        f"  n {overall.n} runs. Rule: {overall.rule}.",
    ]
    if verdict.wanted_class and verdict.attained_class != verdict.wanted_class:
        lines.append(f"  Best class attained: {verdict.attained_class or 'none'}.")
    heading = ["item", "n", "statistic", "value", "interval", "limit", "margin"]
    lines += _table(
        [
            [*heading, "verdict"],
            *(_judgement_row(one, system) for one in verdict.judgements),
        ]
    )
    lines += [f"  {one.quantity}: {one.sentence}" for one in verdict.judgements]
    lines += [f"  Note: {note}" for note in verdict.notes]
    lines.append(f"  Standing: {overall.standing}")
    lines.append(f"  Does not cover: {verdict.does_not_cover}")
    return lines


def _balance_row(one: SideBalance) -> list[str]:
    return [
        one.vehicle,
        one.part,
        str(one.n),
        *(
            NO_DATA if value is None else f"{format_number(value, 1)} %"
            for value in (one.mean_pct, one.sd_pct, one.static_pct)
        ),
    ]


def _judgement_row(one: Judgement, system: UnitSystem) -> list[str]:
    details = dict(one.details)
    statistic = str(details.get("statistic", ""))
    margin, margin_unit = details.get("margin"), str(details.get("margin unit", ""))
    return [
        str(one.quantity),
        str(one.n),
        statistic,
        _value(one.value, one.unit, system),
        _interval(one.interval, one.unit, system),
        one.limit,
        _value(margin, margin_unit, system),
        one.verdict.value,
    ]


def _statistics_row(name: str, one: ErrorStatistics, system: UnitSystem) -> list[str]:
    return [
        name,
        str(one.n),
        _value(one.mean, one.unit, system),
        _value(one.sd, one.unit, system),
        _interval(one.mean_interval, one.unit, system),
        _interval(one.single_pass_interval, one.unit, system),
        one.scope,
    ]


def _scale(unit: str, system: UnitSystem) -> tuple[float, str, int]:
    """Factor, symbol and digits that show an error of ``unit`` in ``system``."""
    if unit not in _KINDS:
        return 1.0, unit, 2
    shown = shown_unit(_KINDS[unit], system)
    return 1.0 / UNITS[shown.symbol].factor, shown.symbol, 3


def _value(value: float | None, unit: str, system: UnitSystem) -> str:
    if value is None:
        return NO_DATA
    factor, symbol, digits = _scale(unit, system)
    return f"{format_number(value * factor, digits)} {symbol}"


def _interval(interval: Interval | None, unit: str, system: UnitSystem) -> str:
    if interval is None:
        return "–"
    factor, symbol, digits = _scale(unit, system)
    low = format_number(interval.low * factor, digits)
    return f"{low} to {format_number(interval.high * factor, digits)} {symbol}"


def _span(interval: Interval, digits: int) -> str:
    low, high = (format_number(x, digits) for x in (interval.low, interval.high))
    return f"{interval.level * 100:g} % interval {low} to {high} %"


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names) or "no vehicle"


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    """Lines of left-aligned columns, two spaces in and two apart."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    return [
        "  "
        + "  ".join(
            cell.ljust(width) for cell, width in zip(row, widths, strict=True)
        ).rstrip()
        for row in rows
    ]
