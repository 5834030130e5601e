"""What a sensor's electrical tests point to, in words, with what speaks for it.

Each sign gives yes, no or open, from the range of values that the readings allow: a
meter that shows only "above 2000" leaves open what a ratio of ten would need. A rule
whose signs are open stays open; nothing is made up for what was not measured.

A finding is a pointer for the next measurement, not a verdict: it names what else could
be, and what to test next. Rules are data, in ``diagnosis_rules``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from installs.calc.comparisons import baseline_of
from installs.calc.diagnosis_rules import rules_for
from installs.calc.suspicions import instrument_suspicions, reading_slips, shown
from installs.calc.types import ElectricalQuantity
from installs.calc.types.diagnosis import (
    Basis,
    Diagnosis,
    Evidence,
    Finding,
    Rule,
    SensorEvidence,
    Sign,
)


def diagnose(evidence: SensorEvidence) -> Diagnosis:
    """What the readings point to.

    Parameters
    ----------
    evidence
        Readings of one sensor, its references, and those of its peers.

    Returns
    -------
    Diagnosis
        Findings, the readings and the instrument first; or that nothing points to a
        fault; or that it cannot be said, and why.
    """
    n = sum(len(readings) for readings in evidence.readings.values())
    found = [*reading_slips(evidence), *instrument_suspicions(evidence)]
    rules = rules_for(evidence.technology)
    n_open = 0
    for rule in rules:
        fires, seen = _weigh(rule, evidence)
        if fires is None:
            n_open += 1
        elif fires and rule.cause not in {one.cause for one in found}:
            found.append(
                Finding(rule.cause, seen, rule.could_be, rule.test_next, rule.standing)
            )
    open_all = n_open == len(rules) or not _has_a_reference(evidence)
    return Diagnosis(
        findings=tuple(found),
        cannot_say=not found and open_all,
        n_readings=n,
        n_rules=len(rules),
        n_open=n_open,
        sentence=_answer(found, n, len(rules), n_open, evidence),
    )


def _answer(
    found: Sequence[Finding],
    n: int,
    n_rules: int,
    n_open: int,
    evidence: SensorEvidence,
) -> str:
    if found:
        causes = ", ".join(str(one.cause) for one in found)
        return f"The readings point to: {causes} ({n} readings)."
    if n == 0:
        return "Cannot say: there is no test with the lead-in on."
    if not _has_a_reference(evidence):
        return (
            "Cannot say: only one reading of each quantity, and no data sheet or "
            "earlier reading to hold it against."
        )
    if n_open == n_rules:
        return "Cannot say: what was measured leaves every rule open."
    left = (
        f" {n_open} of {n_rules} rules stay open for want of readings."
        if n_open
        else f" All {n_rules} rules could be tried."
    )
    return f"Nothing points to a fault in {n} readings.{left}"


def _has_a_reference(evidence: SensorEvidence) -> bool:
    return any(_reference(quantity, evidence) for quantity in evidence.readings)


# --- signs -------------------------------------------------------------------------


def _weigh(
    rule: Rule, evidence: SensorEvidence
) -> tuple[bool | None, tuple[Evidence, ...]]:
    """Whether a rule fires (None: open), and what was seen for it."""
    needed = [_see(sign, evidence) for sign in rule.all_of]
    either = [_see(sign, evidence) for sign in rule.any_of]
    against = [_see(sign, evidence)[0] for sign in rule.unless]
    answers = [answer for answer, _ in needed]
    if either:
        answers.append(_any(answer for answer, _ in either))
    if True in against:
        answers.append(False)
    fires = _all(answers)
    more = [_see(sign, evidence) for sign in rule.supports] if fires else []
    seen = [one for answer, one in (*needed, *either, *more) if answer and one]
    return fires, tuple(dict.fromkeys(seen))


def _all(answers: Iterable[bool | None]) -> bool | None:
    held = list(answers)
    if False in held:
        return False
    return None if None in held else True


def _any(answers: Iterable[bool | None]) -> bool | None:
    held = list(answers)
    if True in held:
        return True
    return None if None in held else False


def _see(sign: Sign, evidence: SensorEvidence) -> tuple[bool | None, Evidence | None]:
    """Whether a sign is there (None: open), and what was looked at."""
    if sign.basis is Basis.DECADES:
        span, seen = _decades(sign.quantity, evidence)
    elif sign.basis is Basis.VALUE:
        span, seen = _latest(sign.quantity, evidence)
    elif sign.basis is Basis.SHIFT:
        span, seen = _shift(sign.quantity, evidence)
    else:
        span, seen = _ratio(sign.quantity, evidence)
    if span is None:
        return None, None
    low = -math.inf if sign.low is None else sign.low
    high = math.inf if sign.high is None else sign.high
    if low <= span[0] and span[1] <= high:
        return True, seen
    if span[1] < low or span[0] > high:
        return False, seen
    return None, seen


_Span = tuple[tuple[float, float] | None, Evidence | None]


def _latest(quantity: ElectricalQuantity, evidence: SensorEvidence) -> _Span:
    readings = evidence.readings.get(quantity, ())
    if not readings:
        return None, None
    last = readings[-1]
    text = f"{quantity} {shown(quantity, last.value, last.over_range)} on {last.on}"
    span = (last.value, math.inf if last.over_range else last.value)
    return span, Evidence(text, 1)


def _ratio(quantity: ElectricalQuantity, evidence: SensorEvidence) -> _Span:
    span, seen = _latest(quantity, evidence)
    reference = _reference(quantity, evidence)
    if span is None or seen is None or reference is None:
        return None, None
    value, over, what, n = reference
    low = 0.0 if over else span[0] / value
    high = span[1] / value
    if over and math.isinf(high):
        return None, None  # "above" against "above" tells nothing
    at = f"{'less than ' if over else ''}{span[0] / value:.3g} times"
    return (low, high), Evidence(f"{seen.text}, {at} {what}", 1 + n)


def _reference(
    quantity: ElectricalQuantity, evidence: SensorEvidence
) -> tuple[float, bool, str, int] | None:
    """What the latest reading is held against: value, "above", words, readings."""
    readings = evidence.readings.get(quantity, ())
    first = baseline_of(quantity, readings)
    if first and readings[-1].on > first.last_on and first.value > 0:
        told = shown(quantity, first.value, first.over_range)
        what = f"its first readings ({told} on {first.first_on})"
        return first.value, first.over_range, what, first.n
    sheet = evidence.data_sheet.get(quantity)
    if sheet is not None and sheet > 0:
        return sheet, False, f"its data sheet's {shown(quantity, sheet)}", 0
    bench = evidence.bench.get(quantity)
    if bench is not None and bench.value > 0:
        told = shown(quantity, bench.value, bench.over_range)
        what = f"its reading before the lead-in ({told} on {bench.on})"
        return bench.value, bench.over_range, what, 1
    return None


def _shift(quantity: ElectricalQuantity, evidence: SensorEvidence) -> _Span:
    readings = evidence.readings.get(quantity, ())
    first = baseline_of(quantity, readings)
    if first is None or readings[-1].on <= first.last_on:
        return None, None
    last = readings[-1]
    away = abs(last.value - first.value)
    text = (
        f"{quantity} {shown(quantity, last.value)} on {last.on}, "
        f"{shown(quantity, away)} away from its first readings "
        f"({shown(quantity, first.value)} on {first.first_on})"
    )
    return (away, away), Evidence(text, 1 + first.n)


def _decades(quantity: ElectricalQuantity, evidence: SensorEvidence) -> _Span:
    trend = evidence.trends.get(quantity)
    if trend is None or trend.interval is None or not quantity.on_log_scale:
        return None, None
    low, high = trend.interval.low, trend.interval.high
    text = (
        f"{quantity} changes by × {10**low:.3g} to × {10**high:.3g} a year "
        f"({trend.interval.level:.0%} interval)"
    )
    return (low, high), Evidence(text, trend.n)
