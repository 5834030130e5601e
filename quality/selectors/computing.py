"""Where work on stored records runs, as the settings say."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import TYPE_CHECKING

from django.conf import settings

if TYPE_CHECKING:
    from quality.calc.executor import Executor


def record_executor() -> AbstractContextManager[Executor]:
    """The executor that ``WIMPROG_EXECUTOR`` names, to be used with ``with``.

    Raises
    ------
    DomainError
        When the setting names no place, or its cluster does not answer.
    """
    from quality.calc.executor import Choice, executor

    return executor(Choice.parse(settings.RECORD_EXECUTOR))
