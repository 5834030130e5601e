"""The limits of checks in force: the agency's own where it has set some."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q

from quality.models import CheckLimit

if TYPE_CHECKING:
    from sites.models import Lane


@dataclass(frozen=True)
class CheckLimits:
    """The agency's own limits by check key, and the checks that it does not use."""

    values: dict[str, float]
    not_used: frozenset[str]


def check_limits(lane: Lane | None = None) -> CheckLimits:
    """Limits for a lane, its own before those for all lanes; one query.

    Without a lane those for all lanes. Limits of checks that there are no more are
    left out.
    """
    from quality.calc.checks import CHECKS, PAIR_CHECKS, RECORD_CHECKS

    there_are = {check.key for check in (*CHECKS, *RECORD_CHECKS, *PAIR_CHECKS)}
    wanted = Q(lane=None) if lane is None else Q(lane=None) | Q(lane=lane)
    rows = CheckLimit.objects.filter(wanted, check_key__in=there_are).values_list(
        "check_key", "lane_id", "value", "is_off"
    )
    values: dict[str, float] = {}
    off: dict[str, bool] = {}
    for key, _, value, is_off in sorted(rows, key=lambda row: row[1] is not None):
        values[key], off[key] = value, is_off
    return CheckLimits(values, frozenset(key for key, is_off in off.items() if is_off))
