"""The checks of a lane's days, in one list.

Each is a function of the lane's days that returns findings; what it looks at, its
unit, default limit, source and sentence stand beside it in :data:`CHECKS`. To add one,
write the function and give it an entry here: screens, reports and the settings page
read the list. A check proposes; a person decides.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from quality.calc.daily import HOUR_COLUMNS
from quality.calc.days import as_day
from quality.calc.gaps import GAP_PROBABILITY, WATCH_PROBABILITY, empty_runs
from wimprog.lib.units import format_number

METHOD_VERSION = "checks-1"
VOLUME_WEEKS = 8
SPREAD_WEEKS = 26
"""Weeks from which the spread of the ratio is learnt; eight are too few, because the
days of a week rise and fall together (own simulation)."""
LEAST_SAME_WEEKDAYS = 4
LEAST_RATIOS = 14
SD_PER_MAD = 1.4826


class Weight(StrEnum):
    """What a finding proposes for its day."""

    SET_ASIDE = "set aside"
    LOOK = "look at"


class Proposal(StrEnum):
    """What is proposed for a day."""

    ACCEPT = "accept"
    LOOK = "look at"
    SET_ASIDE = "set aside"
    NO_DATA = "no data"


@dataclass(frozen=True)
class Finding:
    """One check that fired on one day; the sentence is fit to be shown."""

    key: str
    date: np.datetime64
    value: float
    limit: float
    n: int
    weight: Weight
    sentence: str


@dataclass(frozen=True)
class LaneDays:
    """Consecutive days of one lane, n of them, missing days included.

    Attributes
    ----------
    date : datetime64[D], (n,)
    is_recorded : bool, (n,)
        Whether anything was delivered for the day.
    n_vehicles, n_unclassified, n_implausible : (n,)
        Vehicles, and how many have no class or break a physical limit.
    hours_seen : (n,)
        Bit h set when hour h held a vehicle or was marked as recorded and empty.
    hourly : (n, 24)
        Vehicles of each hour.
    """

    date: np.ndarray
    is_recorded: np.ndarray
    n_vehicles: np.ndarray
    n_unclassified: np.ndarray
    n_implausible: np.ndarray
    hours_seen: np.ndarray
    hourly: np.ndarray

    @classmethod
    def from_frame(
        cls,
        by_day: pd.DataFrame,
        *,
        first_on: np.datetime64 | dt.date | None = None,
        last_on: np.datetime64 | dt.date | None = None,
    ) -> LaneDays:
        """From :attr:`quality.calc.daily.Daily.by_day`.

        ``first_on`` and ``last_on`` (included) say which days were to be expected;
        without them those between the first and the last that were recorded. Days
        without a row are kept as "no data", never as zero.
        """
        dates = pd.to_datetime(by_day["date"]).to_numpy().astype("datetime64[D]")
        if first_on is None or last_on is None:
            if len(dates) == 0:
                raise ValueError("give first_on and last_on when there are no days")
            first_on = dates.min() if first_on is None else first_on
            last_on = dates.max() if last_on is None else last_on
        first, last = as_day(first_on), as_day(last_on)
        every = np.arange(first, last + 1)
        inside = (dates >= first) & (dates <= last)
        place = (dates[inside] - first).astype(np.int64)
        recorded = np.zeros(len(every), dtype=bool)
        recorded[place] = True

        def spread(name: str) -> np.ndarray:
            out = np.zeros(len(every), dtype=np.int64)
            if name in by_day.columns:
                out[place] = by_day[name].to_numpy(dtype=np.int64)[inside]
            return out

        return cls(
            date=every,
            is_recorded=recorded,
            n_vehicles=spread("n_vehicles"),
            n_unclassified=spread("n_unclassified"),
            n_implausible=spread("n_implausible"),
            hours_seen=spread("hours_seen"),
            hourly=np.column_stack([spread(name) for name in HOUR_COLUMNS]),
        )


CheckFunction = Callable[[LaneDays, "Check", float], list[Finding]]


@dataclass(frozen=True)
class Check:
    """One check: what it is called, how it is limited and where the limit is from."""

    key: str
    title: str
    unit: str
    default_limit: float
    source: str
    standing: str
    sentence: str
    run: CheckFunction


def _hours_missing(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Empty hours that are too unlikely to be quiet ones."""
    seen = (days.hours_seen[:, None] >> np.arange(24)) & 1 == 1
    missing = ~(seen | (days.hourly > 0))
    known = np.repeat(days.is_recorded[:, None], 24, axis=1)
    watch = max(limit, WATCH_PROBABILITY)
    findings = []
    for run in empty_runs(
        days.hourly, is_empty=missing, is_known=known, watch=watch, gap=limit
    ):
        for day in range(run.start // 24, -(-run.stop // 24)):
            if not days.is_recorded[day]:
                continue
            start = max(run.start - day * 24, 0)
            stop = min(run.stop - day * 24, 24)
            findings.append(
                Finding(
                    key=check.key,
                    date=days.date[day],
                    value=run.probability,
                    limit=limit,
                    n=stop - start,
                    weight=(
                        Weight.SET_ASIDE if run.probability <= limit else Weight.LOOK
                    ),
                    sentence=check.sentence.format(
                        start=start,
                        stop=stop,
                        hours=run.stop - run.start,
                        expected=format_number(run.expected, 0),
                        chance=_chance(run.probability),
                    ),
                )
            )
    return findings


def _chance(probability: float) -> str:
    if probability < 1e-9:
        return "less than one in a billion"
    return f"about one in {format_number(float(f'{1 / probability:.1g}'), 0)}"


def _volume(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Vehicles of a day far below the lane's own same weekdays."""
    volume = np.where(days.is_recorded & (days.n_vehicles > 0), days.n_vehicles, np.nan)
    n = len(volume)
    weeks = -(-n // 7)
    padded = np.full(weeks * 7, np.nan)
    padded[:n] = volume
    grid = padded.reshape(weeks, 7)
    earlier = np.full((VOLUME_WEEKS, weeks, 7), np.nan)
    for back in range(1, min(VOLUME_WEEKS, weeks - 1) + 1):
        earlier[back - 1, back:] = grid[:-back]
    enough = np.isfinite(earlier).sum(axis=0) >= LEAST_SAME_WEEKDAYS
    usual = np.full((weeks, 7), np.nan)
    if enough.any():
        usual[enough] = np.nanmedian(earlier[:, enough], axis=0)
    usual = usual.reshape(-1)[:n]
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log(volume / usual)
    findings = []
    for day in np.flatnonzero(np.isfinite(ratio) & (ratio < 0)).tolist():
        before = ratio[max(day - 7 * SPREAD_WEEKS, 0) : day]
        before = before[np.isfinite(before)]
        if len(before) < LEAST_RATIOS:
            continue
        middle = float(np.median(before))
        sd = SD_PER_MAD * float(np.median(np.abs(before - middle)))
        # a count cannot scatter less than Poisson: sd of log n is about 1/√n
        sd = max(sd, 1.0 / float(np.sqrt(volume[day])))
        score = float(ratio[day] - middle) / sd
        if score < limit:
            findings.append(
                Finding(
                    key=check.key,
                    date=days.date[day],
                    value=score,
                    limit=limit,
                    n=int(days.n_vehicles[day]),
                    weight=Weight.SET_ASIDE,
                    sentence=check.sentence.format(
                        n=format_number(float(volume[day]), 0),
                        usual=format_number(float(usual[day]), 0),
                        score=format_number(score, 1),
                        limit=format_number(limit, 1),
                    ),
                )
            )
    return findings


def _share(
    part: np.ndarray, days: LaneDays, check: Check, limit: float, weight: Weight
) -> list[Finding]:
    """Findings where a share is above its limit beyond what chance explains."""
    findings = []
    n = days.n_vehicles.astype(np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = part / n
        low = wilson_lower(part, n)
    for day in np.flatnonzero((n > 0) & (low > limit)):
        findings.append(
            Finding(
                key=check.key,
                date=days.date[day],
                value=float(share[day]),
                limit=limit,
                n=int(n[day]),
                weight=weight,
                sentence=check.sentence.format(
                    k=format_number(float(part[day]), 0),
                    n=format_number(float(n[day]), 0),
                    share=format_number(100 * float(share[day]), 1),
                    low=format_number(100 * float(low[day]), 1),
                    limit=format_number(100 * limit, 1),
                ),
            )
        )
    return findings


def wilson_lower(
    part: np.ndarray | float, n: np.ndarray | float, z: float = 1.6448536
) -> np.ndarray:
    """One-sided 95 % lower bound of a share (NIST e-Handbook 7.2.4.1; Wilson)."""
    part, n = np.asarray(part, np.float64), np.asarray(n, np.float64)
    share = part / n
    centre = share + z * z / (2 * n)
    half = z * np.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return np.asarray((centre - half) / (1 + z * z / n))


def _unclassified(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    return _share(days.n_unclassified, days, check, limit, Weight.LOOK)


def _implausible(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    return _share(days.n_implausible, days, check, limit, Weight.SET_ASIDE)


CHECKS: tuple[Check, ...] = (
    Check(
        key="hours-missing",
        title="Hours missing",
        unit="chance of the empty run",
        default_limit=GAP_PROBABILITY,
        source="run of empty hours against the same hours of the 8 weeks before, "
        "negative binomial (own simulation)",
        standing="computed",
        sentence="No vehicle from {start:02d}:00 to {stop:02d}:00, in {hours} empty "
        "hours in a row where about {expected} vehicles were to be expected; the "
        "chance of that with the lane working is {chance}.",
        run=_hours_missing,
    ),
    Check(
        key="volume",
        title="Volume against its own weekday",
        unit="robust standard deviations",
        default_limit=-3.5,
        source="log ratio to the median of the same weekday in the 8 weeks before "
        "(own simulation)",
        standing="computed",
        sentence="{n} vehicles where the same weekday usually has {usual}: {score} "
        "robust standard deviations, limit {limit}. A holiday explains it; half the "
        "traffic lost does too.",
        run=_volume,
    ),
    Check(
        key="unclassified",
        title="Unclassified share",
        unit="share",
        default_limit=0.05,
        source="5 % common alarm; 2 % for research-quality data (LTPP)",
        standing="not checked against the document",
        sentence="{share} % of {n} vehicles have no class (at least {low} % with 95 % "
        "confidence), limit {limit} %.",
        run=_unclassified,
    ),
    Check(
        key="implausible",
        title="Physical limits",
        unit="share",
        default_limit=0.05,
        source="limits of NCHRP report 683; the share is common practice, no source",
        standing="not checked against the document",
        sentence="{k} of {n} vehicles ({share} %, at least {low} % with 95 % "
        "confidence) break a physical limit of speed, weight or spacing, limit "
        "{limit} %.",
        run=_implausible,
    ),
)


@dataclass(frozen=True)
class DayProposal:
    """What is proposed for one day, with the findings behind it."""

    date: np.datetime64
    proposal: Proposal
    findings: tuple[Finding, ...]

    @property
    def reason(self) -> str:
        """The findings' sentences, the weightiest first; "" when there are none."""
        ordered = sorted(self.findings, key=lambda f: f.weight is Weight.LOOK)
        return " ".join(finding.sentence for finding in ordered)


def propose(
    days: LaneDays,
    *,
    limits: Mapping[str, float] | None = None,
    checks: Sequence[Check] = CHECKS,
) -> list[DayProposal]:
    """Run the checks and propose, day by day, to accept, look at or set aside.

    Parameters
    ----------
    days
        One lane's consecutive days.
    limits
        The agency's own limits by check key, in place of the defaults.

    Raises
    ------
    ValueError
        When a limit names no check.
    """
    limits = limits or {}
    unknown = sorted(set(limits) - {check.key for check in checks})
    if unknown:
        raise ValueError(f"there is no check “{unknown[0]}”")
    found: dict[np.datetime64, list[Finding]] = {}
    for check in checks:
        for finding in check.run(
            days, check, limits.get(check.key, check.default_limit)
        ):
            found.setdefault(finding.date, []).append(finding)
    proposals = []
    for date, recorded in zip(days.date, days.is_recorded, strict=True):
        findings = tuple(found.get(date, ()))
        weights = {finding.weight for finding in findings}
        if not recorded:
            proposal = Proposal.NO_DATA
        elif Weight.SET_ASIDE in weights:
            proposal = Proposal.SET_ASIDE
        elif findings:
            proposal = Proposal.LOOK
        else:
            proposal = Proposal.ACCEPT
        proposals.append(DayProposal(date, proposal, findings))
    return proposals
