"""What practice asks of a location and no standard does: advice, never a miss.

Every line is common practice without a source, and the agency can change its
thresholds in the survey settings. The one formula is that of stopping sight distance,
AASHTO, A Policy on Geometric Design of Highways and Streets (from memory): reaction for
2.5 s at the speed of traffic, then braking at 11.2 ft/s². It asks whether an
approaching driver who first sees the place of work can stop before it. That is advice
for choosing a location; the traffic control plan governs work on the road.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sites.calc.suitability.base import (
    COMMON_PRACTICE,
    DEFAULT_SETTINGS,
    FROM_MEMORY,
    LineJudgement,
    LineState,
    StandardSuitability,
    SuitabilitySettings,
    check_type,
)
from sites.calc.suitability.lines import (
    Bound,
    Limits,
    Requirement,
    judge_choice,
    judge_requirement,
    make_line,
)
from sites.calc.suitability.overall import overall_of
from sites.calc.suitability.practice_choices import CHOICES
from sites.calc.suitability.values import (
    LimitValue,
    standing_in_use,
    values_in_use,
)
from sites.calc.suitability.words import (
    DECELERATION,
    LENGTH,
    PERCENT,
    SECONDS,
    SHORT_LENGTH,
    SPEED,
    TRUCKS,
    YEARS,
    is_equal,
)
from sites.calc.types import (
    SurveyFacts,
)
from wimprog.lib.standard_values import AGENCYS_OWN
from wimprog.lib.units import M_PER_FT

ADVICE = "common practice"

REACTION_S = 2.5
"""Time a driver takes to react [s]."""

BRAKING_M_PER_S2 = 11.2 * M_PER_FT
"""Deceleration that most drivers keep control at [m/s²]."""

_KMH_PER_M_PER_S = 3.6
_FORMULA = "AASHTO, A Policy on Geometric Design of Highways and Streets"

EDITABLE_VALUES = (
    LimitValue(
        key="reaction_s",
        name="time that a driver takes to react",
        value=REACTION_S,
        unit=SECONDS.si,
        source=f"{_FORMULA}, stopping sight distance",
        at_most=10.0,
        scale=SECONDS,
    ),
    LimitValue(
        key="braking_m_per_s2",
        name="deceleration of a driver who brakes",
        value=BRAKING_M_PER_S2,
        unit=DECELERATION.si,
        source=f"{_FORMULA}, stopping sight distance",
        at_most=10.0,
        scale=DECELERATION,
    ),
)
_FORMULA_KEYS = tuple(one.key for one in EDITABLE_VALUES)


def stopping_sight_distance_m(
    speed_kmh: float,
    reaction_s: float = REACTION_S,
    braking_m_per_s2: float = BRAKING_M_PER_S2,
) -> float:
    """Distance travelled from first sight to standstill [m].

    Parameters
    ----------
    speed_kmh
        Speed of the approaching driver [km/h].
    reaction_s, braking_m_per_s2
        Time to react [s] and deceleration [m/s²].

    References
    ----------
    AASHTO, A Policy on Geometric Design of Highways and Streets, stopping sight
    distance on level road (from memory).

    Examples
    --------
    At 65 mph the policy's table rounds this up to 645 ft:

    >>> round(stopping_sight_distance_m(65 * 1.609344) / 0.3048)
    644
    """
    speed = speed_kmh / _KMH_PER_M_PER_S
    return reaction_s * speed + speed**2 / (2.0 * braking_m_per_s2)


@dataclass(frozen=True)
class CommonPractice:
    """Advice on traffic, drainage, access, supply and lines nearby."""

    key: str = "common-practice"
    title: str = "Common practice"
    edition: str = "thresholds of the agency"
    standing: str = (
        f"{COMMON_PRACTICE.capitalize()}; the agency can change every threshold. The "
        f"formula of stopping sight distance is {FROM_MEMORY}."
    )
    does_not_cover: str = (
        "Advice for choosing a location. The traffic control plan, the owners of lines "
        "and local codes govern the work itself."
    )
    editable_values: tuple[LimitValue, ...] = EDITABLE_VALUES

    def judge(
        self,
        facts: SurveyFacts,
        *,
        wanted: str,
        settings: SuitabilitySettings = DEFAULT_SETTINGS,
    ) -> StandardSuitability:
        """Judge a location by practice; the wanted type changes nothing here.

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such type.
        """
        check_type(wanted)
        lines = tuple(self._lines(facts, settings))
        standing = values_in_use(self, settings).standing_with_own(self.standing)
        notes = (
            (f"Distress as seen: {facts.distress.strip()}",)
            if facts.distress.strip()
            else ()
        )
        return StandardSuitability(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            standing=standing,
            is_governing=self.key in settings.governing,
            judged_class=ADVICE,
            lines=lines,
            outcomes=(),
            overall=overall_of(
                lines, class_name=ADVICE, rule=COMMON_PRACTICE, standing=standing
            ),
            carries="",
            does_not_cover=self.does_not_cover,
            notes=notes,
        )

    def _lines(
        self, facts: SurveyFacts, settings: SuitabilitySettings
    ) -> Iterable[LineJudgement]:
        for choice in CHOICES:
            yield judge_choice(choice, facts, standard=self.key, settings=settings)
        for one in _threshold_requirements(settings):
            yield judge_requirement(
                one, facts, ADVICE, standard=self.key, carries="", settings=settings
            )
        yield _speed_spread(facts, self.key, settings)
        yield _sight_distance(facts, self.key, settings)


def standing_of(threshold: str, settings: SuitabilitySettings) -> str:
    """Standing of a threshold of the settings, by its name."""
    if getattr(settings, threshold) == getattr(DEFAULT_SETTINGS, threshold):
        return COMMON_PRACTICE
    return f"{AGENCYS_OWN}: survey settings"


def _threshold_requirements(settings: SuitabilitySettings) -> tuple[Requirement, ...]:
    """The conditions whose thresholds the agency sets."""

    def at_least(value: float) -> dict[str, Limits]:
        return {ADVICE: Limits(low=Bound(value, value))}

    def at_most(value: float) -> dict[str, Limits]:
        return {ADVICE: Limits(high=Bound(value, value))}

    found = [
        Requirement(
            "trucks",
            "truck volume",
            "trucks_per_day",
            TRUCKS,
            at_least(settings.trucks_per_day_min),
            COMMON_PRACTICE,
            too_low="Nothing to mend: with {gap} fewer than wanted, drift takes longer "
            "to be seen.",
            standing=standing_of("trucks_per_day_min", settings),
        ),
        Requirement(
            "power_distance",
            "distance to power",
            "power_distance_m",
            LENGTH,
            at_most(settings.power_distance_max_m),
            COMMON_PRACTICE,
            too_high="Plan solar panels and batteries, or a service line {gap} longer "
            "than usual.",
            standing=standing_of("power_distance_max_m", settings),
        ),
        Requirement(
            "pavement_thickness",
            "thickness of the bound layers",
            "pavement_thickness_mm",
            SHORT_LENGTH,
            at_least(settings.pavement_thickness_min_mm),
            COMMON_PRACTICE,
            too_low="Thicken the bound layers by {gap}, or choose a sensor with a "
            "shallower slot.",
            standing=standing_of("pavement_thickness_min_mm", settings),
        ),
    ]
    if settings.pavement_age_max_years is not None:
        found.append(
            Requirement(
                "pavement_age",
                "age of the pavement",
                "pavement_age_years",
                YEARS,
                at_most(settings.pavement_age_max_years),
                COMMON_PRACTICE,
                too_high="Install after the next resurfacing, or resurface first.",
                standing=standing_of("pavement_age_max_years", settings),
            )
        )
    return tuple(found)


def _speed_spread(
    facts: SurveyFacts, standard: str, settings: SuitabilitySettings
) -> LineJudgement:
    sd, mean, system = facts.speed_sd_kmh, facts.speed_mean_kmh, settings.unit_system
    limit = settings.speed_spread_max_pct
    words = f"at most {PERCENT.exact(limit, system)} of the mean"
    spread = 100.0 * sd / mean if sd is not None and mean else None
    margin = None
    state, margin_text = LineState.NOT_MEASURED, ""
    mend = "Measure mean and standard deviation of speed over a day."
    sentence = "Cannot say: mean and standard deviation of speed not measured."
    if spread is not None and sd is not None:
        margin = 0.0 if is_equal(spread, limit) else limit - spread
        state = LineState.MEETS if margin >= 0 else LineState.MISSES
        side = "to spare" if margin >= 0 else "over"
        margin_text = f"{PERCENT.shown(abs(margin), system)} {side}"
        sentence = (
            f"Spread of speed {PERCENT.against(spread, limit, system)} of the mean "
            f"(standard deviation {SPEED.shown(sd, system)}); {words}: {state}, "
            f"{margin_text}."
        )
        mend = "" if margin >= 0 else "Choose a place where trucks hold their speed."
    return make_line(
        key="speed_spread",
        name="spread of speed",
        fields=("speed_sd_kmh", "speed_mean_kmh"),
        standard=standard,
        state=state,
        value=spread,
        unit="%",
        limit=words,
        rule=COMMON_PRACTICE,
        sentence=sentence,
        standing=standing_of("speed_spread_max_pct", settings),
        settings=settings,
        is_measured=spread is not None,
        margin=margin,
        relative_margin=None if margin is None else margin / limit,
        margin_text=margin_text,
        mend=mend,
    )


def _sight_distance(
    facts: SurveyFacts, standard: str, settings: SuitabilitySettings
) -> LineJudgement:
    rule = "stopping sight distance at the 85th percentile of speed (AASHTO)"
    values = values_in_use(STANDARD, settings)
    standing = f"{COMMON_PRACTICE}; formula " + standing_in_use(
        _FORMULA_KEYS, values, FROM_MEMORY
    )
    needed = None
    if facts.speed_p85_kmh:
        needed = stopping_sight_distance_m(
            facts.speed_p85_kmh, values["reaction_s"], values["braking_m_per_s2"]
        )
    if needed is not None:
        requirement = Requirement(
            "sight_distance",
            "sight distance",
            "sight_distance_m",
            LENGTH,
            {ADVICE: Limits(low=Bound(needed, needed))},
            rule,
            too_low="Clear the view or choose a place that is seen {gap} sooner.",
            standing=standing,
        )
        return judge_requirement(
            requirement, facts, ADVICE, standard=standard, carries="", settings=settings
        )
    return make_line(
        key="sight_distance",
        name="sight distance",
        fields=("sight_distance_m", "speed_p85_kmh"),
        standard=standard,
        state=LineState.NOT_MEASURED,
        limit="depends on the speed of traffic",
        rule=rule,
        sentence="Cannot say: the sight distance that is needed depends on the 85th "
        "percentile of speed, which was not measured.",
        standing=standing,
        settings=settings,
        is_measured=False,
        mend="Measure the 85th percentile of speed.",
    )


STANDARD = CommonPractice()
