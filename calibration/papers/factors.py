"""Factors before and after, and what the runs ask for, for the record."""

from __future__ import annotations

from typing import Any

from calibration.models import FactorSet
from calibration.papers.parts import factor_words
from calibration.papers.words import number, table
from calibration.selectors.record import RecordStage, SessionRecord
from wimprog.lib.units import Kind, UnitSystem, format_si


def factor_parts(record: SessionRecord) -> dict[str, Any]:
    """Factors set, what the first stage's runs ask for, and what came of it."""
    session = record.session
    used = [one for one in record.stages if one.advice is not None]
    return {
        "before": factor_words(session.factor_before),
        "after": factor_words(session.factor_after),
        "sets": table(
            ["Stage", "Overall", "By speed", "By sensor", "How", "Note"],
            [_set(one, record.system) for one in record.factor_sets],
            widths=["auto", "auto", "1.6fr", "1.4fr", "1fr", "1.2fr"],
        ),
        "asked": [line for stage in used for line in _asked(stage)],
        "predicted": table(
            [
                "Stage",
                "With",
                "n",
                "Mean, %",
                "sd, %",
                "Rms, %",
                "Rms, other trucks, %",
            ],
            [row for stage in used for row in _predicted(stage)],
            widths=["auto", "1.4fr", "auto", "1fr", "1fr", "1fr", "1.2fr"],
            numbers=(2, 3, 4, 5, 6),
        ),
        "came_of_it": _came_of_it(record),
    }


def _set(one: FactorSet, system: UnitSystem) -> list[str]:
    by_speed = "; ".join(
        f"{format_si(speed, Kind.SPEED, system, digits=1)}: {factor:.6g}"
        for speed, factor in one.by_speed
    )
    by_sensor = "; ".join(
        f"{name}: {factor:.6g}" for name, factor in sorted(one.by_sensor.items())
    )
    return [
        one.stage,
        factor_words(one.overall),
        by_speed or "–",
        by_sensor or "–",
        one.method,
        one.note,
    ]


def _asked(stage: RecordStage) -> list[str]:
    advice = stage.advice
    if advice is None:
        return []
    overall = advice.overall
    spread = ""
    if overall.se_runs is not None and overall.interval is not None:
        spread = (
            f", standard error {number(overall.se_runs, 5)} of the runs and "
            f"{number(overall.u_reference, 5)} of the static weights, 95 % interval "
            f"{number(overall.interval.low, 5)} to {number(overall.interval.high, 5)}"
        )
    lines = [
        f"By the runs {stage.name} ({overall.method}): multiply the factor in use by "
        f"{number(overall.ratio, 5)} (n {overall.n}{spread}). Advice: "
        f"{advice.adjustment}."
    ]
    return [*lines, *advice.reasons]


def _predicted(stage: RecordStage) -> list[list[str]]:
    advice = stage.advice
    if advice is None:
        return []
    return [
        [
            stage.name,
            one.label,
            str(one.errors.size),
            number(one.mean),
            number(one.sd),
            number(one.rms),
            number(one.rms_other_trucks),
        ]
        for one in advice.predictions
    ]


def _came_of_it(record: SessionRecord) -> list[str]:
    found = record.before_after
    if found is None:
        return []
    lines = [found.sentence]
    if found.change is not None:
        change = found.change
        lines.append(
            f"Change of the mean error: {number(change.value)} percentage points "
            f"(95 % interval {number(change.interval.low)} to "
            f"{number(change.interval.high)}, Welch, {number(change.df, 1)} degrees "
            f"of freedom; n {found.before.n} and {found.after.n})."
        )
    return [*lines, *found.notes]
