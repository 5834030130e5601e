"""How long to wait for a resin to cure, and whether the weather will let it.

What a resin needs is in its maker's table (:mod:`installs.calc.layout.catalyst`);
without one there is only the least time of common practice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from installs.calc.layout.catalyst import catalyst_at
from installs.calc.layout.temperatures import (
    check_temperature,
    single_judgement,
    temperature_unit,
    temperature_words,
    window_words,
)
from installs.calc.layout.types import (
    COMMON_PRACTICE,
    BetweenRows,
    CatalystChoice,
    CatalystStep,
    CureTime,
    ForecastPoint,
    TemperatureWindow,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import UnitSystem

#: No less than this, whatever a table says, in minutes. Common practice, no source.
LEAST_CURE_MIN = 30.0

CURE_RULE = "minutes since the last pour, not less than the table's at the coldest"
FORECAST_RULE = (
    "lowest forecast air temperature from pour to end of cure, the cure taken at that "
    "temperature; the pavement may be warmer or colder than the air"
)


# --- time --------------------------------------------------------------------------


def required_cure(
    coldest_c: float,
    table: Sequence[CatalystStep] = (),
    *,
    between: BetweenRows = BetweenRows.STEPS,
    least_min: float = LEAST_CURE_MIN,
    system: UnitSystem = UnitSystem.SI,
) -> CureTime:
    """How long to wait at the coldest temperature since the pour.

    Never less than ``least_min`` minutes. Without a table that is all there is to say,
    and the basis tells that the cold asks for more.

    Raises
    ------
    wimprog.lib.errors.DomainError
        As :func:`catalyst_at`.
    """
    least = f"at least {least_min:g} min"
    if not table:
        return CureTime(
            least_min,
            coldest_c,
            f"{least} ({COMMON_PRACTICE}), longer in the cold; no maker's table has "
            "been entered to say how much",
            COMMON_PRACTICE,
            by_table=False,
        )
    choice = catalyst_at(
        table, coldest_c, amount_unit="", between=between, system=system
    )
    at = temperature_words(coldest_c, system)
    if choice.cure_min < least_min:
        basis = (
            f"{least} ({COMMON_PRACTICE}); the maker's table asks for "
            f"{choice.cure_min:.3g} min at {at}"
        )
        return CureTime(least_min, coldest_c, basis, COMMON_PRACTICE)
    basis = f"at least {choice.cure_min:.3g} min by the maker's table at {at}"
    return CureTime(choice.cure_min, coldest_c, basis, "maker's table")


def judge_cure(elapsed_min: float | None, required: CureTime) -> Judgement:
    """Minutes since the last pour against the cure that is asked for.

    Without a maker's table, ``cannot say`` once the common least time has passed.
    """
    _check_minutes("cure", elapsed_min)
    if elapsed_min is None:
        verdict, told = Verdict.CANNOT_SAY, "no time noted"
    else:
        told = f"{elapsed_min:.4g} min"
        if elapsed_min < required.minutes:
            verdict = Verdict.MISSES
            told += f", {required.minutes - elapsed_min:.4g} min to wait"
        else:
            verdict = Verdict.MEETS if required.by_table else Verdict.CANNOT_SAY
    return single_judgement(
        "cure time",
        elapsed_min,
        "min",
        rule=CURE_RULE,
        limit=required.basis,
        verdict=verdict,
        told=told,
        standing=required.standing,
    )


def judge_pot_life(elapsed_min: float | None, choice: CatalystChoice) -> Judgement:
    """Minutes from mixing to the end of the pour against the batch's pot life."""
    _check_minutes("pour", elapsed_min)
    if elapsed_min is None:
        verdict, told = Verdict.CANNOT_SAY, "no time noted"
    else:
        is_in = elapsed_min <= choice.pot_life_min
        verdict = Verdict.MEETS if is_in else Verdict.MISSES
        told = f"{elapsed_min:.4g} min"
    return single_judgement(
        "time from mixing to poured",
        elapsed_min,
        "min",
        rule="minutes from mixing, not more than the pot life of the maker's table",
        limit=f"at most {choice.pot_life_min:.3g} min",
        verdict=verdict,
        told=told,
        standing="maker's table",
    )


def _check_minutes(what: str, minutes: float | None) -> None:
    if minutes is not None and not (math.isfinite(minutes) and minutes >= 0):
        raise DomainError(
            f"The time of the {what} comes out as {minutes:g} min; check which of the "
            "two times was earlier."
        )


# --- weather -----------------------------------------------------------------------


def judge_forecast(
    forecast: Sequence[ForecastPoint],
    window: TemperatureWindow,
    table: Sequence[CatalystStep] = (),
    *,
    between: BetweenRows = BetweenRows.STEPS,
    least_min: float = LEAST_CURE_MIN,
    system: UnitSystem = UnitSystem.SI,
) -> Judgement:
    """Will it stay warm enough until the resin has cured?

    As it cools the cure lasts longer, which lets it cool further: the cure is followed
    until its end and the coldest moment before it agree.

    Parameters
    ----------
    forecast
        Air temperatures, the first at the pour (0 min) or before; straight lines
        between them. In any order.
    window, table, between, least_min
        As for :func:`judge_temperature` and :func:`required_cure`.

    Returns
    -------
    Judgement
        ``cannot say`` when the forecast ends before the cure does, or when it gets
        colder than the table tells about.
    """
    points = sorted(forecast, key=lambda p: p.after_min)
    for point in points:
        check_temperature("forecast temperature", point.air_c, system)
    limit = window_words(window, system)
    if not points or points[0].after_min > 0:
        return _forecast_judgement(
            None, window, limit, Verdict.CANNOT_SAY,
            "the forecast does not begin at the pour", len(points), system,
        )  # fmt: skip
    cure_min = least_min
    coldest = _coldest(points, cure_min)
    while True:
        try:
            needed = required_cure(
                coldest, table, between=between, least_min=least_min, system=system
            ).minutes
        except DomainError as beyond:
            return _forecast_judgement(
                coldest, window, limit, Verdict.CANNOT_SAY,
                beyond.message.rstrip("."), len(points), system,
            )  # fmt: skip
        if needed <= cure_min:
            break
        cure_min = needed
        coldest = _coldest(points, cure_min)
    is_warm = window.low_c is None or coldest >= window.low_c
    why = f"cure of {cure_min:.3g} min"
    if not is_warm:
        verdict = Verdict.MISSES
    elif points[-1].after_min < cure_min:
        verdict = Verdict.CANNOT_SAY
        why = f"the forecast ends before the {why}"
    else:
        verdict = Verdict.MEETS
    return _forecast_judgement(
        coldest, window, limit, verdict, why, len(points), system
    )


def _coldest(points: Sequence[ForecastPoint], until_min: float) -> float:
    """Lowest temperature from 0 to ``until_min``, with straight lines between."""
    within = [p.air_c for p in points if 0.0 <= p.after_min <= until_min]
    for a, b in pairwise(points):
        for t in (0.0, until_min):
            if a.after_min < t < b.after_min:
                share = (t - a.after_min) / (b.after_min - a.after_min)
                within.append(a.air_c + share * (b.air_c - a.air_c))
    return min(within, default=points[-1].air_c)


def _forecast_judgement(
    coldest_c: float | None,
    window: TemperatureWindow,
    limit: str,
    verdict: Verdict,
    why: str,
    n: int,
    system: UnitSystem,
) -> Judgement:
    told = (
        "no temperature" if coldest_c is None else temperature_words(coldest_c, system)
    )
    return single_judgement(
        "lowest forecast temperature until cured",
        None if coldest_c is None else temperature_unit(system).from_si(coldest_c),
        temperature_unit(system).symbol,
        rule=f"{FORECAST_RULE} ({window.source})",
        limit=limit,
        verdict=verdict,
        told=f"{told} ({why})",
        standing=window.standing,
        n=n,
    )
