"""Finds the checks: each is a file in a folder of its level, found by being there."""

from __future__ import annotations

import importlib
import pkgutil
from types import ModuleType
from typing import TypeVar

from quality.calc.checks import lane_day, lane_pair, record
from quality.calc.checks.kinds import Check, Finding, PairCheck, RecordCheck
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.shares import share_findings

Kind = TypeVar("Kind", Check, PairCheck, RecordCheck)


def checks_in(package: ModuleType, kind: type[Kind]) -> tuple[Kind, ...]:
    """The ``CHECK`` of every module of a package, in the order of their files' names.

    Raises
    ------
    ValueError
        When a file has none, one of another kind, or two have the same key.
    """
    found: dict[str, Kind] = {}
    for module in sorted(pkgutil.iter_modules(package.__path__), key=lambda m: m.name):
        name = f"{package.__name__}.{module.name}"
        check = getattr(importlib.import_module(name), "CHECK", None)
        if not isinstance(check, kind):
            raise ValueError(f"{name} has no CHECK of the kind {kind.__name__}")
        if check.key in found:
            raise ValueError(f"{name}: there is a check “{check.key}” already")
        found[check.key] = check
    return tuple(found.values())


def share_key(check: RecordCheck) -> str:
    """Key of the check of days by the share of records that break ``check``."""
    return f"{check.key}-share"


def share_check(of: RecordCheck) -> Check | None:
    """The check of days by the share of records that break one of records."""
    share = of.day_share
    if share is None:
        return None

    def run(days: LaneDays, check: Check, limit: float) -> list[Finding]:
        part, n = (days.figure("checks", of.key, place=place) for place in (0, 1))
        return share_findings(part, n, days, check, limit, share.weight)

    return Check(
        key=share_key(of),
        title=f"{of.title}: share of a day",
        unit="share",
        default_limit=share.limit,
        source=share.source,
        standing=share.standing,
        sentence="{k} of {n} vehicles ({share} %, at least {low} % with 95 % "
        f"confidence) {of.sentence}, limit {{limit}} %.",
        run=run,
    )


def record_checks() -> tuple[RecordCheck, ...]:
    """Every check of single records."""
    return checks_in(record, RecordCheck)


def pair_checks() -> tuple[PairCheck, ...]:
    """Every check of two lanes."""
    return checks_in(lane_pair, PairCheck)


def lane_day_checks(of_records: tuple[RecordCheck, ...]) -> tuple[Check, ...]:
    """Every check of days: those of files, then the shares of the records' checks."""
    shares = [share_check(check) for check in of_records]
    return (*checks_in(lane_day, Check), *(one for one in shares if one is not None))
