"""Compare installs.calc with a reference survival library, in its own environment.

A plain script, not collected by pytest: the library needs an older pandas than ours.

    python -m venv ENV && ENV/bin/pip install -r tests/outside/reference_env/requirements.txt
    PYTHONPATH=. ENV/bin/python tests/outside/reference_env/check_survival.py

Prints each comparison and ends with status 1 when one differs. It also proves that
installs.calc needs neither Django nor anything else that this environment lacks.
"""  # noqa: E501

from __future__ import annotations

import logging
import statistics
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from lifelines import (
    AalenJohansenFitter,
    KaplanMeierFitter,
    NelsonAalenFitter,
    WeibullFitter,
)
from lifelines.statistics import multivariate_logrank_test

from installs.calc.competing import cause_specific_lives, cumulative_incidence
from installs.calc.groups import compare_lives
from installs.calc.survival import kaplan_meier, weibull_survival
from installs.calc.types import Life, SurvivalCurve
from installs.calc.weibull import weibull_maximum_likelihood


@dataclass(frozen=True)
class Comparison:
    """One number, ours and theirs, and how far apart they may be."""

    what: str
    ours: float
    theirs: float
    rel: float

    @property
    def agrees(self) -> bool:
        return abs(self.ours - self.theirs) <= self.rel * max(abs(self.theirs), 1e-12)


def simulated(seed: int, n: int, *, late_entry: bool) -> list[Life]:
    """Weibull lives (shape 2, scale 8) watched for up to ten years."""
    rng = np.random.default_rng(seed)
    entry = rng.uniform(0.0, 10.0, n) if late_entry else np.zeros(n)
    age = 8.0 * ((entry / 8.0) ** 2 + rng.standard_exponential(n)) ** 0.5
    until = entry + rng.uniform(0.5, 10.0, n)
    return [
        Life(float(min(t, c)), failed=bool(t <= c), entry_age_years=float(e))
        for t, c, e in zip(age, until, entry, strict=True)
    ]


def inspected(seed: int, n: int) -> list[Life]:
    """The same, failures known only to lie between yearly inspections."""
    rng = np.random.default_rng(seed)
    found = []
    for age in 8.0 * rng.weibull(2.0, n):
        if age > 9.0:
            found.append(Life(9.0, failed=False))
        else:
            low = float(np.floor(age))
            found.append(Life(low + 1, True, low_years=low, high_years=low + 1))
    return found


def columns(lives: list[Life]) -> tuple[list[float], list[bool], list[float]]:
    return (
        [x.age_years for x in lives],
        [x.failed for x in lives],
        [x.entry_age_years for x in lives],
    )


def value_at(curve: SurvivalCurve, column: str, age: float) -> float:
    values: tuple[float, ...] = getattr(curve, column)
    return [v for a, v in zip(curve.age_years, values, strict=True) if a <= age][-1]


def compare_curve(name: str, lives: list[Life]) -> Iterator[Comparison]:
    ages, failed, entry = columns(lives)
    late = any(entry)
    theirs = KaplanMeierFitter().fit(ages, failed, entry=entry if late else None)
    ours = kaplan_meier(lives)
    steps = theirs.survival_function_.iloc[:, 0]
    ends = theirs.confidence_interval_
    table = theirs.event_table
    for age, at_risk, survival in zip(
        ours.age_years, ours.at_risk, ours.survival, strict=True
    ):
        yield Comparison(f"{name}: survival at {age:.3f}", survival, steps[age], 1e-9)
        # Their table counts at each time those who enter at it or before; ages differ.
        yield Comparison(
            f"{name}: at risk at {age:.3f}",
            at_risk,
            table.at_risk[age] - (table.entrance[age] if late else 0),
            0.0,
        )
        if survival > 0:
            for column, place in (("low", 0), ("high", 1)):
                yield Comparison(
                    f"{name}: {column} end at {age:.3f}",
                    value_at(ours, column, age),
                    float(ends.loc[age].iloc[place]),
                    1e-6,
                )


def compare_weibull(name: str, lives: list[Life]) -> Iterator[Comparison]:
    ages, failed, entry = columns(lives)
    fit = weibull_maximum_likelihood(lives)
    if any(x.is_bracketed for x in lives):
        low = [x.low_years if x.is_bracketed else x.age_years for x in lives]
        high = [x.high_years if x.is_bracketed else np.inf for x in lives]
        late = entry if any(entry) else None
        theirs = WeibullFitter().fit_interval_censoring(low, high, entry=late)
    else:
        theirs = WeibullFitter().fit(ages, failed, entry=entry if any(entry) else None)
    error_shape, error_scale = fit.standard_error_log()
    their_errors = theirs.summary["se(coef)"]
    yield Comparison(f"{name}: shape", fit.shape, theirs.rho_, 1e-4)
    yield Comparison(f"{name}: scale", fit.scale_years, theirs.lambda_, 1e-4)
    yield Comparison(
        f"{name}: error of shape", fit.shape * error_shape, their_errors["rho_"], 1e-3
    )
    yield Comparison(
        f"{name}: error of scale",
        fit.scale_years * error_scale,
        their_errors["lambda_"],
        1e-3,
    )
    for age in (1.0, 5.0):
        yield Comparison(
            f"{name}: survival at {age:g}",
            float(weibull_survival(fit, age)),
            float(theirs.survival_function_at_times(age).iloc[0]),
            1e-4,
        )


def ended_two_ways(seed: int, n: int) -> tuple[list[Life], list[str]]:
    """Lives that failures and pavement works compete to end."""
    rng = np.random.default_rng(seed)
    fails = 8.0 * rng.weibull(2.0, n)
    works = 0.01 + rng.exponential(12.0, n)  # nothing ends on its first day
    until = rng.uniform(1.0, 12.0, n)
    lives, causes = [], []
    for f, w, u in zip(fails, works, until, strict=True):
        lives.append(Life(float(min(f, w, u)), failed=bool(f <= min(w, u))))
        causes.append("failed" if f <= min(w, u) else "works" if w <= u else "")
    return lives, causes


def compare_competing(
    name: str, lives: list[Life], causes: list[str]
) -> Iterator[Comparison]:
    """Share ended by each cause (Aalen–Johansen), and each cause's own Weibull."""
    ages = [x.age_years for x in lives]
    numbers = {"": 0, "failed": 1, "works": 2}
    for one in cumulative_incidence(lives, causes):
        theirs = AalenJohansenFitter(calculate_variance=False).fit(
            ages, [numbers[c] for c in causes], event_of_interest=numbers[one.cause]
        )
        density = theirs.cumulative_density_.iloc[:, 0]
        for age, share in zip(one.age_years, one.share, strict=True):
            yield Comparison(
                f"{name}: share {one.cause}, survival at {age:.3f}",
                share,
                float(density[age]),
                1e-9,
            )
        own = cause_specific_lives(lives, causes, one.cause)
        yield from compare_weibull(f"{name}, {one.cause}", own)


def compare_hazard(name: str, lives: list[Life]) -> Iterator[Comparison]:
    """Cumulative hazard from our numbers at risk against theirs (Nelson–Aalen)."""
    ages, failed, entry = columns(lives)
    theirs = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(
        ages, failed, entry=entry if any(entry) else None
    )
    ours = kaplan_meier(lives)
    hazard = np.cumsum(np.array(ours.failures) / np.array(ours.at_risk))
    steps = theirs.cumulative_hazard_.iloc[:, 0]
    for age, value in zip(ours.age_years, hazard, strict=True):
        what = f"{name}: hazard, survival at {age:.3f}"
        yield Comparison(what, float(value), float(steps[age]), 1e-9)


def compare_lots(name: str, lots: dict[str, list[Life]]) -> Iterator[Comparison]:
    """The log-rank test of groups."""
    ours = compare_lives(lots)
    ages = [x.age_years for own in lots.values() for x in own]
    failed = [x.failed for own in lots.values() for x in own]
    groups = [lot for lot, own in lots.items() for _ in own]
    theirs = multivariate_logrank_test(ages, groups, failed)
    yield Comparison(f"{name}: statistic", ours.statistic, theirs.test_statistic, 1e-6)
    yield Comparison(f"{name}: p", ours.p_value or 0.0, theirs.p_value, 1e-6)


def bracketed_late(seed: int, n: int) -> list[Life]:
    """In service before the records began, failures between yearly inspections."""
    rng = np.random.default_rng(seed)
    found = []
    for entry in rng.integers(0, 6, n):
        age = 8.0 * ((entry / 8.0) ** 2 + rng.standard_exponential()) ** 0.5
        low = float(max(np.floor(age), entry))
        until = float(entry + 6)
        if low >= until:
            found.append(Life(until, False, entry_age_years=float(entry)))
        else:
            found.append(
                Life(low + 1, True, float(entry), low_years=low, high_years=low + 1)
            )
    return found


def ratio_of_fits() -> float:
    """Our fit of 5,000 lives over theirs, medians of five within this run."""
    lives = simulated(8, 5_000, late_entry=False)
    ages, failed, _ = columns(lives)

    def taken(call: Callable[[], object]) -> float:
        times = []
        for _ in range(5):
            begin = time.perf_counter()
            call()
            times.append(time.perf_counter() - begin)
        return statistics.median(times)

    ours = taken(lambda: weibull_maximum_likelihood(lives))
    return ours / taken(lambda: WeibullFitter().fit(ages, failed))


def comparisons() -> Iterator[Comparison]:
    watched = simulated(1, 120, late_entry=False)
    late = simulated(2, 200, late_entry=True)
    yield from compare_curve("watched from new", watched)
    yield from compare_curve("delayed entry", late)
    yield from compare_weibull("watched from new", watched)
    yield from compare_weibull("delayed entry", late)
    yield from compare_weibull("yearly inspections", inspected(3, 80))
    yield from compare_weibull("inspected, late entry", bracketed_late(4, 150))
    yield from compare_competing("competing ends", *ended_two_ways(5, 150))
    yield from compare_hazard("watched from new", watched)
    yield from compare_hazard("delayed entry", late)
    lots = {f"lot {i}": simulated(10 + i, 40, late_entry=False) for i in range(3)}
    yield from compare_lots("three lots", lots)


def main() -> int:
    logging.disable(logging.WARNING)
    warnings.simplefilter("ignore")  # the library's own, about its own dependencies
    found = list(comparisons())
    wrong = [one for one in found if not one.agrees]
    for one in found:
        if "survival at" in one.what or "risk" in one.what or "end at" in one.what:
            continue
        print(f"{one.what:38} ours {one.ours:12.6f}  theirs {one.theirs:12.6f}")  # noqa: T201
    for one in wrong:
        print(f"DIFFERS {one}", file=sys.stderr)  # noqa: T201
    django = [name for name in sys.modules if name.split(".")[0] == "django"]
    if django:
        print("installs.calc imported Django", file=sys.stderr)  # noqa: T201
    print(f"{len(found)} numbers compared, {len(wrong)} differ")  # noqa: T201
    print(f"fit of 5,000 lives: {ratio_of_fits():.2f} × the library's")  # noqa: T201
    return 1 if wrong or django else 0


if __name__ == "__main__":
    raise SystemExit(main())
