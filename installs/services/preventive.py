"""Rules of preventive work, the starting set, and what was done by them."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from installs.models import PreventiveDone, PreventiveRule
from installs.selectors.work_schedule import rule_facts
from sites.models import Site
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

STARTING_SET = Path(settings.BASE_DIR) / "fixtures" / "preventive_rules.json"


@transaction.atomic
def rule_save(*, rule: PreventiveRule, by: Any, why: str = "") -> PreventiveRule:
    """Add a rule of preventive work or keep what was changed in one.

    Raises
    ------
    DomainError
        When it cannot be followed.
    django.core.exceptions.ValidationError
        When it breaks a rule of its own.
    """
    rule_facts(rule)  # refuses what cannot be followed
    save_with_reason(rule, by=by, why=why or "preventive rule")
    return rule


@transaction.atomic
def rules_start(*, by: Any) -> int:
    """Add the rules of the starting set that are not there yet; how many were added.

    A rule of the same name, technology and part is left as the agency has it.
    """
    added = 0
    for one in json.loads(STARTING_SET.read_text(encoding="utf-8")):
        same = {name: one.get(name, "") for name in ("name", "technology", "part")}
        if not PreventiveRule.objects.filter(**same).exists():
            rule_save(rule=PreventiveRule(**one), by=by, why="starting set of rules")
            added += 1
    return added


@transaction.atomic
def preventive_done(
    *, rule: PreventiveRule, wim_site: Site, done_on: dt.date, note: str = "", by: Any
) -> PreventiveDone:
    """Note that a rule's work was done at a site, outside any work item.

    Raises
    ------
    DomainError
        When the day lies ahead, or it is noted for that day already.
    """
    today = clock.today(wim_site.time_zone)
    if done_on > today:
        raise DomainError(f"{done_on} lies ahead of today ({today}).")
    if PreventiveDone.objects.filter(
        rule=rule, wim_site=wim_site, done_on=done_on, installation=None
    ).exists():
        raise DomainError(
            f"“{rule}” is noted as done at {wim_site.code} on {done_on} already."
        )
    done = PreventiveDone(rule=rule, wim_site=wim_site, done_on=done_on, note=note)
    save_with_reason(done, by=by, why=note or "preventive work done")
    return done
