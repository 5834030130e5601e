"""Times without usable data that people tell of: begun, ended, corrected."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from installs.models import DownSpell, MaintenanceVisit
from installs.services.visit_inputs import CameBack, WentDown
from installs.services.visit_rules import CLOCK_SLACK, MINUTES, refuse_foreign
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


def take_down(
    visit: MaintenanceVisit, down: Sequence[WentDown], by: Any, why: str
) -> None:
    """Begin the times down that a visit found."""
    for one in down:
        refuse_foreign(visit, one.lane, one.installation)
        what = str(one.installation or one.lane)
        open_already = DownSpell.objects.filter(
            lane=one.lane, installation=one.installation, ended_at=None
        ).first()
        if open_already is not None:
            raise DomainError(
                f"{what} is down already, since {open_already.began_at:%Y-%m-%d} "
                f"({open_already.cause}); nothing was saved. Correct that entry, or "
                "say first that it works again."
            )
        there = one.installation
        if there and there.ended_on and there.end_reason != "failed":
            raise DomainError(
                f"{what} left the road on {there.ended_on} ({there.end_reason}); only "
                "a sensor in the road can go down."
            )
        spell = DownSpell(
            lane=one.lane,
            installation=there,
            began_at=one.began_at or visit.arrived_at,
            cause=one.cause.value,
            begun_at_visit=visit,
            note=one.note,
        )
        down_spell_save(spell=spell, by=by, why=why)


def bring_back(
    visit: MaintenanceVisit, back: Sequence[CameBack], by: Any, why: str
) -> None:
    """End the times down that a visit mended."""
    for one in back:
        spell = DownSpell.objects.select_related("lane__wim_site").get(pk=one.spell.pk)
        if spell.lane.wim_site_id != visit.wim_site_id:
            raise DomainError(
                f"{spell.lane} is no lane of {visit.wim_site.code}; nothing was saved."
            )
        if spell.ended_at is not None:
            if spell.ended_at_visit_id == visit.pk and one.ended_at in (
                None,
                spell.ended_at,
            ):
                continue
            if spell.ended_at_visit_id != visit.pk:
                raise DomainError(
                    f"{spell} ended already at {spell.ended_at:{MINUTES}} UTC; nothing "
                    "was saved. Reload the page."
                )
        spell.ended_at = one.ended_at or visit.left_at or visit.arrived_at
        spell.ended_at_visit = visit
        down_spell_save(spell=spell, by=by, why=why)


@transaction.atomic
def down_spell_save(*, spell: DownSpell, by: Any, why: str) -> DownSpell:
    """Keep a time down, or what was corrected in it.

    Raises
    ------
    DomainError
        When it begins or ends ahead of the program's clock, or ends before it begins.
    """
    zone = ZoneInfo(spell.lane.wim_site.time_zone)
    what = str(spell.installation or spell.lane)
    now = clock.now()
    for at, word in ((spell.began_at, "down"), (spell.ended_at, "back")):
        if at is not None and at > now + CLOCK_SLACK:
            raise DomainError(
                f"{what} cannot be {word} from {at.astimezone(zone):{MINUTES}} on: the "
                f"program's clock shows {now.astimezone(zone):{MINUTES}} at the site."
            )
    if spell.ended_at is not None and spell.ended_at < spell.began_at:
        raise DomainError(
            f"{what} cannot work again at {spell.ended_at.astimezone(zone):{MINUTES}}, "
            f"before it went down at {spell.began_at.astimezone(zone):{MINUTES}}; "
            "correct one of the times."
        )
    save_with_reason(spell, by=by, why=why or "time down")
    return spell
