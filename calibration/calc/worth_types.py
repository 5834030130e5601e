"""What calibrating or leaving a lane is weighed with, and the answer."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from enum import StrEnum

from calibration.calc.pavement_design import FlexibleDesign
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number


class Advice(StrEnum):
    """What the costs say."""

    CALIBRATE_NOW = "worth it now"
    LEAVE = "leave for now"
    LONGEST_INTERVAL = "leave until the longest interval ends"
    OVERDUE = "calibrate: the longest interval is over"


@dataclass(frozen=True)
class CostInputs:
    """What a session costs and what biased loads cost; all the agency's own.

    Attributes
    ----------
    session_cost
        Cost of one session on the lane, in any currency.
    price_per_lane_km_cm
        Price of one centimetre of the varied layer over one lane-kilometre.
    designed_lane_km_per_year
        Lane-kilometres designed in a year with loads from this lane.
    design
        A typical pavement among them.
    too_thin_factor
        Cost of a missing centimetre as a multiple of that of a needless one.
    left_sd_pct
        How far a session leaves the bias from nought [%], one standard deviation.
    currency
        Its sign or code, for the sentences.
    """

    session_cost: float
    price_per_lane_km_cm: float
    designed_lane_km_per_year: float
    design: FlexibleDesign
    too_thin_factor: float = 1.0
    left_sd_pct: float = 0.8
    currency: str = "$"

    def __post_init__(self) -> None:
        """Refuse costs that cannot be."""
        for name in (
            "session_cost",
            "price_per_lane_km_cm",
            "designed_lane_km_per_year",
        ):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                raise DomainError(f"Costs: {name} must be zero or more, not {value}.")
        for name in ("too_thin_factor", "left_sd_pct"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise DomainError(f"Costs: {name} must be above zero, not {value}.")

    @property
    def text(self) -> str:
        """Every input by name, for beside the answer."""
        return (
            "Agency's own inputs: session "
            f"{self.currency}{format_number(self.session_cost, 0)}; "
            f"{self.currency}{format_number(self.price_per_lane_km_cm, 0)} per "
            "centimetre and lane-km; "
            f"{format_number(self.designed_lane_km_per_year, 1)} lane-km a year "
            "designed with these loads; a missing centimetre costs "
            f"{self.too_thin_factor:g} times a needless one; a session leaves "
            f"±{self.left_sd_pct:g} %; {self.design.text}."
        )


@dataclass(frozen=True)
class Worth:
    """Whether a session pays.

    Attributes
    ----------
    key
        The lane.
    advice
        The answer.
    on
        Day it is for: today, the first day on which a session pays, or the last day of
        the longest interval.
    saving, saving_interval
        What a session today saves over one longest interval: mean, and interval over
        what may come. In the currency of the inputs.
    chance_pays
        Chance that a session today saves more than it costs.
    session_cost
        As given.
    load_error_pct
        Expected error of design loads today [%]: 100 (E(1 + b/100)⁴ − 1).
    cost_rate
        Expected cost of the bias as it is today, per year.
    sentence
        All of it for people.
    """

    key: str
    advice: Advice
    on: dt.date
    saving: float
    saving_interval: Interval
    chance_pays: float
    session_cost: float
    load_error_pct: float
    cost_rate: float
    sentence: str
