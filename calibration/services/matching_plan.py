"""What a matching shows before it is kept: each pass with its record."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from calibration.calc.matching_types import Candidate, Match
from calibration.models import TruckRun
from calibration.services.controller_sheet import KeptRecord
from calibration.services.matching_given import MatchGiven
from wimprog.lib.errors import Complaint

GOOD, FAIR = 0.4, 0.7
"""Distances up to which a match is called good or fair (common practice, no source)."""


@dataclass(frozen=True)
class Offer:
    """Another record that a person may choose for a pass."""

    record: KeptRecord
    candidate: Candidate | None

    @property
    def key(self) -> str:
        """The record's key."""
        return self.record.record.key


@dataclass(frozen=True, eq=False)
class MatchRow:
    """A pass with its record, as a person checks it.

    Attributes
    ----------
    key, vehicle, noted_at
        The pass; ``noted_at`` is None where it was asked for by a stretch of time.
    match, record
        What it was matched with; None where it has no record.
    why_none
        Why it has none.
    run
        The run it makes; unsaved, or the stored one where ``is_known``.
    offers
        Other records to choose from.
    """

    key: str
    vehicle: str
    noted_at: dt.datetime | None
    match: Match | None
    record: KeptRecord | None
    why_none: str
    run: TruckRun | None
    is_known: bool
    offers: tuple[Offer, ...]

    @property
    def fit(self) -> str:
        """The distance in a word."""
        if self.match is None:
            return "none"
        if self.match.distance <= GOOD:
            return "good"
        return "fair" if self.match.distance <= FAIR else "poor"

    @property
    def error_pct(self) -> float | None:
        """Gross weight error against the weighing [%]."""
        if self.run is None:
            return None
        return 100.0 * (self.run.gvw_kg / self.run.weighing.gvw_kg - 1.0)


@dataclass(frozen=True, eq=False)
class MatchPlan:
    """Everything that keeping a matching would add, and what is left over.

    Attributes
    ----------
    given
        What it was made from.
    rows
        Passes in the order of the list.
    look_alikes
        Records without a pass that look like a test vehicle, and the vehicle.
    n_other
        Records of the sheet that look like none of them.
    clock_offset_s, clock_spread_s
        Controller's clock less roadside clock, and how well it holds [s].
    notes
        On clocks, order and look-alike vehicles.
    complaints
        Faults that keep the runs from being added.
    questions
        What somebody has to say is right first.
    """

    given: MatchGiven
    rows: tuple[MatchRow, ...]
    look_alikes: tuple[tuple[KeptRecord, str], ...]
    n_other: int
    clock_offset_s: float | None
    clock_spread_s: float | None
    notes: tuple[str, ...]
    complaints: tuple[Complaint, ...]
    questions: tuple[Complaint, ...]

    @property
    def runs_new(self) -> list[TruckRun]:
        """Runs to be added."""
        return [r.run for r in self.rows if r.run is not None and not r.is_known]

    @property
    def runs_known(self) -> list[TruckRun]:
        """Runs that are stored already."""
        return [r.run for r in self.rows if r.run is not None and r.is_known]

    @property
    def matched(self) -> dict[str, str]:
        """Record of each pass that has one."""
        return {r.key: r.record.record.key for r in self.rows if r.record is not None}
