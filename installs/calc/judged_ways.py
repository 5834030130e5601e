"""The latest value of a quantity judged three ways, as read and corrected.

Against the model's limit, against the sensor's own data sheet and against its own first
readings; and all three again on values corrected to one temperature, where a
coefficient is entered and the pavement's temperature was measured. The trend follows
the corrected values as soon as there are enough of them for one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from installs.calc.comparisons import (
    baseline_of,
    judge_against_baseline,
    judge_against_data_sheet,
)
from installs.calc.electrical import LEAST_DAYS, judge_reading
from installs.calc.temperature import corrected_readings, correction_words
from installs.calc.types import DatedReading, ElectricalQuantity, QuantityRules
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement

AS_READ = "as read"


@dataclass(frozen=True)
class Ways:
    """One value judged three ways.

    Attributes
    ----------
    word
        "as read", or the temperature that it is corrected to.
    how
        The correction with its source; empty as read.
    reading
        The value.
    limit, data_sheet, first
        Against the model's limit, the sensor's data sheet and its first readings.
    """

    word: str
    how: str
    reading: DatedReading
    limit: Judgement
    data_sheet: Judgement
    first: Judgement

    @property
    def judgements(self) -> tuple[Judgement, Judgement, Judgement]:
        """The three, in that order."""
        return (self.limit, self.data_sheet, self.first)

    @property
    def named(self) -> tuple[tuple[str, Judgement], ...]:
        """Each with what it is held against."""
        against = ("the model's limit", "its own data sheet", "its own first readings")
        return tuple(zip(against, self.judgements, strict=True))


@dataclass(frozen=True)
class Followed:
    """The readings that a trend is taken on.

    Attributes
    ----------
    readings
        In the order of their days.
    is_corrected
        Whether they are corrected for temperature.
    words
        What they are, for people.
    why_not
        Why they are not corrected, where a coefficient is entered; else empty.
    """

    readings: tuple[DatedReading, ...]
    is_corrected: bool
    words: str
    why_not: str = ""


def judged_ways(
    quantity: ElectricalQuantity,
    readings: Sequence[DatedReading],
    rules: QuantityRules,
    data_sheet: float | None = None,
) -> tuple[Ways, Ways | None]:
    """The latest reading judged as read, and corrected where that can be.

    Parameters
    ----------
    quantity
        What was read.
    readings
        Of complete tests, in the order of their days, at least one.
    rules
        What the model's readings are held to.
    data_sheet
        The value on the sensor's own data sheet.
    """
    raw = _ways(quantity, readings, rules, data_sheet, AS_READ, "")
    if rules.coefficient is None or readings[-1].temp_c is None:
        return raw, None
    try:
        corrected = corrected_readings(quantity, readings, rules.coefficient)
    except DomainError:
        return raw, None
    word = f"corrected to {rules.coefficient.reference_c:g} °C"
    how = correction_words(quantity, rules.coefficient)
    return raw, _ways(quantity, corrected, rules, data_sheet, word, how)


def _ways(
    quantity: ElectricalQuantity,
    readings: Sequence[DatedReading],
    rules: QuantityRules,
    data_sheet: float | None,
    word: str,
    how: str,
) -> Ways:
    last = readings[-1]
    return Ways(
        word=word,
        how=how,
        reading=last,
        limit=judge_reading(
            quantity, last.value, rules.limit, over_range=last.over_range
        ),
        data_sheet=judge_against_data_sheet(
            quantity, last, data_sheet, rules.data_sheet_tolerance
        ),
        first=judge_against_baseline(
            quantity, last, baseline_of(quantity, readings), rules.first_tolerance
        ),
    )


def followed_readings(
    quantity: ElectricalQuantity,
    readings: Sequence[DatedReading],
    rules: QuantityRules,
) -> Followed:
    """The readings to take a trend on: corrected ones where there are enough.

    Enough is readings on at least :data:`installs.calc.electrical.LEAST_DAYS` days;
    below that, all readings are followed as read and the reason is given.
    """
    raw = tuple(readings)
    if rules.coefficient is None:
        return Followed(raw, False, AS_READ)
    try:
        corrected = corrected_readings(quantity, raw, rules.coefficient)
    except DomainError as error:
        return Followed(raw, False, AS_READ, f"not corrected: {error.message}")
    days = {one.on for one in corrected if not one.over_range}
    if len(days) < LEAST_DAYS:
        return Followed(
            raw,
            False,
            AS_READ,
            f"not corrected: the pavement's temperature is known on {len(days)} "
            f"day{'' if len(days) == 1 else 's'} with a value, and a trend needs "
            f"{LEAST_DAYS}",
        )
    words = correction_words(quantity, rules.coefficient)
    left = len(raw) - len(corrected)
    if left:
        words += f"; {left} without a pavement temperature left out"
    return Followed(corrected, True, words)
