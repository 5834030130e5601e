"""Forms of calibration, one module a part of the work."""

from calibration.forms.sessions import (
    CloseForm,
    DateInput,
    ExcludeForm,
    MomentField,
    RunForm,
    SessionForm,
    SheetsForm,
    StaticWeighingForm,
    TestVehicleForm,
)

__all__ = [
    "CloseForm",
    "DateInput",
    "ExcludeForm",
    "MomentField",
    "RunForm",
    "SessionForm",
    "SheetsForm",
    "StaticWeighingForm",
    "TestVehicleForm",
]
