"""The condition of a lane, in one of four words, with every reason for it.

Question: does somebody have to go there, and why? The rule is the agency's own (its two
drift limits and its number of silent days are settings), in this order:

no data
    The lane is open and nothing was recorded for ``silent_days`` days or ever.
act
    The class 9 steering axle has drifted by ``act_drift_pct`` or more and the interval
    of the drift does not hold zero; or a position of the lane holds no working sensor;
    or the last calibration left the lane outside its class.
watch
    The drift is ``watch_drift_pct`` or more and its interval does not hold zero; or the
    calibration is overdue or was never made; or the last electrical test misses a limit
    or is heading for one within half a year; or a sensor is more likely than not to
    fail within a year.
sound
    None of these.

Left out on purpose: a score. Reasons are listed, never added up.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from wimprog.lib.judgement import Condition
from wimprog.lib.units import format_number

CROSSING_HORIZON_DAYS = 183
LIKELY_TO_FAIL = 0.5


@dataclass(frozen=True)
class ConditionLimits:
    """The agency's limits: percentages of drift, and days of silence."""

    watch_drift_pct: float
    act_drift_pct: float
    silent_days: int


@dataclass(frozen=True)
class LaneEvidence:
    """What is known of a lane, as plain values.

    ``drift_pct``, ``drift_low_pct``, ``drift_high_pct``: change of the class 9 steering
    axle since the last calibration with its interval; None when it cannot be said, for
    the reason in ``drift_why_not``. ``p_fail_1y``: greatest chance among the lane's
    live sensors of failing within a year.
    """

    is_open: bool
    last_data_on: dt.date | None
    last_calibrated_on: dt.date | None = None
    calibration_due_on: dt.date | None = None
    drift_pct: float | None = None
    drift_low_pct: float | None = None
    drift_high_pct: float | None = None
    drift_since: dt.date | None = None
    drift_n_weeks: int = 0
    drift_why_not: str = ""
    last_verdict: str = ""
    last_class: str = ""
    empty_positions: tuple[str, ...] = ()
    misses: tuple[str, ...] = ()
    crossings: tuple[tuple[str, dt.date], ...] = ()
    p_fail_1y: float | None = None
    p_fail_position: str = ""


@dataclass(frozen=True)
class LaneCondition:
    """The word, and the reasons worst first; ``sentence`` is the first of them."""

    condition: Condition
    reasons: tuple[str, ...] = field(default=())

    @property
    def sentence(self) -> str:
        """Why, in one sentence."""
        return self.reasons[0] if self.reasons else ""


def age_in_words(day: dt.date, today: dt.date) -> str:
    """How long ago, in the largest unit that does it justice.

    >>> age_in_words(dt.date(2030, 3, 14), dt.date(2031, 5, 14))
    '14 months ago'
    """
    days = (today - day).days
    if days < 0:
        return f"on {day_in_words(day)}"
    if days == 0:
        return "today"
    if days < 60:
        return f"{days} day{'s' if days > 1 else ''} ago"
    months = (today.year - day.year) * 12 + today.month - day.month
    months -= today.day < day.day
    if months < 24:
        return f"{months} months ago"
    return f"{months // 12} years ago"


def day_in_words(day: dt.date) -> str:
    """A date as it is said: "3 May 2031"."""
    return f"{day.day} {day:%b %Y}"


def drift_sentence(evidence: LaneEvidence) -> str:
    """The drift in words, with its interval and the number of weeks behind it."""
    if evidence.drift_pct is None:
        return evidence.drift_why_not or "Drift cannot be said."
    way = "heavy" if evidence.drift_pct > 0 else "light"
    size = format_number(abs(evidence.drift_pct), 1)
    text = f"Steering axle of class 9 reads {size} % {way}"
    if evidence.drift_low_pct is not None and evidence.drift_high_pct is not None:
        half = (evidence.drift_high_pct - evidence.drift_low_pct) / 2
        text += f", ±{format_number(half, 1)} %"
    if evidence.drift_since is not None:
        text += f", since {day_in_words(evidence.drift_since)}"
    return f"{text} ({evidence.drift_n_weeks} weeks)."


def drift_is_shown(evidence: LaneEvidence, limit_pct: float) -> bool:
    """Whether it reaches a limit, and its interval does not hold zero."""
    if evidence.drift_pct is None or abs(evidence.drift_pct) < limit_pct:
        return False
    if evidence.drift_low_pct is None or evidence.drift_high_pct is None:
        return False
    return evidence.drift_low_pct > 0 or evidence.drift_high_pct < 0


def _calibration_words(evidence: LaneEvidence, today: dt.date) -> str:
    if evidence.last_calibrated_on is None:
        return "Never calibrated, so its weights are not proven."
    return f"Last calibrated {age_in_words(evidence.last_calibrated_on, today)}."


def _reasons_to_act(evidence: LaneEvidence, limits: ConditionLimits) -> list[str]:
    reasons = []
    if drift_is_shown(evidence, limits.act_drift_pct):
        reasons.append(drift_sentence(evidence))
    for position in evidence.empty_positions:
        reasons.append(f"No working sensor at {position}.")
    if evidence.last_verdict == "misses":
        reasons.append(
            f"The last calibration left the lane outside {evidence.last_class}."
        )
    return reasons


def _reasons_to_watch(
    evidence: LaneEvidence, limits: ConditionLimits, today: dt.date
) -> list[str]:
    reasons = []
    if drift_is_shown(evidence, limits.watch_drift_pct) and not drift_is_shown(
        evidence, limits.act_drift_pct
    ):
        reasons.append(drift_sentence(evidence))
    reasons.extend(evidence.misses)
    horizon = today + dt.timedelta(days=CROSSING_HORIZON_DAYS)
    reasons.extend(
        f"{what} reaches its limit about {day_in_words(on)}."
        for what, on in evidence.crossings
        if on <= horizon
    )
    if evidence.last_calibrated_on is None:
        reasons.append(_calibration_words(evidence, today))
    elif evidence.calibration_due_on and evidence.calibration_due_on < today:
        reasons.append(
            f"Calibration was due {day_in_words(evidence.calibration_due_on)}."
        )
    if evidence.p_fail_1y is not None and evidence.p_fail_1y > LIKELY_TO_FAIL:
        reasons.append(
            f"{evidence.p_fail_position} has a "
            f"{format_number(100 * evidence.p_fail_1y, 0)} % chance of failing within "
            "a year."
        )
    return reasons


def lane_condition(
    evidence: LaneEvidence, limits: ConditionLimits, *, today: dt.date
) -> LaneCondition:
    """Judge a lane by the rule at the head of this module.

    Parameters
    ----------
    evidence
        What is known of the lane.
    limits
        The agency's own limits.
    today
        The day the judgement is made for.

    Returns
    -------
    LaneCondition
        The word and all reasons, those of the word first.
    """
    if not evidence.is_open:
        return LaneCondition(Condition.NO_DATA, ("The lane is not in service.",))
    act = _reasons_to_act(evidence, limits)
    watch = _reasons_to_watch(evidence, limits, today)
    calibrated = _calibration_words(evidence, today)
    if evidence.last_data_on is None:
        return LaneCondition(
            Condition.NO_DATA, ("No records yet; import its first file.", *act, *watch)
        )
    silent = (today - evidence.last_data_on).days
    if silent > limits.silent_days:
        first = (
            f"No records since {day_in_words(evidence.last_data_on)} ({silent} days)."
        )
        return LaneCondition(Condition.NO_DATA, (first, *act, *watch))
    if act:
        return LaneCondition(Condition.ACT, (*act, *watch, calibrated))
    if watch:
        rest = () if evidence.last_calibrated_on is None else (calibrated,)
        return LaneCondition(Condition.WATCH, (*watch, *rest))
    return LaneCondition(Condition.SOUND, (drift_sentence(evidence), calibrated))
