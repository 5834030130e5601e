"""What lanes carried: their accepted records, summed where the executor works.

Days set aside are never counted. Days that nobody has judged are counted only when that
is asked for. Back-corrected weights are used only where the agency's policy allows it
and it is asked for, and the answer says on how many vehicles.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Max

from quality.models import (
    BackCorrection,
    DayDecision,
    LaneDay,
    RecordPart,
    RecordSettings,
)
from quality.selectors.computing import record_executor
from quality.selectors.corrections import corrections_in_force
from sites.models import Lane
from sites.selectors import program_get
from wimprog.lib.errors import DomainError

if TYPE_CHECKING:
    import numpy as np

    from quality.calc.carried import CarriedRule
    from quality.calc.carried_frames import CarriedYear
    from quality.calc.esals import FlexiblePavement, RigidPavement
    from quality.calc.legal_limits import LegalLimits
    from quality.calc.scaled_weights import Scaling

DAY = dt.timedelta(days=1)
HOURS_MISSING = "hours-missing"
"""Key of the check that says which empty hours are no quiet ones."""
MOST_DAYS = 3 * 366
"""Days that one answer may span: its daily and hourly volumes stay readable."""


@dataclass(frozen=True)
class Asked:
    """A question: which lanes, which days, which records.

    Attributes
    ----------
    lanes
        One lane, or all lanes of a site.
    first_on, last_on
        Both included.
    with_undecided
        Count days that nobody has judged, too.
    corrected
        Use the back-corrections that are in force.
    """

    lanes: tuple[Lane, ...]
    first_on: dt.date
    last_on: dt.date
    with_undecided: bool = False
    corrected: bool = False

    def __post_init__(self) -> None:
        """Refuse what has no answer."""
        if not self.lanes:
            raise DomainError("Name a lane, or a site that has lanes.")
        if self.last_on < self.first_on:
            raise DomainError("The last day is before the first.")

    @property
    def n_days(self) -> int:
        """Days of the period, counted once for each lane."""
        return ((self.last_on - self.first_on).days + 1) * len(self.lanes)


@dataclass(frozen=True)
class DaysIn:
    """Lane-days of a period by what was decided of them.

    Attributes
    ----------
    n
        All lane-days of the period.
    accepted, undecided, set_aside
        Recorded ones.
    counted
        Those that stand behind the answer.
    """

    n: int
    accepted: int
    undecided: int
    set_aside: int
    counted: int

    @property
    def unrecorded(self) -> int:
        """Lane-days without a record: no data."""
        return self.n - self.accepted - self.undecided - self.set_aside

    @property
    def left_out(self) -> int:
        """Recorded lane-days that are not counted."""
        return self.accepted + self.undecided + self.set_aside - self.counted


@dataclass(frozen=True)
class LaneCarried:
    """The answer.

    Attributes
    ----------
    year
        Sums and hours seen; None when no day is counted.
    days
        Days in and out.
    corrections
        Those that were used.
    quiet_lanes
        Lanes of which no day is counted.
    limits, flexible, rigid
        What was reckoned with.
    """

    asked: Asked
    year: CarriedYear | None
    days: DaysIn
    corrections: tuple[BackCorrection, ...]
    quiet_lanes: tuple[Lane, ...]
    limits: LegalLimits
    flexible: FlexiblePavement
    rigid: RigidPavement

    @property
    def rule(self) -> str:
        """Which days and weights are counted, in a sentence or two."""
        if self.asked.with_undecided:
            days = "Accepted days and days that nobody has judged; set aside never."
        else:
            days = "Accepted days only."
        if self.corrections:
            return f"{days} Weights back-corrected where a correction is in force."
        return f"{days} Weights as recorded."


@dataclass(frozen=True)
class CountedDays:
    """Which days of which lanes are counted.

    Attributes
    ----------
    by_lane
        By lane and day the hours seen, as bits, and whether no check found hours of
        the day missing.
    days
        How many are in and out.
    """

    by_lane: dict[int, dict[dt.date, tuple[int, bool]]]
    days: DaysIn


def counted_days(asked: Asked) -> CountedDays:
    """The days that stand behind an answer; one query."""
    by_lane: dict[int, dict[dt.date, tuple[int, bool]]] = {
        lane.pk: {} for lane in asked.lanes
    }
    accepted = undecided = aside = 0
    rows = LaneDay.objects.filter(
        lane__in=asked.lanes, date__range=(asked.first_on, asked.last_on)
    ).order_by("lane_id", "date")
    for lane_id, date, hours, findings, decision in rows.values_list(
        "lane_id", "date", "hours_seen", "findings", "review__decision"
    ):
        if decision == DayDecision.SET_ASIDE:
            aside += 1
            continue
        if decision == DayDecision.ACCEPTED:
            accepted += 1
        else:
            undecided += 1
            if not asked.with_undecided:
                continue
        is_plain = all(one.get("check") != HOURS_MISSING for one in findings)
        by_lane[lane_id][date] = hours, is_plain
    n_counted = sum(len(one) for one in by_lane.values())
    return CountedDays(
        by_lane, DaysIn(asked.n_days, accepted, undecided, aside, n_counted)
    )


def counted_parts(asked: Asked) -> dict[int, list[str]]:
    """The manifest's parts of each lane that meet the period, in order; one query."""
    # a part's times are the site's local time, kept as if they were UTC
    start = dt.datetime.combine(asked.first_on, dt.time(), dt.UTC)
    end = dt.datetime.combine(asked.last_on + DAY, dt.time(), dt.UTC)
    rows = (
        RecordPart.objects.current()
        .filter(lane__in=asked.lanes, first_at__lt=end, last_at__gte=start)
        .order_by("lane_id", "month", "path")
    )
    found: dict[int, list[str]] = {lane.pk: [] for lane in asked.lanes}
    for lane_id, path in rows.values_list("lane_id", "path"):
        found[lane_id].append(path)
    return found


def lane_carried(asked: Asked, *, gross_step_kg: float | None = None) -> LaneCarried:
    """What lanes carried in a period, over the days that are counted.

    Only the parts that meet the period are read, and of them only the columns that are
    used.

    Raises
    ------
    DomainError
        When the period is too long, or a stored part is missing or cannot be read.
    """
    from quality.calc.carried import COLUMNS, CarriedRule, added, nothing, part_sums
    from quality.calc.carried_frames import CarriedYear
    from quality.calc.over_parts import PartWork, over_parts

    _refuse_long(asked)
    counted = counted_days(asked)
    limits, flexible, rigid = reckoned_with()
    used = tuple(_corrections(asked, counted))
    base = CarriedRule(_array(()), limits=limits, flexible=flexible, rigid=rigid)
    if gross_step_kg is not None:
        base = replace(base, gross_step_kg=gross_step_kg)
    first, last = _array((asked.first_on, asked.last_on))
    sums = [nothing(first, last, base)]
    parts = counted_parts(asked)
    with record_executor() as place:
        for lane in asked.lanes:
            rule = _rule_of(base, lane, counted, used)
            if len(rule.days) == 0 or not parts[lane.pk]:
                continue
            work = PartWork(
                partial(part_sums, rule=rule), str(settings.RECORD_STORE), COLUMNS
            )
            found = over_parts(place, work, parts[lane.pk], together=1)
            sums += [one for one in found if one is not None]
    quiet = tuple(lane for lane in asked.lanes if not counted.by_lane[lane.pk])
    year = None
    if counted.days.counted:
        year = CarriedYear(added(sums), _hours_seen(asked, counted))
    return LaneCarried(
        asked, year, counted.days, used, quiet, limits, flexible, rigid
    )  # fmt: skip


def _refuse_long(asked: Asked) -> None:
    n = (asked.last_on - asked.first_on).days + 1
    if n > MOST_DAYS:
        raise DomainError(
            f"{n:,} days are asked for; at most {MOST_DAYS:,} (three years) are shown "
            "together. Choose a shorter period."
        )


def reckoned_with() -> tuple[LegalLimits, FlexiblePavement, RigidPavement]:
    """Legal limits and pavements of the settings; two queries."""
    from quality.calc.esals import FlexiblePavement, RigidPavement
    from quality.calc.legal_limits import LegalLimits
    from wimprog.lib.units import MM_PER_IN

    chosen = RecordSettings.objects.first() or RecordSettings()
    end = chosen.terminal_serviceability
    return (
        LegalLimits(gross_kg=program_get().legal_gross_kg),
        FlexiblePavement(chosen.flexible_sn, end),
        RigidPavement(chosen.rigid_slab_in * MM_PER_IN, end),
    )


def _array(days: Sequence[dt.date]) -> np.ndarray:
    import numpy as np

    return np.array(sorted(days), dtype="datetime64[D]")


def _corrections(asked: Asked, counted: CountedDays) -> list[BackCorrection]:
    """Those in force that meet a day which is counted."""
    if not asked.corrected:
        return []
    found = corrections_in_force(
        [lane.pk for lane in asked.lanes],
        first_on=asked.first_on,
        last_on=asked.last_on,
    )
    return [
        one
        for one in found
        if any(one.from_on <= day <= one.to_on for day in counted.by_lane[one.lane_id])
    ]


def _rule_of(
    base: CarriedRule,
    lane: Lane,
    counted: CountedDays,
    used: Sequence[BackCorrection],
) -> CarriedRule:
    import numpy as np

    from quality.calc.carried import ScaledSpan

    spans = tuple(
        ScaledSpan(np.datetime64(one.from_on), np.datetime64(one.to_on), scaling(one))
        for one in used
        if one.lane_id == lane.pk
    )
    return replace(base, days=_array(tuple(counted.by_lane[lane.pk])), spans=spans)


def scaling(one: BackCorrection) -> Scaling:
    """A correction as the scaling that records are marked with."""
    from quality.calc.scaled_weights import Scaling

    return Scaling(one.factor, one.factor_low, one.factor_high)


def _hours_seen(asked: Asked, counted: CountedDays) -> np.ndarray:
    """Hours recorded in every lane that is counted at all, bool, (d, 24)."""
    import numpy as np

    from quality.calc.carried_frames import hours_recorded

    n_days = (asked.last_on - asked.first_on).days + 1
    seen = np.ones((n_days, 24), dtype=bool)
    for days in counted.by_lane.values():
        if not days:
            continue
        bits = np.zeros(n_days, dtype=np.int64)
        is_plain = np.zeros(n_days, dtype=bool)
        for day, facts in days.items():
            place = (day - asked.first_on).days
            bits[place], is_plain[place] = facts
        seen &= hours_recorded(bits, is_plain)
    return seen


def last_year_of(lanes: Iterable[Lane]) -> tuple[dt.date, dt.date] | None:
    """The calendar year of the latest recorded day; None where nothing is recorded."""
    latest = LaneDay.objects.filter(lane__in=lanes).aggregate(last=Max("date"))["last"]
    if latest is None:
        return None
    return dt.date(latest.year, 1, 1), dt.date(latest.year, 12, 31)
