"""Whether something that runs out is in date: a calibration, a batch of resin."""

from __future__ import annotations

from datetime import date
from enum import StrEnum

from wimprog.lib.judgement import Condition

#: Days ahead in which something is due; the agency's own, change it here.
DUE_WITHIN_DAYS = 30


class DueState(StrEnum):
    """Where a date that runs out stands on a day."""

    condition: Condition

    IN_DATE = "in date", Condition.SOUND
    DUE_SOON = f"due within {DUE_WITHIN_DAYS} days", Condition.WATCH
    OUT_OF_DATE = "out of date", Condition.ACT
    NOT_KEPT = "no date kept", Condition.NO_DATA

    def __new__(cls, word: str, condition: Condition = Condition.NO_DATA) -> DueState:
        """Keep the word as the value, the condition it is shown as beside it."""
        state = str.__new__(cls, word)
        state._value_ = word
        state.condition = condition
        return state


def due_state(last_day: date | None, today: date) -> DueState:
    """Where something stands whose last good day is ``last_day``.

    >>> str(due_state(date(2031, 5, 3), date(2031, 5, 3)))
    'due within 30 days'
    >>> str(due_state(date(2031, 5, 2), date(2031, 5, 3)))
    'out of date'
    """
    if last_day is None:
        return DueState.NOT_KEPT
    days = (last_day - today).days
    if days < 0:
        return DueState.OUT_OF_DATE
    return DueState.DUE_SOON if days <= DUE_WITHIN_DAYS else DueState.IN_DATE
