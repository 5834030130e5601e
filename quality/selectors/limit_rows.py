"""Every check with its default limit and the agency's own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from quality.models import CheckLimit
from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class LimitRow:
    """A check, the limit in force for all lanes, and lanes with one of their own."""

    check: Any
    for_all: CheckLimit | None
    for_lanes: tuple[CheckLimit, ...]

    @property
    def level(self) -> str:
        """What the check looks at."""
        return str(self.check.level.value)

    @property
    def value(self) -> float:
        """The limit in force for all lanes."""
        return self.for_all.value if self.for_all else float(self.check.default_limit)

    @property
    def is_off(self) -> bool:
        """Whether it is not used at all, but for lanes of their own limit."""
        return self.for_all is not None and self.for_all.is_off


def checks() -> list[Any]:
    """All checks: of records, of lane-days, of pairs of lanes."""
    from quality.calc.checks import CHECKS, PAIR_CHECKS, RECORD_CHECKS

    return [*RECORD_CHECKS, *CHECKS, *PAIR_CHECKS]


def check_of(key: str) -> Any:
    """The check of a key.

    Raises
    ------
    DomainError
        When there is none.
    """
    for check in checks():
        if check.key == key:
            return check
    raise DomainError(f"There is no check “{key}”.")


def limit_rows() -> list[LimitRow]:
    """Every check with the agency's limits; one query."""
    rows = list(CheckLimit.objects.select_related("lane__wim_site"))
    own = {row.check_key: row for row in rows if row.lane_id is None}
    return [
        LimitRow(
            check,
            own.get(check.key),
            tuple(r for r in rows if r.check_key == check.key and r.lane_id),
        )
        for check in checks()
    ]


def limit_history(key: str, most: int = 30) -> list[Any]:
    """Changes of a check's limits, newest first: value, lane, who, when, why."""
    rows = CheckLimit.history.filter(check_key=key)
    return list(
        rows.select_related("history_user", "lane__wim_site").order_by("-history_date")[
            :most
        ]
    )
