"""What a stage asks, what was answered, and what is found of the answer.

Numbers of an answer are in SI where the item measures a kind of quantity, in the
electrical quantity's unit where it reads one, otherwise in the item's own unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from installs.calc.layout.types.words import BetweenRows, GoesBy
from installs.calc.types.electrical import AcceptanceLimit
from installs.calc.types.records import (
    DispositionKind,
    ItemKind,
    LimitRule,
    LimitSource,
    StageState,
)
from installs.calc.types.words import ElectricalQuantity
from wimprog.lib.judgement import Judgement
from wimprog.lib.units import Kind, UnitSystem

TypedNumber = tuple[str, str]
#: 65 mph, where no plan says how fast the traffic goes; common practice, no source.
USUAL_SPEED_KMH = 104.6


class FindingState(StrEnum):
    """What is found of one item."""

    NOT_ANSWERED = "not answered"
    NOT_ASKED = "not asked"
    MEETS = "meets"
    MISSES = "misses"
    CANNOT_SAY = "cannot say"
    ANSWERED = "answered"


@dataclass(frozen=True)
class ItemSpec:
    """One check item, with the limits that hold for one record.

    The ``high`` of a triangle is the largest offset at the lane's far edge [mm].
    ``replaces`` tells what the record's own limits stand in for; empty where the
    template's hold.
    """

    key: str
    kind: ItemKind
    prompt: str
    measure: Kind | None = None
    unit: str = ""
    quantity: ElectricalQuantity | None = None
    points: int | None = None
    low: float | None = None
    high: float | None = None
    largest_range: float | None = None
    expected: str = ""
    options: tuple[str, ...] = ()
    least_photos: int = 0
    required: bool = True
    limit_source: LimitSource = LimitSource.COMMON_PRACTICE
    limit_reference: str = ""
    only_if_key: str = ""
    only_if_answer: str = ""
    limit_rule: LimitRule = LimitRule.FIXED
    replaces: str = ""

    @property
    def photos_needed(self) -> int:
        """Photos without which it is not answered; a photo item needs one at least."""
        return max(self.least_photos, 1 if self.kind is ItemKind.PHOTO else 0)

    @property
    def has_limits(self) -> bool:
        """Whether it carries a lowest, a highest or a largest range of its own."""
        return any(
            side is not None for side in (self.low, self.high, self.largest_range)
        )


@dataclass(frozen=True)
class Answer:
    """One answer to an item.

    ``typed`` holds the text and unit of each number, so that it comes back as it was
    written. ``observed_on`` is the day of it on the clock at the site.
    """

    numbers: tuple[float, ...] = ()
    typed: tuple[TypedNumber, ...] = ()
    over_range: bool = False
    answer: str = ""
    reason: str = ""
    n_photos: int = 0
    instrument: str = ""
    instrument_due_on: date | None = None
    batch: str = ""
    batch_expires_on: date | None = None
    observed_on: date | None = None

    @property
    def is_empty(self) -> bool:
        """Whether it says nothing at all (a photo is not part of it)."""
        return not (self.numbers or self.answer or self.batch)


@dataclass(frozen=True)
class CureLine:
    """One line of a maker's curing table."""

    temp_c: float
    hardener_amount: float
    pot_life_min: float
    cure_min: float


@dataclass(frozen=True)
class CureRules:
    """A maker's curing table, lines from the coldest on, its windows, how it is read.

    ``goes_by`` is whose temperature its lines are for; ``between`` what holds between
    two of them.
    """

    product: str
    document: str
    hardener_unit: str
    pavement_c: tuple[float, float]
    resin_c: tuple[float, float]
    lines: tuple[CureLine, ...] = ()
    goes_by: GoesBy = GoesBy.PAVEMENT
    between: BetweenRows = BetweenRows.STEPS


@dataclass(frozen=True)
class JudgingContext:
    """What an answer is judged beside: the sensor, the lane, the weather, the agency.

    Attributes
    ----------
    system
        Units in which limits and sentences are told.
    answers
        What was answered to other items, by key, for items asked only then.
    model_name, model_limits
        Sensor model and its limits by electrical quantity; empty without a sensor.
    sensor_length_m
        Length of the sensor [m], to tell where along it a point lies.
    lane_width_m, speed_kmh, tape_sd_m, square_tolerance_mm
        For the triangle on the reference line.
    cure, temps_c
        Curing table of the batch in use, and the temperatures at the pour [°C]; one
        that was not measured is left out.
    """

    system: UnitSystem = UnitSystem.US
    answers: Mapping[str, str] = field(default_factory=dict)
    model_name: str = ""
    model_limits: Mapping[str, AcceptanceLimit] = field(default_factory=dict)
    sensor_length_m: float | None = None
    lane_width_m: float | None = None
    speed_kmh: float = USUAL_SPEED_KMH
    tape_sd_m: float = 0.002
    square_tolerance_mm: float | None = None
    cure: CureRules | None = None
    temps_c: Mapping[GoesBy, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Limit:
    """The limits that hold for an item, in the unit of its numbers, and whose.

    ``trouble`` says why a rule gave none or not its own; ``undecided`` that the answer
    cannot pass without somebody's decision.
    """

    low: float | None = None
    high: float | None = None
    largest_range: float | None = None
    source: str = ""
    standing: str = ""
    trouble: str = ""
    undecided: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it holds nothing to anything."""
        return self.low is None and self.high is None and self.largest_range is None


@dataclass(frozen=True)
class ItemFinding:
    """What is found of one item.

    Attributes
    ----------
    state
        Where it stands.
    judgement
        Against its limits or expected answer; None where there is nothing to judge.
    questions
        What looks like a slip of units, as questions to the one who typed it.
    sentence
        The whole thing for people.
    needs_disposition
        Out of limits, or not decided by what was measured: somebody has to decide.
    warnings
        What weakens the answer, such as an instrument past its calibration; needs a
        reason or a disposition.
    """

    state: FindingState
    judgement: Judgement | None = None
    questions: tuple[str, ...] = ()
    sentence: str = ""
    needs_disposition: bool = False
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class ItemStanding:
    """One item as it stands in a record, for the progress of its stage.

    Attributes
    ----------
    has_reason
        The current answer carries a reason.
    disposition
        Of the current answer.
    in_clash
        Several people answered without seeing each other.
    n_untreated
        Earlier answers out of limits that nobody has disposed of.
    """

    spec: ItemSpec
    finding: ItemFinding
    n_photos: int = 0
    has_reason: bool = False
    disposition: DispositionKind | None = None
    in_clash: bool = False
    n_untreated: int = 0


@dataclass(frozen=True)
class StageProgress:
    """How far a stage has come, and what keeps it from being signed."""

    state: StageState
    reasons: tuple[str, ...]
    n_required: int
    n_answered: int
    n_open: int
