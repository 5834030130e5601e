"""The certificate of a session: one page, for whoever relies on the lane's weights."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from calibration.calc.types import EnvironmentPlan, TestPlan
from calibration.models import RunStage, SessionState
from calibration.papers.parts import (
    UNPROVED,
    factor_words,
    hashes,
    rule_title,
    signature_parts,
    stage_line,
    title_of,
    verdict_rows,
    versions,
)
from calibration.papers.weighings import certificate_words, scale_words
from calibration.papers.words import NO_DATA, amount, clock_at, number
from calibration.selectors.record import RecordStage, SessionRecord
from sites.models import Program
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.paper import paper_size, set_pdf
from wimprog.lib.units import Kind, format_number, shown_unit

TEMPLATE = Path(__file__).with_name("certificate.typ")


def certificate_refusal(record: SessionRecord) -> str:
    """Why there is no certificate, in words; empty where there is one."""
    session = record.session
    if session.state != SessionState.CLOSED:
        return (
            f"The session of {session.held_on} is still open. Close it with the factor "
            "it leaves; then it can be certified."
        )
    stage = record.deciding
    if stage is None:
        return "No run is in use, so nothing was measured that could be certified."
    overall = stage.own_verdict.overall
    if overall.verdict is Verdict.CANNOT_SAY:
        return (
            "There is no verdict to certify. "
            f"{rule_title(stage.own_verdict)}, {stage.name}: {overall.sentence}"
        )
    return ""


def certificate_pdf(record: SessionRecord, *, program: Program) -> bytes:
    """The certificate as a tagged PDF; the same facts give the same bytes.

    Raises
    ------
    DomainError
        When the session is open or its runs give no verdict.
    """
    return set_pdf(TEMPLATE, certificate_data(record, program=program))


def certificate_data(record: SessionRecord, *, program: Program) -> dict[str, Any]:
    """What the page template prints.

    Raises
    ------
    DomainError
        As :func:`certificate_pdf`.
    """
    refusal = certificate_refusal(record)
    stage = record.deciding
    if refusal or stage is None:
        raise DomainError(refusal)
    session, verdict = record.session, stage.own_verdict
    wim_site = session.lane.wim_site
    return {
        "title": f"Calibration certificate: {title_of(record)}",
        "agency": program.name,
        "paper": paper_size(program.unit_system),
        "made": f"Session {session.pk}; {versions()}",
        "tested": [
            ["Site", f"{wim_site.code} {wim_site.name}, {wim_site.route}".strip(", ")],
            ["Lane", f"{session.lane.label} ({session.lane.get_direction_display()})"],
            ["Session", f"{session.held_on.isoformat()}, {session.purpose}"],
            ["By", session.people or NO_DATA],
            ["Runs", stage_line(stage)],
            ["Factor", _factor(record)],
        ],
        "traceability": _traceability(record),
        "word": verdict.verdict.value,
        "class": rule_title(verdict),
        "attained": verdict.attained_class or "none",
        "sentence": verdict.overall.sentence,
        "verdict": verdict_rows(verdict, record.system),
        "bias": _bias(record, stage),
        "conditions": _conditions(record, stage),
        "not_covered": _not_covered(record, stage),
        "hash": next(
            (row[1] for row in hashes(record) if row[0] == stage.name), NO_DATA
        ),
        **signature_parts(record),
    }


def _factor(record: SessionRecord) -> str:
    session = record.session
    return (
        f"{factor_words(session.factor_before)} before, "
        f"{factor_words(session.factor_after)} left in use"
    )


def _traceability(record: SessionRecord) -> list[str]:
    lines = []
    for one in record.weighings:
        weighing = one.weighing
        gross = one.reference.gross if one.reference else None
        expanded = (
            f", ± {amount(gross.expanded_kg(), 'kg', record.system, 0)} (95 %)"
            if gross is not None and gross.components
            else ", uncertainty not known"
        )
        lines.append(
            f"{weighing.vehicle.name}, class {weighing.vehicle.vehicle_class}: "
            f"{amount(weighing.gvw_kg, 'kg', record.system)} gross{expanded}, weighed "
            f"{clock_at(weighing.weighed_at, record.zone)} on {weighing.scale}, "
            f"certificate {certificate_words(weighing)}; certificate’s uncertainty "
            f"{scale_words(weighing, record.system)}. {one.certificate_word}".strip()
        )
    return lines


def _bias(record: SessionRecord, stage: RecordStage) -> list[list[str]]:
    found, reference = stage.judged.judged.statistics[0], stage.reference

    def ends(interval: Any) -> str:
        if interval is None:
            return "none"
        return f"{number(interval.low)} to {number(interval.high)} %"

    rows = [
        ["Mean error (bias)", f"{number(found.mean)} %, n {found.n}, {found.scope}"],
        ["Standard deviation", f"{number(found.sd)} %"],
        ["95 % interval of the bias", f"{ends(found.mean_interval)}, {found.scope}"],
    ]
    if reference is not None:
        missing = (
            f"; not known for {', '.join(reference.not_known)}"
            if reference.not_known
            else ""
        )
        rows.append(
            [
                "With the static weights’ uncertainty",
                f"{ends(reference.interval)} (standard uncertainty "
                f"{number(reference.u_pct)} %{missing}), {found.scope}",
            ]
        )
    rows.append(["95 % of single passes", ends(found.single_pass_interval)])
    for other in record.stages:
        if other is not stage and other.judged.n_used:
            was = other.judged.judged.statistics[0]
            rows.append(
                [
                    f"Mean error {other.name}",
                    f"{number(was.mean)} %, n {was.n}, 95 % interval "
                    f"{ends(was.mean_interval)}, {was.scope}",
                ]
            )
    return rows


def _conditions(record: SessionRecord, stage: RecordStage) -> list[list[str]]:
    session, runs = record.session, stage.judged.judged.errors.runs

    def told(values: list[float | None], kind: Kind) -> str:
        unit = shown_unit(kind, record.system)
        known = [unit.from_si(one) for one in values if one is not None]
        if not known:
            return NO_DATA
        low, high = (format_number(x, 0) for x in (min(known), max(known)))
        return f"{low} to {high} {unit.symbol}"

    return [
        ["Weather and conditions", session.conditions or NO_DATA],
        [
            "Speeds",
            told(
                [
                    one.speed_kmh
                    if one.reference_speed_kmh is None
                    else one.reference_speed_kmh
                    for one in runs
                ],
                Kind.SPEED,
            ),
        ],
        [
            "Pavement temperatures",
            told([one.pavement_temp_c for one in runs], Kind.TEMPERATURE),
        ],
        [
            "Test conditions",
            f"{session.plan}, {TestPlan(session.plan).meaning}; {session.environment}, "
            f"{EnvironmentPlan(session.environment).meaning}",
        ],
    ]


def _not_covered(record: SessionRecord, stage: RecordStage) -> list[str]:
    verdict = stage.own_verdict
    lines = [UNPROVED] if record.is_adjusted_unproved else []
    if stage.name == RunStage.AS_FOUND and not record.is_adjusted_unproved:
        lines.append("The verdict is of the lane as it was found.")
    lines += [f"{name.capitalize()}: {why}" for name, why in verdict.not_covered]
    lines += verdict.notes
    lines.append(verdict.does_not_cover)
    lines.append(
        "Other vehicles, speeds, temperatures and days than those of these runs."
    )
    return lines
