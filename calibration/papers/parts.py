"""What the papers of a session share: head, verdict, signatures, hashes."""

from __future__ import annotations

from typing import Any

from calibration.calc.run_errors import METHOD_VERSION
from calibration.calc.standards.base import StandardVerdict
from calibration.calc.types import EnvironmentPlan, TestPlan
from calibration.models import SessionResult
from calibration.papers.words import (
    NO_DATA,
    amount,
    clock_at,
    counted,
    level,
    margin,
    span,
)
from calibration.selectors.record import RecordStage, SessionRecord
from calibration.selectors.signatures import (
    SignatureView,
    roles_wanting,
    signature_views,
)
from calibration.services.results import inputs_sha256
from sites.models import Program
from wimprog.lib.units import UnitSystem
from wimprog.lib.version import version

UNPROVED = (
    "The factor was changed after these runs and no run was made since: they tell how "
    "the lane was found, and nothing measured tells how it was left."
)


def title_of(record: SessionRecord) -> str:
    """The session by its lane and day."""
    session = record.session
    return f"{session.lane}, {session.held_on.isoformat()}"


def head_of(record: SessionRecord, program: Program) -> list[list[str]]:
    """The head of a session, name and value."""
    session = record.session
    wim_site = session.lane.wim_site
    rows = [
        ("Agency", program.name),
        ("Site", f"{wim_site.code} {wim_site.name}".strip()),
        ("Route", f"{wim_site.route} {wim_site.location_ref}".strip()),
        ("Lane", f"{session.lane.label} ({session.lane.get_direction_display()})"),
        ("Day of the session", session.held_on.isoformat()),
        ("Purpose", session.purpose),
        ("People", session.people or NO_DATA),
        ("Traffic control plan", session.traffic_control_plan or NO_DATA),
        ("Weather and conditions", session.conditions or NO_DATA),
        ("Test conditions", f"{session.plan}: {TestPlan(session.plan).meaning}"),
        (
            "Environment",
            f"{session.environment}: {EnvironmentPlan(session.environment).meaning}",
        ),
        ("Factor before", factor_words(session.factor_before)),
        ("Factor left", factor_words(session.factor_after)),
        ("Note", session.note),
    ]
    return [list(row) for row in rows if row[1]]


def factor_words(factor: float | None) -> str:
    """A factor with six digits, as controllers show them."""
    return NO_DATA if factor is None else f"{factor:.6g}"


def rule_title(verdict: StandardVerdict) -> str:
    """Standard, edition and class."""
    return f"{verdict.title} {verdict.edition}, {verdict.judged_class}"


def statistic_of(verdict: StandardVerdict) -> str:
    """Which statistic of which criterion the whole verdict shows."""
    shown = str(dict(verdict.overall.details).get("shown criterion", ""))
    for one in verdict.judgements:
        if str(one.quantity) == shown:
            return f"{shown}, {dict(one.details).get('statistic', '')}".strip(", ")
    return shown


def verdict_rows(verdict: StandardVerdict, system: UnitSystem) -> list[list[str]]:
    """A verdict whole: n, statistic, interval, limit, margin, rule and standing."""
    one, name = verdict.overall, statistic_of(verdict)
    interval = one.interval
    told = span(interval, one.unit, system)
    return [
        ["n", str(one.n)],
        [
            f"Statistic ({name})" if name else "Statistic",
            amount(one.value, one.unit, system),
        ],
        [
            f"{level(interval)} interval" if interval else "Interval",
            told,
        ],
        ["Limit", one.limit],
        ["Margin inside the limit", margin(one, system)],
        ["Rule", one.rule],
        ["Standing of the limit", one.standing],
    ]


def stage_line(stage: RecordStage) -> str:
    """Runs of a stage, counted."""
    n_aside = len(stage.judged.judged.errors.runs_excluded)
    return (
        f"{counted(stage.judged.n_used, 'run')} in use {stage.name}, "
        f"{n_aside} set aside"
    )


def signature_parts(record: SessionRecord) -> dict[str, Any]:
    """Signatures with their standing, and the roles that are wanting."""
    views = signature_views(record)
    wanting = roles_wanting(views)
    return {
        "signatures": [_signature(view, record) for view in views],
        "unsigned": (
            f"Not signed, as it stands now, as {' or '.join(wanting)}."
            if wanting
            else ""
        ),
    }


def _signature(view: SignatureView, record: SessionRecord) -> dict[str, Any]:
    one = view.signature
    return {
        "role": one.role,
        "name": one.name_signed,
        "account": one.signed_by.get_username(),
        "at": clock_at(one.signed_at, record.zone),
        "fingerprint": one.fingerprint,
        "standing": view.sentence,
        "stands": view.stands,
    }


def hashes(record: SessionRecord) -> list[list[str]]:
    """SHA-256 of each stage's inputs, and whether the stored results are of them."""
    stored = {
        one.stage: one for one in SessionResult.objects.filter(session=record.session)
    }
    rows = []
    for stage in record.stages:
        found = inputs_sha256(record.session, stage.judged.runs)
        kept = stored.get(stage.name)
        word = "the stored results are of these inputs"
        if kept is None:
            word = "no results are stored"
        elif kept.inputs_sha256 != found:
            word = "THE STORED RESULTS ARE OF OTHER INPUTS"
        rows.append([stage.name, found, word])
    return rows


def versions() -> str:
    """Software and method."""
    return f"wimprog {version()}; method {METHOD_VERSION}"
