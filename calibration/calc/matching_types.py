"""What is matched: passes that were driven, records that the controller kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class ControllerRecord:
    """One vehicle as the controller recorded it.

    Attributes
    ----------
    key
        Its number in the file.
    time
        By the controller's clock.
    axle_weights_kg, axle_spacings_m
        As recorded, front to rear.
    speed_kmh
        Speed [km/h]; None where not recorded.
    vehicle_class
        The controller's class, where it gives one; shown, not matched by, for a
        controller that misclassifies is part of what a session finds.
    """

    key: str
    time: dt.datetime
    axle_weights_kg: tuple[float, ...]
    axle_spacings_m: tuple[float, ...]
    speed_kmh: float | None = None
    vehicle_class: int | None = None

    @property
    def gvw_kg(self) -> float:
        """Gross weight [kg]: the sum of the axles."""
        return float(sum(self.axle_weights_kg))


@dataclass(frozen=True)
class DrivenPass:
    """One pass of a test vehicle as the roadside noted it.

    Attributes
    ----------
    key
        Label of the run.
    vehicle
        Name of the test vehicle.
    time
        By the roadside clock (a phone).
    speed_kmh
        Speed [km/h] by driver or instrument; None where not noted.
    """

    key: str
    vehicle: str
    time: dt.datetime
    speed_kmh: float | None = None


@dataclass(frozen=True)
class MatchSettings:
    """How far apart a pass and its record may be (common practice, no source).

    Attributes
    ----------
    window_s
        Time between pass and record after the clocks are set against each other [s].
    clock_search_s
        Difference of the clocks that is looked for [s]; beyond an hour, so that
        daylight saving time is found.
    spacing_m, spacing_share
        Each axle spacing within the larger of these, in m and as a share of it.
    axle_share
        Axle loads as shares of the gross weight: difference that counts 1.
    gross_ratio
        Ratio of gross weights that counts 1, either way.
    speed_kmh
        Difference of speeds that counts 1 [km/h].
    clear_by
        Distance by which the next best record must be worse for a clear match.
    """

    window_s: float = 120.0
    clock_search_s: float = 3900.0
    spacing_m: float = 0.3
    spacing_share: float = 0.05
    axle_share: float = 0.08
    gross_ratio: float = 1.5
    speed_kmh: float = 15.0
    clear_by: float = 0.25


DEFAULT_SETTINGS = MatchSettings()


@dataclass(frozen=True)
class ScorePart:
    """One part of the distance between a pass and a record.

    Attributes
    ----------
    name
        "time", "axle spacings", "axle loads", "gross weight", "speed".
    found
        The difference, in words with its unit.
    share
        The difference over what counts 1.
    """

    name: str
    found: str
    share: float


@dataclass(frozen=True)
class Candidate:
    """A record that could be a pass.

    Attributes
    ----------
    record
        Key of the record.
    distance
        Root mean square of the parts' shares: 0 is perfect, 1 is at the limits.
    parts
        What the distance is made of.
    taken_by
        Key of the pass that it was matched to; empty where it is free.
    """

    record: str
    distance: float
    parts: tuple[ScorePart, ...]
    taken_by: str = ""


@dataclass(frozen=True)
class Match:
    """A pass and its record.

    Attributes
    ----------
    driven
        Key of the pass.
    record
        Key of the record.
    distance
        As for :class:`Candidate`.
    parts
        What the distance is made of.
    alternatives
        Other records within the limits, best first.
    is_pinned
        True where a person made the match.
    is_clear
        False where an alternative is nearly as good: look at it.
    remarks
        What a person should see before taking it.
    """

    driven: str
    record: str
    distance: float
    parts: tuple[ScorePart, ...]
    alternatives: tuple[Candidate, ...]
    is_pinned: bool
    is_clear: bool
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class MatchResult:
    """All passes and what became of them.

    Attributes
    ----------
    matches
        In the order of the passes.
    unmatched_passes
        Key of each pass without a record, and why.
    look_alikes
        Key of each unmatched record that looks like a test vehicle, and the vehicle.
    n_other_records
        Records that look like none of the test vehicles.
    clock_offset_s
        Controller's clock less roadside clock [s]; None where nothing was matched.
    clock_spread_s
        Median distance of single passes from that [s].
    notes
        On the clocks and the order.
    """

    matches: tuple[Match, ...]
    unmatched_passes: tuple[tuple[str, str], ...]
    look_alikes: tuple[tuple[str, str], ...]
    n_other_records: int
    clock_offset_s: float | None
    clock_spread_s: float | None
    notes: tuple[str, ...]

    def of_pass(self, key: str) -> Match | None:
        """The match of one pass; None where it has none."""
        return next((one for one in self.matches if one.driven == key), None)
