"""Failures: judged tests of a life, when it failed, and what is known of it."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from installs.calc.types import ElectricalQuantity, EndReason
from installs.models import FailureReport, Installation, Reading
from installs.selectors.electrical import COMPLETE_STAGES
from installs.selectors.electrical_rules import limits_by_model
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from installs.calc.bracketing import Bracket

#: Day of a test, and whether the sensor was good then.
JudgedTest = tuple[dt.date, bool]


def judged_tests(installation_ids: Iterable[int]) -> dict[int, list[JudgedTest]]:
    """Tests of installations that the makers' limits could judge, in two queries.

    Only tests with the lead-in on count, as the sensor is in service then. A test is
    bad when one reading misses its limit, good when at least one meets its limit and
    none misses; one that nothing could judge is left out.
    """
    from installs.calc.electrical import judge_reading

    rows = list(
        Reading.objects.filter(
            test__installation_id__in=list(installation_ids),
            test__stage__in=COMPLETE_STAGES,
        )
        .order_by("test__tested_at", "test_id")
        .values_list(
            "test_id",
            "test__installation_id",
            "test__tested_at",
            "test__installation__lane__wim_site__time_zone",
            "test__installation__sensor__model_id",
            "quantity",
            "value",
            "over_range",
        )
    )
    limits = limits_by_model({row[4] for row in rows})
    days: dict[int, tuple[int, dt.date]] = {}
    verdicts: dict[int, set[Verdict]] = defaultdict(set)
    for test_id, life, at, zone, model_id, word, value, over in rows:
        on = at.astimezone(ZoneInfo(zone)).date()
        days[test_id] = (life, on)
        limit = limits[model_id].get(word) if model_id in limits else None
        judged = judge_reading(ElectricalQuantity(word), value, limit, over_range=over)
        verdicts[test_id].add(judged.verdict)
    found: dict[int, list[JudgedTest]] = defaultdict(list)
    for test_id, (life, on) in days.items():
        said = verdicts[test_id]
        if Verdict.MISSES in said:
            found[life].append((on, False))
        elif Verdict.MEETS in said:
            found[life].append((on, True))
    return dict(found)


def bracket_of(
    *,
    installed_on: dt.date,
    found_on: dt.date,
    day_is_known: bool,
    last_good_on: dt.date | None,
    first_bad_on: dt.date | None,
    judged: Iterable[JudgedTest],
) -> Bracket | None:
    """Days between which it failed, as reported.

    Where no last good day is reported, its last good test stands for it, else its
    installation; where no first bad day is, the day it was found. A test that misses a
    limit is not taken for the failure by itself: that a person says.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the failure lies before the installation.
    """
    from installs.calc.bracketing import bracket

    good = [one for one in judged if one[1]]
    if last_good_on is not None:
        good = [(last_good_on, True)]
    found = bracket(
        good,
        installed_on=installed_on,
        failed_on=first_bad_on or found_on,
        day_is_known=day_is_known,
    )
    if found is None or (last_good_on is None and first_bad_on is None):
        return found
    return replace(
        found,
        sentence=f"failed between two days: last known good {found.last_good}, first "
        f"known bad {found.first_bad}",
    )


@dataclass(frozen=True)
class Proposed:
    """Days of a failure as its tests would have them; None where they are silent."""

    last_good_on: dt.date | None
    first_bad_on: dt.date | None
    sentence: str


def proposed_days(installation: Installation, found_on: dt.date) -> Proposed:
    """Last good and first bad day by the judged tests up to the day it was found."""
    from installs.calc.bracketing import bracket

    tests = judged_tests([installation.pk]).get(installation.pk, [])
    seen = [one for one in tests if installation.installed_on <= one[0] <= found_on]
    if found_on < installation.installed_on or not seen:
        return Proposed(
            None,
            None,
            "No test of it could be judged, so the days are not narrowed: it failed "
            f"after {installation.installed_on}, when it was installed.",
        )
    found = bracket(seen, installed_on=installation.installed_on, failed_on=found_on)
    if found is None:
        return Proposed(found_on, found_on, "Its last good test was on that very day.")
    good = [on for on, is_good in seen if is_good]
    bad = (
        found.first_bad if found.first_bad in {on for on, g in seen if not g} else None
    )
    sentence = f"By {len(seen)} judged tests it {found.sentence}."
    return Proposed(found.last_good if good else None, bad, sentence)


def failure_list() -> QuerySet[FailureReport]:
    """Reported failures, newest first, with their sensors and places."""
    return FailureReport.objects.select_related(
        "installation__sensor__model",
        "installation__sensor__purchase",
        "installation__lane__wim_site",
        "visit__wim_site",
    ).order_by("-found_on", "-pk")


def not_reported() -> QuerySet[Installation]:
    """Failed installations of which nothing but the day and the mode is known."""
    return (
        Installation.objects.filter(
            end_reason=EndReason.FAILED.value, failure__isnull=True
        )
        .select_related("sensor__model", "lane__wim_site")
        .order_by("-ended_on", "-pk")
    )


def failure_bracket(report: FailureReport) -> Bracket | None:
    """Days between which a reported failure happened; None when the day is known."""
    life = report.installation
    judged = judged_tests([life.pk]).get(life.pk, [])
    try:
        return bracket_of(
            installed_on=life.installed_on,
            found_on=report.found_on,
            day_is_known=report.day_is_known,
            last_good_on=report.last_good_on,
            first_bad_on=report.first_bad_on,
            judged=judged,
        )
    except DomainError:
        return None


def failure_facts(report: FailureReport) -> dict[str, Any]:
    """What the page of a failure shows."""
    from installs.selectors.warranty import warranty_of

    life = report.installation
    return {
        "report": report,
        "life": life,
        "bracket": failure_bracket(report),
        "warranty": warranty_of(life, life.ended_on or report.found_on),
        "history": report.history.select_related("history_user")[:20],
    }
