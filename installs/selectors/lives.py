"""Lives of sensors, the curves fitted to them, and each live sensor's chances."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db.models import Q

from installs.calc.types import (
    Condition,
    EndReason,
    Life,
    LifePrior,
    SensorForecast,
    SensorInService,
    Technology,
    WeibullFit,
    years_between,
)
from installs.models import FailureReport, Installation, TechnologyProfile
from installs.selectors.conditions import conditions_of
from installs.selectors.failures import bracket_of, judged_tests
from sites.selectors import program_get
from wimprog.lib import clock

if TYPE_CHECKING:
    from installs.calc.bracketing import Bracket

HORIZONS_YEARS = (1, 2, 5)
Chance = tuple[float, float, float]


@dataclass(frozen=True)
class Expectation:
    """What is expected of a technology before its own failures, and its price.

    ``cost`` is None where the agency has entered none; nothing published stands in.
    """

    technology: Technology
    prior: LifePrior
    cost: Decimal | None
    cost_source: str
    is_agencys_own: bool


@dataclass(frozen=True)
class LaneChance:
    """The chances of one live sensor of a lane: (chance, low, high) by horizon."""

    installation_id: int
    position: str
    technology: str
    within: dict[int, Chance]
    basis: str


@dataclass(frozen=True)
class LifeRow:
    """One installation as it stood on a day; ``ended_on`` is None while it worked.

    ``bracket`` holds the days between which a reported failure happened; None where the
    very day is known, or is taken for known as nothing was reported. ``entry_years`` is
    the age from which it was watched: above 0 where it lay in the road before failures
    were written down.
    """

    pk: int
    lane_id: int
    position: str
    technology: str
    installed_on: dt.date
    ended_on: dt.date | None
    end_reason: str
    failure_mode: str
    age_years: float
    watched_years: float
    lot: str = ""
    installation: Installation | None = None
    bracket: Bracket | None = None
    is_reported: bool = False
    entry_years: float = 0.0
    recorded_on: dt.date | None = None

    @property
    def failed(self) -> bool:
        """Whether this life ended in failure."""
        return self.end_reason == EndReason.FAILED

    @property
    def life(self) -> Life:
        """The life as computation takes it; a failed one would be watched until now."""
        low, high, age_years = None, None, self.age_years
        if self.bracket is not None:
            low, high = self.bracket.low_years, self.bracket.high_years
            low, age_years = min(max(low, self.entry_years), high), max(age_years, high)
        return Life(
            age_years=age_years,
            entry_age_years=self.entry_years,
            failed=self.failed,
            low_years=low,
            high_years=high,
            key=str(self.pk),
            until_years=self.watched_years if self.failed else None,
        )

    @property
    def is_open_below(self) -> bool:
        """Whether nothing says how long it worked after its installation."""
        return self.bracket is not None and self.bracket.low_years == 0


def program_today() -> dt.date:
    """Today on the program's clock."""
    return clock.today(program_get().time_zone)


def technology_expectations() -> dict[str, Expectation]:
    """By technology, the agency's own expectation, else the published one."""
    from installs.calc.published import published_prior

    kept = {row.technology: row for row in TechnologyProfile.objects.all()}
    found = {}
    for technology in Technology:
        row = kept.get(technology.value)
        found[technology.value] = Expectation(
            technology=technology,
            prior=LifePrior(median_years=row.expected_life_years, source=row.source)
            if row
            else published_prior(technology),
            cost=row.replacement_cost if row else None,
            cost_source=row.source if row else "",
            is_agencys_own=row is not None,
        )
    return found


def life_rows(today: dt.date | None = None, technology: str = "") -> list[LifeRow]:
    """The installations behind the lives, as they stood on ``today``.

    An ending after ``today``, or found after it, is not known yet, so that a forecast
    as of an earlier day rests only on what was known then. A reported failure whose day
    is not known lies between its last good and its first bad day. Where the program
    says since when failures are written down, a life counts from its age on that day
    (delayed entry), and one that ended before is left out: of those, only the failures
    that somebody remembered would be here.
    """
    today = today or program_today()
    begin = program_get().records_begin_on
    if begin is not None and begin >= today:
        begin = None
    reports = {report.installation_id: report for report in FailureReport.objects.all()}
    bracketed = [pk for pk, report in reports.items() if not report.day_is_known]
    judged = judged_tests(bracketed) if bracketed else {}
    rows = Installation.objects.filter(installed_on__lte=today)
    if technology:
        rows = rows.filter(sensor__model__technology=technology)
    found = []
    for row in rows.order_by("installed_on", "pk").values_list(
        "pk",
        "lane_id",
        "position",
        "sensor__model__technology",
        "installed_on",
        "ended_on",
        "end_reason",
        "failure_mode",
        "sensor__lot",
    ):
        pk, lane_id, position, word, installed_on, ended_on, reason, mode, lot = row
        report = reports.get(pk) if reason == EndReason.FAILED else None
        known_on = max(ended_on or dt.date.min, report.found_on) if report else ended_on
        if known_on is not None and known_on > today:
            ended_on, reason, mode, report = None, "", "", None
        if begin is not None and ended_on is not None and ended_on <= begin:
            continue
        age_years = years_between(installed_on, ended_on or today)
        late = begin is not None and installed_on < begin
        found.append(
            LifeRow(
                pk,
                lane_id,
                position,
                word,
                installed_on,
                ended_on,
                reason,
                mode,
                age_years,
                years_between(installed_on, today),
                lot,
                bracket=bracket_of(
                    installed_on=installed_on,
                    found_on=report.found_on,
                    day_is_known=report.day_is_known,
                    last_good_on=report.last_good_on,
                    first_bad_on=report.first_bad_on,
                    judged=judged.get(pk, ()),
                )
                if report
                else None,
                is_reported=report is not None,
                entry_years=years_between(installed_on, begin)
                if begin is not None and late
                else 0.0,
                recorded_on=report.found_on if report else None,
            )
        )
    return found


def _lives(rows: Iterable[LifeRow]) -> dict[str, list[Life]]:
    found: dict[str, list[Life]] = defaultdict(list)
    for row in rows:
        found[row.technology].append(row.life)
    return dict(found)


def lives_by_technology(today: dt.date | None = None) -> dict[str, list[Life]]:
    """Every life, failed or censored, by technology."""
    return _lives(life_rows(today))


def fits_of(
    lives: dict[str, list[Life]], expectations: dict[str, Expectation]
) -> dict[str, WeibullFit]:
    """The life curve of each technology that has lived at all.

    Each technology's expectation is first moved by what the other technologies of the
    agency have lived through.
    """
    from installs.calc.pooling import pooled_priors
    from installs.calc.survival import fit_weibull

    priors = pooled_priors(
        lives, {word: one.prior for word, one in expectations.items()}
    )
    return {
        technology: fit_weibull(lived, prior=priors[technology])
        for technology, lived in sorted(lives.items())
    }


def fits_by_technology(today: dt.date | None = None) -> dict[str, WeibullFit]:
    """The life curve of each technology: by maximum likelihood, or with its prior."""
    return fits_of(lives_by_technology(today), technology_expectations())


def sensors_in_service(
    rows: Iterable[LifeRow], conditions: Mapping[int, Condition] | None = None
) -> list[SensorInService]:
    """Those of the rows that are in the road still, with their condition if given."""
    known = conditions or {}
    return [
        SensorInService(
            key=str(row.pk),
            technology=Technology(row.technology),
            age_years=row.age_years,
            condition=known.get(row.pk, Condition()),
        )
        for row in rows
        if row.ended_on is None
    ]


def forecasts_of(
    live: list[SensorInService], fits: dict[str, WeibullFit]
) -> dict[int, SensorForecast]:
    """Chances of each live sensor, by the installation's key."""
    from installs.calc.forecast import sensor_forecasts

    found = sensor_forecasts(
        live,
        {Technology(word): fit for word, fit in fits.items()},
        horizons_years=HORIZONS_YEARS,
    )
    return {int(one.key): one for one in found}


def _within(forecast: SensorForecast) -> dict[int, Chance]:
    return {
        int(c.horizon_years): (c.probability, c.low, c.high) for c in forecast.chances
    }


def live_forecasts(
    rows: list[LifeRow], today: dt.date, *, only: int | None = None
) -> dict[int, SensorForecast]:
    """Chances of the live sensors of the rows (or of one), their condition included."""
    fits = fits_of(_lives(rows), technology_expectations())
    live = sensors_in_service(rows, conditions_of(rows, fits, today))
    if only is not None:
        live = [one for one in live if one.key == str(only)]
    return forecasts_of(live, fits)


def sensor_chances(today: dt.date | None = None) -> dict[int, dict[int, Chance]]:
    """Chance of failing within 1, 2 and 5 years (with interval) by installation."""
    day = today or program_today()
    found = live_forecasts(life_rows(day), day)
    return {pk: _within(one) for pk, one in found.items()}


def installation_chance(
    installation: Installation, today: dt.date
) -> SensorForecast | None:
    """One live installation's chances, and what they rest on."""
    rows = life_rows(today)
    return live_forecasts(rows, today, only=installation.pk).get(installation.pk)


def life_page(today: dt.date, technology: str) -> list[LifeRow]:
    """The lives of a technology with their sensors and lanes, for people to check."""
    rows = life_rows(today, technology)
    places = Installation.objects.select_related(
        "sensor__model", "lane__wim_site"
    ).in_bulk([row.pk for row in rows])
    return [replace(row, installation=places[row.pk]) for row in rows]


def chances_by_lane(today: dt.date | None = None) -> dict[int, list[LaneChance]]:
    """The same by lane, with what each rests on."""
    day = today or program_today()
    rows = life_rows(day)
    forecasts = live_forecasts(rows, day)
    found: dict[int, list[LaneChance]] = defaultdict(list)
    for row in rows:
        forecast = forecasts.get(row.pk)
        if forecast is not None:
            found[row.lane_id].append(
                LaneChance(
                    installation_id=row.pk,
                    position=row.position,
                    technology=row.technology,
                    within=_within(forecast),
                    basis=forecast.basis,
                )
            )
    return dict(found)


def technologies_by_lane(lane_ids: Iterable[int]) -> dict[int, tuple[str, ...]]:
    """Technologies of the live sensors of each lane; those that weigh come first."""
    rows = (
        Installation.objects.live()
        .filter(Q(lane_id__in=list(lane_ids)))
        .values_list("lane_id", "sensor__model__technology")
        .distinct()
        .order_by("lane_id")
    )
    found: dict[int, set[str]] = defaultdict(set)
    for lane_id, technology in rows:
        found[lane_id].add(technology)
    return {
        lane_id: tuple(sorted(words, key=lambda w: (not Technology(w).weighs, w)))
        for lane_id, words in found.items()
    }
