"""How far a stage of a record has come, and what keeps it from being signed."""

from __future__ import annotations

from collections.abc import Sequence

from installs.calc.types.judging import (
    FindingState,
    ItemFinding,
    ItemStanding,
    StageProgress,
)
from installs.calc.types.records import DispositionKind, ItemKind, SignRole, StageState

UNANSWERED = (FindingState.NOT_ANSWERED, FindingState.NOT_ASKED)


def stage_progress(
    items: Sequence[ItemStanding],
    *,
    sign_roles: Sequence[SignRole],
    signed_roles: Sequence[SignRole] = (),
    signed_before: bool = False,
    unsigned_before: Sequence[str] = (),
) -> StageProgress:
    """Where a stage stands.

    Parameters
    ----------
    items
        Its items, in order.
    sign_roles
        Roles that have to sign it.
    signed_roles
        Roles whose signature covers everything as it stands now.
    signed_before
        Somebody has signed it, whatever has changed since.
    unsigned_before
        Titles of earlier stages that are not signed, or were corrected since.

    Returns
    -------
    StageProgress
        ``reasons`` name every item that keeps it from being signed, in words.
    """
    asked = [one for one in items if one.finding.state is not FindingState.NOT_ASKED]
    reasons = [reason for one in asked for reason in item_reasons(one)]
    if len(unsigned_before) == 1:
        reasons.append(f"“{unsigned_before[0]}” comes before it and is not signed")
    elif unsigned_before:
        named = ", ".join(f"“{title}”" for title in unsigned_before)
        reasons.append(f"earlier stages are not signed: {named}")
    required = [one for one in asked if one.spec.required]
    answered = [one for one in asked if one.finding.state not in UNANSWERED]
    return StageProgress(
        state=_state(
            begun=bool(answered) or any(one.n_photos for one in asked),
            ready=not reasons,
            missing=[role for role in sign_roles if role not in signed_roles],
            signed=bool(signed_roles),
            signed_before=signed_before,
        ),
        reasons=tuple(reasons),
        n_required=len(required),
        n_answered=sum(
            one.spec.required and one.finding.state not in UNANSWERED for one in asked
        ),
        n_open=sum(is_open(one.finding, one.disposition) for one in asked),
    )


def _state(
    *,
    begun: bool,
    ready: bool,
    missing: Sequence[SignRole],
    signed: bool,
    signed_before: bool,
) -> StageState:
    if not missing:
        return StageState.SIGNED
    if signed_before and not signed:
        return StageState.CORRECTED
    if ready:
        return StageState.READY
    return StageState.IN_WORK if begun or signed else StageState.NOT_BEGUN


def is_open(finding: ItemFinding, disposition: DispositionKind | None) -> bool:
    """Whether an answer still waits for a decision, or for what was decided to be done.

    An answer that is to be reworked stays open until a newer one takes its place.
    """
    if disposition is DispositionKind.REWORKED:
        return True
    return finding.needs_disposition and disposition is None


def item_reasons(one: ItemStanding) -> list[str]:
    """What keeps one asked item's stage from being signed."""
    prompt, finding = one.spec.prompt, one.finding
    reasons = []
    if one.in_clash:
        reasons.append(f"“{prompt}”: two people answered differently; settle it")
    photo = one.spec.kind is ItemKind.PHOTO
    if finding.state is FindingState.NOT_ANSWERED:
        if one.spec.required:
            what = finding.sentence.rstrip(".") if photo else "not answered"
            reasons.append(f"“{prompt}”: {what}")
    elif not photo and one.n_photos < one.spec.least_photos:
        more = one.spec.least_photos - one.n_photos
        reasons.append(f"“{prompt}”: {more} more photo{'' if more == 1 else 's'}")
    if one.disposition is DispositionKind.REWORKED:
        reasons.append(f"“{prompt}”: to be reworked; a new answer is missing")
    elif finding.needs_disposition and one.disposition is None:
        word = "out of limits" if finding.state is FindingState.MISSES else "undecided"
        reasons.append(f"“{prompt}”: {word} and nobody has disposed of it")
    if one.n_untreated:
        n = one.n_untreated
        reasons.append(
            f"“{prompt}”: {n} earlier answer{'' if n == 1 else 's'} out of limits that "
            "nobody has disposed of"
        )
    if finding.warnings and not one.has_reason and one.disposition is None:
        reasons += [f"“{prompt}”: {warning}; say why" for warning in finding.warnings]
    return reasons
