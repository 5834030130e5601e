"""Records with the back-corrections that are in force, marked as such."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.conf import settings

from quality.calc.types import CorrectionState
from quality.models import (
    BackCorrection,
    DayDecision,
    LaneDay,
    RecordPart,
    RecordSettings,
)
from sites.models import Lane

if TYPE_CHECKING:
    import pyarrow as pa

DAY = dt.timedelta(days=1)


def corrections_used() -> bool:
    """Whether the agency's policy lets allowed corrections be used."""
    chosen = RecordSettings.objects.first()
    return chosen is not None and chosen.use_corrections


def corrections_in_force(
    lane_ids: Iterable[int], *, first_on: dt.date, last_on: dt.date
) -> list[BackCorrection]:
    """Allowed corrections that meet a period; none where the policy says no."""
    if not corrections_used():
        return []
    rows = BackCorrection.objects.filter(
        lane_id__in=list(lane_ids),
        state=CorrectionState.ALLOWED.value,
        from_on__lte=last_on,
        to_on__gte=first_on,
    )
    return list(rows.order_by("lane_id", "from_on"))


@dataclass(frozen=True)
class WeightsPiece:
    """Records of a stretch of days under one rule.

    ``correction`` None: as recorded. With one, the weights are scaled by its factor and
    the table says so in its metadata (:func:`quality.calc.scaled_weights.scaling_of`).
    """

    from_on: dt.date
    to_on: dt.date
    records: pa.Table
    correction: BackCorrection | None


def weights_of(
    lane: Lane,
    *,
    first_on: dt.date,
    last_on: dt.date,
    columns: Sequence[str] | None = None,
    accepted_only: bool = True,
) -> list[WeightsPiece]:
    """A lane's records of a period, in stretches, corrected where that is in force.

    Parameters
    ----------
    columns
        Columns wanted; all by default.
    accepted_only
        Only days that were accepted; else all but those set aside. Days set aside are
        never among them.
    """
    import numpy as np
    import pyarrow as pa

    from quality.calc.scaled_weights import Scaling, scaled
    from quality.records.store import read_parts

    wanted = list(columns) if columns is not None else None
    read = wanted if wanted is None or "time" in wanted else [*wanted, "time"]
    days = LaneDay.objects.filter(lane=lane, date__range=(first_on, last_on))
    kept = (
        days.filter(review__decision=DayDecision.ACCEPTED)
        if accepted_only
        else days.exclude(review__decision=DayDecision.SET_ASIDE)
    )
    dates = np.array(sorted(kept.values_list("date", flat=True)), "datetime64[D]")
    parts = RecordPart.objects.current().filter(
        lane=lane, first_at__date__lte=last_on, last_at__date__gte=first_on
    )
    paths = list(parts.order_by("path").values_list("path", flat=True))
    pieces = []
    for from_on, to_on, correction in _stretches(lane, first_on, last_on):
        table = read_parts(
            settings.RECORD_STORE,
            paths,
            columns=read,
            first=np.datetime64(from_on),
            last=np.datetime64(to_on + DAY),
        )
        on = np.asarray(table.column("time")).astype("datetime64[D]")
        table = table.filter(pa.array(np.isin(on, dates)))
        if wanted is not None:
            table = table.select(wanted)
        if correction is not None:
            factors = correction.factor, correction.factor_low, correction.factor_high
            table = scaled(table, Scaling(*factors))
        pieces.append(WeightsPiece(from_on, to_on, table, correction))
    return pieces


def _stretches(
    lane: Lane, first_on: dt.date, last_on: dt.date
) -> list[tuple[dt.date, dt.date, BackCorrection | None]]:
    """The period cut at the corrections in force; allowed ones never overlap."""
    found: list[tuple[dt.date, dt.date, BackCorrection | None]] = []
    at = first_on
    for one in corrections_in_force([lane.pk], first_on=first_on, last_on=last_on):
        start, end = max(one.from_on, first_on), min(one.to_on, last_on)
        if at < start:
            found.append((at, start - DAY, None))
        found.append((start, end, one))
        at = end + DAY
    if at <= last_on:
        found.append((at, last_on, None))
    return found
