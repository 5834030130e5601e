"""How true it weighs: vehicles and weighings, plans, sessions, runs, factors."""

from calibration.models.agency import CalibrationSettings, StandardValue
from calibration.models.plans import FactorSet, SessionPlan, SessionSignature
from calibration.models.sessions import (
    CalibrationSession,
    RunStage,
    SessionResult,
    SessionState,
    StaticWeighing,
    TestVehicle,
    TruckRun,
    check_positive_list,
)

__all__ = [
    "CalibrationSession",
    "CalibrationSettings",
    "FactorSet",
    "RunStage",
    "SessionPlan",
    "SessionResult",
    "SessionSignature",
    "SessionState",
    "StandardValue",
    "StaticWeighing",
    "TestVehicle",
    "TruckRun",
    "check_positive_list",
]
