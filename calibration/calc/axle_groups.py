"""Which axles of a vehicle make a group.

Successive axles stand in one group while the distance between neighbours is no more
than the limit. The default limit is 96 in (2.4384 m): United States federal practice
calls consecutive axles a tandem when their spread is over 40 in and up to 96 in (23 CFR
658.5; from memory, not checked against the document). Two axles closer than 40 in are
grouped here too; no test truck has them. Other codes draw the line elsewhere, so the
limit is a parameter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

GROUP_LIMIT_M = 96 * 0.0254
"""Widest distance between neighbouring axles of one group [m]; from memory."""

_SLACK_M = 1e-9  # 96 in written in feet or metres is still 96 in


@dataclass(frozen=True)
class AxleGroups:
    """Axle indices (0 is the front axle) by what the axles are.

    Attributes
    ----------
    singles
        Axles that stand alone, the steering axle among them where it does.
    groups
        One tuple of indices for each group of two axles or more.
    """

    singles: tuple[int, ...]
    groups: tuple[tuple[int, ...], ...]

    @property
    def of_groups(self) -> tuple[int, ...]:
        """Axles that belong to a group."""
        return tuple(axle for group in self.groups for axle in group)


def group_axles(
    axle_spacings_m: Sequence[float], *, group_limit_m: float = GROUP_LIMIT_M
) -> AxleGroups:
    """Divide a vehicle's axles into single axles and groups.

    Parameters
    ----------
    axle_spacings_m
        Distances between neighbouring axles [m], front to rear; empty for one axle.
    group_limit_m
        Widest distance [m] between neighbours of one group; the limit is included.

    Returns
    -------
    AxleGroups

    References
    ----------
    23 CFR 658.5, definition of tandem axle weight (from memory).

    Examples
    --------
    >>> group_axles([5.12, 1.34, 9.94, 1.25])
    AxleGroups(singles=(0,), groups=((1, 2), (3, 4)))
    """
    runs: list[list[int]] = [[0]]
    for axle, spacing_m in enumerate(axle_spacings_m, start=1):
        if spacing_m <= group_limit_m + _SLACK_M:
            runs[-1].append(axle)
        else:
            runs.append([axle])
    return AxleGroups(
        singles=tuple(run[0] for run in runs if len(run) == 1),
        groups=tuple(tuple(run) for run in runs if len(run) > 1),
    )
