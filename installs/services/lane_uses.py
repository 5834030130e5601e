"""What a lane's weights are used for: set with who and why."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from django.db import transaction

from installs.calc.upkeep.types import DataUse
from installs.models import LaneUse
from sites.models import Lane
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def lane_uses_set(
    *, lane: Lane, uses: Collection[DataUse], by: Any, why: str
) -> list[LaneUse]:
    """Make ``uses`` what the lane's weights are used for; those left out end.

    Raises
    ------
    DomainError
        Without a reason.
    """
    if not why.strip():
        raise DomainError("Say why the uses are these; the reason is kept.")
    held = {row.use: row for row in LaneUse.objects.filter(lane=lane)}
    for word, row in held.items():
        if word not in uses:
            row._history_user = by  # type: ignore[attr-defined]
            row._change_reason = why.strip()  # type: ignore[attr-defined]
            row.delete()
    for use in uses:
        if use.value not in held:
            new = LaneUse(lane=lane, use=use.value)
            save_with_reason(new, by=by, why=why.strip())
    return list(LaneUse.objects.filter(lane=lane))
