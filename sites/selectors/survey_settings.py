"""By what surveys are judged: thresholds, limits, and whose each of them is.

:func:`suitability_settings` is the one place where stored settings become what a
judgement takes.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from sites.calc.suitability.base import SiteStandard, SuitabilitySettings
from sites.calc.suitability.registry import all_standards
from sites.calc.suitability.values import LimitValue
from sites.calc.types import SiteClass
from sites.models import SurveyLimit, SurveySettings
from wimprog.lib.standard_values import AGENCYS_OWN, AgencyValues
from wimprog.lib.units import UnitSystem

THRESHOLDS = (
    "trucks_per_day_min",
    "power_distance_max_m",
    "pavement_thickness_min_mm",
    "pavement_age_max_years",
    "speed_spread_max_pct",
)
MOST_CHANGES = 50


def survey_settings_get() -> SurveySettings:
    """The agency's settings of surveys; the usual ones while none were made."""
    return SurveySettings.objects.first() or SurveySettings()


def survey_limit_values() -> AgencyValues:
    """The agency's own limits, {key of standard: {key of value: (value, source)}}."""
    found: dict[str, dict[str, tuple[float, str]]] = defaultdict(dict)
    for row in SurveyLimit.objects.all():
        found[row.standard][row.key] = (row.value, row.source)
    return dict(found)


def suitability_settings(system: UnitSystem | str) -> SuitabilitySettings:
    """What the agency decided about suitability, in two queries."""
    stored = survey_settings_get()
    wanted = stored.site_class_wanted
    return SuitabilitySettings(
        unit_system=UnitSystem(system),
        site_class_wanted=SiteClass(wanted) if wanted else None,
        governing=tuple(stored.governing),
        agency_values=survey_limit_values(),
        **{name: getattr(stored, name) for name in THRESHOLDS},
    )


@dataclass(frozen=True)
class LimitRow:
    """One limit that an agency may set, and its own where it has one."""

    standard: SiteStandard
    value: LimitValue
    own: SurveyLimit | None
    system: UnitSystem

    @property
    def recalled(self) -> str:
        """The value as written down here, with its unit."""
        recalled = self.value.recalled(self.system)
        return self.value.scale.exact(recalled, self.system)

    @property
    def symbol(self) -> str:
        """The unit in which it is shown and typed."""
        return self.value.scale.symbol(self.system)

    @property
    def number(self) -> str:
        """The number in use as it goes into a box: as typed, where it was typed."""
        own = self.own
        if own is None:
            return self._bare(self.value.recalled(self.system))
        text, symbol = own.as_typed.get("value", ("", ""))
        return text if text and symbol == self.symbol else self._bare(own.value)

    @property
    def in_use(self) -> str:
        """The value in use, with its unit."""
        return f"{self.number} {self.symbol}".rstrip()

    @property
    def standing(self) -> str:
        """How sure the value in use is."""
        return f"{AGENCYS_OWN}: {self.own.source}" if self.own else self.value.standing

    def _bare(self, value_si: float) -> str:
        shown = self.value.scale.exact(value_si, self.system)
        return shown.removesuffix(self.symbol).rstrip()


@dataclass(frozen=True)
class StandardLimits:
    """A site standard with its limits."""

    standard: SiteStandard
    is_governing: bool
    rows: tuple[LimitRow, ...]

    @property
    def n_own(self) -> int:
        """How many limits are the agency's own."""
        return sum(row.own is not None for row in self.rows)


@dataclass(frozen=True)
class SettingsChange:
    """One change of a setting or a limit."""

    at: Any
    who: str
    what: str
    why: str


@dataclass(frozen=True)
class SurveySettingsPage:
    """Everything on the page of survey settings."""

    settings: SurveySettings
    governing: tuple[str, ...]
    standards: tuple[StandardLimits, ...]
    changes: tuple[SettingsChange, ...]


def survey_settings_page(system: UnitSystem | str) -> SurveySettingsPage:
    """Thresholds, every standard with its limits, and who changed them."""
    stored, known, own = survey_settings_get(), all_standards(), _own_limits()
    return SurveySettingsPage(
        settings=stored,
        governing=tuple(one.title for k, one in known.items() if k in stored.governing),
        standards=tuple(
            StandardLimits(one, key in stored.governing, _rows(one, own, system))
            for key, one in known.items()
        ),
        changes=tuple(_changes(system)),
    )


def limit_row(standard: str, key: str, system: UnitSystem | str) -> LimitRow | None:
    """One limit of a standard; None where there is no such limit to set."""
    found = all_standards().get(standard)
    rows = _rows(found, _own_limits(), system) if found else ()
    return next((row for row in rows if row.value.key == key), None)


def _own_limits() -> dict[tuple[str, str], SurveyLimit]:
    return {(one.standard, one.key): one for one in SurveyLimit.objects.all()}


def _rows(
    standard: SiteStandard,
    own: dict[tuple[str, str], SurveyLimit],
    system: UnitSystem | str,
) -> tuple[LimitRow, ...]:
    return tuple(
        LimitRow(standard, one, own.get((standard.key, one.key)), UnitSystem(system))
        for one in standard.editable_values
    )


# --- who changed what ---------------------------------------------------------------


_HOW = {"+": "set to", "~": "changed to", "-": "returned to the recalled value from"}


def _changes(system: UnitSystem | str) -> list[SettingsChange]:
    settings = SurveySettings.history.select_related("history_user")[:MOST_CHANGES]
    limits = SurveyLimit.history.select_related("history_user")[:MOST_CHANGES]
    known = {
        (key, one.key): (standard.title, one)
        for key, standard in all_standards().items()
        for one in standard.editable_values
    }
    found = [_change(row, "thresholds and standards kept") for row in settings]
    for row in limits:
        title, value = known.get((row.standard, row.key), (row.standard, None))
        name = value.name if value else row.key
        text, symbol = row.as_typed.get("value", ("", ""))
        shown = f"{text} {symbol}".rstrip()
        if not text:
            shown = value.scale.exact(row.value, UnitSystem(system)) if value else ""
        how = _HOW[row.history_type]
        found.append(_change(row, f"{title}, {name}: {how} {shown} ({row.source})"))
    found.sort(key=lambda one: one.at, reverse=True)
    return found[:MOST_CHANGES]


def _change(row: Any, what: str) -> SettingsChange:
    user = row.history_user
    return SettingsChange(
        at=row.history_date,
        who=(user.get_full_name() or user.get_username()) if user else "–",
        what=what,
        why=row.history_change_reason or "",
    )
