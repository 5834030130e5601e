"""What a static weighing consists of, and what it comes to with its uncertainty."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.calc.types import ReferenceVehicle, WheelPairs
from calibration.calc.uncertainty import (
    Component,
    combined,
    coverage_factor,
    effective_df,
)


@dataclass(frozen=True)
class ScaleReading:
    """One reading of the scale.

    Attributes
    ----------
    axles
        Axles that stood on it, 0 is the front one: (0,) the steering axle, (1, 2) a
        tandem, all of them for the vehicle weighed at once.
    load_kg
        What the scale showed [kg].
    time
        When; None where that was not recorded.
    """

    axles: tuple[int, ...]
    load_kg: float
    time: dt.datetime | None = None


@dataclass(frozen=True)
class Scale:
    """A static scale and what its certificate says of it.

    The certificate's uncertainty (or tolerance) of a load L is ``expanded_kg`` +
    ``expanded_pct``·L/100, at the coverage factor ``coverage_k``. A tolerance that
    comes without one is a limit: give √3 then (rectangular distribution, GUM 4.3.7).

    Attributes
    ----------
    certificate
        Identity of the certificate.
    resolution_kg
        Smallest step of the display [kg].
    expanded_kg, expanded_pct
        Constant part [kg] and part in proportion to the load [%].
    coverage_k
        Factor by which the certificate expanded its standard uncertainty.
    df
        Degrees of freedom of the certificate's uncertainty.
    correlation
        How much of the scale's error is the same at all loads: 1 for one scale under
        one certificate (the sum of five axles then holds five times the constant
        part), 0 for axles weighed on scales calibrated apart.
    """

    certificate: str
    resolution_kg: float
    expanded_kg: float = 0.0
    expanded_pct: float = 0.0
    coverage_k: float = 2.0
    df: float = math.inf
    correlation: float = 1.0

    def u_kg(self, load_kg: float) -> float:
        """Standard uncertainty [kg] of the scale at a load [kg]."""
        expanded = self.expanded_kg + self.expanded_pct / 100.0 * load_kg
        return expanded / self.coverage_k


@dataclass(frozen=True)
class FuelBurn:
    """How the vehicle gets lighter, in proportion to time and distance.

    Attributes
    ----------
    kg_per_h, kg_per_km
        Rates [kg/h] and [kg/km]; they add up, one of them is usual.
    u_relative
        Standard uncertainty of the burnt mass as a share of it; common practice, no
        source: a rate that was guessed is good to a fifth or so.
    axle_shares
        Share of the burnt mass that each axle carries, summing to 1; None shares it in
        proportion to the axle loads.
    """

    kg_per_h: float = 0.0
    kg_per_km: float = 0.0
    u_relative: float = 0.2
    axle_shares: tuple[float, ...] | None = None

    def burnt_kg(self, hours: float, km: float = 0.0) -> float:
        """Mass burnt [kg] in ``hours`` and over ``km``; negative looking back."""
        return self.kg_per_h * hours + self.kg_per_km * km


@dataclass(frozen=True)
class ReferenceWeight:
    """The reference weight of one part of a vehicle.

    Attributes
    ----------
    part
        "axle 2", "axles 2–3", "whole vehicle".
    axles
        Its axles, 0 is the front one.
    load_kg
        The reference [kg], closed on the gross weight and less the fuel burnt.
    as_weighed_kg
        Mean of the readings before closing [kg]; the sum of its axles where the part
        was not weighed as one.
    n
        Readings behind it; of a sum, the fewest of its parts.
    sd_kg
        Standard deviation of the readings of this part [kg]; None for fewer than two,
        or where it was not weighed as one.
    components
        Independent sources of its uncertainty [kg].
    """

    part: str
    axles: tuple[int, ...]
    load_kg: float
    as_weighed_kg: float
    n: int
    sd_kg: float | None
    components: tuple[Component, ...]

    @property
    def u_kg(self) -> float:
        """Combined standard uncertainty [kg]."""
        return combined(one.u for one in self.components)

    @property
    def df(self) -> float:
        """Effective degrees of freedom."""
        return effective_df(self.components)

    @property
    def u_pct(self) -> float:
        """Combined standard uncertainty [% of the load]."""
        return 100.0 * self.u_kg / self.load_kg

    def expanded_kg(self, *, level: float = 0.95) -> float:
        """Half-width [kg] of the interval at ``level``."""
        return coverage_factor(self.df, level=level) * self.u_kg

    def components_pct(self) -> tuple[Component, ...]:
        """The components in per cent of the load."""
        return tuple(
            Component(one.source, 100.0 * one.u / self.load_kg, one.df, one.is_shared)
            for one in self.components
        )


@dataclass(frozen=True)
class VehicleReference:
    """Reference weights of one vehicle at one moment.

    Attributes
    ----------
    name
        The vehicle's name.
    at
        The moment the weights hold for; None where no times are known.
    axles
        Its axles front to rear; an axle that was only weighed within a group is not
        among them.
    groups
        Its axle groups, front to rear.
    gross
        The whole vehicle.
    closing_ratio
        Gross weighed at once over the sum of the parts; None where the gross weight is
        that sum.
    scale
        The scale.
    notes
        What a reader should know of this weighing.
    """

    name: str
    at: dt.datetime | None
    axles: tuple[ReferenceWeight, ...]
    groups: tuple[ReferenceWeight, ...]
    gross: ReferenceWeight
    closing_ratio: float | None
    scale: Scale
    notes: tuple[str, ...] = ()

    @property
    def parts(self) -> tuple[ReferenceWeight, ...]:
        """Axles, groups and the whole."""
        return (*self.axles, *self.groups, self.gross)

    def part(self, name: str) -> ReferenceWeight:
        """One part by its name, as the errors name it."""
        return next(one for one in self.parts if one.part == name)

    def as_vehicle(
        self,
        axle_spacings_m: Sequence[float],
        *,
        vehicle_class: int | None = None,
        wheel_weights_kg: WheelPairs | None = None,
        weighing: str = "",
    ) -> ReferenceVehicle:
        """The static weighing that runs are held against.

        Parameters
        ----------
        axle_spacings_m
            Axle spacings [m].
        vehicle_class
            FHWA 13-category class.
        wheel_weights_kg
            Static wheel loads [kg], where taken.
        weighing
            Name of this weighing.

        Raises
        ------
        ValueError
            When not every axle was weighed alone.
        """
        if len(self.axles) != len(self.gross.axles):
            raise ValueError(f"not every axle of {self.name} was weighed alone")
        return ReferenceVehicle(
            name=self.name,
            vehicle_class=vehicle_class,
            axle_weights_kg=tuple(axle.load_kg for axle in self.axles),
            axle_spacings_m=tuple(axle_spacings_m),
            weighed_at=self.at,
            scale_certificate=self.scale.certificate,
            weighing=weighing,
            wheel_weights_kg=wheel_weights_kg,
        )
