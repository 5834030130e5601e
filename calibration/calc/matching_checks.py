"""Whether passes and records can be matched at all, and what the clocks show."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Mapping, Sequence

from calibration.calc.matching_types import ControllerRecord, DrivenPass
from calibration.calc.types import ReferenceVehicle
from wimprog.lib.errors import Complaint, DomainError

CLOCK_WORTH_SAYING_S = 5.0

Pairs = Collection[tuple[str, str]]
"""Pairs of (key of pass, key of record)."""


def seconds_between(since: dt.datetime, until: dt.datetime) -> float:
    """Seconds between two moments; where one has no time zone, by the clock.

    Parameters
    ----------
    since, until
        The moments.
    """
    if (since.tzinfo is None) != (until.tzinfo is None):
        since, until = since.replace(tzinfo=None), until.replace(tzinfo=None)
    return (until - since).total_seconds()


def clock_notes(offset_s: float | None, n: int) -> tuple[str, ...]:
    """How the controller's clock stands to the roadside's, where it is worth saying.

    Parameters
    ----------
    offset_s
        Controller's clock less roadside clock [s]; None where nothing was matched.
    n
        Number of passes behind it.
    """
    if offset_s is None or abs(offset_s) < CLOCK_WORTH_SAYING_S:
        return ()
    minutes, seconds = divmod(round(abs(offset_s)), 60)
    told = f"{minutes} min {seconds} s" if minutes else f"{seconds} s"
    passes = "one pass" if n == 1 else f"median of {n} passes"
    note = (
        f"The controller's clock is {told} {'ahead of' if offset_s > 0 else 'behind'} "
        f"the roadside clock ({passes})."
    )
    if abs(abs(offset_s) - 3600.0) < 300.0:
        note += " About an hour: daylight saving time, or another time zone."
    return (note,)


def check_matching(
    passes: Sequence[DrivenPass],
    records: Sequence[ControllerRecord],
    vehicles: Mapping[str, ReferenceVehicle],
    pinned: Pairs,
    forbidden: Pairs,
) -> None:
    """Refuse what cannot be matched, with every complaint at once.

    Parameters
    ----------
    passes, records, vehicles, pinned, forbidden
        As for :func:`calibration.calc.matching.match_passes`.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When keys are used twice, a pass names an unknown vehicle, a record has no
        weight, or pinned pairs contradict each other or the forbidden ones.
    """
    pass_keys = Counter(one.key for one in passes)
    record_keys = Counter(one.key for one in records)
    complaints = [
        Complaint(
            f"{what} {key} appears more than once.",
            field=what.lower(),
            value=key,
            remedy="Remove the copy.",
        )
        for what, counts in (("Run", pass_keys), ("Record", record_keys))
        for key, count in counts.items()
        if count > 1
    ]
    complaints += [
        Complaint(
            f"Run {one.key} names a vehicle that has no static weighing.",
            field="vehicle",
            value=one.vehicle,
            expected=", ".join(sorted(vehicles)),
            remedy="Correct the name, or give the vehicle's static weighing.",
        )
        for one in passes
        if one.vehicle not in vehicles
    ]
    complaints += [
        Complaint(
            f"Record {one.key} has no weight.",
            field="axle weights",
            value=f"{one.gvw_kg:g}",
            expected="axle weights that sum to more than zero",
            remedy="Leave the record out.",
        )
        for one in records
        if not one.gvw_kg > 0.0
    ]
    complaints += _pin_complaints(set(pass_keys), set(record_keys), pinned, forbidden)
    if complaints:
        raise DomainError(
            "The runs cannot be matched with the controller's records.",
            tuple(complaints),
        )


def _pin_complaints(
    passes: set[str], records: set[str], pinned: Pairs, forbidden: Pairs
) -> list[Complaint]:
    found = []
    for driven, record in pinned:
        told = f"run {driven} with record {record}"
        if driven not in passes or record not in records:
            why = f"The match of {told} names something that is not there."
        elif (driven, record) in forbidden:
            why = f"The match of {told} is both made and ruled out."
        elif sum(driven == d or record == r for d, r in pinned) > 1:
            why = f"The match of {told} is not the only one made for either of them."
        else:
            continue
        found.append(Complaint(why, field="match", value=told, remedy="Take one back."))
    return found
