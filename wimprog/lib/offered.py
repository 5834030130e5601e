"""What a higher app offers to a form of a lower one.

The program's settings name a tolerance standard, but the standards live in an app above
the one that holds the settings. That app says at its start what there is; the form asks
here, and nothing imports upward.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class OfferedStandard:
    """A tolerance standard that can be chosen, with its classes."""

    key: str
    title: str
    classes: tuple[str, ...]


_sources: list[Callable[[], Sequence[OfferedStandard]]] = []


def offer_standards(source: Callable[[], Sequence[OfferedStandard]]) -> None:
    """Say where tolerance standards are found; asked anew each time."""
    _sources.append(source)


def offered_standards() -> tuple[OfferedStandard, ...]:
    """Every tolerance standard that can be chosen; none where no app offers any."""
    return tuple(one for source in _sources for one in source())
