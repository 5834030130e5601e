"""All sessions held against another class, in one vectorised pass."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.db.models import QuerySet

from calibration.calc.types import Quantity, RunErrors
from calibration.models import (
    CalibrationSession,
    RunStage,
    SessionResult,
    StaticWeighing,
    TruckRun,
)
from calibration.selectors.judging import conditions_of, stage_errors
from calibration.selectors.standards import agency_values
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval, Verdict
from wimprog.lib.units import UnitSystem

if TYPE_CHECKING:
    from calibration.calc.standards.base import Conditions, ToleranceStandard

LAST_WORD = "last word"
STAGES = (LAST_WORD, RunStage.AS_FOUND.value, RunStage.AS_LEFT.value)
"""Which runs speak for a session; the last word is as left, or else as found."""


@dataclass(frozen=True)
class Judged:
    """What a set of runs came to under one class.

    Attributes
    ----------
    n, mean_pct, mean_interval, sd_pct
        Gross weight.
    verdict
        Of the system.
    value, limit
        Statistic of gross weight by the standard's rule and what it is held against
        [%]; ``limit`` is None where ``limit_text`` says it.
    missed
        Criteria missed.
    """

    n: int
    mean_pct: float | None
    mean_interval: Interval | None
    sd_pct: float | None
    verdict: Verdict
    value: float | None
    limit: float | None
    missed: tuple[str, ...]
    limit_text: str = ""


@dataclass(frozen=True)
class Rejudged:
    """One session under the class that was asked about.

    Attributes
    ----------
    session, stage
        Whose runs they are.
    judged
        What they came to.
    stored_class, stored_verdict
        What the session was judged by and its verdict there.
    """

    session: CalibrationSession
    stage: str
    judged: Judged
    stored_class: str
    stored_verdict: str

    @property
    def verdict(self) -> Verdict:
        """Under the class that was asked about."""
        return self.judged.verdict

    @property
    def is_changed(self) -> bool:
        """Does the verdict differ from the one under the session's own class?"""
        return bool(self.stored_verdict) and self.stored_verdict != self.verdict.value


@dataclass(frozen=True)
class RejudgedAll:
    """All sessions under one class, and the rule."""

    title: str
    class_name: str
    rule: str
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

    Sessions with the same test conditions are judged together in one pass; a standard
    that cannot do so judges them one by one. A fixed number of queries.

    Raises
    ------
    DomainError
        When there is no such standard or class.
    """
    from calibration.calc.rejudging import JudgesMany
    from calibration.calc.standards import find_standard
    from calibration.calc.standards.base import check_class, values_in_use

    known = find_standard(standard)
    class_name = check_class(known, class_name) or known.default_class
    judge = _together if isinstance(known, JudgesMany) else _one_by_one
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
        judged = judge(
            known, class_name, conditions[key], [errors[place][2] for place in places]
        )
        for place, one in zip(places, judged, strict=True):
            session, of_stage, _ = errors[place]
            result = results.get((session.pk, of_stage))
            rows[place] = Rejudged(
                session=session,
                stage=of_stage,
                judged=one,
                stored_class=session.wanted_class,
                stored_verdict=result.verdict_word if result else "",
            )
    values = values_in_use(known, _any_conditions(own, system))
    return RejudgedAll(
        title=f"{known.title} {known.edition}",
        class_name=class_name,
        rule=_rule(standard, class_name, _any_conditions(own, system)),
        standing=values.standing_with_own(known.standing),
        does_not_cover=known.does_not_cover,
        rows=tuple(rows[place] for place in sorted(rows)),
    )


def _any_conditions(own: Any, system: UnitSystem | str) -> Conditions:
    from calibration.calc.standards.base import DEFAULT_CONDITIONS

    return replace(
        DEFAULT_CONDITIONS, agency_values=own, unit_system=UnitSystem(system)
    )


def _rule(standard: str, class_name: str, conditions: Conditions) -> str:
    """The rule of gross weight in words; "" where it is of no family that has any."""
    from calibration.calc.pass_rules import pass_rule

    try:
        return pass_rule(standard, class_name, conditions=conditions).text
    except DomainError:
        return ""


def _errors(
    stage: str, lane_id: int | None
) -> list[tuple[CalibrationSession, str, RunErrors]]:
    """Sessions with the errors of the runs that speak for them, newest first."""
    # Few weighings stand behind many runs: each is read once, not with every run.
    weighings = StaticWeighing.objects.select_related("vehicle").in_bulk()
    runs: QuerySet[TruckRun] = TruckRun.objects.defer("as_typed", "controller_record")
    if lane_id is not None:
        runs = runs.filter(session__lane_id=lane_id)
    if stage != LAST_WORD:
        runs = runs.filter(stage=stage)
    by_session: dict[int, dict[str, list[TruckRun]]] = defaultdict(dict)
    for run in runs.order_by("session_id", "number"):
        run.weighing = weighings[run.weighing_id]
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


def _together(
    standard: ToleranceStandard,
    class_name: str,
    conditions: Conditions,
    errors: Sequence[RunErrors],
) -> list[Judged]:
    """All in one vectorised pass."""
    from calibration.calc.many_rules import t_quantiles
    from calibration.calc.many_sessions import flatten_sessions
    from calibration.calc.rejudging import rejudge

    many = rejudge(
        flatten_sessions(errors),
        standard=standard.key,
        class_name=class_name,
        conditions=conditions,
    )
    gross = many.of(Quantity.GROSS_WEIGHT)
    n, mean, sd = gross.moments.n, gross.moments.mean, gross.moments.sd
    half = t_quantiles(n) * sd / n.clip(1) ** 0.5
    found = []
    for at in range(len(errors)):
        verdict = Verdict.CANNOT_SAY
        if many.is_met[at]:
            verdict = Verdict.MEETS
        elif many.is_missed[at]:
            verdict = Verdict.MISSES
        interval = None
        if n[at] >= 2:
            interval = Interval(float(mean[at] - half[at]), float(mean[at] + half[at]))
        found.append(
            Judged(
                n=int(n[at]),
                mean_pct=_known(float(mean[at])),
                mean_interval=interval,
                sd_pct=_known(float(sd[at])),
                verdict=verdict,
                value=_known(float(gross.value[at])),
                limit=_known(float(gross.limit[at])),
                missed=tuple(str(c.quantity) for c in many.criteria if c.is_missed[at]),
            )
        )
    return found


def _one_by_one(
    standard: ToleranceStandard,
    class_name: str,
    conditions: Conditions,
    errors: Sequence[RunErrors],
) -> list[Judged]:
    """For a standard that has no rule for many sessions at once."""
    from calibration.calc.statistics import summarise

    found = []
    for one in errors:
        verdict = standard.judge(one, wanted_class=class_name, conditions=conditions)
        gross = verdict.judgement_of(Quantity.GROSS_WEIGHT)
        statistics = summarise(one[Quantity.GROSS_WEIGHT])
        found.append(
            Judged(
                n=statistics.n,
                mean_pct=statistics.mean,
                mean_interval=statistics.mean_interval,
                sd_pct=statistics.sd,
                verdict=verdict.verdict,
                value=gross.value,
                limit=None,
                missed=tuple(
                    str(c.quantity)
                    for c in verdict.judgements
                    if c.verdict is Verdict.MISSES
                ),
                limit_text=gross.limit,
            )
        )
    return found


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
    cells = []
    for row in rows:
        one, lane = row.judged, row.session.lane
        span = one.mean_interval
        cells.append(
            [
                lane.wim_site.code, lane.label, row.session.held_on, row.stage, one.n,
                one.mean_pct, span.low if span else None, span.high if span else None,
                one.sd_pct, one.verdict.value, one.value,
                one.limit_text if one.limit is None else one.limit,
                ", ".join(one.missed), row.stored_class,
                row.stored_verdict or "no data", "yes" if row.is_changed else "no",
            ]
        )  # fmt: skip
    return headings, cells
