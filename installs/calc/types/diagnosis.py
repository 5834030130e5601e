"""What may be wrong with a sensor, by its electrical tests: signs, rules, findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from installs.calc.types.electrical import DatedReading, ElectricalTrend
from installs.calc.types.words import ElectricalQuantity, Technology


class Cause(StrEnum):
    """What a finding points to."""

    OPEN_LEAD = "open lead"
    SHORT = "short"
    WATER = "water in the lead or splice"
    JOINT = "failing splice or joint"
    CRUSHED = "crushed or overstrained element"
    BOND = "failing bond"
    READING = "reading suspect"
    INSTRUMENT = "instrument suspect"


class Basis(StrEnum):
    """What a sign looks at."""

    VALUE = "the latest value"
    RATIO = "the latest value, times the sensor's own reference"
    SHIFT = "the latest value less the sensor's first readings, either way"
    DECADES = "the trend's interval, decades a year"


@dataclass(frozen=True)
class Sign:
    """Something to see in the readings: ``low`` ≤ what the basis gives ≤ ``high``."""

    quantity: ElectricalQuantity
    basis: Basis
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Rule:
    """Signs that together point to a cause.

    It fires when every sign of ``all_of`` is there, one of ``any_of`` (where there are
    any), and none of ``unless``; ``supports`` adds evidence and decides nothing.
    """

    cause: Cause
    technologies: frozenset[Technology]
    could_be: str
    test_next: tuple[str, ...]
    standing: str
    all_of: tuple[Sign, ...] = ()
    any_of: tuple[Sign, ...] = ()
    unless: tuple[Sign, ...] = ()
    supports: tuple[Sign, ...] = ()


@dataclass(frozen=True)
class PeerReading:
    """What one sensor of a visit read with the same instrument, and before it."""

    sensor: str
    quantity: ElectricalQuantity
    value: float
    over_range: bool = False
    before: float | None = None


@dataclass(frozen=True)
class InstrumentFacts:
    """The instrument of the latest test."""

    name: str
    used_on: date
    calibrated_until: date | None = None


@dataclass(frozen=True)
class SensorEvidence:
    """All that a diagnosis looks at.

    Attributes
    ----------
    technology
        How the sensor senses.
    readings
        Readings of complete tests (lead-in on) by quantity, in the order of their days.
    bench
        The latest reading before the lead-in was on, by quantity.
    data_sheet
        The maker's values for this very sensor, by quantity.
    trends
        Trends by quantity, where there are any.
    peers
        Readings of all sensors tested on the day of the latest test with its
        instrument, this one among them.
    instrument
        That instrument, where one was written down.
    """

    technology: Technology
    readings: Mapping[ElectricalQuantity, tuple[DatedReading, ...]]
    bench: Mapping[ElectricalQuantity, DatedReading] = field(default_factory=dict)
    data_sheet: Mapping[ElectricalQuantity, float] = field(default_factory=dict)
    trends: Mapping[ElectricalQuantity, ElectricalTrend] = field(default_factory=dict)
    peers: tuple[PeerReading, ...] = ()
    instrument: InstrumentFacts | None = None


@dataclass(frozen=True)
class Evidence:
    """One thing seen, and the number of readings it rests on."""

    text: str
    n: int


@dataclass(frozen=True)
class Finding:
    """A cause that the readings point to, with what speaks for it."""

    cause: Cause
    evidence: tuple[Evidence, ...]
    could_be: str
    test_next: tuple[str, ...]
    standing: str

    @property
    def sentence(self) -> str:
        """The finding in one line."""
        seen = "; ".join(f"{one.text} (n {one.n})" for one in self.evidence)
        return f"Points to {self.cause}: {seen}."


@dataclass(frozen=True)
class Diagnosis:
    """What the readings point to; nothing, with what was looked at; or cannot say.

    Attributes
    ----------
    findings
        What they point to, the readings and the instrument first.
    cannot_say
        There is nothing to hold the readings against, or every rule stays open.
    n_readings
        Readings looked at.
    n_rules, n_open
        Rules of this technology, and those of them that the readings leave open.
    sentence
        The answer in words.
    """

    findings: tuple[Finding, ...]
    cannot_say: bool
    n_readings: int
    n_rules: int
    n_open: int
    sentence: str

    @property
    def word(self) -> str:
        """The answer in a word or three."""
        if self.findings:
            return "points to a fault"
        return "cannot say" if self.cannot_say else "nothing points to a fault"
