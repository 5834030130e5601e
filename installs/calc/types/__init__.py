"""Words and results of the installs room: what the trade calls things, what calc says.

The enums are the choices of the models (``choices_of``): the stored word is the word
that people read. The dataclasses carry what ``survival``, ``forecast`` and
``electrical`` compute. Ages and horizons are in years of 365.25 days.

Models import this module, so it imports neither numpy nor scipy.
"""

from installs.calc.types.checks import (
    BackTest,
    Fifth,
    Goodness,
    OriginScore,
    PlotPoint,
    RecordedLife,
    ResidualPoint,
)
from installs.calc.types.condition import (
    Condition,
    ConditionModel,
    Driver,
    Effect,
)
from installs.calc.types.electrical import (
    AcceptanceLimit,
    Baseline,
    DatedReading,
    ElectricalTrend,
    LimitCrossing,
    QuantityRules,
    TemperatureCoefficient,
    Tolerance,
)
from installs.calc.types.forecasts import (
    Band,
    FailureChance,
    FleetForecast,
    ForecastPeriod,
    SensorForecast,
    SensorInService,
    YearForecast,
)
from installs.calc.types.lives import (
    DAYS_PER_YEAR,
    ONE_DAY_YEARS,
    IncidenceCurve,
    IntervalSurvival,
    Life,
    LifePrior,
    SurvivalCurve,
    WeibullFit,
    years_between,
)
from installs.calc.types.reliability import (
    Estimate,
    GroupComparison,
    GroupCount,
    LaneHistory,
    MeanCumulative,
)
from installs.calc.types.words import (
    USUAL_QUANTITIES,
    ElectricalQuantity,
    EndReason,
    FailureMode,
    FitMethod,
    LifeOutcome,
    Technology,
    TestStage,
    VisitPurpose,
)

__all__ = [
    "DAYS_PER_YEAR",
    "ONE_DAY_YEARS",
    "USUAL_QUANTITIES",
    "AcceptanceLimit",
    "BackTest",
    "Band",
    "Baseline",
    "Condition",
    "ConditionModel",
    "DatedReading",
    "Driver",
    "Effect",
    "ElectricalQuantity",
    "ElectricalTrend",
    "EndReason",
    "Estimate",
    "FailureChance",
    "FailureMode",
    "Fifth",
    "FitMethod",
    "FleetForecast",
    "ForecastPeriod",
    "Goodness",
    "GroupComparison",
    "GroupCount",
    "IncidenceCurve",
    "IntervalSurvival",
    "LaneHistory",
    "Life",
    "LifeOutcome",
    "LifePrior",
    "LimitCrossing",
    "MeanCumulative",
    "OriginScore",
    "PlotPoint",
    "QuantityRules",
    "RecordedLife",
    "ResidualPoint",
    "SensorForecast",
    "SensorInService",
    "SurvivalCurve",
    "Technology",
    "TemperatureCoefficient",
    "TestStage",
    "Tolerance",
    "VisitPurpose",
    "WeibullFit",
    "YearForecast",
    "years_between",
]
