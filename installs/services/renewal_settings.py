"""What renewal is reckoned with: kept, changed and taken back, with who and why."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from installs.models import (
    HazardEffect,
    PavementWork,
    RenewalSettings,
    TechnologyMoney,
    TechnologyProfile,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.models import Fact, save_with_reason

#: Figures of the agency's own that can be taken back, so that others stand in again.
Own = TechnologyProfile | TechnologyMoney | HazardEffect


@transaction.atomic
def renewal_settings_save(
    *, settings: RenewalSettings, by: Any, why: str
) -> RenewalSettings:
    """Keep what replacements share, how long they take, and the policy."""
    save_with_reason(settings, by=by, why=why or "renewal settings")
    return settings


@transaction.atomic
def expectation_save(
    *, profile: TechnologyProfile, by: Any, why: str
) -> TechnologyProfile:
    """Keep what the agency expects of a technology, in place of what is published."""
    save_with_reason(profile, by=by, why=why or "technology expectations")
    return profile


@transaction.atomic
def technology_money_save(
    *, money: TechnologyMoney, by: Any, why: str
) -> TechnologyMoney:
    """Keep the agency's own costs of a technology."""
    save_with_reason(money, by=by, why=why or "costs of a technology")
    return money


@transaction.atomic
def hazard_effect_save(*, effect: HazardEffect, by: Any, why: str) -> HazardEffect:
    """Keep the agency's own word on an effect, in place of what is assumed."""
    save_with_reason(effect, by=by, why=why or "effect of condition")
    return effect


@transaction.atomic
def own_figure_take_back(*, own: Own, by: Any, why: str) -> None:
    """Take the agency's own figure back; the published or assumed one stands in.

    Raises
    ------
    DomainError
        Without a reason.
    """
    _remove(own, by=by, why=why)


@transaction.atomic
def pavement_work_save(*, work: PavementWork, by: Any, why: str) -> PavementWork:
    """Keep works that will take the sensors of a site out.

    Raises
    ------
    DomainError
        When the lane is not one of the site.
    """
    if work.lane is not None and work.lane.wim_site_id != work.wim_site_id:
        raise DomainError(f"{work.lane} is not a lane of {work.wim_site.code}.")
    save_with_reason(work, by=by, why=why or "pavement works")
    return work


@transaction.atomic
def pavement_work_remove(*, work: PavementWork, by: Any, why: str) -> None:
    """Take works off the programme; their history stays.

    Raises
    ------
    DomainError
        Without a reason.
    """
    _remove(work, by=by, why=why)


def _remove(fact: Fact, *, by: Any, why: str) -> None:
    if not why.strip():
        raise DomainError("Say why it is taken back; the reason is kept.")
    fact._history_user = by  # type: ignore[attr-defined]
    fact._change_reason = why.strip()  # type: ignore[attr-defined]
    fact.delete()
