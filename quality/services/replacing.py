"""A later delivery of days that are held: shown, then kept out or put in their place.

Nothing is lost by it. The earlier records' parts stay in the store, out of use; what
they hold of other days is written again as parts of its own; the rows of the days are
kept with the decision. Undoing brings back what was there, to the last bit.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import transaction

from quality.models import (
    LaneDay,
    RecordFile,
    RecordPart,
    RecordReplacement,
    ReviewQuestion,
)
from quality.services.day_rows import days_put_back, days_taken_out
from quality.services.incoming import ImportOptions, known_lanes
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

if TYPE_CHECKING:
    from quality.calc.daily import Daily
    from quality.records.compare import DayDifference
    from quality.records.schema import LaneKey
    from quality.records.store import Part

KEEP, REPLACE = "keep", "replace"


@dataclass(frozen=True)
class Overlap:
    """Days of a file, of one lane, that are held already, and how they differ."""

    lane_id: int
    lane_name: str
    choice: str
    held_from: tuple[str, ...]
    days: tuple[DayDifference, ...]

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values, with the sums over the days."""
        days = [asdict(day) for day in self.days]
        names = [name for name in days[0] if name != "date"] if days else []
        sums = {name: sum(day[name] for day in days) for name in names}
        return asdict(self) | {"days": days, "sums": sums}


class HeldDays:
    """Watches a file being read for records of days that are held already.

    A context manager: what has to be compared lies in a folder that is removed at the
    end.
    """

    def __init__(self, options: ImportOptions) -> None:
        self.options = options
        self._known: dict[LaneKey, tuple[Lane, frozenset[dt.date]] | None] = {}

    def __enter__(self) -> HeldDays:
        from quality.records.compare import LaidRecords

        self._folder = tempfile.TemporaryDirectory(prefix="wimprog-compare-")
        self._laid = LaidRecords(Path(self._folder.name))
        return self

    def __exit__(self, *ignored: object) -> None:
        self._folder.cleanup()

    def choice(self, lane: Lane) -> str:
        """Keep or replace what is held of this lane; empty while nobody has said."""
        return self.options.held_lanes.get(str(lane.pk), self.options.held_days)

    def replaces(self, key: LaneKey) -> bool:
        """Whether what is held of this lane is to be replaced."""
        lane_days = self._of(key)
        return lane_days is not None and self.choice(lane_days[0]) == REPLACE

    def split(self, key: LaneKey, table: Any) -> tuple[Any, Any]:
        """A lane's records of free days, and of held ones."""
        import pyarrow as pa

        from quality.records.compare import day_mask

        lane_days = self._of(key)
        if lane_days is None or not lane_days[1]:
            return table, table.slice(0, 0)
        mask = day_mask(table, lane_days[1])
        if not mask.any():
            return table, table.slice(0, 0)
        held = table.filter(pa.array(mask))
        self._laid.add(str(lane_days[0].pk), held)
        return table.filter(pa.array(~mask)), held

    def _of(self, key: LaneKey) -> tuple[Lane, frozenset[dt.date]] | None:
        if key not in self._known:
            lane = known_lanes([key]).get(key)
            self._known[key] = None
            if lane is not None:
                dates = LaneDay.objects.filter(lane=lane).values_list("date", flat=True)
                self._known[key] = lane, frozenset(dates)
        return self._known[key]

    def dates_in(self, key: LaneKey, dates: Iterable[dt.date]) -> list[dt.date]:
        """Which of a lane's days in the file are held."""
        lane_days = self._of(key)
        return sorted(set(dates) & lane_days[1]) if lane_days else []

    def overlaps(self, dates: Mapping[LaneKey, Sequence[dt.date]]) -> list[Overlap]:
        """How the held days differ from what is held, one lane and month at a time."""
        import numpy as np

        from quality.records.compare import LAID, day_differences, laid_down
        from quality.records.store import iter_parts

        found = []
        for key, days in dates.items():
            lane_days = self._of(key)
            both = self.dates_in(key, days)
            if lane_days is None or not both:
                continue
            lane = lane_days[0]
            differences: list[DayDifference] = []
            for month in sorted({day.replace(day=1) for day in both}):
                chosen = [day for day in both if day.replace(day=1) == month]
                first = np.datetime64(chosen[0])
                last = np.datetime64(chosen[-1] + dt.timedelta(days=1))
                tables = iter_parts(
                    settings.RECORD_STORE,
                    [part.path for part in _parts_of(lane, chosen)],
                    first=first,
                    last=last,
                )
                old = np.concatenate(
                    [np.empty(0, LAID), *(laid_down(table) for table in tables)]
                )
                new = self._laid.of(str(lane.pk), np.datetime64(month))
                differences += day_differences(old, new, chosen)
            names = LaneDay.objects.filter(lane=lane, date__in=both).values_list(
                "record_file__source_name", flat=True
            )
            found.append(
                Overlap(
                    lane.pk, str(lane), self.choice(lane), tuple(sorted(set(names))),
                    tuple(differences),
                )
            )  # fmt: skip
        return found


def without_days(daily: Daily, dates: Iterable[dt.date]) -> Daily:
    """Daily sums without some days."""
    import numpy as np

    from quality.calc.daily import Daily

    dropped = np.array(sorted(dates), dtype="M8[s]")
    return Daily(
        by_class=daily.by_class[~daily.by_class["date"].isin(dropped)],
        by_day=daily.by_day[~daily.by_day["date"].isin(dropped)],
    )


def _parts_of(lane: Lane, dates: Sequence[dt.date]) -> list[RecordPart]:
    """Parts in use that may hold records of these days."""
    months = {day.replace(day=1) for day in dates}
    parts = RecordPart.objects.current().filter(lane=lane, month__in=months)
    return [
        part
        for part in parts.select_related("record_file").order_by("path")
        if any(part.first_at.date() <= day <= part.last_at.date() for day in dates)
    ]


@dataclass(frozen=True)
class Replacing:
    """One lane's days to be replaced: what goes out of use, and the rests of it.

    ``rests`` are on disk already and do not exist before a row names them.
    """

    lane: Lane
    dates: tuple[dt.date, ...]
    overlap: Overlap
    withdrawn: tuple[RecordPart, ...]
    rests: tuple[tuple[RecordPart, Part], ...]

    @property
    def paths(self) -> list[str]:
        """Paths of what was written."""
        return [part.path for _, part in self.rests]


def replacing_plan(overlap: Overlap, sha256: str) -> Replacing:
    """Write what older parts hold beside the replaced days. Changes no row."""
    import pyarrow as pa

    from quality.records.compare import day_mask
    from quality.records.store import read_parts, write_part

    lane = Lane.objects.select_related("wim_site").get(pk=overlap.lane_id)
    dates = tuple(dt.date.fromisoformat(day.date) for day in overlap.days)
    root = Path(settings.RECORD_STORE)
    withdrawn, rests = [], []
    for part in _parts_of(lane, dates):
        table = read_parts(root, [part.path])
        mask = day_mask(table, dates)
        if not mask.any():
            continue
        withdrawn.append(part)
        if not mask.all():
            # a name of its own, so that a rest never meets that of another decision
            source = hashlib.sha256(f"{part.path} {sha256}".encode()).hexdigest()
            rest = table.filter(pa.array(~mask))
            written = write_part(
                root, lane.wim_site.code, lane.label, rest, source_sha256=source
            )
            rests += [(part, one) for one in written]
    return Replacing(lane, dates, overlap, tuple(withdrawn), tuple(rests))


def part_row(
    record_file: RecordFile, lane: Lane, part: Part, **more: Any
) -> RecordPart:
    """The manifest's row of a written part."""
    return RecordPart(
        record_file=record_file,
        lane=lane,
        month=part.month.astype(dt.date),
        path=part.path,
        n_records=part.n_records,
        size_bytes=part.n_bytes,
        sha256=part.sha256,
        first_at=part.first_at.astype(dt.datetime).replace(tzinfo=dt.UTC),
        last_at=part.last_at.astype(dt.datetime).replace(tzinfo=dt.UTC),
        **more,
    )


def replacement_store(
    plan: Replacing, *, new_file: RecordFile, reason: str, by: Any
) -> RecordReplacement:
    """Take the older records of a plan out of use, inside the caller's transaction.

    The decisions on the days stay with them and are put in question.

    Raises
    ------
    DomainError
        When what is held has changed since the plan was made.
    """
    if not reason.strip():
        raise DomainError("Give the reason why the held days are replaced.")
    before = days_taken_out(plan.lane, plan.dates)
    replacement = RecordReplacement(
        new_file=new_file,
        lane=plan.lane,
        from_on=plan.dates[0],
        to_on=plan.dates[-1],
        difference=plan.overlap.as_dict() | {"before": before},
        reason=reason.strip()[:300],
        decided_by=by,
        decided_at=clock.now(),
    )
    save_with_reason(replacement, by=by, why=reason.strip()[:100])
    changed = (
        RecordPart.objects.current()
        .filter(pk__in=[part.pk for part in plan.withdrawn])
        .update(replaced_by=replacement)
    )
    if changed != len(plan.withdrawn) or len(before["days"]) != len(plan.dates):
        raise DomainError(
            f"What is held of {plan.lane} changed while the file was read. Look at "
            "the file again."
        )
    RecordPart.objects.bulk_create(
        [
            part_row(old.record_file, plan.lane, part, made_by=replacement)
            for old, part in plan.rests
        ]
    )
    _put_in_question(replacement, before["days"], by)
    return replacement


def decisions_kept(replacement: RecordReplacement) -> None:
    """Give the new days the decisions of the days that they replaced."""
    reviews: dict[int, list[str]] = {}
    for row in replacement.difference["before"]["days"]:
        if row["review_id"] is not None:
            reviews.setdefault(row["review_id"], []).append(row["date"])
    for review_id, dates in reviews.items():
        LaneDay.objects.filter(lane=replacement.lane, date__in=dates).update(
            review_id=review_id
        )


def _put_in_question(
    replacement: RecordReplacement, days: Sequence[Mapping[str, Any]], by: Any
) -> None:
    decided = [day["date"] for day in days if day["review_id"] is not None]
    if not decided:
        return
    question = ReviewQuestion(
        lane=replacement.lane,
        from_on=min(decided),
        to_on=max(decided),
        because=(
            "Records of these days were replaced by a later delivery: "
            f"{replacement.reason}"
        )[:300],
        evidence_key=f"replacement:{replacement.pk}",
    )
    save_with_reason(question, by=by, why="the days were replaced")


@transaction.atomic
def replacement_undo(
    *, replacement: RecordReplacement, by: Any, why: str
) -> RecordReplacement:
    """Bring back what a replacement took out of use, exactly as it was.

    The later delivery's records of those days go out of use and stay in the store.

    Raises
    ------
    DomainError
        Without a reason, when it was undone before, or when a later replacement
        rests on it.
    """
    from quality.services.importing import days_refresh

    if not why.strip():
        raise DomainError("Give the reason why the replacement is undone.")
    one = RecordReplacement.objects.select_for_update().get(pk=replacement.pk)
    if one.undone_at is not None:
        raise DomainError("This replacement was undone already.")
    made = RecordPart.objects.filter(made_by=one)
    later = made.filter(replaced_by__isnull=False).first()
    if later is not None:
        raise DomainError(
            f"A later replacement rests on this one ({later.replaced_by}). Undo that "
            "one first."
        )
    before = one.difference["before"]
    dates = [dt.date.fromisoformat(day["date"]) for day in before["days"]]
    RecordPart.objects.filter(replaced_by=one).update(replaced_by=None)
    made.update(replaced_by=one)
    days_taken_out(one.lane, dates)
    days_put_back(before)
    one.undone_by, one.undone_at = by, clock.now()
    save_with_reason(one, by=by, why=why.strip()[:100])
    for question in ReviewQuestion.objects.filter(
        lane=one.lane,
        evidence_key=f"replacement:{one.pk}",
        settled_by=None,
        kept_as_is_at=None,
    ):
        question.kept_as_is_by, question.kept_as_is_at = by, clock.now()
        save_with_reason(question, by=by, why="the replacement was undone")
    days_refresh({one.lane: dates})
    return one
