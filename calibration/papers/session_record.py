"""The record of a session: every fact and figure that an auditor recomputes from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from calibration.calc.standards.base import StandardVerdict
from calibration.figures_runs import session_plots
from calibration.models import SessionState
from calibration.papers.factors import factor_parts
from calibration.papers.method import method_of
from calibration.papers.parts import (
    UNPROVED,
    hashes,
    head_of,
    rule_title,
    signature_parts,
    stage_line,
    statistic_of,
    title_of,
    verdict_rows,
    versions,
)
from calibration.papers.pictures import chart_picture, room_for_labels
from calibration.papers.runs import runs_parts
from calibration.papers.weighings import weighing_parts
from calibration.papers.words import (
    amount,
    clock_at,
    level,
    margin,
    number,
    span,
    table,
)
from calibration.selectors.record import RecordStage, SessionRecord
from calibration.selectors.tabulated import StatisticRow, statistic_rows
from sites.models import Program
from wimprog.lib.judgement import Interval, Judgement
from wimprog.lib.paper import paper_size, set_pdf
from wimprog.lib.units import UnitSystem

TEMPLATE = Path(__file__).with_name("session_record.typ")


def session_record_pdf(record: SessionRecord, *, program: Program) -> bytes:
    """The record as a tagged PDF; the same facts give the same bytes."""
    data, pictures = session_record_data(record, program=program)
    return set_pdf(TEMPLATE, data, pictures)


def session_record_data(
    record: SessionRecord, *, program: Program
) -> tuple[dict[str, Any], dict[str, bytes]]:
    """What the page template prints, and its pictures."""
    session = record.session
    weighings, pictures = weighing_parts(record)
    stages = []
    for stage in record.stages:
        part, plots = _stage(stage, record)
        stages.append(part)
        pictures |= plots
    is_open = session.state == SessionState.OPEN
    data = {
        "title": f"Calibration session record: {title_of(record)}",
        "agency": program.name,
        "paper": paper_size(program.unit_system),
        "state": f"session {session.pk}: {session.state}",
        "made": versions(),
        "head": head_of(record, program),
        "warning": "The session is still open: more runs may come, and nothing here "
        "is final."
        if is_open
        else "",
        "summary": _summary(record),
        "weighings": weighings,
        "stages": stages,
        "factors": factor_parts(record),
        "corrections": table(
            ["Run", "When", "By", "Reason"],
            [
                [str(one.run), clock_at(one.at, record.zone), one.who, one.why]
                for one in record.corrections
            ],
            widths=["auto", "auto", "auto", "1fr"],
        ),
        "hashes": table(
            ["Stage", "SHA-256 of the inputs (canonical JSON)", "Standing"],
            hashes(record),
            widths=["auto", "auto", "1fr"],
        ),
        "method": method_of(record.system, versions()),
        **signature_parts(record),
    }
    return data, pictures


def _summary(record: SessionRecord) -> list[str]:
    lines = [f"{stage_line(stage)}." for stage in record.stages]
    for stage in record.stages:
        verdict = stage.own_verdict
        lines.append(
            f"{stage.name.capitalize()}, {rule_title(verdict)}: "
            f"{verdict.verdict.value.upper()}. {verdict.overall.sentence}"
        )
    if record.before_after is not None:
        lines.append(record.before_after.sentence)
    if record.is_adjusted_unproved:
        lines.append(UNPROVED)
    return lines or ["No runs are recorded."]


def _stage(
    stage: RecordStage, record: SessionRecord
) -> tuple[dict[str, Any], dict[str, bytes]]:
    system = record.system
    judged = stage.judged.judged
    rows = statistic_rows(stage.judged, system=system)
    plots, pictures = [], {}
    drawn = session_plots(stage.name, judged, system=system)
    room = room_for_labels([plot.chart for plot in drawn])
    for plot in drawn:
        name = f"{plot.key}.svg"
        pictures[name], alt = chart_picture(plot.chart, plot.key, room=room)
        plots.append(
            {
                "path": name,
                "alt": alt,
                "title": plot.chart.title,
                "caption": plot.chart.caption,
            }
        )
    verdict = stage.own_verdict
    return {
        "name": stage.name,
        "verdict": {
            "title": rule_title(verdict),
            "word": verdict.verdict.value,
            "sentence": verdict.overall.sentence,
            "rows": verdict_rows(verdict, system),
            "criteria": _criteria(verdict, system),
            "notes": list(verdict.notes),
            "does_not_cover": verdict.does_not_cover,
        },
        "runs": runs_parts(stage, record),
        "statistics": _statistics(rows),
        "silent": [f"{one.name}: {one.why_none}" for one in rows if not one.n],
        "by_vehicle": _by_vehicle(stage),
        "remarks": _remarks(stage),
        "plots": plots,
        "side_by_side": _side_by_side(judged.verdicts[1:], system),
    }, pictures


def _statistics(rows: list[StatisticRow]) -> dict[str, Any]:
    def ends(pair: tuple[float, float] | None) -> str:
        return "none" if pair is None else f"{number(pair[0])} to {number(pair[1])}"

    body = []
    for one in rows:
        if not one.n:
            continue
        within = "not limited"
        if one.share_interval_pct is not None and one.share_pct is not None:
            within = (
                f"{one.n_within} of {one.n} within ±{number(one.tolerance)} {one.unit}"
                f" ({number(one.share_pct, 1)} %; exact 95 % interval "
                f"{number(one.share_interval_pct[0], 1)} to "
                f"{number(one.share_interval_pct[1], 1)} %)"
            )
        body.append(
            [
                f"{one.name}, {one.unit}",
                str(one.n),
                number(one.mean),
                number(one.sd),
                ends(one.mean_interval),
                ends(one.pass_interval),
                within,
            ]
        )
    return table(
        [
            "Error of",
            "n",
            "Mean",
            "sd",
            "95 % interval of the mean",
            "95 % of single passes",
            "Within the tolerance",
        ],
        body,
        widths=["1.2fr", "auto", "auto", "auto", "1.2fr", "1.2fr", "2.2fr"],
        numbers=(1, 2, 3, 4, 5),
    )


def _by_vehicle(stage: RecordStage) -> dict[str, Any]:
    judged = stage.judged.judged
    body = [
        [
            name,
            str(one.n),
            number(one.mean),
            number(one.sd),
            _ends(one.mean_interval),
        ]
        for name, one in judged.gross_weight_by_vehicle
    ]
    pooled = judged.statistics[0]
    body.append(
        [
            f"pooled, {pooled.scope}",
            str(pooled.n),
            number(pooled.mean),
            number(pooled.sd),
            _ends(pooled.mean_interval),
        ]
    )
    return table(
        ["Gross weight, %", "n", "Mean", "sd", "95 % interval of the mean"],
        body if pooled.n else [],
        widths=["2fr", "1fr", "1fr", "1fr", "1.6fr"],
        numbers=(1, 2, 3, 4),
    )


def _ends(interval: Interval | None) -> str:
    if interval is None:
        return "none"
    return f"{number(interval.low)} to {number(interval.high)}"


def _remarks(stage: RecordStage) -> list[str]:
    """Trucks compared, the reference's part, outliers, effects."""
    judged, lines = stage.judged.judged, []
    found = judged.difference
    if found is not None:
        lines.append(
            f"{found.first} less {found.second}: {number(found.difference)} % "
            f"({level(found.interval)} interval {_ends(found.interval)}, Welch, p "
            f"{number(found.p, 3)})."
        )
    lines.append(reference_line(stage))
    lines.append(f"Outliers: {stage.outliers.sentence}")
    lines += [f"Effects: {one.sentence}" for one in stage.effects.effects]
    lines += [
        f"Effects: {name} could not be looked for. {why}"
        for name, why in stage.effects.refusals
    ]
    lines += list(stage.effects.notes)
    for one in judged.balances:
        lines.append(
            f"Left less right, {one.vehicle}, {one.part}: {number(one.mean_pct, 1)} % "
            f"of the load (n {one.n}, static {number(one.static_pct, 1)} %)."
        )
    return [line for line in lines if line]


def reference_line(stage: RecordStage) -> str:
    """What the static weights add to the uncertainty of the bias, in words."""
    one = stage.reference
    if one is None:
        return ""
    if one.not_known:
        known = (
            f"No uncertainty is known of the reference of {', '.join(one.not_known)}"
        )
        if one.u_pct == 0.0:
            return f"{known}: the interval of the mean leaves it out."
        known += ", which is left out. "
    else:
        known = ""
    told = "" if one.interval is None else f": {_ends(one.interval)} %"
    return (
        f"{known}The static weights add a standard uncertainty of "
        f"{number(one.u_pct)} % to the mean error of gross weight; 95 % interval of "
        f"the bias with it, {stage.judged.judged.statistics[0].scope}{told}."
    )


def _criteria(verdict: StandardVerdict, system: UnitSystem) -> dict[str, Any]:
    return table(
        [
            "Criterion",
            "n",
            "Statistic",
            "Interval",
            "Limit",
            "Margin",
            "Verdict",
            "Standing",
        ],
        [_criterion(one, system) for one in verdict.judgements],
        widths=["0.9fr", "auto", "1.3fr", "1fr", "1.3fr", "1fr", "auto", "1.1fr"],
        numbers=(1,),
    )


def _criterion(one: Judgement, system: UnitSystem) -> list[str]:
    statistic = str(dict(one.details).get("statistic", ""))
    return [
        str(one.quantity),
        str(one.n),
        f"{statistic} {amount(one.value, one.unit, system)}".strip(),
        span(one.interval, one.unit, system),
        one.limit,
        margin(one, system),
        one.verdict.value,
        one.standing,
    ]


def _side_by_side(
    verdicts: tuple[StandardVerdict, ...], system: UnitSystem
) -> dict[str, Any]:
    return table(
        [
            "Standard",
            "Best class",
            "n",
            "Verdict",
            "Statistic and interval",
            "Why, rule and limit",
            "Margin",
            "Standing",
        ],
        [
            [
                f"{one.title} {one.edition}",
                one.attained_class or f"none (held against {one.judged_class})",
                str(one.overall.n),
                one.overall.verdict.value,
                f"{statistic_of(one)} "
                f"{amount(one.overall.value, one.overall.unit, system)} "
                f"({span(one.overall.interval, one.overall.unit, system)})",
                f"{one.overall.sentence} Rule: {one.overall.rule}. Limit: "
                f"{one.overall.limit}.",
                margin(one.overall, system),
                one.overall.standing,
            ]
            for one in verdicts
        ],
        widths=["0.9fr", "0.8fr", "auto", "auto", "1.1fr", "2.4fr", "0.8fr", "1.3fr"],
        numbers=(2,),
    )
