"""Fuel burnt: what a reference weighs by the time of a run, and how fast it burns.

Linear in time and in distance (common practice, no source).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from calibration.calc.reference_types import (
    FuelBurn,
    ReferenceWeight,
    VehicleReference,
)
from calibration.calc.uncertainty import Component, combined

FROM_FUEL = "fuel burnt"
"""Name of this source of uncertainty."""


def share_of_burn(fuel: FuelBurn, part: tuple[int, ...], load_share: float) -> float:
    """Share of the burnt mass that a part of the vehicle carries.

    Parameters
    ----------
    fuel
        The burn.
    part
        Axles of the part, 0 is the front one.
    load_share
        The part's share of the gross weight, used where the burn names no axles.
    """
    if fuel.axle_shares is None:
        return min(load_share, 1.0)
    return sum(fuel.axle_shares[axle] for axle in part)


def hours_between(since: dt.datetime, until: dt.datetime) -> float:
    """Hours between two moments; where one has no time zone, by the clock.

    Parameters
    ----------
    since, until
        The moments.
    """
    if (since.tzinfo is None) != (until.tzinfo is None):
        since, until = since.replace(tzinfo=None), until.replace(tzinfo=None)
    return (until - since).total_seconds() / 3600.0


def after_burn(
    reference: VehicleReference,
    fuel: FuelBurn,
    *,
    at: dt.datetime | None = None,
    hours: float | None = None,
    km: float = 0.0,
) -> VehicleReference:
    """The reference at a run's time, less the fuel burnt since the weighing.

    Parameters
    ----------
    reference
        The weighing.
    fuel
        Rates, linear in time and distance.
    at
        The run's time; ``hours`` is counted from the weighing's.
    hours
        Hours since the weighing, where times are not known.
    km
        Distance driven since the weighing [km].

    Returns
    -------
    VehicleReference
        With the burnt mass's uncertainty as one more component of each part.

    Raises
    ------
    ValueError
        When neither times nor hours are given.
    """
    if hours is None:
        if at is None or reference.at is None:
            raise ValueError("the hours since the weighing are not known")
        hours = hours_between(reference.at, at)
    burnt = fuel.burnt_kg(hours, km)
    gross_kg = reference.gross.load_kg

    def lighter(one: ReferenceWeight) -> ReferenceWeight:
        off = burnt * share_of_burn(fuel, one.axles, one.load_kg / gross_kg)
        more = Component(FROM_FUEL, abs(off) * fuel.u_relative)
        components = (*one.components, more) if more.u > 0.0 else one.components
        return replace(one, load_kg=one.load_kg - off, components=components)

    moved = reference.at and reference.at + dt.timedelta(hours=hours)
    return replace(
        reference,
        at=at or moved,
        axles=tuple(lighter(one) for one in reference.axles),
        groups=tuple(lighter(one) for one in reference.groups),
        gross=lighter(reference.gross),
    )


def burn_between(before: VehicleReference, after: VehicleReference) -> FuelBurn:
    """The rate of burn from the same vehicle weighed before and after the runs.

    Parameters
    ----------
    before, after
        Two weighings of one vehicle on one scale, with times. The scale's own error
        is in both alike and falls out.

    Returns
    -------
    FuelBurn
        Rate [kg/h] with its relative uncertainty. Using it with ``before`` counts the
        repetition of ``before`` twice, which errs on the wide side.

    Raises
    ------
    ValueError
        When times are missing, or ``after`` is not later or not lighter.
    """
    if before.at is None or after.at is None or after.at <= before.at:
        raise ValueError("the second weighing needs a time later than the first")
    burnt = before.gross.load_kg - after.gross.load_kg
    if burnt <= 0.0:
        raise ValueError("the vehicle is not lighter at the second weighing")
    own = [
        one.u
        for weight in (before.gross, after.gross)
        for one in weight.components
        if not one.is_shared
    ]
    return FuelBurn(
        kg_per_h=burnt / hours_between(before.at, after.at),
        u_relative=combined(own) / burnt,
    )
