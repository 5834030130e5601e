"""What all lanes of the program carried in a year, from the daily summaries.

No vehicle record is read: the days' sums by class and the figures of the weeks are
enough, so that a program of a hundred sites is answered in a few queries.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum

from quality.models import DailySummary, DayDecision, LaneDay, LaneWeek
from sites.models import Lane

if TYPE_CHECKING:
    from quality.calc.sample_mean import SampleShare

TRUCK_CLASSES = range(4, 14)
"""Classes 4 (buses) to 13: what the guide's truck weight records are of."""


@dataclass(frozen=True)
class LaneYear:
    """One lane's year; None is no data.

    Attributes
    ----------
    n_days, n_left_out
        Days counted, and recorded days that are not.
    n_vehicles, n_trucks
        Of all classes, and of classes 4 to 13.
    trucks_a_day
        Mean over the days counted.
    gross_t
        Sum of the trucks' gross weights [t].
    over_gross
        Share of the trucks over the legal gross weight, with n and interval.
    esal_flexible, esal_rigid
        Equivalent single axle loads a five-axle semitrailer of class 9, over
        ``n_esal_trucks`` of them in the ``n_weeks`` weeks that have figures.
    """

    lane: Lane
    n_days: int
    n_left_out: int
    n_vehicles: int
    n_trucks: int
    trucks_a_day: float | None
    gross_t: float | None
    over_gross: SampleShare
    esal_flexible: float | None
    esal_rigid: float | None
    n_esal_trucks: int
    n_weeks: int


@dataclass(frozen=True)
class ProgramTraffic:
    """All lanes of a year."""

    year: int
    lanes: tuple[LaneYear, ...]
    with_undecided: bool

    headings = (
        "site", "lane", "days counted", "days left out", "vehicles", "trucks",
        "trucks a day", "trucks' gross weight, t", "share over gross", "low", "high",
        "flexible ESAL a class 9 semitrailer", "rigid ESAL a class 9 semitrailer",
        "semitrailers", "weeks",
    )  # fmt: skip

    @property
    def rule(self) -> str:
        """What is counted."""
        days = (
            "Accepted days and days that nobody has judged; set aside never."
            if self.with_undecided
            else "Accepted days only."
        )
        return (
            f"{days} Trucks are classes 4 to 13; a lane's trucks a day are the mean "
            "over its counted days. Weights as recorded. Equivalent single axle loads "
            "are those of the weeks' class 9 five-axle semitrailers, from the days not "
            "set aside of weeks that begin in the year."
        )

    @property
    def n_vehicles(self) -> int:
        """Of all lanes."""
        return sum(one.n_vehicles for one in self.lanes)

    @property
    def n_trucks(self) -> int:
        """Of all lanes."""
        return sum(one.n_trucks for one in self.lanes)

    @property
    def n_days(self) -> int:
        """Lane-days counted."""
        return sum(one.n_days for one in self.lanes)

    @property
    def n_left_out(self) -> int:
        """Recorded lane-days that are not counted."""
        return sum(one.n_left_out for one in self.lanes)

    @property
    def over_gross(self) -> SampleShare:
        """Of all lanes' trucks."""
        from quality.calc.sample_mean import SampleShare

        n_over = sum(one.over_gross.part for one in self.lanes)
        return SampleShare.of(n_over, self.n_trucks)

    @property
    def n_silent(self) -> int:
        """Lanes without a counted day."""
        return sum(1 for one in self.lanes if one.n_days == 0)

    def as_rows(self) -> Iterator[tuple[Any, ...]]:
        """One row a lane, under :attr:`headings`."""
        for one in self.lanes:
            share = one.over_gross
            yield (
                one.lane.wim_site.code, one.lane.label, one.n_days, one.n_left_out,
                one.n_vehicles if one.n_days else None,
                one.n_trucks if one.n_days else None,
                one.trucks_a_day, one.gross_t, share.share, share.low, share.high,
                one.esal_flexible, one.esal_rigid, one.n_esal_trucks, one.n_weeks,
            )  # fmt: skip


def program_traffic(year: int, *, with_undecided: bool = False) -> ProgramTraffic:
    """Each lane's year, in four queries whatever the number of lanes."""
    from quality.calc.sample_mean import SampleShare

    lanes = Lane.objects.select_related("wim_site").order_by(
        "wim_site__code", "direction", "number"
    )
    days = _days(year, with_undecided)
    sums = _sums(year, with_undecided)
    loads = _loads(year)
    rows = []
    for lane in lanes:
        n_days, n_recorded = days.get(lane.pk, (0, 0))
        found = sums.get(lane.pk, {})
        n_trucks = found.get("n_trucks") or 0
        load = loads.get(lane.pk, _Loads())
        rows.append(
            LaneYear(
                lane=lane,
                n_days=n_days,
                n_left_out=n_recorded - n_days,
                n_vehicles=found.get("n") or 0,
                n_trucks=n_trucks,
                trucks_a_day=n_trucks / n_days if n_days else None,
                gross_t=(found.get("gross_kg") or 0.0) / 1000 if n_days else None,
                over_gross=SampleShare.of(found.get("n_over") or 0, n_trucks),
                esal_flexible=load.flexible / load.n if load.n else None,
                esal_rigid=load.rigid / load.n if load.n else None,
                n_esal_trucks=load.n,
                n_weeks=load.n_weeks,
            )
        )
    return ProgramTraffic(year, tuple(rows), with_undecided)


def _counted(with_undecided: bool) -> Q:
    accepted = Q(review__decision=DayDecision.ACCEPTED)
    return accepted | Q(review__isnull=True) if with_undecided else accepted


def _days(year: int, with_undecided: bool) -> dict[int, tuple[int, int]]:
    """Days counted and days recorded of each lane."""
    rows = (
        LaneDay.objects.filter(date__year=year)
        .order_by()
        .values("lane_id")
        .annotate(
            counted=Count("pk", filter=_counted(with_undecided)), recorded=Count("pk")
        )
    )
    return {row["lane_id"]: (row["counted"], row["recorded"]) for row in rows}


def _sums(year: int, with_undecided: bool) -> dict[int, dict[str, Any]]:
    """Sums over each lane's counted days."""
    day = LaneDay.objects.filter(
        _counted(with_undecided), lane=OuterRef("lane"), date=OuterRef("date")
    )
    summaries: QuerySet[DailySummary] = DailySummary.objects.filter(
        Exists(day), date__range=(dt.date(year, 1, 1), dt.date(year, 12, 31))
    )
    trucks = Q(
        vehicle_class__gte=TRUCK_CLASSES.start, vehicle_class__lt=TRUCK_CLASSES.stop
    )
    rows = (
        summaries.order_by()
        .values("lane_id")
        .annotate(
            n=Sum("n_vehicles"),
            n_trucks=Sum("n_vehicles", filter=trucks),
            gross_kg=Sum("gvw_sum_kg", filter=trucks),
            n_over=Sum("n_over_gross", filter=trucks),
        )
    )
    return {row["lane_id"]: row for row in rows}


@dataclass
class _Loads:
    """Loads of a lane's weeks, added up."""

    flexible: float = 0.0
    rigid: float = 0.0
    n: int = 0
    n_weeks: int = 0


def _loads(year: int) -> dict[int, _Loads]:
    """Equivalent axle loads of the weeks that have figures."""
    found: dict[int, _Loads] = {}
    weeks = LaneWeek.objects.filter(week_on__year=year).order_by("lane_id", "week_on")
    for lane_id, flexible, rigid, n in weeks.values_list(
        "lane_id", "figures__esal_flexible__total", "figures__esal_rigid__total",
        "figures__n_trucks",
    ):  # fmt: skip
        if not n:
            continue
        loads = found.setdefault(lane_id, _Loads())
        loads.flexible += flexible
        loads.rigid += rigid
        loads.n += n
        loads.n_weeks += 1
    return found
