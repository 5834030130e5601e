"""Groups that borrow from each other: technologies of one agency, lots of one model.

A group with two failures of its own cannot say how long its sensors last; the other
groups can help, because an agency's traffic, crews, pavements and climate are the same
for all of them. The model, on logs:

    log(median of g) = log(expected median of g) + common + own_g
    log(shape of g)  = log(expected shape of g) + common' + own'_g

``common`` says by how much this agency's sensors outlive the expectation, whatever the
technology; ``own`` is what is left for the group. Their spreads are stated
(:class:`Sharing`) and split the spread of the expectation, so that a group without any
neighbours keeps exactly the expectation it had.

The answer is an expectation for each group (:class:`LifePrior`) made of everything but
its own lives, so the fit that follows counts no life twice. A group that has enough
failures hardly notices it.

References
----------
Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, chapter 5 (hierarchical normal
models; from memory). Each group's likelihood enters by its own mode with and without
the expectation (normal approximation on the log scale).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from installs.calc.likelihood import Array
from installs.calc.types import Life, LifePrior, WeibullFit
from installs.calc.weibull import weibull_with_prior
from wimprog.lib.errors import DomainError

_LOG_LOG_2 = math.log(math.log(2.0))
#: A share borrowed below this is not worth a sentence.
_LEAST_SHARE = 0.005


@dataclass(frozen=True)
class Sharing:
    """How much of an expectation's variance the groups have in common.

    Attributes
    ----------
    of_median
        Share of the variance of the log median: 0.5 says that half of what an agency's
        lives may depart from the published ones is common to all its technologies.
    of_shape
        The same of the log shape.
    standing
        "assumed" until the agency says otherwise.
    """

    of_median: float = 0.5
    of_shape: float = 0.5
    standing: str = "assumed"

    def __post_init__(self) -> None:
        """Refuse shares that are none."""
        for name in ("of_median", "of_shape"):
            share = getattr(self, name)
            if not 0.0 <= share < 1.0:
                raise DomainError(
                    f"Sharing: {name} is a share from 0 to below 1, not {share}."
                )


#: Between technologies.
TECHNOLOGIES = Sharing()
#: Between lots of one technology: most of the spread is common.
LOTS = Sharing(of_median=0.75, of_shape=0.9)


def pooled_priors(
    groups: Mapping[str, Sequence[Life]],
    priors: Mapping[str, LifePrior],
    *,
    sharing: Sharing = TECHNOLOGIES,
    of_what: str = "technologies",
) -> dict[str, LifePrior]:
    """What each group should be expected to live, given all the others.

    Parameters
    ----------
    groups
        Lives by group.
    priors
        Expectation of each group before any life; may cover more groups.
    sharing
        Share of the expectation's variance that is common.
    of_what
        Plural of the groups, for the sentence.

    Returns
    -------
    dict
        By group, the expectation that takes in the others, with how many failures of
        how many others it borrows from.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a group has no expectation.
    """
    missing = sorted(set(groups) - set(priors))
    if missing:
        raise DomainError(
            f"There is no expected life for {', '.join(missing)}; give one."
        )
    said = {name: _said(lives, priors[name]) for name, lives in groups.items() if lives}
    return {
        name: _without(name, said, priors[name], sharing, of_what) for name in groups
    }


@dataclass(frozen=True)
class _Said:
    """What a group's lives say of its departure from the expectation: information
    (2, 2) and information times departure (2,), in (log shape, log median).
    """

    information: Array
    weighted: Array
    prior: LifePrior
    n_failures: int


def _said(lives: Sequence[Life], prior: LifePrior) -> _Said:
    fit = weibull_with_prior(lives, prior)
    covariance = _of_median(fit)
    prior_information = np.diag([prior.log_shape_sd**-2, prior.log_median_sd**-2])
    information = np.linalg.inv(covariance)
    mode = np.array(
        [
            math.log(fit.shape / prior.shape),
            math.log(fit.median_years / prior.median_years),
        ]
    )
    # The posterior is prior times likelihood: what is left is the likelihood's part.
    own = information - prior_information
    sizes, axes = np.linalg.eigh(own)
    own = (axes * np.maximum(sizes, 0.0)) @ axes.T
    return _Said(own, information @ mode, prior, fit.n_failures)


def _of_median(fit: WeibullFit) -> Array:
    """Covariance of (log shape, log median): d log median / d log shape = -bend."""
    bend = _LOG_LOG_2 / fit.shape
    turn = np.array([[1.0, 0.0], [-bend, 1.0]])
    return np.asarray(turn @ np.array(fit.log_covariance) @ turn.T)


def _without(
    name: str,
    said: Mapping[str, _Said],
    prior: LifePrior,
    sharing: Sharing,
    of_what: str,
) -> LifePrior:
    shares = np.array([sharing.of_shape, sharing.of_median])
    spread = np.array([prior.log_shape_sd, prior.log_median_sd]) ** 2
    common = spread * shares
    if not np.all(common > 0):
        return prior
    information = np.diag(1.0 / common)
    weighted = np.zeros(2)
    failures = helpers = 0
    for other, one in said.items():
        if other == name:
            continue
        theirs = np.array([one.prior.log_shape_sd, one.prior.log_median_sd]) ** 2
        # What a group says of the common part is blurred by its own part.
        blur = np.diag(theirs * (1.0 - shares))
        narrowed = np.linalg.inv(np.eye(2) + one.information @ blur)
        information = information + narrowed @ one.information
        weighted = weighted + narrowed @ one.weighted
        failures += one.n_failures
        helpers += one.n_failures > 0
    covariance = np.linalg.inv(information)
    moved = covariance @ weighted
    left = np.diag(covariance) + spread * (1.0 - shares)
    learned = 1.0 - float(left[1] / spread[1])
    if learned < _LEAST_SHARE or not failures:
        return prior
    return replace(
        prior,
        shape=prior.shape * math.exp(float(moved[0])),
        median_years=prior.median_years * math.exp(float(moved[1])),
        log_shape_sd=math.sqrt(float(left[0])),
        log_median_sd=math.sqrt(float(left[1])),
        source=(
            f"{prior.source}, {prior.median_years:g} years, moved by "
            f"{_count(failures, 'failures')} of {_count(helpers, 'other ' + of_what)}"
        ),
        borrowed_failures=failures,
    )


def _count(n: int, plural: str) -> str:
    if n != 1:
        return f"{n} {plural}"
    singular = plural[:-3] + "y" if plural.endswith("ies") else plural.removesuffix("s")
    return f"1 {singular}"


@dataclass(frozen=True)
class Borrowing:
    """How much of a curve's median is the group's own, and how much it borrows.

    ``own_frac`` is the share of the information on the log median that its own lives
    bring: 1 for a fit without a prior.
    """

    own_failures: int
    borrowed_failures: int
    own_frac: float

    @property
    def sentence(self) -> str:
        """What the curve rests on, in words."""
        own = f"{self.own_failures} failure{'' if self.own_failures == 1 else 's'}"
        if self.own_frac >= 1.0:
            return f"rests on {own} of its own alone"
        share = f"its own lives carry {100 * self.own_frac:.0f} % of what is known"
        if self.borrowed_failures:
            return (
                f"rests on {own} of its own and on {self.borrowed_failures} of others; "
                f"{share}"
            )
        return f"rests on {own} of its own and on the expected life; {share}"


def borrowing(fit: WeibullFit) -> Borrowing:
    """How much of a curve is its own."""
    if fit.prior is None:
        return Borrowing(fit.n_failures, 0, 1.0)
    left = float(_of_median(fit)[1, 1]) / fit.prior.log_median_sd**2
    return Borrowing(
        fit.n_failures, fit.prior.borrowed_failures, min(max(1.0 - left, 0.0), 1.0)
    )
