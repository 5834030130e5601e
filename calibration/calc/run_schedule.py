"""The order in which planned runs are driven, so that their effects can be told apart.

Every truck drives every speed in every temperature block; inside a block trucks take
turns and speeds alternate from run to run, so that neither the clock nor the warming
pavement moves with the speed. At each speed one run of each truck goes near the left
edge of the lane and one near the right, the rest in the centre (ASTM E1318; from
memory, not checked against the document).

Driving off the centre of the lane, and everything else on the road, is for the traffic
control plan and the driver to allow.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.calc.types import LanePosition
from wimprog.lib.errors import DomainError

E1318_RUNS_AT_SPEED = 5
"""Runs of each vehicle near either end of the speed range (ASTM E1318; from memory)."""

FEWEST_WITH_EDGES = 3
"""With fewer runs at a speed all are driven in the centre."""


@dataclass(frozen=True)
class PlannedRun:
    """One run to drive.

    Attributes
    ----------
    order
        Place in the order, from 1.
    vehicle
        Name of the truck.
    speed_kmh
        Speed to hold [km/h].
    lane_position
        Where in the lane.
    block
        Name of the temperature block ("morning").
    """

    order: int
    vehicle: str
    speed_kmh: float
    lane_position: LanePosition
    block: str


def schedule(
    vehicles: Sequence[str],
    speeds_kmh: Sequence[float],
    *,
    runs_at_speed: int = E1318_RUNS_AT_SPEED,
    blocks: Sequence[str] = ("",),
    with_lane_edges: bool = True,
) -> tuple[PlannedRun, ...]:
    """Put planned runs in order.

    Parameters
    ----------
    vehicles
        Names of the trucks.
    speeds_kmh
        Speeds to drive [km/h].
    runs_at_speed
        Runs of each truck at each speed, over all blocks.
    blocks
        Temperature blocks in order ("morning", "afternoon"); the runs are shared out
        evenly, earlier blocks first.
    with_lane_edges
        False where runs off the centre of the lane are not allowed.

    Returns
    -------
    tuple of PlannedRun
        vehicles × speeds × runs_at_speed of them.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there is nothing to drive, a name or speed appears twice, or there are
        fewer runs at a speed than blocks.
    """
    _check(vehicles, speeds_kmh, runs_at_speed, blocks)
    shares = [
        runs_at_speed // len(blocks) + (place < runs_at_speed % len(blocks))
        for place in range(len(blocks))
    ]
    driven: Counter[tuple[str, float]] = Counter()
    found: list[PlannedRun] = []
    for block, share in zip(blocks, shares, strict=True):
        for turn in range(share):
            # Every other turn starts from the other end of the speeds.
            speeds = list(speeds_kmh) if turn % 2 == 0 else list(reversed(speeds_kmh))
            for step in range(len(speeds)):
                for place, vehicle in enumerate(vehicles):
                    speed = speeds[(step + place) % len(speeds)]
                    pair = (vehicle, speed)
                    shift = place + 2 * list(speeds_kmh).index(speed)
                    found.append(
                        PlannedRun(
                            order=len(found) + 1,
                            vehicle=vehicle,
                            speed_kmh=speed,
                            lane_position=_position(
                                driven[pair] + shift, runs_at_speed, with_lane_edges
                            ),
                            block=block,
                        )
                    )
                    driven[pair] += 1
    return tuple(found)


def _position(turn: int, runs_at_speed: int, with_lane_edges: bool) -> LanePosition:
    """One run left, one right, half the runs between them; few runs in the centre.

    ``turn`` starts elsewhere for each truck and speed, so that places in the lane do
    not move with the clock either.
    """
    if not with_lane_edges or runs_at_speed < FEWEST_WITH_EDGES:
        return LanePosition.CENTRE
    place = turn % runs_at_speed
    if place == 0:
        return LanePosition.LEFT
    return LanePosition.RIGHT if place == runs_at_speed // 2 else LanePosition.CENTRE


def _check(
    vehicles: Sequence[str],
    speeds_kmh: Sequence[float],
    runs_at_speed: int,
    blocks: Sequence[str],
) -> None:
    if not vehicles or not speeds_kmh or not blocks or runs_at_speed < 1:
        raise DomainError("A plan needs a truck, a speed, a block and a run of each.")
    for what, items in (("truck", vehicles), ("speed", speeds_kmh), ("block", blocks)):
        if len(set(items)) < len(items):
            raise DomainError(f"A {what} appears twice in the plan; name each once.")
    if any(not speed > 0 for speed in speeds_kmh):
        raise DomainError("A speed of the plan is not greater than zero.")
    if runs_at_speed < len(blocks):
        raise DomainError(
            f"{runs_at_speed} runs at a speed cannot be shared over {len(blocks)} "
            "temperature blocks; plan one for each at least."
        )
