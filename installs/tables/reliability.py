"""Reliability by group as rows for a spreadsheet."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from installs.calc.group_figures import AGES_YEARS, AtAge
from installs.calc.types import Estimate
from installs.selectors.reliability import Reliability
from wimprog.lib.tables import NO_DATA


def _ages(what: str) -> list[str]:
    return [
        f"{what} {age:g} years{tail}"
        for age in AGES_YEARS
        for tail in ("", ", low", ", high", ", n")
    ]


def _estimate(what: str) -> list[str]:
    return [what, f"{what}, low", f"{what}, high", f"{what}, n"]


HEADINGS = [
    "group",
    "lives",
    "failures",
    "failures between two days",
    "lanes",
    "years in service",
    *_ages("share working at"),
    "median life, years",
    "median life, low",
    "median life, high",
    *_ages("failures per lane by"),
    *_estimate("years in service between failures"),
    *_estimate("days to repair"),
    "not repaired yet",
    *_estimate("share of time lanes worked"),
]
NOTE = (
    "Share working: Kaplan–Meier, 95 % log–log interval, n at risk. Failures per lane: "
    "mean cumulative function, 95 % robust interval, n lanes watched. Years between "
    "failures: 90 % chi-square interval, n failures. Days to repair: mean, 90 % "
    "interval from log times, n repairs. Share of time: ratio over lanes, 90 % "
    "interval, n lanes."
)


def _cells(at: AtAge) -> list[Any]:
    return [_told(at.value), _told(at.low), _told(at.high), at.at_risk]


def _of(estimate: Estimate | None) -> list[Any]:
    if estimate is None:
        return [NO_DATA, NO_DATA, NO_DATA, 0]
    return [
        _told(estimate.value),
        _told(estimate.low),
        _told(estimate.high),
        estimate.n,
    ]


def _told(value: float | None) -> Any:
    return NO_DATA if value is None or not math.isfinite(value) else round(value, 4)


def reliability_sheet(found: Reliability) -> Iterator[list[Any]]:
    """One row a group."""
    for one in found.groups:
        yield [
            one.name,
            one.n_lives,
            one.n_failures,
            one.n_bracketed,
            one.n_lanes,
            round(one.service_years, 2),
            *[cell for at in one.survival for cell in _cells(at)],
            _told(one.median.years),
            _told(one.median.low_years),
            _told(one.median.high_years),
            *[cell for at in one.per_lane for cell in _cells(at)],
            *_of(one.between),
            *_of(one.repair),
            one.n_unrepaired,
            *_of(one.works),
        ]
