"""Back-corrections: proposed from drift, decided by people, records left alone."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

from django.db import transaction

from quality.calc.types import CorrectionState
from quality.models import BackCorrection, DriftEpisode
from quality.selectors.episodes import found_of
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

if TYPE_CHECKING:
    from quality.calc.back_correction import BackCorrection as Proposal

BLOCK_WEEKS = 4
"""A ramp's factor grows; it is kept as steps of so many weeks (own choice)."""
NEXT_STATES = {
    CorrectionState.PROPOSED: (CorrectionState.ALLOWED, CorrectionState.REFUSED),
    CorrectionState.ALLOWED: (CorrectionState.WITHDRAWN,),
}


@transaction.atomic
def corrections_propose(*, episode: DriftEpisode, by: Any) -> list[BackCorrection]:
    """Keep the scaling that a drift's size proposes, beside the raw records.

    A step gives one; a ramp one for every four weeks, each with the mean of its weeks.
    What was proposed before of the episode and not decided gives way.

    Raises
    ------
    DomainError
        When the drift is not measured well enough, with every reason; or when a
        correction of it is allowed already.
    """
    from quality.calc.back_correction import propose_correction

    found = found_of(episode)
    if found is None:
        raise DomainError("This episode carries no finding to correct by.")
    if episode.corrections.filter(state=CorrectionState.ALLOWED.value).exists():
        raise DomainError(
            "A correction of this episode is allowed already; withdraw it first."
        )
    proposal = propose_correction(found)
    if not proposal.is_proposed:
        raise DomainError("No correction is proposed. " + " ".join(proposal.reasons))
    for old in episode.corrections.filter(state=CorrectionState.PROPOSED.value):
        old.state = CorrectionState.WITHDRAWN.value
        save_with_reason(old, by=by, why="proposed anew")
    made = []
    for from_on, to_on, factor, low, high in _pieces(proposal, episode.last_on):
        correction = BackCorrection(
            lane=episode.lane,
            episode=episode,
            from_on=from_on,
            to_on=to_on,
            factor=factor,
            factor_low=low,
            factor_high=high,
            n_weeks=episode.n_weeks,
            n_trucks=episode.n_trucks,
            basis=proposal.sentence[:400],
        )
        save_with_reason(correction, by=by, why=proposal.rule[:100])
        made.append(correction)
    return made


def _pieces(
    proposal: Proposal, last_week_on: dt.date
) -> list[tuple[dt.date, dt.date, float, float, float]]:
    """First and last day, factor and interval of each piece of a proposal."""
    import numpy as np

    from quality.calc.days import as_day

    start, factor, interval = proposal.from_on, proposal.factor, proposal.interval
    if start is None or factor is None or interval is None:
        raise DomainError("No correction is proposed.")
    end = last_week_on + dt.timedelta(days=6)
    if proposal.until_on is not None:
        end = proposal.until_on - dt.timedelta(days=1)
    if proposal.slope_pct_per_week is None:
        return [(start, end, factor, interval.low, interval.high)]
    pieces = []
    while start <= end:
        last = min(start + dt.timedelta(weeks=BLOCK_WEEKS, days=-1), end)
        weeks = np.arange(as_day(start), as_day(last) + np.timedelta64(1, "D"), 7)
        mean = float(np.exp(np.log(proposal.factors(weeks)).mean()))
        share = math.log(mean) / math.log(factor)
        ends = sorted((interval.low**share, interval.high**share))
        pieces.append((start, last, mean, min(ends[0], mean), max(ends[1], mean)))
        start = last + dt.timedelta(days=1)
    return pieces


@transaction.atomic
def correction_decide(
    *,
    correction: BackCorrection,
    state: CorrectionState | str,
    reason: str,
    by: Any,
) -> BackCorrection:
    """Allow, refuse or withdraw a correction, with the reason.

    Raises
    ------
    DomainError
        Without a reason, from a state that does not lead there, or when another
        correction of those days is allowed.
    """
    state = CorrectionState(state)
    if not reason.strip():
        raise DomainError("Give the reason; it stands in the report.")
    correction = BackCorrection.objects.select_for_update().get(pk=correction.pk)
    if state not in NEXT_STATES.get(CorrectionState(correction.state), ()):
        raise DomainError(
            f"A correction that is {correction.state} cannot become {state.value}."
        )
    if state is CorrectionState.ALLOWED:
        other = BackCorrection.objects.filter(
            lane=correction.lane_id,
            state=CorrectionState.ALLOWED.value,
            from_on__lte=correction.to_on,
            to_on__gte=correction.from_on,
        ).first()
        if other is not None:
            raise DomainError(
                f"Another correction of those days is allowed ({other}); withdraw it "
                "first."
            )
    correction.state, correction.reason = state.value, reason.strip()
    correction.decided_by, correction.decided_at = by, clock.now()
    save_with_reason(correction, by=by, why=reason.strip())
    return correction
