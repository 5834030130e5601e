"""Many sessions judged again under a new class, in one pass.

What an agency asks when it thinks of another class or standard: which of our sessions
would have met it? The answer is the same, to the last digits, as judging each session
by itself (:meth:`ToleranceStandard.judge`); a standard takes part by having a method
``judge_many``.
"""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from calibration.calc.many_rules import ManyVerdicts
from calibration.calc.many_sessions import ManySessions
from calibration.calc.standards import all_standards, find_standard
from calibration.calc.standards.base import (
    DEFAULT_CONDITIONS,
    Conditions,
    check_class,
)
from wimprog.lib.errors import DomainError


@runtime_checkable
class JudgesMany(Protocol):
    """A standard that judges many sessions in one pass."""

    def judge_many(
        self,
        sessions: ManySessions,
        *,
        class_name: str,
        conditions: Conditions = DEFAULT_CONDITIONS,
    ) -> ManyVerdicts:
        """Judge every session against one class."""
        ...


def rejudge(
    sessions: ManySessions,
    *,
    standard: str,
    class_name: str,
    conditions: Conditions = DEFAULT_CONDITIONS,
) -> ManyVerdicts:
    """Judge many sessions against one class of one standard.

    Parameters
    ----------
    sessions
        Flat errors, from :func:`calibration.calc.many_sessions.flatten_sessions` or
        made otherwise.
    standard
        Key of the standard.
    class_name
        The class, as the standard writes it.
    conditions
        Conditions that hold for all the sessions.

    Returns
    -------
    ManyVerdicts

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the standard or the class is not known, the standard can only be judged
        session by session, or an agency's value cannot be used.
    """
    found = find_standard(standard)
    name = check_class(found, class_name)
    if not isinstance(found, JudgesMany) or name is None:
        able = [
            one.title for one in all_standards().values() if isinstance(one, JudgesMany)
        ]
        raise DomainError(
            f"{found.title} is judged session by session only. Many sessions at once "
            f"can be judged by {', '.join(able)}."
        )
    return found.judge_many(sessions, class_name=name, conditions=conditions)
