"""Words of upkeep and renewal that models store and people read.

The enums are the choices of the models (``choices_of``): the stored word is the word
that people read. Models import this module, so it imports neither numpy nor scipy.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from wimprog.lib.judgement import Condition, Interval


class WorkSource(StrEnum):
    """Where a work item came from."""

    DRIFT = "drift found"
    ELECTRICAL_LIMIT = "electrical limit crossed"
    SENSOR_FAILURE = "sensor failure"
    CALIBRATION_DUE = "calibration due"
    INSPECTION_DUE = "inspection due"
    FAILED_COMMUNICATION = "failed communication"
    REPORT = "person's report"
    SCHEDULE = "preventive schedule"
    VISIT = "found at a visit"

    @property
    def is_calendar(self) -> bool:
        """Whether a date raised it, not something wrong."""
        return self in (
            WorkSource.CALIBRATION_DUE,
            WorkSource.INSPECTION_DUE,
            WorkSource.SCHEDULE,
        )


class WorkState(StrEnum):
    """How far a work item is."""

    FOUND = "found"
    ASSIGNED = "assigned"
    PLANNED = "planned"
    DONE = "done"
    VERIFIED = "verified"
    NOT_NEEDED = "not needed"

    @property
    def is_open(self) -> bool:
        """Whether somebody still has to do it."""
        return self in (WorkState.FOUND, WorkState.ASSIGNED, WorkState.PLANNED)

    @property
    def may_become(self) -> tuple[WorkState, ...]:
        """States that may follow; work done but not good goes back to found."""
        return _NEXT_STATES[self]


_S = WorkState
_NEXT_STATES: dict[WorkState, tuple[WorkState, ...]] = {
    _S.FOUND: (_S.ASSIGNED, _S.PLANNED, _S.DONE, _S.NOT_NEEDED),
    _S.ASSIGNED: (_S.PLANNED, _S.DONE, _S.FOUND, _S.NOT_NEEDED),
    _S.PLANNED: (_S.DONE, _S.ASSIGNED, _S.FOUND, _S.NOT_NEEDED),
    _S.DONE: (_S.VERIFIED, _S.FOUND),
    _S.VERIFIED: (),
    _S.NOT_NEEDED: (_S.FOUND,),
}


class Urgency(StrEnum):
    """How soon somebody should go, most urgent first."""

    condition: Condition
    within_days: int | None

    AT_ONCE = "at once", Condition.ACT, 1
    THIS_WEEK = "this week", Condition.ACT, 7
    THIS_MONTH = "this month", Condition.WATCH, 30
    NEXT_TRIP = "with the next trip", Condition.SOUND, None

    def __new__(
        cls,
        word: str,
        condition: Condition = Condition.NO_DATA,
        within_days: int | None = None,
    ) -> Urgency:
        """Keep the word as the value; the condition and the days stand beside it."""
        urgency = str.__new__(cls, word)
        urgency._value_ = word
        urgency.condition = condition
        urgency.within_days = within_days
        return urgency

    @property
    def rank(self) -> int:
        """0 for the most urgent."""
        return list(Urgency).index(self)


class CabinetPart(StrEnum):
    """What is looked at in and around the roadside cabinet."""

    POWER = "power supply"
    BATTERY = "battery"
    SOLAR_PANEL = "solar panel"
    COMMUNICATIONS = "communications"
    GROUNDING = "grounding"
    SURGE_PROTECTION = "surge protection"
    CONTROLLER = "controller"
    CLOCK = "clock"
    TERMINALS = "terminals and wiring"
    MOISTURE = "moisture and seals"
    PESTS = "pests"
    LOCK = "door and lock"
    PULL_BOXES = "pull boxes and conduit"


class CabinetFinding(StrEnum):
    """What was found at a part."""

    condition: Condition

    SOUND = "sound", Condition.SOUND
    WATCH = "watch", Condition.WATCH
    MENDED = "mended on the spot", Condition.SOUND
    NEEDS_WORK = "needs work", Condition.ACT
    NOT_CHECKED = "not checked", Condition.NO_DATA
    NOT_FITTED = "not fitted", Condition.NO_DATA

    def __new__(
        cls, word: str, condition: Condition = Condition.NO_DATA
    ) -> CabinetFinding:
        """Keep the word as the value, the condition it is shown as beside it."""
        finding = str.__new__(cls, word)
        finding._value_ = word
        finding.condition = condition
        return finding


class DataUse(StrEnum):
    """What the weights of a lane are used for."""

    PAVEMENT_DESIGN = "pavement design"
    BRIDGE = "bridge loading"
    FREIGHT_STATISTICS = "freight statistics"
    SCREENING = "enforcement screening"


class PolicyKind(StrEnum):
    """When a working sensor is replaced before it fails."""

    ON_FAILURE = "on failure"
    AT_AGE = "at an age"
    AT_CONDITION = "at a condition"
    WITH_PAVEMENT = "with the pavement programme"


class StockMove(StrEnum):
    """Why the stock of a model changed."""

    sign: int

    RECEIVED = "received", 1
    USED = "used", -1
    RETURNED = "returned unused", 1
    SCRAPPED = "scrapped", -1
    COUNTED = "counted", 0

    def __new__(cls, word: str, sign: int = 0) -> StockMove:
        """Keep the word as the value; 1 adds, −1 takes, 0 sets the count."""
        move = str.__new__(cls, word)
        move._value_ = word
        move.sign = sign
        return move


class DowntimeCause(StrEnum):
    """Why a lane or a sensor gave no usable data."""

    SENSOR_FAILURE = "sensor failure"
    CONTROLLER = "controller"
    POWER = "power"
    COMMUNICATIONS = "communications"
    PAVEMENT = "pavement"
    WORK_ON_SITE = "work on site"
    NO_RECORDS = "no records"
    UNKNOWN = "unknown"


class WarrantyStart(StrEnum):
    """The day from which the months of a warranty are counted."""

    PURCHASE = "purchase"
    INSTALLATION = "installation"


class WarrantyClaim(StrEnum):
    """How far a claim under a warranty is."""

    NOT_MADE = "not made"
    MADE = "made"
    GRANTED = "granted"
    REFUSED = "refused"


class SendState(StrEnum):
    """What became of a form that a phone sent."""

    KEPT = "kept"
    CLASH = "clash"
    SETTLED = "settled"


class ScheduleTrigger(StrEnum):
    """What makes preventive work due."""

    CALENDAR = "calendar"
    CONDITION = "condition"


class ScheduleState(StrEnum):
    """Where preventive work stands on a day."""

    condition: Condition

    OVERDUE = "overdue", Condition.ACT
    DUE_SOON = "due soon", Condition.WATCH
    LATER = "later", Condition.SOUND
    NEVER_DONE = "never done", Condition.WATCH
    NOT_DUE = "condition not met", Condition.SOUND

    def __new__(
        cls, word: str, condition: Condition = Condition.NO_DATA
    ) -> ScheduleState:
        """Keep the word as the value, the condition it is shown as beside it."""
        state = str.__new__(cls, word)
        state._value_ = word
        state.condition = condition
        return state


@dataclass(frozen=True)
class Estimate:
    """A mean with the interval of what may be, and the draws behind it."""

    mean: float
    interval: Interval
    n_draws: int
