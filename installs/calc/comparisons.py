"""A reading held against the sensor's own data sheet and its own first readings.

A limit for a model says what any sensor of it may read; these two say what this sensor
should. Both are ratios to a value of the same sensor, so both work on values as read or
on values corrected for temperature, as long as the two sides are alike.

Inclusive: a reading equal to a side meets it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from installs.calc.electrical import judge_reading
from installs.calc.types import (
    AcceptanceLimit,
    Baseline,
    DatedReading,
    ElectricalQuantity,
    Tolerance,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict

#: Readings this near to the first complete one still belong to the installation: grout
#: cures and splices dry in the meantime, and nothing has aged.
BASELINE_DAYS = 30

#: 1.2 × 7 is 8.399999999999999 in binary; 8.4 must still meet ±20 % of 7.
ROUNDING = 1e-12

DATA_SHEET_RULE = "one reading against the value on the sensor's own data sheet"
BASELINE_RULE = (
    "one reading against the median of the sensor's own first readings with the "
    f"lead-in on (those within {BASELINE_DAYS} days of the first)"
)


def baseline_of(
    quantity: ElectricalQuantity, readings: Sequence[DatedReading]
) -> Baseline | None:
    """The sensor's own first complete readings of a quantity, as one value.

    Parameters
    ----------
    quantity
        What was read; on a log scale the median is taken there.
    readings
        Readings of complete tests (lead-in on), in any order.

    Returns
    -------
    Baseline or None
        The median of the readings within :data:`BASELINE_DAYS` of the first; where
        that middle rests on a reading above the meter's range, so does the baseline.
        None without readings.
    """
    if not readings:
        return None
    ordered = sorted(readings, key=lambda one: one.on)
    first = ordered[0].on
    near = [one for one in ordered if (one.on - first).days <= BASELINE_DAYS]
    if any(one.over_range for one in near):
        # Sorted with "above" last, the middle is known to be at least the value there.
        by_size = sorted(near, key=lambda one: (one.value, one.over_range))
        lower_middle = by_size[(len(by_size) - 1) // 2]
        over = any(one.over_range for one in by_size[: len(by_size) // 2 + 1])
        return Baseline(lower_middle.value, len(near), first, near[-1].on, over)
    values = [one.value for one in near]
    if quantity.on_log_scale and min(values) > 0:
        middle = 10.0 ** median(math.log10(value) for value in values)
    else:
        middle = float(median(values))
    return Baseline(middle, len(near), first, near[-1].on)


def judge_against_data_sheet(
    quantity: ElectricalQuantity,
    reading: DatedReading | None,
    data_sheet: float | None,
    tolerance: Tolerance | None,
) -> Judgement:
    """A reading against the value on the sensor's own data sheet.

    ``cannot say`` without a reading, a data sheet or a tolerance.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the value on the data sheet is not above zero.
    """
    if data_sheet is None:
        return _cannot_say(
            quantity,
            reading,
            rule=DATA_SHEET_RULE,
            limit="no data-sheet value entered",
            why="its data sheet gives no value, or none was entered",
            tolerance=tolerance,
        )
    if tolerance is None:
        return _cannot_say(
            quantity,
            reading,
            rule=DATA_SHEET_RULE,
            limit="no tolerance entered",
            why=f"no tolerance about its {_with_unit(quantity, data_sheet)}"
            " has been entered for the model",
            tolerance=None,
        )
    what = f"its data sheet's {_with_unit(quantity, data_sheet)}"
    return _judge_ratio(
        quantity, reading, data_sheet, tolerance, DATA_SHEET_RULE, what, ()
    )


def judge_against_baseline(
    quantity: ElectricalQuantity,
    reading: DatedReading | None,
    baseline: Baseline | None,
    tolerance: Tolerance | None,
) -> Judgement:
    """A reading against the sensor's own first complete readings.

    ``cannot say`` without a reading, earlier readings or a tolerance; for a quantity
    around zero, which has no ratio; and where one or both sides are above the meter's
    range and that leaves the answer open.
    """
    if baseline is None:
        return _cannot_say(
            quantity,
            reading,
            rule=BASELINE_RULE,
            limit="no first readings",
            why="there are no first readings with the lead-in on",
            tolerance=tolerance,
        )
    told = "above " if baseline.over_range else ""
    first = f"{told}{baseline.value:,.4g} {quantity.unit}".strip()
    when = f"{baseline.first_on.isoformat()}, n {baseline.n}"
    details = (
        ("first readings from", baseline.first_on.isoformat()),
        ("first readings, n", baseline.n),
        ("first readings above the meter's range", baseline.over_range),
    )
    why = ""
    if reading is not None and reading.on <= baseline.last_on:
        why = "it is one of the first readings itself; a later one is needed"
    elif quantity.signed or baseline.value <= 0:
        why = f"first readings of {first} leave no ratio; a limit is needed"
    elif tolerance is None:
        why = f"no tolerance about its first readings ({first}) has been entered"
    if why or tolerance is None:
        return _cannot_say(
            quantity,
            reading,
            rule=BASELINE_RULE,
            limit=f"first readings {first} ({when})",
            why=why,
            tolerance=tolerance,
            details=details,
        )
    what = f"its first readings' {first} ({when})"
    return _judge_ratio(
        quantity,
        reading,
        baseline.value,
        tolerance,
        BASELINE_RULE,
        what,
        details,
        reference_over=baseline.over_range,
    )


def _judge_ratio(
    quantity: ElectricalQuantity,
    reading: DatedReading | None,
    reference: float,
    tolerance: Tolerance,
    rule: str,
    what: str,
    details: tuple[tuple[str, object], ...],
    *,
    reference_over: bool = False,
) -> Judgement:
    if not (math.isfinite(reference) and reference > 0):
        raise DomainError(
            f"The {quantity} cannot be held against {reference:g} {quantity.unit}; it "
            "must be above zero."
        )
    low = None if tolerance.low is None else tolerance.low * reference * (1 - ROUNDING)
    high = (
        None if tolerance.high is None else tolerance.high * reference * (1 + ROUNDING)
    )
    limit = AcceptanceLimit(low, high, tolerance.source, tolerance.standing)
    words = f"{tolerance.words} {what}"
    value = None if reading is None else reading.value
    over = reading is not None and reading.over_range
    judged = judge_reading(quantity, value, limit, over_range=over)
    verdict, reason = judged.verdict, ""
    if reference_over and value is not None:
        verdict, reason = _against_open_reference(value, over, low)
    elif verdict is Verdict.CANNOT_SAY:
        reason = "nothing was read" if value is None else "the meter's range ends short"
    shown = judged.sentence.partition(";")[0]
    ratio = None if value is None else value / reference
    tail = f" ({reason})." if reason else "."
    return Judgement(
        quantity=str(quantity),
        value=value,
        unit=quantity.unit,
        n=judged.n,
        interval=None,
        rule=f"{rule}; {tolerance.words} it ({tolerance.source})",
        limit=words,
        verdict=verdict,
        sentence=f"{shown}; {words}: {verdict}{tail}",
        standing=tolerance.standing,
        details=(("times what it is held against", ratio), *details),
    )


def _against_open_reference(
    value: float, over: bool, low: float | None
) -> tuple[Verdict, str]:
    """Against first readings of which only "above" is known.

    What they were can only be higher, so a low side can be missed for certain and
    nothing can be met for certain.
    """
    if over:
        return Verdict.CANNOT_SAY, "both are above the meter's range: no fall to see"
    if low is not None and value < low:
        return Verdict.MISSES, ""
    return Verdict.CANNOT_SAY, "the first readings were above the meter's range"


def _cannot_say(
    quantity: ElectricalQuantity,
    reading: DatedReading | None,
    *,
    rule: str,
    limit: str,
    why: str,
    tolerance: Tolerance | None,
    details: tuple[tuple[str, object], ...] = (),
) -> Judgement:
    value = None if reading is None else reading.value
    over = reading is not None and reading.over_range
    shown = judge_reading(quantity, value, None, over_range=over).sentence
    return Judgement(
        quantity=str(quantity),
        value=value,
        unit=quantity.unit,
        n=0 if reading is None else 1,
        interval=None,
        rule=rule,
        limit=limit,
        verdict=Verdict.CANNOT_SAY,
        sentence=f"{shown.partition(';')[0]}; {limit}: {Verdict.CANNOT_SAY} ({why}).",
        standing=tolerance.standing if tolerance else "no tolerance entered",
        details=details,
    )


def _with_unit(quantity: ElectricalQuantity, value: float) -> str:
    return f"{value:,.6g} {quantity.unit}".strip()
