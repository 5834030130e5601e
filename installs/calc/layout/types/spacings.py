"""A distance as built against the one that the controller works with."""

from __future__ import annotations

from dataclasses import dataclass

from wimprog.lib.judgement import Interval, Judgement


@dataclass(frozen=True)
class AxleSpacings:
    """The spacings of a vehicle's axles from the first on, in metres."""

    name: str
    spacings_m: tuple[float, ...]
    standing: str

    @property
    def wheelbase_m(self) -> float:
        """First axle to last."""
        return sum(self.spacings_m)


@dataclass(frozen=True)
class SpacingEffect:
    """What a wrong setting does to one spacing of a vehicle.

    Attributes
    ----------
    what
        "axles 1–2", "wheelbase".
    true_m, error_m, interval_m
        The true spacing, the error of the one recorded (too long is positive) and
        its interval, in metres.
    """

    what: str
    true_m: float
    error_m: float
    interval_m: Interval


@dataclass(frozen=True)
class SpacingCheck:
    """As-built spacing of two sensors against the controller's setting.

    Attributes
    ----------
    as_built_m, setting_m
        What was measured and what the controller works with, in metres.
    bias_pct, bias_interval_pct
        Bias of speed, and of axle spacing alike, in per cent.
    speed_kmh, speed_error_kmh, speed_interval_kmh
        Traffic speed and the error that the bias makes of it.
    effects
        The vehicle's spacings, then its wheelbase.
    against_plan
        As built against planned, when there is a plan and a tolerance.
    speed, spacing
        Judgements of the bias alone against the tolerances of ASTM E1318.
    new_setting_m, left_bias_pct
        The setting that cancels the bias, in the controller's steps, and the bias
        that its rounding leaves.
    """

    as_built_m: float
    setting_m: float
    bias_pct: float
    bias_interval_pct: Interval
    speed_kmh: float
    speed_error_kmh: float
    speed_interval_kmh: Interval
    effects: tuple[SpacingEffect, ...]
    speed: Judgement
    spacing: Judgement
    against_plan: Judgement | None
    new_setting_m: float
    left_bias_pct: float


@dataclass(frozen=True)
class LengthCheck:
    """What wrong spacing and loop length settings do to vehicle length.

    ``error_m`` is recorded less true, too long is positive; ``from_spacing_m`` and
    ``from_loop_m`` are its two parts.
    """

    vehicle_length_m: float
    error_m: float
    interval_m: Interval
    from_spacing_m: float
    from_loop_m: float
