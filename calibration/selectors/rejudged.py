"""All sessions held against another class, in one vectorised pass."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.db.models import QuerySet

from calibration.calc.types import Quantity, RunErrors
from calibration.models import CalibrationSession, RunStage, SessionResult, TruckRun
from calibration.selectors.judging import conditions_of, stage_errors
from calibration.selectors.standards import agency_values
from wimprog.lib.judgement import Interval, Verdict
from wimprog.lib.units import UnitSystem

if TYPE_CHECKING:
    from calibration.calc.many_rules import ManyVerdicts
    from calibration.calc.standards.base import Conditions

LAST_WORD = "last word"
STAGES = (LAST_WORD, RunStage.AS_FOUND.value, RunStage.AS_LEFT.value)
"""Which runs speak for a session; the last word is as left, or else as found."""


@dataclass(frozen=True)
class Rejudged:
    """One session under the class that was asked about.

    Attributes
    ----------
    session, stage
        Whose runs they are.
    n, mean_pct, mean_interval, sd_pct
        Gross weight.
    verdict
        Under that class.
    value, limit, statistic
        Statistic of gross weight by the standard's rule, and what it is held against.
    missed
        Criteria missed.
    stored_class, stored_verdict
        What the session was judged by and its verdict there.
    """

    session: CalibrationSession
    stage: str
    n: int
    mean_pct: float | None
    mean_interval: Interval | None
    sd_pct: float | None
    verdict: Verdict
    value: float | None
    limit: float | None
    missed: tuple[str, ...]
    stored_class: str
    stored_verdict: str

    @property
    def is_changed(self) -> bool:
        """Does the verdict differ from the one under the session's own class?"""
        return bool(self.stored_verdict) and self.stored_verdict != self.verdict.value


@dataclass(frozen=True)
class RejudgedAll:
    """All sessions under one class, and the rule."""

    title: str
    class_name: str
    standing: str
    does_not_cover: str
    rows: tuple[Rejudged, ...]

    def n_with(self, verdict: Verdict) -> int:
        """How many sessions have a verdict."""
        return sum(row.verdict is verdict for row in self.rows)

    @property
    def totals(self) -> list[tuple[str, int]]:
        """Sessions of each verdict."""
        return [(one.value, self.n_with(one)) for one in Verdict]

    @property
    def n_changed(self) -> int:
        """Sessions whose verdict differs from that under their own class."""
        return sum(row.is_changed for row in self.rows)


def sessions_rejudged(
    *,
    standard: str,
    class_name: str,
    stage: str = LAST_WORD,
    lane_id: int | None = None,
    system: UnitSystem | str,
) -> RejudgedAll:
    """Hold every session with runs against one class, newest first.

    Sessions with the same test conditions are judged together. A fixed number of
    queries.

    Raises
    ------
    DomainError
        When there is no such standard or class, or it is judged session by session
        only.
    """
    from calibration.calc.many_sessions import flatten_sessions
    from calibration.calc.rejudging import rejudge
    from calibration.calc.standards import find_standard
    from calibration.calc.standards.base import values_in_use

    known = find_standard(standard)
    errors = _errors(stage, lane_id)
    own = agency_values()
    groups: dict[tuple[str, str, bool], list[int]] = defaultdict(list)
    conditions: dict[tuple[str, str, bool], Conditions] = {}
    for place, (session, _, _) in enumerate(errors):
        found = conditions_of(session, system, agency=own)
        key = (found.plan.value, found.environment.value, found.is_initial)
        groups[key].append(place)
        conditions[key] = found
    results = _stored(session.pk for session, _, _ in errors)
    rows: dict[int, Rejudged] = {}
    for key, places in groups.items():
        many = rejudge(
            flatten_sessions([errors[place][2] for place in places]),
            standard=standard,
            class_name=class_name,
            conditions=conditions[key],
        )
        for at, place in enumerate(places):
            session, of_stage, _ = errors[place]
            result = results.get((session.pk, of_stage))
            rows[place] = _row(session, of_stage, many, at, result)
    values = values_in_use(known, _any_conditions(own, system))
    return RejudgedAll(
        title=f"{known.title} {known.edition}",
        class_name=class_name,
        standing=values.standing_with_own(known.standing),
        does_not_cover=known.does_not_cover,
        rows=tuple(rows[place] for place in sorted(rows)),
    )


def _any_conditions(own: Any, system: UnitSystem | str) -> Conditions:
    from calibration.calc.standards.base import DEFAULT_CONDITIONS

    return replace(
        DEFAULT_CONDITIONS, agency_values=own, unit_system=UnitSystem(system)
    )


def _errors(
    stage: str, lane_id: int | None
) -> list[tuple[CalibrationSession, str, RunErrors]]:
    """Sessions with the errors of the runs that speak for them, newest first."""
    runs: QuerySet[TruckRun] = TruckRun.objects.select_related("weighing__vehicle")
    if lane_id is not None:
        runs = runs.filter(session__lane_id=lane_id)
    if stage != LAST_WORD:
        runs = runs.filter(stage=stage)
    by_session: dict[int, dict[str, list[TruckRun]]] = defaultdict(dict)
    for run in runs.order_by("session_id", "number"):
        by_session[run.session_id].setdefault(run.stage, []).append(run)
    sessions = (
        CalibrationSession.objects.select_related("lane__wim_site")
        .filter(runs__isnull=False)
        .distinct()
        .order_by("-held_on", "-pk")
    )
    found = []
    for session in sessions:
        own = by_session.get(session.pk, {})
        speaks = _speaks(own)
        if speaks:
            found.append((session, speaks, stage_errors(own[speaks])))
    return found


def _speaks(own: dict[str, list[TruckRun]]) -> str:
    """As left where a run of it is in use, or else as found; "" without runs."""
    for stage in (RunStage.AS_LEFT.value, RunStage.AS_FOUND.value):
        if any(not run.excluded for run in own.get(stage, ())):
            return stage
    return next(iter(own), "")


def _stored(session_ids: Iterable[int]) -> dict[tuple[int, str], SessionResult]:
    rows = SessionResult.objects.filter(session_id__in=list(session_ids)).only(
        "session_id", "stage", "verdict_word"
    )
    return {(row.session_id, row.stage): row for row in rows}


def _row(
    session: CalibrationSession,
    stage: str,
    many: ManyVerdicts,
    at: int,
    result: SessionResult | None,
) -> Rejudged:
    from calibration.calc.many_rules import t_quantiles

    gross = many.of(Quantity.GROSS_WEIGHT)
    n = int(gross.moments.n[at])
    mean, sd = float(gross.moments.mean[at]), float(gross.moments.sd[at])
    interval = None
    if n >= 2:
        half = float(t_quantiles(gross.moments.n[at : at + 1])[0]) * sd / n**0.5
        interval = Interval(mean - half, mean + half)
    verdict = Verdict.CANNOT_SAY
    if many.is_met[at]:
        verdict = Verdict.MEETS
    elif many.is_missed[at]:
        verdict = Verdict.MISSES
    return Rejudged(
        session=session,
        stage=stage,
        n=n,
        mean_pct=_known(mean),
        mean_interval=interval,
        sd_pct=_known(sd),
        verdict=verdict,
        value=_known(float(gross.value[at])),
        limit=_known(float(gross.limit[at])),
        missed=tuple(str(one.quantity) for one in many.criteria if one.is_missed[at]),
        stored_class=session.wanted_class,
        stored_verdict=result.verdict_word if result else "",
    )


def _known(value: float) -> float | None:
    """None for not a number."""
    return value if value == value else None


def rejudged_cells(rows: Sequence[Rejudged]) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of the sessions judged again, for a spreadsheet."""
    headings = [
        "site", "lane", "held on", "stage", "n", "mean gross weight error %",
        "mean low %", "mean high %", "sd %", "verdict", "gross weight statistic",
        "held against", "missed on", "own class", "verdict there", "changed",
    ]  # fmt: skip
    cells = [
        [
            row.session.lane.wim_site.code, row.session.lane.label, row.session.held_on,
            row.stage, row.n, row.mean_pct,
            row.mean_interval.low if row.mean_interval else None,
            row.mean_interval.high if row.mean_interval else None,
            row.sd_pct, row.verdict.value, row.value, row.limit, ", ".join(row.missed),
            row.stored_class, row.stored_verdict or "no data",
            "yes" if row.is_changed else "no",
        ]
        for row in rows
    ]  # fmt: skip
    return headings, cells
