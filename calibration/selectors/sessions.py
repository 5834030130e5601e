"""Sessions and their latest results."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from calibration.models import (
    CalibrationSession,
    RunStage,
    SessionResult,
    StaticWeighing,
    TruckRun,
)
from sites.models import Lane


def session_get(pk: int) -> CalibrationSession | None:
    """One session with its lane and site."""
    return (
        CalibrationSession.objects.select_related("lane__wim_site")
        .filter(pk=pk)
        .first()
    )


def session_list() -> QuerySet[CalibrationSession]:
    """All sessions, newest first, each with its runs counted and its last word.

    The last word is what the as-left runs showed; the as-found ones where there are no
    as-left runs. Annotated: ``n_runs``, ``n_set_aside``, ``result_stage``,
    ``result_n``, ``mean_pct``, ``sd_pct``, ``low_pct``, ``high_pct``, ``verdict_word``.
    """
    # "as left" sorts after "as found"
    result = SessionResult.objects.filter(session=OuterRef("pk")).order_by("-stage")
    counted = (
        TruckRun.objects.filter(session=OuterRef("pk")).order_by().values("session")
    )

    def last(name: str) -> Subquery:
        return Subquery(result.values(name)[:1])

    return (
        CalibrationSession.objects.select_related("lane__wim_site")
        .annotate(
            n_runs=Coalesce(Subquery(counted.annotate(n=Count("pk")).values("n")), 0),
            n_set_aside=Coalesce(
                Subquery(
                    counted.annotate(n=Count("pk", filter=Q(excluded=True))).values("n")
                ),
                0,
            ),
            result_stage=last("stage"),
            result_n=last("n_runs"),
            mean_pct=last("gvw_mean_pct"),
            sd_pct=last("gvw_sd_pct"),
            low_pct=last("gvw_low_pct"),
            high_pct=last("gvw_high_pct"),
            verdict_word=last("verdict_word"),
        )
        .order_by("-held_on", "-pk")
    )


def latest_results(lane_ids: Iterable[int]) -> dict[int, list[SessionResult]]:
    """The results of each lane's latest session that has any, in one query.

    Each comes with its session; as found before as left. A lane without results has an
    empty list.
    """
    found: dict[int, list[SessionResult]] = {pk: [] for pk in lane_ids}
    newest = (
        SessionResult.objects.filter(session__lane=OuterRef("session__lane"))
        .order_by("-session__held_on", "-session_id")
        .values("session_id")[:1]
    )
    results = (
        SessionResult.objects.filter(
            session__lane__in=list(found), session_id=Subquery(newest)
        )
        .select_related("session")
        .order_by("stage")
    )
    for result in results:
        found[result.session.lane_id].append(result)
    return found


def last_word(results: Sequence[SessionResult]) -> SessionResult | None:
    """The result that speaks for the lane today: as left, or else as found."""
    by_stage = {result.stage: result for result in results}
    return by_stage.get(RunStage.AS_LEFT) or by_stage.get(RunStage.AS_FOUND)


def weighings_for(session: CalibrationSession) -> list[StaticWeighing]:
    """Static weighings that the session's runs are held against, with vehicles."""
    return list(
        StaticWeighing.objects.filter(runs__session=session)
        .select_related("vehicle")
        .distinct()
        .order_by("vehicle__name", "weighed_at")
    )


def factor_in_use(lane: Lane) -> float | None:
    """The factor that the lane's last session left; None where none is known."""
    return (
        CalibrationSession.objects.filter(lane=lane, factor_after__isnull=False)
        .order_by("-held_on", "-pk")
        .values_list("factor_after", flat=True)
        .first()
    )
