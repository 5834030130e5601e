"""A factor that would bring recorded weights back, where a shift is measured well.

Proposed, never applied here: the agency's policy decides, the raw data stay, and every
report marks what was scaled. A factor corrects a change of gain, by which every axle is
off by the same percentage. A shift of the steering axle alone cannot tell a gain from
an offset; where the gross weight peaks are known they are asked, and where they are not
the proposal says so.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np

from quality.calc.change_point import Shape
from quality.calc.condition import day_in_words
from quality.calc.days import as_day
from quality.calc.drift_episode import DriftEpisode, Scope
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

METHOD_VERSION = "back-correction-1"
MOST_HALF_WIDTH_PCT = 1.0
MOST_SHARE = 0.5
"""The interval of the size may be ±1 % wide, and no wider than ± half the size."""
MOST_ONSET_WEEKS = 8
LEAST_WEEKS = 8
"""Weeks since the onset that a size must rest on (own choices, no source)."""


@dataclass(frozen=True)
class PeakChanges:
    """Change of the unloaded and the loaded gross weight peak [%] with intervals."""

    unloaded: Interval
    loaded: Interval


@dataclass(frozen=True)
class CorrectionLimits:
    """What the agency asks of a shift before it may be corrected."""

    most_half_width_pct: float = MOST_HALF_WIDTH_PCT
    most_onset_weeks: float = MOST_ONSET_WEEKS
    least_weeks: int = LEAST_WEEKS


@dataclass(frozen=True)
class BackCorrection:
    """A proposal, or why there is none.

    Attributes
    ----------
    is_proposed
        Whether there is a factor.
    factor, interval
        What recorded weights would be multiplied by, and its interval: for a step, all
        through; for a ramp, in its last week. None when refused.
    from_on, until_on
        First day that is surely shifted, and first day no longer (None: it goes on).
    doubtful_from_on
        First day of the weeks that may or may not be shifted: no factor is right for
        them.
    shape, slope_pct_per_week, ramp_on
        A ramp's factor grows with the weeks: :meth:`factors`.
    reasons
        Why it is refused, each a sentence; empty when proposed.
    rule, sentence
        The rule with its figures, and the whole for people.
    """

    is_proposed: bool
    factor: float | None
    interval: Interval | None
    from_on: dt.date | None
    until_on: dt.date | None
    doubtful_from_on: dt.date | None
    shape: Shape
    slope_pct_per_week: float | None
    ramp_on: dt.date | None
    reasons: tuple[str, ...]
    rule: str
    sentence: str

    def factors(self, week_on: np.ndarray) -> np.ndarray:
        """Factor of each week.

        Parameters
        ----------
        week_on : (n,)
            Mondays, datetime64.

        Returns
        -------
        (n,)
            1 outside the period; NaN for the weeks that are doubtful.

        Raises
        ------
        ValueError
            When no correction is proposed.
        """
        if self.factor is None or self.from_on is None:
            raise ValueError("no correction is proposed: " + " ".join(self.reasons))
        week_on = np.asarray(week_on).astype("datetime64[D]")
        out = np.full(len(week_on), self.factor)
        if self.slope_pct_per_week is not None and self.ramp_on is not None:
            ran = (week_on - as_day(self.ramp_on)).astype(np.int64) // 7 + 1
            out = np.exp(-self.slope_pct_per_week * np.maximum(ran, 0) / 100.0)
        if self.doubtful_from_on is not None:
            out[week_on < as_day(self.from_on)] = np.nan
            out[week_on < as_day(self.doubtful_from_on)] = 1.0
        if self.until_on is not None:
            out[week_on >= as_day(self.until_on)] = 1.0
        return out

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values, to be kept beside the raw data."""
        days = (self.from_on, self.until_on, self.doubtful_from_on, self.ramp_on)
        start, until, doubtful, ramp = (d.isoformat() if d else None for d in days)
        interval = self.interval
        return {
            "is_proposed": self.is_proposed,
            "factor": self.factor,
            "interval": None
            if interval is None
            else {"low": interval.low, "high": interval.high, "level": interval.level},
            "from_on": start,
            "until_on": until,
            "doubtful_from_on": doubtful,
            "shape": self.shape.value,
            "slope_pct_per_week": self.slope_pct_per_week,
            "ramp_on": ramp,
            "reasons": list(self.reasons),
            "rule": self.rule,
            "sentence": self.sentence,
            "method": METHOD_VERSION,
        }


def propose_correction(
    episode: DriftEpisode,
    *,
    limits: CorrectionLimits | None = None,
    peaks: PeakChanges | None = None,
) -> BackCorrection:
    """Propose a factor for an episode, or say why not.

    Parameters
    ----------
    episode
        The shift, compared with its neighbours (a regional shift is traffic, and
        traffic must not be corrected away).
    limits
        What the agency asks; our own choices when None.
    peaks
        Change of the gross weight peaks over the same weeks, where known.
    """
    limits = limits or CorrectionLimits()
    rule = (
        f"A factor is proposed when the interval of the size is within "
        f"±{format_number(limits.most_half_width_pct, 1)} % and ± half the size, that "
        f"of the onset within {format_number(limits.most_onset_weeks, 0)} weeks, "
        f"{limits.least_weeks} weeks lie after it, step and ramp are told apart, and "
        "the region did not move (own method)."
    )
    reasons = _reasons(episode, limits, peaks)
    if reasons:
        return BackCorrection(
            False, None, None, None, None, None, episode.shape, None, None,
            tuple(reasons), rule,
            "No correction is proposed. " + " ".join(reasons),
        )  # fmt: skip
    factor = _inverse(episode.size_pct)
    interval = Interval(
        _inverse(episode.interval.high),
        _inverse(episode.interval.low),
        episode.interval.level,
    )
    is_ramp = episode.shape is Shape.RAMP
    # the Monday after the interval of the onset; a step known to the week has no doubt
    one_week = (episode.onset_high_on - episode.onset_low_on).days < 7
    start = (
        episode.onset_on if one_week else episode.onset_high_on + dt.timedelta(days=1)
    )
    if is_ramp:
        start = episode.onset_on
    doubtful = None if one_week or is_ramp else episode.onset_low_on
    until = (
        f"until {day_in_words(episode.until_on)}" if episode.until_on else "until now"
    )
    how = (
        f"growing to {format_number(factor, 4)} in the last week"
        if is_ramp
        else format_number(factor, 4)
    )
    sentence = (
        f"Proposed: multiply weights from {day_in_words(start)} {until} by {how} "
        f"({format_number(interval.low, 4)} to {format_number(interval.high, 4)})."
    )
    if doubtful is not None:
        sentence += (
            f" The weeks from {day_in_words(doubtful)} to {day_in_words(start)} may or "
            "may not be shifted: no factor is right for them."
        )
    sentence += (
        " Both gross weight peaks moved alike, as a change of gain does."
        if peaks is not None
        else " It assumes that every axle is off by the same percentage; the gross "
        "weight peaks were not asked."
    )
    return BackCorrection(
        is_proposed=True,
        factor=factor,
        interval=interval,
        from_on=start,
        until_on=episode.until_on,
        doubtful_from_on=doubtful,
        shape=episode.shape,
        slope_pct_per_week=episode.slope_pct_per_week if is_ramp else None,
        ramp_on=episode.onset_on if is_ramp else None,
        reasons=(),
        rule=rule,
        sentence=sentence,
    )


def _reasons(
    episode: DriftEpisode, limits: CorrectionLimits, peaks: PeakChanges | None
) -> list[str]:
    out = []
    half = (episode.interval.high - episode.interval.low) / 2.0
    if half > limits.most_half_width_pct or half > MOST_SHARE * abs(episode.size_pct):
        out.append(
            f"The size is too uncertain (±{format_number(half, 1)} % of "
            f"{format_number(episode.size_pct, 1)} %)."
        )
    weeks = ((episode.onset_high_on - episode.onset_low_on).days + 1) / 7.0
    # a ramp is small while its onset is in doubt, and its interval covers that
    if episode.shape is not Shape.RAMP and weeks > limits.most_onset_weeks:
        out.append(f"The onset is known to {format_number(weeks, 0)} weeks only.")
    if episode.n_weeks < limits.least_weeks:
        out.append(
            f"Only {episode.n_weeks} weeks lie after the onset; "
            f"{limits.least_weeks} are needed."
        )
    if episode.shape is Shape.UNCLEAR:
        out.append("Whether it moved at once or little by little is not told.")
    if episode.scope.scope is Scope.REGION:
        out.append("The whole region moved: that is traffic, not the scale.")
    if episode.scope.scope is Scope.UNKNOWN:
        out.append("Whether the region moved too is not known.")
    if peaks is not None and not _overlap(peaks.unloaded, peaks.loaded):
        out.append(
            "The unloaded and loaded gross weight peaks moved by different "
            "percentages: no single factor corrects that."
        )
    elif peaks is not None and not _overlap(peaks.loaded, episode.interval):
        out.append(
            "The loaded gross weight peak moved by another percentage than the "
            "steering axle."
        )
    return out


def _overlap(a: Interval, b: Interval) -> bool:
    return a.low <= b.high and b.low <= a.high


def _inverse(pct: float) -> float:
    return 1.0 / (1.0 + pct / 100.0)
