"""Was the forecast right? Fitted on what was known then, held against what came.

Origins are dates, and at each only what had been *recorded* by then is used: a failure
entered later and dated back was not known. Sensors taken out for other reasons within
the horizon have no outcome; they are left out and counted.

References
----------
Brier, Monthly Weather Review 78 (1950) 1-3; skill and calibration: Murphy & Winkler,
Monthly Weather Review 115 (1987) 1330-1338 (from memory).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from installs.calc.likelihood import Array
from installs.calc.survival import failure_probability, parameter_draws
from installs.calc.types import (
    DAYS_PER_YEAR,
    BackTest,
    Fifth,
    Life,
    OriginScore,
    RecordedLife,
    WeibullFit,
    years_between,
)
from wimprog.lib.errors import DomainError

Fitter = Callable[[Mapping[str, Sequence[Life]]], Mapping[str, WeibullFit]]

#: Fewer forecast sensors than this cannot be judged by fifths.
ENOUGH_FORECASTS = 25
_DRAWS = 400
_SEED = 20_112


@dataclass(frozen=True)
class _Told:
    chance: float
    constant: float
    failed: bool


def known_lives(
    history: Iterable[RecordedLife], origin: date
) -> dict[str, list[tuple[RecordedLife, Life]]]:
    """Lives by group as they were known on a day."""
    found: dict[str, list[tuple[RecordedLife, Life]]] = defaultdict(list)
    for one in history:
        if one.installed_on > origin:
            continue
        over = one.ended_on is not None and one.known_on <= origin
        ended = one.ended_on if over and one.ended_on is not None else origin
        found[one.group].append(
            (
                one,
                Life(
                    years_between(one.installed_on, ended),
                    failed=over and one.failed,
                    key=one.key,
                    until_years=years_between(one.installed_on, origin),
                ),
            )
        )
    return dict(found)


def back_test(
    history: Sequence[RecordedLife],
    origins: Sequence[date],
    *,
    fit: Fitter,
    horizon_years: float = 2.0,
    last_known: date,
    level: float = 0.90,
) -> BackTest:
    """Forecast at each origin and hold it against what came within the horizon.

    Parameters
    ----------
    history
        Every life with its dates.
    origins
        Days to forecast from; those whose horizon reaches beyond ``last_known`` are
        left out.
    fit
        Gives the life curve of each group from the lives known at an origin: the one
        in use, so that what is judged is what is shown.
    horizon_years
        How far ahead.
    last_known
        Day up to which the record is complete.
    level
        Level of the bands for the number of failures at an origin.

    Returns
    -------
    BackTest
        Scores over all forecasts, by origin, and by fifths of the chance told.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the horizon is not above zero.
    """
    if not (math.isfinite(horizon_years) and horizon_years > 0):
        raise DomainError("A back-test needs a horizon above zero.")
    ahead = timedelta(days=round(horizon_years * DAYS_PER_YEAR))
    rng = np.random.default_rng(_SEED)
    told: list[_Told] = []
    scores = []
    for origin in sorted(set(origins)):
        if origin + ahead > last_known:
            continue
        score, own = _at_origin(
            history, origin, origin + ahead, fit, horizon_years, level, rng
        )
        told += own
        if score is not None:
            scores.append(score)
    return _summed(told, scores, horizon_years, level)


def _at_origin(
    history: Sequence[RecordedLife],
    origin: date,
    until: date,
    fit: Fitter,
    horizon_years: float,
    level: float,
    rng: np.random.Generator,
) -> tuple[OriginScore | None, list[_Told]]:
    known = known_lives(history, origin)
    curves = fit({name: [life for _, life in pairs] for name, pairs in known.items()})
    told: list[_Told] = []
    counts = np.zeros(_DRAWS)
    lost = 0
    for name, pairs in sorted(known.items()):
        curve = curves[name]
        failures = sum(life.failed for _, life in pairs)
        exposure = sum(life.age_years for _, life in pairs)
        # Half a failure where there was none yet, so that the rate is not zero.
        rate = max(failures, 0.5) / max(exposure, 1.0)
        ages = []
        for one, life in pairs:
            if one.ended_on is not None and one.ended_on <= origin:
                continue
            if one.ended_on is not None and one.ended_on <= until and not one.failed:
                lost += 1
                continue
            ages.append(life.age_years)
            told.append(
                _Told(
                    float(failure_probability(curve, life.age_years, horizon_years)),
                    -math.expm1(-rate * horizon_years),
                    one.failed and one.ended_on is not None and one.ended_on <= until,
                )
            )
        counts += _first_failures(curve, np.array(ages), horizon_years, rng)
    if not told:
        return None, []
    tail = (1.0 - level) / 2.0
    low, high = np.quantile(counts, [tail, 1.0 - tail])
    came = sum(one.failed for one in told)
    score = OriginScore(
        origin=origin,
        n=len(told),
        expected=sum(one.chance for one in told),
        low=float(low),
        high=float(high),
        failed=came,
        left_out=lost,
    )
    return score, told


def _first_failures(
    curve: WeibullFit, ages: Array, horizon_years: float, rng: np.random.Generator
) -> Array:
    """Sensors that fail within the horizon in simulated fleets (not their heirs)."""
    if not ages.size:
        return np.zeros(_DRAWS)
    shapes, scales = parameter_draws(curve, _DRAWS, rng)
    now = (ages / scales[:, None]) ** shapes[:, None]
    then = ((ages + horizon_years) / scales[:, None]) ** shapes[:, None]
    return np.asarray(
        (rng.random(now.shape) < -np.expm1(now - then)).sum(axis=1), dtype=float
    )


def _summed(
    told: Sequence[_Told],
    scores: Sequence[OriginScore],
    horizon_years: float,
    level: float,
) -> BackTest:
    chance = np.array([one.chance for one in told])
    came = np.array([one.failed for one in told], dtype=float)
    constant = np.array([one.constant for one in told])
    brier = brier_score(chance, came)
    plain = brier_score(constant, came)
    skill = None if brier is None or not plain else 1.0 - brier / plain
    held = [one.low <= one.failed <= one.high for one in scores]
    result = BackTest(
        horizon_years=horizon_years,
        level=level,
        n=len(told),
        failed=int(came.sum()),
        expected=float(chance.sum()),
        brier=brier,
        brier_constant_rate=plain,
        skill=skill,
        fifths=_fifths(chance, came),
        origins=tuple(scores),
        bands_held=sum(held),
        left_out=sum(one.left_out for one in scores),
        sentence="",
    )
    return result.with_sentence(_sentence(result))


def brier_score(chance: Array, came: Array) -> float | None:
    """Mean squared difference of chance told and outcome; None without forecasts."""
    if not chance.size:
        return None
    return float(np.mean((chance - came) ** 2))


def _fifths(chance: Array, came: Array) -> tuple[Fifth, ...]:
    if chance.size < ENOUGH_FORECASTS:
        return ()
    order = np.argsort(chance, kind="stable")
    return tuple(
        Fifth(float(chance[part].mean()), float(came[part].mean()), int(part.size))
        for part in np.array_split(order, 5)
    )


def _sentence(found: BackTest) -> str:
    if not found.n:
        return (
            "No past year can be checked yet: the record does not reach "
            f"{found.horizon_years:g} years beyond any day on which sensors were in "
            "service."
        )
    n = len(found.origins)
    told = (
        f"Checked from {n} past day{'' if n == 1 else 's'}, {found.n} forecasts of "
        f"{found.horizon_years:g} years: {found.expected:.1f} failures were expected, "
        f"{found.failed} came; the {100 * found.level:.0f} % band held "
        f"{found.bands_held} of {n} times"
    )
    if found.left_out:
        told += f"; {found.left_out} sensors left for other reasons and are left out"
    return f"{told}. {_trust(found)}"


def _trust(found: BackTest) -> str:
    if found.n < ENOUGH_FORECASTS or found.failed < 5:
        return "That is too little to say how far the forecast can be trusted."
    off = found.expected / max(found.failed, 0.5)
    if found.skill is not None and found.skill < 0:
        return (
            "It did worse than a constant rate of failure: do not rank sensors by it."
        )
    if not 0.67 <= off <= 1.5:
        side = "many" if off > 1 else "few"
        return f"It expected too {side} failures: allow for that in the budget."
    return (
        f"It beat a constant rate of failure by {100 * (found.skill or 0.0):.0f} % of "
        "its Brier score: its ranking can be used, within its bands."
    )
