"""Compare installs.calc with a reference survival library, in its own environment.

A plain script, not collected by pytest: the library needs an older pandas than ours.

    python -m venv ENV && ENV/bin/pip install -r tests/outside/reference_env/requirements.txt
    PYTHONPATH=. ENV/bin/python tests/outside/reference_env/check_survival.py

Prints each comparison and ends with status 1 when one differs. It also proves that
installs.calc needs neither Django nor anything else that this environment lacks.
"""  # noqa: E501

from __future__ import annotations

import logging
import sys
import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from lifelines import KaplanMeierFitter, WeibullFitter

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
        theirs = WeibullFitter().fit_interval_censoring(low, high)
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


def comparisons() -> Iterator[Comparison]:
    watched = simulated(1, 120, late_entry=False)
    late = simulated(2, 200, late_entry=True)
    yield from compare_curve("watched from new", watched)
    yield from compare_curve("delayed entry", late)
    yield from compare_weibull("watched from new", watched)
    yield from compare_weibull("delayed entry", late)
    yield from compare_weibull("yearly inspections", inspected(3, 80))


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
    return 1 if wrong or django else 0


if __name__ == "__main__":
    raise SystemExit(main())
