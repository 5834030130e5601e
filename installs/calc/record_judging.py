"""Each item of an installation record judged by itself, the moment it is typed.

Inclusive: a number equal to a limit meets it, after the rounding that a conversion
between units brings (one part in 10⁹). A limit comes from the record (its contract),
from the sensor's model, from the resin's curing table or from the template, in that
order, and every judgement says which.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from installs.calc.record_limits import (
    item_limit,
    limit_source_words,
    limit_words,
    numbers_told,
    told,
    unit_shown,
)
from installs.calc.types import AcceptanceLimit
from installs.calc.types.judging import (
    Answer,
    FindingState,
    ItemFinding,
    ItemSpec,
    JudgingContext,
    Limit,
)
from installs.calc.types.records import ItemKind
from installs.calc.unit_slips import unit_questions
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import Kind, UnitSystem, format_si

__all__ = [
    "Answer",
    "FindingState",
    "ItemFinding",
    "ItemSpec",
    "JudgingContext",
    "answer_words",
    "is_asked",
    "judge_item",
    "limit_source_words",
    "limit_words",
]

RULE = "each number against its limits; a number equal to a limit meets it"
ROUNDING = 1e-9
_STATE = {
    Verdict.MEETS: FindingState.MEETS,
    Verdict.MISSES: FindingState.MISSES,
    Verdict.CANNOT_SAY: FindingState.CANNOT_SAY,
}


def is_asked(spec: ItemSpec, context: JudgingContext) -> bool:
    """Whether the item is asked, given what was answered to the one it hangs on."""
    if not spec.only_if_key:
        return True
    given = context.answers.get(spec.only_if_key, "")
    return given.casefold() == spec.only_if_answer.casefold()


def judge_item(
    spec: ItemSpec, answer: Answer | None, *, context: JudgingContext
) -> ItemFinding:
    """One answer held against what its item asks.

    Parameters
    ----------
    spec
        The item, with the record's own limits put in.
    answer
        The current answer; None where there is none. Photos of a photo item come as
        an answer with ``n_photos``.
    context
        What it is judged beside.

    Returns
    -------
    ItemFinding
        ``answered`` where nobody has set anything to hold it against; ``cannot say``
        where something is set but what was measured does not decide.
    """
    if not is_asked(spec, context):
        return ItemFinding(
            FindingState.NOT_ASKED,
            sentence=f"Asked only when “{spec.only_if_key}” was answered "
            f"“{spec.only_if_answer}”.",
        )
    if spec.kind is ItemKind.PHOTO:
        return _judge_photos(spec, answer.n_photos if answer else 0)
    if answer is None or answer.is_empty:
        return ItemFinding(FindingState.NOT_ANSWERED, sentence="Not answered yet.")
    finding = _JUDGES[spec.kind](spec, answer, context)
    return replace(finding, warnings=(*finding.warnings, *_warnings(spec, answer)))


def answer_words(
    spec: ItemSpec, answer: Answer | None, *, system: UnitSystem = UnitSystem.US
) -> str:
    """An answer as it was typed, with its unit; converted beside it where that differs.

    >>> spec = ItemSpec("depth", ItemKind.MEASUREMENT, "Depth", Kind.SHORT_LENGTH)
    >>> answer_words(spec, Answer(numbers=(52.0,), typed=(("5.2", "cm"),)))
    '5.2 cm (2.047 in)'
    """
    if answer is None or answer.is_empty:
        return ""
    if answer.numbers:
        return numbers_told(spec, answer, system)
    return answer.batch if spec.kind is ItemKind.BATCH else answer.answer


# --- by kind -----------------------------------------------------------------------


def _judge_photos(spec: ItemSpec, n: int) -> ItemFinding:
    needed = spec.photos_needed
    have = f"{n} photo{'' if n == 1 else 's'}"
    if n < needed:
        return ItemFinding(
            FindingState.NOT_ANSWERED, sentence=f"{have} of at least {needed}."
        )
    return ItemFinding(FindingState.ANSWERED, sentence=f"{have}; {needed} asked for.")


def _judge_numbers(
    spec: ItemSpec, answer: Answer, context: JudgingContext
) -> ItemFinding:
    """A measurement, a series, or a reading without an electrical quantity."""
    limit = item_limit(spec, context)
    shown = numbers_told(spec, answer, context.system)
    questions = unit_questions(
        answer.typed, measure=spec.measure, low=limit.low, high=limit.high
    )
    short = (spec.points or 0) - len(answer.numbers)
    if limit.is_open and short <= 0:
        trouble = f"; {limit.trouble}" if limit.trouble else ""
        state = FindingState.CANNOT_SAY if limit.trouble else FindingState.ANSWERED
        return ItemFinding(
            state, None, questions, f"{shown}{trouble}.", limit.undecided
        )
    verdict, why, details = _verdict_of_numbers(spec, answer, limit, context)
    if short > 0 and verdict is not Verdict.MISSES:
        verdict = Verdict.CANNOT_SAY
        why = f"{len(answer.numbers)} of {spec.points} numbers so far"
    words = limit_words(spec, context)
    sentence = f"{shown}; {words}: {verdict}"
    worst = dict(details)["worst"]
    judgement = Judgement(
        quantity=spec.prompt,
        value=worst,
        unit=unit_shown(spec, UnitSystem.SI),
        n=len(answer.numbers),
        interval=None,
        rule=f"{RULE} ({limit.source})",
        limit=words,
        verdict=verdict,
        sentence=f"{sentence} ({why})." if why else f"{sentence}.",
        standing=limit.standing,
        details=details,
    )
    return _found(judgement, questions, limit.trouble)


def _found(
    judgement: Judgement, questions: tuple[str, ...] = (), beside: str = ""
) -> ItemFinding:
    tail = f" {beside[:1].upper()}{beside[1:]}." if beside else ""
    return ItemFinding(
        _STATE[judgement.verdict],
        judgement,
        questions,
        judgement.sentence + tail,
        needs_disposition=judgement.verdict is not Verdict.MEETS,
    )


def _verdict_of_numbers(
    spec: ItemSpec, answer: Answer, limit: Limit, context: JudgingContext
) -> tuple[Verdict, str, tuple[tuple[str, float | int | None], ...]]:
    """The verdict, why it misses, and the figures behind it."""
    numbers = answer.numbers
    beyond = [_beyond(number, limit) for number in numbers]
    at = max(range(len(numbers)), key=lambda i: (beyond[i], -i))
    spread = max(numbers) - min(numbers)
    details: tuple[tuple[str, float | int | None], ...] = (
        ("lowest", min(numbers)),
        ("highest", max(numbers)),
        ("range", spread),
        ("worst", numbers[at]),
        ("worst point", at + 1 if beyond[at] > 0 else None),
    )
    faults = []
    if beyond[at] > 0:
        low = limit.low is not None and numbers[at] < limit.low
        side = "below the lowest" if low else "above the highest"
        by = f"{told(spec, beyond[at], context.system, difference=True)} {side}"
        faults.append(f"{_where(spec, answer, at, context)}{by}")
        n_out = sum(one > 0 for one in beyond)
        if n_out > 1:
            faults.append(f"{n_out} of {len(numbers)} numbers are out")
    most = limit.largest_range
    if most is not None and spread > most + _slack(most):
        faults.append(
            f"they differ by {told(spec, spread, context.system, difference=True)}, "
            f"between number {numbers.index(min(numbers)) + 1} and number "
            f"{numbers.index(max(numbers)) + 1}"
        )
    return (Verdict.MISSES if faults else Verdict.MEETS), "; ".join(faults), details


def _where(spec: ItemSpec, answer: Answer, at: int, context: JudgingContext) -> str:
    """Which point is meant, and how far along the sensor; empty for a single number."""
    n = len(answer.numbers)
    if n == 1 or spec.kind is not ItemKind.SERIES:
        return ""
    place = f"worst is number {at + 1} of {n}"
    if context.sensor_length_m is None:
        return f"{place}: "
    metres = context.sensor_length_m * at / (n - 1)
    along = format_si(metres, Kind.LENGTH, context.system)
    return f"{place}, {along} from the first when evenly spaced: "


def _beyond(number: float, limit: Limit) -> float:
    """How far a number is outside its limits, 0 inside."""
    if limit.low is not None and number < limit.low - _slack(limit.low):
        return limit.low - number
    if limit.high is not None and number > limit.high + _slack(limit.high):
        return number - limit.high
    return 0.0


def _slack(limit: float) -> float:
    return ROUNDING * max(1.0, abs(limit))


def _judge_reading(
    spec: ItemSpec, answer: Answer, context: JudgingContext
) -> ItemFinding:
    if spec.quantity is None:
        return _judge_numbers(spec, answer, context)
    from installs.calc.electrical import judge_reading

    limit = item_limit(spec, context)
    held = None
    if not (limit.low is None and limit.high is None):
        held = AcceptanceLimit(limit.low, limit.high, limit.source, limit.standing)
    judgement = judge_reading(
        spec.quantity, answer.numbers[0], held, over_range=answer.over_range
    )
    if held is None:
        shown = numbers_told(spec, answer, context.system)
        trouble = f"; {limit.trouble}" if limit.trouble else ""
        state = FindingState.CANNOT_SAY if limit.trouble else FindingState.ANSWERED
        return ItemFinding(state, sentence=f"{shown}{trouble}.")
    questions = unit_questions(
        answer.typed, measure=None, low=limit.low, high=limit.high
    )
    return _found(judgement, questions, limit.trouble)


def _judge_triangle(
    spec: ItemSpec, answer: Answer, context: JudgingContext
) -> ItemFinding:
    """Leg into the lane, leg along the edge, diagonal: how square the line is."""
    from installs.calc.layout.square import squareness
    from installs.calc.layout.types import SquareMeasure, SquareTolerance

    limit = item_limit(spec, context)
    shown = numbers_told(spec, answer, context.system)
    if context.lane_width_m is None:
        return ItemFinding(
            FindingState.CANNOT_SAY,
            sentence=f"{shown}; the lane's width is not entered, so the offset at its "
            "far edge cannot be computed.",
            needs_disposition=True,
        )
    tolerance = None
    if limit.high is not None:
        tolerance = SquareTolerance(
            SquareMeasure.FAR_EDGE, limit.high, limit.source, limit.standing
        )
    try:
        found = squareness(
            *answer.numbers[:3],
            tape_sd_m=context.tape_sd_m,
            lane_width_m=context.lane_width_m,
            speed_kmh=context.speed_kmh,
            tolerance=tolerance,
            unit=answer.typed[0][1] if answer.typed else "m",
        )
    except DomainError as error:
        return ItemFinding(
            FindingState.CANNOT_SAY,
            sentence=f"{shown}. {error.message}",
            needs_disposition=True,
        )
    return _found(found.judgement, tuple(str(one) for one in found.questions))


def _judge_words(
    spec: ItemSpec, answer: Answer, context: JudgingContext
) -> ItemFinding:
    """Yes or no, one of several, or free words."""
    if not spec.expected or spec.kind is ItemKind.TEXT:
        return ItemFinding(FindingState.ANSWERED, sentence=f"“{answer.answer}”.")
    good = answer.answer.casefold() == spec.expected.casefold()
    verdict = Verdict.MEETS if good else Verdict.MISSES
    limit = limit_words(spec, context)
    source = limit_source_words(spec, context)
    why = f" ({answer.reason})" if answer.reason and not good else ""
    judgement = Judgement(
        quantity=spec.prompt,
        value=None,
        unit="",
        n=1,
        interval=None,
        rule=f"the answer against the one that passes ({source})",
        limit=limit,
        verdict=verdict,
        sentence=f"Answered “{answer.answer}”{why}; {limit}: {verdict}.",
        standing=str(spec.limit_source),
    )
    return _found(judgement)


def _judge_batch(
    spec: ItemSpec, answer: Answer, context: JudgingContext
) -> ItemFinding:
    expires, on = answer.batch_expires_on, answer.observed_on
    if expires is None or on is None:
        return ItemFinding(
            FindingState.ANSWERED,
            sentence=f"{answer.batch}; no expiry date is kept for it.",
        )
    verdict = Verdict.MEETS if on <= expires else Verdict.MISSES
    judgement = Judgement(
        quantity=spec.prompt,
        value=None,
        unit="",
        n=1,
        interval=None,
        rule="the day of use against the batch's expiry; the day itself still meets it",
        limit=f"used by {expires}",
        verdict=verdict,
        sentence=f"{answer.batch}, used on {on}; expires {expires}: {verdict}.",
        standing="maker",
    )
    return _found(judgement)


def _warnings(spec: ItemSpec, answer: Answer) -> tuple[str, ...]:
    found = []
    due, on = answer.instrument_due_on, answer.observed_on
    if due is not None and on is not None and on > due:
        found.append(
            f"{answer.instrument or 'The instrument'} was due for calibration on "
            f"{due}, before this reading of {on}"
        )
    if spec.kind is ItemKind.READING and not answer.instrument:
        found.append("no instrument is named, so nobody can say how far to believe it")
    expires = answer.batch_expires_on
    if spec.kind is not ItemKind.BATCH and expires and on and on > expires:
        found.append(f"{answer.batch} expired on {expires}, before its use on {on}")
    return tuple(found)


_JUDGES: dict[ItemKind, Callable[[ItemSpec, Answer, JudgingContext], ItemFinding]] = {
    ItemKind.MEASUREMENT: _judge_numbers,
    ItemKind.SERIES: _judge_numbers,
    ItemKind.READING: _judge_reading,
    ItemKind.TRIANGLE: _judge_triangle,
    ItemKind.YES_NO: _judge_words,
    ItemKind.CHOICE: _judge_words,
    ItemKind.TEXT: _judge_words,
    ItemKind.BATCH: _judge_batch,
}
