"""The reference's own uncertainty carried into the errors of the runs.

An error 100 (C − R)/R moves by −u(R)/R when the reference moves: the same for all runs
held against one weighing. So the variance of single errors is the spread of the runs
plus the reference's part, and the uncertainty of a mean error is the runs' standard
error, which falls with n, and the reference's part, which does not (GUM 5.1 and 5.2).

Over several vehicles the parts that are each weighing's own average out; the part of
the scale that weighed them all does not.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.calc.reference_types import ReferenceWeight
from calibration.calc.types import QuantityErrors
from calibration.calc.uncertainty import (
    Component,
    combined,
    effective_df,
    interval_of,
)
from wimprog.lib.judgement import Interval, Judgement, Verdict
from wimprog.lib.units import Kind, UnitSystem, format_number, format_si

LARGEST_PART = 1.0 / 3.0
"""Greatest part of a tolerance that twice the reference's standard uncertainty may
take; the usual one to three of reference to tolerance (common practice, no source; the
agency may set its own)."""

AGENCYS_OWN_PART = "agency's own"
COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class ReferencePart:
    """What a reference adds to the uncertainty of a mean error.

    Attributes
    ----------
    shared_pct
        Standard uncertainty from the scale that weighed all vehicles [%].
    own_pct
        Standard uncertainty from everything else [%].
    shared_df, own_df
        Degrees of freedom of either.
    """

    shared_pct: float
    own_pct: float
    shared_df: float = math.inf
    own_df: float = math.inf

    @property
    def u_pct(self) -> float:
        """Both together [%]."""
        return combined((self.shared_pct, self.own_pct))

    @property
    def df(self) -> float:
        """Effective degrees of freedom of both together."""
        return effective_df(
            [
                Component("shared", self.shared_pct, self.shared_df),
                Component("own", self.own_pct, self.own_df),
            ]
        )


def reference_part(weight: ReferenceWeight) -> ReferencePart:
    """What one reference weight adds to the errors held against it.

    Parameters
    ----------
    weight
        Reference weight of an axle, a group or the whole vehicle.
    """
    shared = [one for one in weight.components_pct() if one.is_shared]
    own = [one for one in weight.components_pct() if not one.is_shared]
    return ReferencePart(
        shared_pct=combined(one.u for one in shared),
        own_pct=combined(one.u for one in own),
        shared_df=effective_df(shared),
        own_df=effective_df(own),
    )


def reference_part_of_mean(
    parts: Sequence[ReferencePart], shares: Sequence[float]
) -> ReferencePart:
    """What the references of several vehicles add to a mean error over all of them.

    Parameters
    ----------
    parts
        One for each vehicle.
    shares
        Weight of each vehicle in the mean, summing to 1 (its share of the runs).

    Returns
    -------
    ReferencePart
        Own parts in quadrature, so that for many vehicles drawn from traffic they fade
        with their number; the scale's part linearly, so that it stays.

    Raises
    ------
    ValueError
        When the shares do not fit.
    """
    if len(parts) != len(shares) or not math.isclose(sum(shares), 1.0, abs_tol=1e-9):
        raise ValueError("give one share for each reference; they sum to 1")
    pairs = list(zip(parts, shares, strict=True))
    own = [Component("own", share * part.own_pct, part.own_df) for part, share in pairs]
    return ReferencePart(
        shared_pct=sum(share * part.shared_pct for part, share in pairs),
        own_pct=combined(one.u for one in own),
        shared_df=min((part.shared_df for part in parts), default=math.inf),
        own_df=effective_df(own),
    )


def bias_with_reference(
    mean: float,
    se_runs: float,
    u_ref_systematic: float,
    *,
    df_runs: float = math.inf,
    df_ref: float = math.inf,
    level: float = 0.95,
) -> Interval:
    """Interval of a bias that counts the reference too.

    Parameters
    ----------
    mean
        Mean error of the runs [%].
    se_runs
        Its standard error from the spread of the runs [%], sd/√n.
    u_ref_systematic
        Standard uncertainty of the reference [%]; not averaged with n.
    df_runs, df_ref
        Degrees of freedom of either: n − 1, and those of the reference.
    level
        Level of the interval.

    Returns
    -------
    Interval
        Student's factor at the effective degrees of freedom of Welch and Satterthwaite.

    References
    ----------
    JCGM 100:2008 (GUM), G.4.
    """
    return interval_of(
        mean,
        [
            Component("runs", se_runs, df_runs),
            Component("reference", u_ref_systematic, df_ref),
        ],
        level=level,
    )


def bias_over_vehicles(
    errors: QuantityErrors,
    references: Mapping[str, ReferencePart],
    *,
    level: float = 0.95,
) -> Interval | None:
    """Interval of the mean error over all runs that counts the references too.

    Parameters
    ----------
    errors
        The errors of one weight.
    references
        What each vehicle's weighing adds, by its name; one left out adds nothing.
    level
        Level of the interval.

    Returns
    -------
    Interval or None
        For these trucks; None for fewer than two errors.
    """
    if errors.n < 2:
        return None
    counts = Counter(errors.vehicles)
    part = reference_part_of_mean(
        [references.get(name, ReferencePart(0.0, 0.0)) for name in counts],
        [count / errors.n for count in counts.values()],
    )
    return bias_with_reference(
        float(errors.errors.mean()),
        float(errors.errors.std(ddof=1)) / math.sqrt(errors.n),
        part.u_pct,
        df_runs=errors.n - 1,
        df_ref=part.df,
        level=level,
    )


def error_sd_with_reference(sd_runs: float, u_ref: float) -> float:
    """Standard deviation of single errors about the truth [%].

    Parameters
    ----------
    sd_runs
        Standard deviation of the runs [%].
    u_ref
        Standard uncertainty of the reference [%].

    Examples
    --------
    >>> error_sd_with_reference(4.0, 3.0)
    5.0
    """
    return combined((sd_runs, u_ref))


def judge_reference(
    weight: ReferenceWeight,
    tolerance_pct: float,
    *,
    largest_part: float = LARGEST_PART,
    unit_system: UnitSystem = UnitSystem.SI,
) -> Judgement:
    """Does the reference eat too much of the tolerance it is to judge?

    Parameters
    ----------
    weight
        Reference weight of one part.
    tolerance_pct
        Tolerance of that part's errors [±%], greater than zero.
    largest_part
        Greatest part of the tolerance that twice the standard uncertainty may take.
    unit_system
        Units of the sentence.

    Returns
    -------
    Judgement
        ``value`` is 2u in per cent of the load. Cannot say where no uncertainty is
        known.
    """
    twice = 2.0 * weight.u_pct
    limit = largest_part * tolerance_pct
    load = format_si(weight.load_kg, Kind.MASS, unit_system)
    span = f"2u is {format_number(twice, 2)} % of {load}"
    part = f"{format_number(100.0 * twice / tolerance_pct, 0)} % of the tolerance of "
    part += f"±{tolerance_pct:g} %"
    if not weight.components:
        verdict = Verdict.CANNOT_SAY
        sentence = (
            "Cannot say: no uncertainty of the reference is known. Give the scale's "
            "certificate and step, and weigh more than once."
        )
    elif twice <= limit:
        verdict, sentence = Verdict.MEETS, f"Good enough: {span}, {part}."
    else:
        largest = max(weight.components, key=lambda one: one.u)
        verdict = Verdict.MISSES
        sentence = (
            f"Too uncertain to judge by: {span}, {part}; most of it is {largest.source}"
            f". A verdict near the limit may be the reference's and not the lane's."
        )
    is_default = largest_part == LARGEST_PART
    half = weight.expanded_kg()
    return Judgement(
        quantity=f"reference weight, {weight.part}",
        value=twice,
        unit="%",
        n=weight.n,
        interval=None,  # the value is itself half of an interval
        rule="Twice the standard uncertainty of the reference against a part of the "
        "tolerance (uncertainty by JCGM 100:2008)",
        limit=f"{format_number(limit, 2)} % ({format_number(100 * largest_part, 0)} % "
        f"of ±{tolerance_pct:g} %)",
        verdict=verdict,
        sentence=sentence,
        standing=COMMON_PRACTICE if is_default else AGENCYS_OWN_PART,
        details=(
            ("u_kg", weight.u_kg),
            ("95 % interval, kg", [weight.load_kg - half, weight.load_kg + half]),
            ("df", weight.df),
            *((f"u {one.source} kg", one.u) for one in weight.components),
        ),
    )
